//! Why a simulation stopped.

use std::fmt;

use super::gate::Short;
use crate::quantity::{Dimensioned as _, Time, print};

/// Why a simulation cannot go on.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum TimelineError {
    /// A setting or a starting state that cannot be.
    Setting(String),
    /// Gates that short a capacitor: a fault of the gate logic.
    Short {
        /// When, in seconds.
        time: f64,
        /// What.
        short: Short,
    },
    /// More events than a cell can have.
    TooManyEvents {
        /// When, in seconds.
        time: f64,
        /// Events in the last cell.
        events: u64,
    },
    /// A state that is not a number.
    NotFinite {
        /// When, in seconds.
        time: f64,
    },
    /// No steady state was found.
    NotSteady(String),
}

impl fmt::Display for TimelineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let at = |time: &f64| print(Time::from_coherent(*time));
        match self {
            Self::Setting(message) => f.write_str(message),
            Self::Short { time, short } => {
                let what = match short {
                    Short::Pair(pair) => format!("both transistors of pair {pair} are on"),
                    Short::Clamp => "the clamp is on while every pair conducts".to_owned(),
                    Short::ClampBeforeCatch => {
                        "the clamp's second device is on before the node is caught".to_owned()
                    }
                };
                write!(f, "at {} {what}: a capacitor is shorted", at(time))
            }
            Self::TooManyEvents { time, events } => write!(
                f,
                "{events} events without a new cell by {}: the node rings too fast for its cell, \
                 or the parts are not those of a converter; check inductance, capacitances and \
                 resistances",
                at(time)
            ),
            Self::NotFinite { time } => write!(
                f,
                "a current or voltage grew beyond all bounds by {}; check inductance, \
                 capacitances and the control's gains",
                at(time)
            ),
            Self::NotSteady(message) => write!(f, "no steady state was found: {message}"),
        }
    }
}

impl std::error::Error for TimelineError {}
