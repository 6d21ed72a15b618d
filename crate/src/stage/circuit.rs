//! The stage in numbers: what the exact steady state and the simulation compute with.

use super::specification::{Specification, Transistor};
use crate::equation::Curve;
use crate::quantity::{
    Capacitance, Current, Dimensioned as _, Frequency, Inductance, Ratio, Resistance, Time, Voltage,
};
use crate::scheme::Scheme;

/// An operating point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OperatingPoint {
    /// Input voltage.
    pub input_voltage: Voltage,
    /// Output voltage.
    pub output_voltage: Voltage,
    /// Output current.
    pub output_current: Current,
}

/// A transistor of the leg in numbers.
#[derive(Clone, Copy, Debug)]
pub struct Switch {
    /// Channel resistance when on.
    pub on_resistance: Resistance,
    /// Drop of the body diode; zero where the specification gives none.
    pub diode_drop: Voltage,
    /// Output capacitance against its own voltage.
    pub output_capacitance: &'static Curve,
    /// Factor on that capacitance: a tolerance.
    pub scale: f64,
}

/// The clamp's path while it conducts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Freewheel {
    /// Resistance of the path.
    pub resistance: Resistance,
    /// Constant drop of the path.
    pub drop: Voltage,
}

/// The parts of a stage under one scheme, as numbers.
///
/// Every field may be changed: a tolerance run is a copy with other values.
///
/// ```
/// use slewbook::{quantity::print, scheme::Scheme};
/// use slewbook::quantity::unit::{ampere, uH};
/// use slewbook::stage::{Circuit, DEMONSTRATION, Specification};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let circuit = Circuit::new(
///     &specification, Scheme::FreewheelTransistors, 0.68 * uH, 0.4 * ampere,
/// ).unwrap();
/// assert_eq!(print(circuit.cell_time()), "3.571 µs");
/// ```
#[derive(Clone, Copy, Debug)]
pub struct Circuit {
    /// How the stage is run.
    pub scheme: Scheme,
    /// Number of switch pairs.
    pub pairs: u8,
    /// Band: whole steps below the output voltage.
    pub band: u8,
    /// Switching frequency of each pair, where the scheme fixes it.
    pub switching_frequency: Frequency,
    /// Inductance.
    pub inductance: Inductance,
    /// Resistance of the inductor's winding to direct current.
    pub inductor_resistance: Resistance,
    /// High-side transistor of every pair.
    pub high: Switch,
    /// Low-side transistor of every pair.
    pub low: Switch,
    /// The clamp's path, where the scheme has a clamp.
    pub freewheel: Option<Freewheel>,
    /// Output capacitance of the clamp against the voltage across it, where the
    /// scheme has a clamp and the specification gives one.
    pub clamp_capacitance: Option<&'static Curve>,
    /// Factor on that capacitance: a tolerance.
    pub clamp_scale: f64,
    /// Constant part of the node's capacitance.
    pub node_capacitance: Capacitance,
    /// Capacitance of each flying capacitor at its working voltage, where given.
    pub flying_capacitance: Option<Capacitance>,
    /// Series resistance of each flying capacitor.
    pub flying_capacitor_resistance: Resistance,
    /// Output capacitance at its working voltage.
    pub output_capacitance: Capacitance,
    /// Series resistance of the output capacitor.
    pub output_capacitor_resistance: Resistance,
    /// Trip threshold in force, a magnitude.
    pub trip_threshold: Current,
    /// Comparator offset as a current, which lowers the threshold in force.
    pub trip_offset: Current,
    /// From the comparator's decision to the release of the low side.
    pub trip_delay: Time,
    /// Current asked for over the one that just suffices.
    pub margin: Ratio,
    /// Dead time of the rising edge; without it the high side turns on soon after the node has
    /// arrived, or where it comes nearest.
    pub dead_time: Option<Time>,
    /// Dead time of the falling edge; without it see
    /// [`dead_time_of_fall`](Circuit::dead_time_of_fall).
    pub low_dead_time: Option<Time>,
    /// Least on-time that the control can give.
    pub minimum_on_time: Time,
}

/// Why a circuit cannot be made: the scheme needs a key that the specification lacks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MissingPart {
    /// The scheme.
    pub scheme: Scheme,
    /// The keys it needs, as a specification writes them.
    pub keys: &'static str,
}

impl std::fmt::Display for MissingPart {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "the scheme `{}` needs {}, which the specification does not give",
            self.scheme, self.keys
        )
    }
}

impl std::error::Error for MissingPart {}

/// Part of the switching period that is the dead time of continuous conduction where none is
/// stated: a choice of ours, near common practice. There the current need not lift the node;
/// a side that waited for it would turn on earlier or later with the sign of the current, and
/// a loop around that need not settle.
const DEAD_PART: f64 = 0.005;

impl Circuit {
    /// The circuit of a specification under a scheme, with the inductance and the
    /// trip threshold in force. The continuous scheme takes its own inductance.
    ///
    /// # Errors
    /// A scheme whose parts the specification does not give.
    pub fn new(
        specification: &Specification,
        scheme: Scheme,
        inductance: Inductance,
        trip_threshold: Current,
    ) -> Result<Self, MissingPart> {
        let s = specification;
        let missing = |keys| MissingPart { scheme, keys };
        let freewheel = match scheme {
            Scheme::FreewheelTransistors => Some(Freewheel {
                resistance: s.clamp.resistance,
                drop: s.clamp.drop,
            }),
            Scheme::FreewheelDiode => {
                let diode = s
                    .clamp
                    .diode
                    .ok_or(missing("`resistance` and `drop` under [clamp.diode]"))?;
                Some(Freewheel {
                    resistance: diode.resistance,
                    drop: diode.drop,
                })
            }
            Scheme::Discontinuous | Scheme::Continuous | Scheme::NegativeValley => None,
        };
        let inductance = if scheme == Scheme::Continuous {
            s.parts
                .continuous_inductance
                .ok_or(missing("`inductance` under [continuous]"))?
        } else {
            inductance
        };
        let none = Resistance::from_coherent(0.0);
        let p = &s.parts;
        let winding = if scheme == Scheme::Continuous {
            p.continuous_resistance
        } else {
            p.inductor_resistance
        };
        Ok(Self {
            scheme,
            pairs: s.levels - 1,
            band: s.band(),
            switching_frequency: s.switching_frequency,
            inductance,
            inductor_resistance: winding.unwrap_or(none),
            high: switch(&s.high),
            low: switch(&s.low),
            freewheel,
            clamp_capacitance: s.clamp.output_capacitance.filter(|_| freewheel.is_some()),
            clamp_scale: s.clamp.scale,
            node_capacitance: s.node_capacitance,
            flying_capacitance: s.flying_capacitance_in_operation(),
            flying_capacitor_resistance: p.flying_capacitor_resistance.unwrap_or(none),
            output_capacitance: s.output_capacitance_in_operation(),
            output_capacitor_resistance: p.output_capacitor_resistance.unwrap_or(none),
            trip_threshold,
            trip_offset: s.trip.offset,
            trip_delay: s.trip.delay,
            margin: s.trip.margin,
            dead_time: s.dead_time.or_else(|| {
                let fixed = DEAD_PART / s.switching_frequency;
                (scheme == Scheme::Continuous).then_some(fixed)
            }),
            low_dead_time: s.control.low_dead_time,
            minimum_on_time: s.minimum_on_time.unwrap_or(Time::from_coherent(0.0)),
        })
    }

    /// The duration of one cell at the fixed switching frequency.
    #[must_use]
    pub fn cell_time(&self) -> Time {
        1.0 / (f64::from(self.pairs) * self.switching_frequency)
    }

    /// The dead time in force on the falling edge, from the high side's turn-off to the
    /// low side's turn-on: its own, else that of the rising edge. With neither the low
    /// side turns on as soon as the node has arrived or comes no nearer.
    #[must_use]
    pub fn dead_time_of_fall(&self) -> Option<Time> {
        self.low_dead_time.or(self.dead_time)
    }
}

fn switch(transistor: &Transistor) -> Switch {
    Switch {
        on_resistance: transistor.on_resistance,
        diode_drop: transistor.diode_drop.unwrap_or(Voltage::from_coherent(0.0)),
        output_capacitance: transistor.output_capacitance,
        scale: transistor.scale,
    }
}
