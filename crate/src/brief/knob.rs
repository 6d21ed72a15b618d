//! What a designer sets: the values that a brief looks at.

use crate::cycle;
use crate::design::Design;
use crate::in_force::InForce;
use crate::quantity::{
    Capacitance, Current, Dimensioned, Exponents, Frequency, Inductance, Time, Voltage,
};
use crate::scheme::Scheme;
use crate::stage::{Specification, UncertainInput};
use crate::verdict::{Check, as_typed};

/// A value that a designer sets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Knob {
    /// Inductance.
    Inductance,
    /// Trip threshold.
    TripThreshold,
    /// Dead time of the rising edge, and of the falling edge where that has none of its own.
    DeadTime,
    /// Dead time of the falling edge, where it has its own.
    LowDeadTime,
    /// Switching frequency of each pair.
    SwitchingFrequency,
    /// Capacitance of each flying capacitor.
    FlyingCapacitance,
    /// Output capacitance.
    OutputCapacitance,
    /// Rated voltage of the leg's transistors, the lower of high and low side.
    LegVoltage,
    /// Rated voltage of the clamp.
    ClampVoltage,
    /// Saturation current of the inductor.
    Saturation,
}

/// A knob's value, and whether the specification states it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Set {
    pub value: f64,
    pub stated: bool,
}

impl Set {
    fn stated(value: f64) -> Self {
        Self {
            value,
            stated: true,
        }
    }
}

impl Knob {
    /// Every knob, in the order in which they are shown.
    pub const ALL: [Self; 10] = [
        Self::Inductance,
        Self::TripThreshold,
        Self::DeadTime,
        Self::LowDeadTime,
        Self::SwitchingFrequency,
        Self::FlyingCapacitance,
        Self::OutputCapacitance,
        Self::LegVoltage,
        Self::ClampVoltage,
        Self::Saturation,
    ];

    /// Its keys in a specification: one, but for the leg's transistors.
    #[must_use]
    pub const fn keys(self) -> &'static [&'static str] {
        match self {
            Self::Inductance => &["stage.inductance"],
            Self::TripThreshold => &["trip.threshold"],
            Self::DeadTime => &["timing.dead_time"],
            Self::LowDeadTime => &["control.low_dead_time"],
            Self::SwitchingFrequency => &["stage.switching_frequency"],
            Self::FlyingCapacitance => &["stage.flying_capacitance"],
            Self::OutputCapacitance => &["stage.output_capacitance"],
            Self::LegVoltage => &[
                "transistors.high.rated_voltage",
                "transistors.low.rated_voltage",
            ],
            Self::ClampVoltage => &["clamp.rated_voltage"],
            Self::Saturation => &["inductor.saturation_current"],
        }
    }

    /// The options of the program that give it a value, which keep its tolerance, and state
    /// what else was held at a value in force that is not stated.
    #[must_use]
    pub fn settings(self, design: &Design, value: f64) -> String {
        let (s, own) = (&design.stage.specification, &design.in_force);
        let mut settings = vec![self.setting(s, value)];
        if !own.inductance.is_stated() && self != Self::Inductance {
            settings.push(Self::Inductance.setting(s, own.inductance.value.coherent()));
        }
        if !own.trip.is_stated() && self != Self::TripThreshold {
            settings.push(Self::TripThreshold.setting(s, own.trip.value.coherent()));
        }
        settings.join(" ")
    }

    fn setting(self, specification: &Specification, value: f64) -> String {
        let spread = self
            .uncertain()
            .and_then(|own| specification.spreads.get(own));
        let below = if spread.is_some() { ".nominal" } else { "" };
        let typed = as_typed(value, self.exponents());
        let each = self
            .keys()
            .iter()
            .map(|key| format!("--set '{key}{below}={typed}'"));
        each.collect::<Vec<_>>().join(" ")
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Inductance => "Inductance",
            Self::TripThreshold => "Trip threshold",
            Self::DeadTime => "Dead time",
            Self::LowDeadTime => "Dead time of the low side",
            Self::SwitchingFrequency => "Switching frequency of each pair",
            Self::FlyingCapacitance => "Capacitance of each flying capacitor",
            Self::OutputCapacitance => "Output capacitance",
            Self::LegVoltage => "Rated voltage of the leg's transistors",
            Self::ClampVoltage => "Rated voltage of the clamp",
            Self::Saturation => "Saturation current of the inductor",
        }
    }

    /// Its dimension.
    #[must_use]
    pub const fn exponents(self) -> Exponents {
        match self {
            Self::Inductance => Inductance::EXPONENTS,
            Self::TripThreshold | Self::Saturation => Current::EXPONENTS,
            Self::DeadTime | Self::LowDeadTime => Time::EXPONENTS,
            Self::SwitchingFrequency => Frequency::EXPONENTS,
            Self::FlyingCapacitance | Self::OutputCapacitance => Capacitance::EXPONENTS,
            Self::LegVoltage | Self::ClampVoltage => Voltage::EXPONENTS,
        }
    }

    /// The requirements on the value itself.
    #[must_use]
    pub const fn requirements(self) -> &'static [Check] {
        match self {
            Self::Inductance => &[Check::Inductance],
            Self::TripThreshold => &[Check::TripThreshold, Check::TripReach],
            Self::DeadTime => &[Check::DeadTimeEarliest, Check::DeadTimeLatest],
            Self::LowDeadTime => &[Check::LowDeadTimeEarliest, Check::LowDeadTimeLatest],
            Self::SwitchingFrequency => &[],
            Self::FlyingCapacitance => &[Check::FlyingRipple],
            Self::OutputCapacitance => &[Check::OutputRipple],
            Self::LegVoltage => &[
                Check::HighBlocking,
                Check::LowBlocking,
                Check::OutermostStart,
                Check::OutermostStep,
            ],
            Self::ClampVoltage => &[Check::ClampBlocking, Check::ClampStart],
            Self::Saturation => &[Check::Saturation],
        }
    }

    /// The uncertain input that it is, where it is one.
    const fn uncertain(self) -> Option<UncertainInput> {
        match self {
            Self::Inductance => Some(UncertainInput::Inductance),
            Self::TripThreshold => Some(UncertainInput::TripThreshold),
            _ => None,
        }
    }

    /// Its value in force; where none is stated of a rating, `rating` proposes one. None
    /// where the stage has no such part.
    pub(super) fn in_force(
        self,
        specification: &Specification,
        in_force: &InForce,
        rating: impl Fn(Self) -> Option<f64>,
    ) -> Option<Set> {
        let s = specification;
        let rated = |stated: Option<f64>| {
            let proposed = || {
                rating(self).map(|value| Set {
                    value,
                    stated: false,
                })
            };
            stated.map(Set::stated).or_else(proposed)
        };
        match self {
            Self::Inductance => Some(Set {
                value: in_force.inductance.value.coherent(),
                stated: in_force.inductance.is_stated(),
            }),
            Self::TripThreshold => Some(Set {
                value: in_force.trip.value.coherent(),
                stated: in_force.trip.is_stated(),
            }),
            Self::DeadTime => match s.dead_time {
                Some(stated) => Some(Set::stated(stated.coherent())),
                // Each point has its own: that of the nominal one to start from.
                None => adaptive(s, in_force).map(|value| Set {
                    value,
                    stated: false,
                }),
            },
            Self::LowDeadTime => s.control.low_dead_time.map(|t| Set::stated(t.coherent())),
            Self::SwitchingFrequency => Some(Set::stated(s.switching_frequency.coherent())),
            Self::FlyingCapacitance => s
                .flying_capacitance
                .filter(|_| s.levels > 2)
                .map(|c| Set::stated(c.coherent())),
            Self::OutputCapacitance => Some(Set::stated(s.output_capacitance.coherent())),
            Self::LegVoltage => {
                let both = s.high.rated_voltage.zip(s.low.rated_voltage);
                rated(both.map(|(high, low)| high.coherent().min(low.coherent())))
            }
            Self::ClampVoltage => rated(s.clamp.rated_voltage.map(Dimensioned::coherent)),
            Self::Saturation => rated(
                s.parts
                    .inductor
                    .saturation_current
                    .map(Dimensioned::coherent),
            ),
        }
    }

    /// The specification with another value, all else as it is in force; a tolerance
    /// stays the same part of the value.
    pub(super) fn set(
        self,
        specification: &Specification,
        in_force: &InForce,
        value: f64,
    ) -> Specification {
        let mut s = specification.clone();
        s.inductance = Some(in_force.inductance.value);
        s.trip.threshold = Some(in_force.trip.value);
        if let Some(input) = self.uncertain() {
            s.spreads.scale(input, value / input.estimate(&s));
        }
        match self {
            Self::Inductance => s.inductance = Some(Inductance::from_coherent(value)),
            Self::TripThreshold => s.trip.threshold = Some(Current::from_coherent(value)),
            Self::DeadTime => s.dead_time = Some(Time::from_coherent(value)),
            Self::LowDeadTime => s.control.low_dead_time = Some(Time::from_coherent(value)),
            Self::SwitchingFrequency => s.switching_frequency = Frequency::from_coherent(value),
            Self::FlyingCapacitance => {
                s.flying_capacitance = Some(Capacitance::from_coherent(value));
            }
            Self::OutputCapacitance => s.output_capacitance = Capacitance::from_coherent(value),
            Self::LegVoltage => {
                s.high.rated_voltage = Some(Voltage::from_coherent(value));
                s.low.rated_voltage = s.high.rated_voltage;
            }
            Self::ClampVoltage => s.clamp.rated_voltage = Some(Voltage::from_coherent(value)),
            Self::Saturation => {
                s.parts.inductor.saturation_current = Some(Current::from_coherent(value));
            }
        }
        s
    }
}

/// The dead time that the nominal point gives itself where none is stated.
fn adaptive(specification: &Specification, in_force: &InForce) -> Option<f64> {
    let circuit = in_force.circuit(specification, Scheme::FreewheelTransistors);
    let steady = cycle::steady_state(&circuit.ok()?, specification.nominal_point());
    Some(steady.ok()?.course?.dead_time.coherent())
}
