//! What a map runs over.

use std::fmt;
use std::str::FromStr;

use crate::quantity::{Current, Dimensioned, Exponents, Inductance, Time, Voltage};
use crate::stage::{Circuit, OperatingPoint, Specification};

/// An input that a map varies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Axis {
    /// Input voltage.
    InputVoltage,
    /// Output voltage.
    OutputVoltage,
    /// Output current.
    OutputCurrent,
    /// Inductance.
    Inductance,
    /// Trip threshold in force.
    TripThreshold,
    /// Delay from the trip to the release.
    TripDelay,
    /// Dead time of the rising edge.
    DeadTime,
}

impl Axis {
    /// Every axis.
    pub const ALL: [Self; 7] = [
        Self::InputVoltage,
        Self::OutputVoltage,
        Self::OutputCurrent,
        Self::Inductance,
        Self::TripThreshold,
        Self::TripDelay,
        Self::DeadTime,
    ];

    /// The name in data; commands write it with hyphens.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::InputVoltage => "input_voltage",
            Self::OutputVoltage => "output_voltage",
            Self::OutputCurrent => "output_current",
            Self::Inductance => "inductance",
            Self::TripThreshold => "trip_threshold",
            Self::TripDelay => "trip_delay",
            Self::DeadTime => "dead_time",
        }
    }

    /// The name in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::InputVoltage => "input voltage",
            Self::OutputVoltage => "output voltage",
            Self::OutputCurrent => "output current",
            Self::Inductance => "inductance",
            Self::TripThreshold => "trip threshold",
            Self::TripDelay => "trip delay",
            Self::DeadTime => "dead time",
        }
    }

    /// The dimension.
    #[must_use]
    pub const fn exponents(self) -> Exponents {
        match self {
            Self::InputVoltage | Self::OutputVoltage => Voltage::EXPONENTS,
            Self::OutputCurrent | Self::TripThreshold => Current::EXPONENTS,
            Self::Inductance => Inductance::EXPONENTS,
            Self::TripDelay | Self::DeadTime => Time::EXPONENTS,
        }
    }

    /// Whether the node's levels depend on it.
    pub(super) const fn is_voltage(self) -> bool {
        matches!(self, Self::InputVoltage | Self::OutputVoltage)
    }

    /// Sets the input to a value in its coherent unit.
    pub fn set(self, circuit: &mut Circuit, at: &mut OperatingPoint, value: f64) {
        match self {
            Self::InputVoltage => at.input_voltage = Voltage::from_coherent(value),
            Self::OutputVoltage => at.output_voltage = Voltage::from_coherent(value),
            Self::OutputCurrent => at.output_current = Current::from_coherent(value),
            Self::Inductance => circuit.inductance = Inductance::from_coherent(value),
            Self::TripThreshold => circuit.trip_threshold = Current::from_coherent(value),
            Self::TripDelay => circuit.trip_delay = Time::from_coherent(value),
            Self::DeadTime => circuit.dead_time = Some(Time::from_coherent(value)),
        }
    }

    /// The range that a specification gives the input, or half to three halves of
    /// its value; `None` where it has no value.
    #[must_use]
    pub fn range(self, specification: &Specification, circuit: &Circuit) -> Option<(f64, f64)> {
        let s = specification;
        let about = |value: f64| (value > 0.0).then_some((value / 2.0, value * 1.5));
        match self {
            Self::InputVoltage => Some((
                s.input_voltage.min.coherent(),
                s.input_voltage.max.coherent(),
            )),
            Self::OutputVoltage => Some((
                s.output_voltage.min.coherent(),
                s.output_voltage.max.coherent(),
            )),
            Self::OutputCurrent => Some((
                s.output_current.min.coherent(),
                s.output_current.max.coherent(),
            )),
            Self::Inductance => about(circuit.inductance.coherent()),
            Self::TripThreshold => about(circuit.trip_threshold.coherent()),
            Self::TripDelay => about(circuit.trip_delay.coherent()),
            Self::DeadTime => circuit.dead_time.and_then(|time| about(time.coherent())),
        }
    }
}

impl fmt::Display for Axis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Axis {
    type Err = UnknownAxis;

    fn from_str(text: &str) -> Result<Self, UnknownAxis> {
        let name = text.replace('-', "_");
        Self::ALL
            .into_iter()
            .find(|axis| axis.name() == name)
            .ok_or_else(|| UnknownAxis(text.chars().take(60).collect()))
    }
}

/// A text that names no axis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownAxis(String);

impl fmt::Display for UnknownAxis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let names = Axis::ALL.map(|axis| axis.name().replace('_', "-"));
        write!(
            f,
            "no input `{}` for a map; the inputs are {}",
            self.0,
            names.join(", ")
        )
    }
}

impl std::error::Error for UnknownAxis {}

/// An axis with its range and number of points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// The input.
    pub axis: Axis,
    /// The first value, in the coherent unit.
    pub low: f64,
    /// The last value.
    pub high: f64,
    /// How many points, the ends included.
    pub points: usize,
}

impl Span {
    /// The value at a place.
    #[must_use]
    #[expect(
        clippy::cast_precision_loss,
        reason = "numbers of points are far below 2⁵²"
    )]
    pub fn value(&self, index: usize) -> f64 {
        if self.points < 2 {
            return self.low;
        }
        let part = index as f64 / (self.points - 1) as f64;
        self.low + (self.high - self.low) * part
    }
}
