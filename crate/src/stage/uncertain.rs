//! The table of the inputs that can be uncertain: one row each, from which reading,
//! propagation, samples, corners and comparisons take what they need.

use super::circuit::Circuit;
use super::model::Stage;
use super::specification::Specification;
use crate::equation::{Symbol, Term};
use crate::quantity::{Current, Dimensioned};

/// Part of a value that a deviation leaves at least: parts stay above zero.
const LEAST: f64 = 1e-3;

/// How far an input is from its estimate.
///
/// A tolerance is stated of one value and holds for the part that a scheme uses in its
/// place: of an inductance five times as large it is five times as much.
///
/// ```
/// use slewbook::stage::Deviation;
/// let deviation = Deviation::new(0.1, 2.0);
/// assert_eq!(deviation.moved(10.0), 10.5);
/// // About a value of zero there is no part.
/// assert_eq!(Deviation::new(0.1, 0.0).moved(0.0), 0.1);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deviation {
    amount: f64,
    estimate: f64,
}

impl Deviation {
    /// An amount off an estimate, both in the coherent unit.
    #[must_use]
    pub fn new(amount: f64, estimate: f64) -> Self {
        Self { amount, estimate }
    }

    /// Another amount off the same estimate.
    pub(crate) fn by(self, amount: f64) -> Self {
        Self { amount, ..self }
    }

    /// A value in the estimate's place, with the deviation: parts stay above zero, and
    /// what was stated as zero does not fall below.
    #[must_use]
    pub fn moved(self, value: f64) -> f64 {
        if self.estimate > 0.0 {
            value * (1.0 + self.amount / self.estimate).max(LEAST)
        } else {
            (value + self.amount).max(0.0)
        }
    }

    fn moves<Q: Dimensioned>(self, value: &mut Q) {
        *value = Q::from_coherent(self.moved(value.coherent()));
    }

    fn moves_given<Q: Dimensioned>(self, value: &mut Option<Q>) {
        if let Some(value) = value {
            self.moves(value);
        }
    }
}

/// What is known of an input beside its distribution.
struct Row {
    key: &'static str,
    words: &'static str,
    symbol: fn(&Stage, Option<&'static Symbol>) -> Option<&'static Symbol>,
    estimate: fn(&Specification) -> f64,
    specification: fn(&mut Specification, Deviation),
    circuit: Option<fn(&mut Circuit, Deviation)>,
}

/// The inputs from their rows: a variant with its documentation and the row's fields.
macro_rules! table {
    ($($(#[$doc:meta])+ $name:ident { $($row:tt)+ })+) => {
        /// An input of the specification that can be uncertain.
        ///
        /// ```
        /// use slewbook::stage::UncertainInput;
        /// assert_eq!(UncertainInput::TripDelay.key(), "trip.delay");
        /// ```
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum UncertainInput {
            $($(#[$doc])+ $name,)+
        }

        impl UncertainInput {
            /// Every one, in the order of the table.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];

            fn row(self) -> &'static Row {
                match self {
                    $(Self::$name => {
                        const ROW: Row = Row { $($row)+ };
                        &ROW
                    })+
                }
            }
        }
    };
}

table! {
    /// The inductance, and that of continuous conduction.
    Inductance {
        key: "stage.inductance",
        words: "inductance",
        symbol: |stage, _| stage.L.symbol(),
        estimate: |s| s.inductance.map_or(0.0, Dimensioned::coherent),
        specification: |s, by| {
            by.moves_given(&mut s.inductance);
            by.moves_given(&mut s.parts.continuous_inductance);
        },
        circuit: Some(|c, by| by.moves(&mut c.inductance)),
    }
    /// The constant part of the node's capacitance.
    NodeCapacitance {
        key: "stage.node_capacitance",
        words: "constant node capacitance of winding and layout",
        symbol: |stage, _| stage.C_par.symbol(),
        estimate: |s| s.node_capacitance.coherent(),
        specification: |s, by| by.moves(&mut s.node_capacitance),
        circuit: Some(|c, by| by.moves(&mut c.node_capacitance)),
    }
    /// The resistance of the clamp's path, whichever clamp it is.
    ClampResistance {
        key: "clamp.resistance",
        words: "resistance of the clamp's path",
        symbol: |stage, _| stage.R_c.symbol(),
        estimate: |s| s.clamp.resistance.coherent(),
        specification: |s, by| {
            by.moves(&mut s.clamp.resistance);
            by.moves_given(&mut s.clamp.data.hot_resistance);
            if let Some(diode) = &mut s.clamp.diode {
                by.moves(&mut diode.resistance);
            }
        },
        circuit: Some(|c, by| {
            if let Some(path) = &mut c.freewheel {
                by.moves(&mut path.resistance);
            }
        }),
    }
    /// A factor on the clamp's capacitance curve.
    ClampScale {
        key: "clamp.output_capacitance.scale",
        words: "factor on the clamp's capacitance curve",
        symbol: |stage, _| stage.s_cl.and_then(Term::symbol),
        estimate: |s| s.clamp.scale,
        specification: |s, by| s.clamp.scale = by.moved(s.clamp.scale),
        circuit: Some(|c, by| c.clamp_scale = by.moved(c.clamp_scale)),
    }
    /// The trip delay.
    TripDelay {
        key: "trip.delay",
        words: "delay from the trip to the release",
        symbol: |stage, _| stage.t_d.symbol(),
        estimate: |s| s.trip.delay.coherent(),
        specification: |s, by| by.moves(&mut s.trip.delay),
        circuit: Some(|c, by| by.moves(&mut c.trip_delay)),
    }
    /// The trip threshold, where it is stated.
    TripThreshold {
        key: "trip.threshold",
        words: "trip threshold in force",
        symbol: |_, threshold| threshold,
        estimate: |s| s.trip.threshold.map_or(0.0, Current::coherent),
        specification: |s, by| by.moves_given(&mut s.trip.threshold),
        circuit: Some(|c, by| by.moves(&mut c.trip_threshold)),
    }
    /// A factor on the high-side transistor's capacitance curve.
    HighScale {
        key: "transistors.high.output_capacitance.scale",
        words: "factor on the high-side capacitance curve",
        symbol: |stage, _| stage.s_H.and_then(Term::symbol),
        estimate: |s| s.high.scale,
        specification: |s, by| s.high.scale = by.moved(s.high.scale),
        circuit: Some(|c, by| c.high.scale = by.moved(c.high.scale)),
    }
    /// A factor on the low-side transistor's capacitance curve.
    LowScale {
        key: "transistors.low.output_capacitance.scale",
        words: "factor on the low-side capacitance curve",
        symbol: |stage, _| stage.s_L.and_then(Term::symbol),
        estimate: |s| s.low.scale,
        specification: |s, by| s.low.scale = by.moved(s.low.scale),
        circuit: Some(|c, by| c.low.scale = by.moved(c.low.scale)),
    }
}

impl UncertainInput {
    /// Where it stands in a specification: what a correlation names.
    #[must_use]
    pub fn key(self) -> &'static str {
        self.row().key
    }

    /// The last word of its key: what its table calls it.
    pub(crate) fn own_key(self) -> &'static str {
        let key = self.key();
        key.rsplit_once('.').map_or(key, |(_, own)| own)
    }

    /// The input of a key.
    #[must_use]
    pub fn of(key: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|own| own.key() == key)
    }

    /// What it is, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        self.row().words
    }

    /// Its symbol in the equations of a stage, where it has one; `threshold` is that of
    /// the trip threshold in force.
    #[must_use]
    pub fn symbol(
        self,
        stage: &Stage,
        threshold: Option<&'static Symbol>,
    ) -> Option<&'static Symbol> {
        (self.row().symbol)(stage, threshold)
    }

    /// The value that its distribution is stated about, in the coherent unit.
    #[must_use]
    pub fn estimate(self, specification: &Specification) -> f64 {
        (self.row().estimate)(specification)
    }

    /// An amount off its estimate, in the coherent unit.
    #[must_use]
    pub fn deviation(self, specification: &Specification, amount: f64) -> Deviation {
        Deviation::new(amount, self.estimate(specification))
    }

    /// Moves it in a specification, with all that it stands for there.
    pub fn change(self, specification: &mut Specification, by: Deviation) {
        (self.row().specification)(specification, by);
    }

    /// Whether a circuit holds it.
    #[must_use]
    pub fn is_in_circuits(self) -> bool {
        self.row().circuit.is_some()
    }

    /// Moves it in a circuit as a circuit of the changed specification would have it.
    pub fn change_circuit(self, circuit: &mut Circuit, by: Deviation) {
        if let Some(change) = self.row().circuit {
            change(circuit, by);
        }
    }
}
