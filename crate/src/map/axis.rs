//! What a map runs over.

use std::fmt;
use std::str::FromStr;

use crate::quantity::{
    Capacitance, Current, Dimensioned, Exponents, Frequency, Inductance, Resistance, Time, Voltage,
    parse_in, print_value,
};
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
    /// Factor on the output capacitances of both transistors of the leg.
    TransistorCapacitance,
    /// Constant part of the node's capacitance.
    NodeCapacitance,
    /// Resistance of the inductor's winding.
    InductorResistance,
    /// Resistance of the clamp's path.
    ClampResistance,
    /// Constant drop of the clamp's path.
    ClampDrop,
    /// Switching frequency of each pair.
    SwitchingFrequency,
}

impl Axis {
    /// Every axis.
    pub const ALL: [Self; 13] = [
        Self::InputVoltage,
        Self::OutputVoltage,
        Self::OutputCurrent,
        Self::Inductance,
        Self::TripThreshold,
        Self::TripDelay,
        Self::DeadTime,
        Self::TransistorCapacitance,
        Self::NodeCapacitance,
        Self::InductorResistance,
        Self::ClampResistance,
        Self::ClampDrop,
        Self::SwitchingFrequency,
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
            Self::TransistorCapacitance => "transistor_capacitance",
            Self::NodeCapacitance => "node_capacitance",
            Self::InductorResistance => "inductor_resistance",
            Self::ClampResistance => "clamp_resistance",
            Self::ClampDrop => "clamp_drop",
            Self::SwitchingFrequency => "switching_frequency",
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
            Self::TransistorCapacitance => "factor on the transistors' capacitance",
            Self::NodeCapacitance => "node capacitance",
            Self::InductorResistance => "inductor resistance",
            Self::ClampResistance => "clamp resistance",
            Self::ClampDrop => "clamp drop",
            Self::SwitchingFrequency => "switching frequency",
        }
    }

    /// The dimension.
    #[must_use]
    pub const fn exponents(self) -> Exponents {
        match self {
            Self::InputVoltage | Self::OutputVoltage | Self::ClampDrop => Voltage::EXPONENTS,
            Self::TransistorCapacitance => Exponents::NONE,
            Self::NodeCapacitance => Capacitance::EXPONENTS,
            Self::InductorResistance | Self::ClampResistance => Resistance::EXPONENTS,
            Self::SwitchingFrequency => Frequency::EXPONENTS,
            Self::OutputCurrent | Self::TripThreshold => Current::EXPONENTS,
            Self::Inductance => Inductance::EXPONENTS,
            Self::TripDelay | Self::DeadTime => Time::EXPONENTS,
        }
    }

    /// Whether the node's levels depend on it.
    pub(super) const fn is_voltage(self) -> bool {
        matches!(self, Self::InputVoltage | Self::OutputVoltage)
    }

    /// Why a map over the input says nothing under the scheme of a circuit, if so.
    #[must_use]
    pub fn without_effect(self, circuit: &Circuit) -> Option<&'static str> {
        match self {
            Self::ClampResistance | Self::ClampDrop if circuit.freewheel.is_none() => {
                Some("the scheme has no clamp")
            }
            Self::SwitchingFrequency if !circuit.scheme.fixed_frequency() => {
                Some("the scheme's frequency is not fixed")
            }
            _ => None,
        }
    }

    /// Whether the input may be zero.
    const fn may_be_zero(self) -> bool {
        !matches!(
            self,
            Self::InputVoltage | Self::OutputVoltage | Self::Inductance | Self::SwitchingFrequency
        )
    }

    /// A range as a person writes it: two values with units and a comma between,
    /// `30 V, 44 V`.
    ///
    /// # Errors
    /// What is wrong with it, in words: not two values, a wrong unit, a range that
    /// does not rise, a value that the input cannot have.
    ///
    /// ```
    /// use slewbook::map::Axis;
    /// assert_eq!(Axis::InputVoltage.read_range("30 V, 44 V").unwrap(), (30.0, 44.0));
    /// let error = Axis::InputVoltage.read_range("44 V, 30 V").unwrap_err();
    /// assert_eq!(error, "the range goes from 44 V down to 30 V; expected the lower value first");
    /// ```
    pub fn read_range(self, text: &str) -> Result<(f64, f64), String> {
        let Some((low, high)) = text.split_once(',').filter(|(_, high)| !high.contains(',')) else {
            return Err(
                "expected two values with a comma between, such as '30 V, 44 V'".to_owned(),
            );
        };
        let value =
            |text: &str| parse_in(text.trim(), self.exponents()).map_err(|error| error.to_string());
        let (low, high) = (value(low)?, value(high)?);
        let shown = |value| print_value(value, self.exponents(), 4);
        if low < 0.0 || (low == 0.0 && !self.may_be_zero()) {
            let least = if self.may_be_zero() {
                "zero or more"
            } else {
                "above zero"
            };
            return Err(format!(
                "the range begins at {}; expected a {} {least}",
                shown(low),
                self.words()
            ));
        }
        if low == high {
            return Err(format!(
                "the range has one value, {}; expected two",
                shown(low)
            ));
        }
        if low > high {
            return Err(format!(
                "the range goes from {} down to {}; expected the lower value first",
                shown(low),
                shown(high)
            ));
        }
        Ok((low, high))
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
            Self::TransistorCapacitance => (circuit.high.scale, circuit.low.scale) = (value, value),
            Self::NodeCapacitance => circuit.node_capacitance = Capacitance::from_coherent(value),
            Self::InductorResistance => {
                circuit.inductor_resistance = Resistance::from_coherent(value);
            }
            Self::ClampResistance => {
                if let Some(path) = &mut circuit.freewheel {
                    path.resistance = Resistance::from_coherent(value);
                }
            }
            Self::ClampDrop => {
                if let Some(path) = &mut circuit.freewheel {
                    path.drop = Voltage::from_coherent(value);
                }
            }
            Self::SwitchingFrequency => {
                circuit.switching_frequency = Frequency::from_coherent(value);
            }
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
            Self::TransistorCapacitance => about(1.0),
            Self::NodeCapacitance => about(circuit.node_capacitance.coherent()),
            Self::InductorResistance => about(circuit.inductor_resistance.coherent()),
            Self::ClampResistance => about(circuit.freewheel?.resistance.coherent()),
            Self::ClampDrop => about(circuit.freewheel?.drop.coherent()),
            Self::SwitchingFrequency => about(circuit.switching_frequency.coherent()),
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

/// Why the ranges of a map do not lie in the circuit's band, if so: across its edges
/// there is no cell of this kind.
///
/// # Errors
/// The edge that a range crosses, and what to do, in words.
pub fn within_band(
    circuit: &Circuit,
    at: &OperatingPoint,
    spans: [&Span; 2],
) -> Result<(), String> {
    let over = |axis: Axis, own: f64| {
        let span = spans.into_iter().find(|span| span.axis == axis);
        span.map_or((own, own), |span| (span.low, span.high))
    };
    let input = over(Axis::InputVoltage, at.input_voltage.coherent());
    let output = over(Axis::OutputVoltage, at.output_voltage.coherent());
    let pairs = f64::from(circuit.pairs);
    let (below, above) = (
        f64::from(circuit.band) / pairs,
        f64::from(circuit.band + 1) / pairs,
    );
    let volts = |value| print_value(value, Voltage::EXPONENTS, 4);
    let edge = |output: f64, input: f64, part: f64| {
        format!(
            "the map goes across a band edge: at {} in, the band ends at {} out, and the map has {}; \
             give ranges within the band with --x-range or --y-range",
            volts(input),
            volts(part * input),
            volts(output)
        )
    };
    if output.1 >= above * input.0 {
        return Err(edge(output.1, input.0, above));
    }
    if output.0 <= below * input.1 {
        return Err(edge(output.0, input.1, below));
    }
    Ok(())
}
