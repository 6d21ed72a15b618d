//! A loss budget: what each mechanism and each part dissipates at a point.

use super::triangle::Flux;
use crate::cycle::State;
use crate::quantity::{Dimensioned as _, Power, Ratio, ThermodynamicTemperature};
use crate::scheme::Scheme;
use crate::stage::OperatingPoint;

/// A way in which power is lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mechanism {
    /// Channels of the leg's transistors.
    Channels,
    /// The clamp's path.
    Clamp,
    /// Body diodes in the dead times.
    Diodes,
    /// Capacitances at a turn-on with voltage left, the mean over the ring where the
    /// node rings, and the overlap of a turn-on that takes over a current.
    TurnOn,
    /// Overlap of current and voltage at turn-off: the upper bound.
    TurnOff,
    /// Recovery of body diodes.
    Recovery,
    /// The winding, by its resistance to direct current.
    Winding,
    /// What alternating current adds in the winding.
    WindingAlternating,
    /// The core.
    Core,
    /// Series resistances of the capacitors.
    Capacitors,
    /// Gate drive of every transistor.
    Gate,
    /// The control's supply.
    Control,
}

impl Mechanism {
    /// Every mechanism, in the order of tables and figures.
    pub const ALL: [Self; 12] = [
        Self::Channels,
        Self::Clamp,
        Self::Diodes,
        Self::TurnOn,
        Self::TurnOff,
        Self::Recovery,
        Self::Winding,
        Self::WindingAlternating,
        Self::Core,
        Self::Capacitors,
        Self::Gate,
        Self::Control,
    ];

    /// The name by which data call it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Channels => "channels",
            Self::Clamp => "clamp",
            Self::Diodes => "body_diodes",
            Self::TurnOn => "turn_on",
            Self::TurnOff => "turn_off",
            Self::Recovery => "recovery",
            Self::Winding => "winding",
            Self::WindingAlternating => "winding_alternating",
            Self::Core => "core",
            Self::Capacitors => "capacitors",
            Self::Gate => "gate_drive",
            Self::Control => "control",
        }
    }

    /// The mechanism in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Channels => "channel conduction",
            Self::Clamp => "clamp",
            Self::Diodes => "body diodes",
            Self::TurnOn => "turn-on",
            Self::TurnOff => "turn-off",
            Self::Recovery => "reverse recovery",
            Self::Winding => "winding (DC)",
            Self::WindingAlternating => "winding (AC)",
            Self::Core => "core",
            Self::Capacitors => "capacitors",
            Self::Gate => "gate drive",
            Self::Control => "control",
        }
    }

    /// Whether it belongs to the power stage: gate drive and control have supplies
    /// of their own.
    #[must_use]
    pub const fn in_stage(self) -> bool {
        !matches!(self, Self::Gate | Self::Control)
    }
}

/// Where power is lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// All high-side transistors.
    High,
    /// All low-side transistors.
    Low,
    /// The clamp.
    Clamp,
    /// The inductor.
    Inductor,
    /// The capacitors.
    Capacitors,
    /// The gate drivers.
    Drivers,
    /// The control.
    Control,
}

impl Place {
    /// Every place, in the order of tables.
    pub const ALL: [Self; 7] = [
        Self::High,
        Self::Low,
        Self::Clamp,
        Self::Inductor,
        Self::Capacitors,
        Self::Drivers,
        Self::Control,
    ];

    /// The name by which data call it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::High => "high_side",
            Self::Low => "low_side",
            Self::Clamp => "clamp",
            Self::Inductor => "inductor",
            Self::Capacitors => "capacitors",
            Self::Drivers => "drivers",
            Self::Control => "control",
        }
    }

    /// The place in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::High => "high-side transistors",
            Self::Low => "low-side transistors",
            Self::Clamp => "clamp",
            Self::Inductor => "inductor",
            Self::Capacitors => "capacitors",
            Self::Drivers => "gate drivers",
            Self::Control => "control",
        }
    }
}

/// Powers by mechanism and by place, in watt.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Losses {
    mechanisms: [f64; Mechanism::ALL.len()],
    places: [f64; Place::ALL.len()],
    /// What the turn-off loses less where the capacitance holds the voltage back.
    pub(super) turn_off_spared: f64,
    /// Turn-on at the best and the worst instant of a ring, in watt.
    pub(super) ring: Option<[f64; 2]>,
    /// The core's flux, where the core's loss is counted.
    pub(super) flux: Option<Flux>,
    output: f64,
}

impl Losses {
    pub(super) fn new(output: f64) -> Self {
        Self {
            output,
            ..Self::default()
        }
    }

    pub(super) fn add(&mut self, mechanism: Mechanism, place: Place, watts: f64) {
        self.mechanisms[mechanism as usize] += watts;
        self.places[place as usize] += watts;
    }

    pub(super) fn at(&self, place: Place) -> f64 {
        self.places[place as usize]
    }

    /// The power of a mechanism.
    #[must_use]
    pub fn of(&self, mechanism: Mechanism) -> Power {
        Power::from_coherent(self.mechanisms[mechanism as usize])
    }

    /// The power lost in a place.
    #[must_use]
    pub fn in_place(&self, place: Place) -> Power {
        Power::from_coherent(self.places[place as usize])
    }

    /// The sum over the power stage.
    #[must_use]
    pub fn stage(&self) -> Power {
        let own = Mechanism::ALL.into_iter().filter(|m| m.in_stage());
        Power::from_coherent(own.map(|m| self.mechanisms[m as usize]).sum())
    }

    /// The sum with gate drive and control.
    #[must_use]
    pub fn total(&self) -> Power {
        Power::from_coherent(self.mechanisms.iter().sum())
    }

    /// The sum where the capacitance holds the voltage back at turn-off: the lower
    /// bound of [`Losses::total`].
    #[must_use]
    pub fn total_least(&self) -> Power {
        Power::from_coherent(self.mechanisms.iter().sum::<f64>() - self.turn_off_spared)
    }

    /// Where the node rings, the turn-on's loss at the best and at the worst instant;
    /// [`Mechanism::TurnOn`] has the mean over the ring.
    #[must_use]
    pub fn turn_on_over_ring(&self) -> Option<[Power; 2]> {
        self.ring.map(|ends| ends.map(Power::from_coherent))
    }

    /// How the core's flux rises and falls, where the core's loss is counted.
    #[must_use]
    pub fn flux(&self) -> Option<Flux> {
        self.flux
    }

    /// The lower bound of the turn-off's loss.
    #[must_use]
    pub fn turn_off_least(&self) -> Power {
        Power::from_coherent(self.mechanisms[Mechanism::TurnOff as usize] - self.turn_off_spared)
    }

    /// Output power over itself and the losses of the power stage.
    #[must_use]
    pub fn efficiency_stage(&self) -> Ratio {
        (self.output / (self.output + self.stage().coherent())).into()
    }

    /// Output power over itself and all losses, gate drive and control counted.
    #[must_use]
    pub fn efficiency_total(&self) -> Ratio {
        (self.output / (self.output + self.total().coherent())).into()
    }
}

/// Temperatures that settle with the losses; none of a part whose thermal resistance is not
/// stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Temperatures {
    /// Junction of each high-side transistor.
    pub high: Option<ThermodynamicTemperature>,
    /// Junction of each low-side transistor.
    pub low: Option<ThermodynamicTemperature>,
    /// Junction of the clamp's transistors, where the scheme has a clamp.
    pub clamp: Option<ThermodynamicTemperature>,
    /// The inductor's winding.
    pub inductor: Option<ThermodynamicTemperature>,
}

/// A part that does not bear what the point asks of it, or whose data cannot be.
#[derive(Clone, Debug, PartialEq)]
pub struct PartFinding {
    /// The part, by name where one was given.
    pub part: String,
    /// What is wrong, with the value and what was expected.
    pub message: String,
}

impl std::fmt::Display for PartFinding {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.part, self.message)
    }
}

/// What came of an operating point.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// How the stage is run.
    pub scheme: Scheme,
    /// The point.
    pub at: OperatingPoint,
    /// How the cell works out.
    pub state: State,
    /// The same in a sentence.
    pub words: &'static str,
    /// Peak current, where there is a cell.
    pub peak_current: Option<crate::quantity::Current>,
    /// The losses; `None` where there is no cell or a part is past what it bears.
    pub losses: Option<Losses>,
    /// The temperatures that go with them.
    pub temperatures: Option<Temperatures>,
    /// Why there are none.
    pub findings: Vec<PartFinding>,
}
