//! What a steady state is like, and what of it has a value.

use super::course::{Course, Switching, TurnOn};
use crate::quantity::{Current, Dimensioned as _, Time, print};
use crate::scheme::Scheme;
use crate::stage::OperatingPoint;

/// Of a node that is so near its level that what is left counts as none.
const NEXT_TO_NONE: &str = "The node is just off its upper level when the high side turns on: \
     next to no voltage and energy are left.";

/// How a cell works out at an operating point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// The high side turns on with no voltage left across it.
    ZeroVoltage,
    /// The node has not arrived, or has left again, when the high side turns on.
    Partial,
    /// The clamp has taken all current: nothing is left for the rising edge.
    ClampDemagnetised,
    /// The cell is too short for its intervals: no time is left to hold the node,
    /// or the trip is not reached.
    NoHoldTime,
    /// The load asks for more than discontinuous conduction can give.
    BeyondDiscontinuous,
    /// The falling edge does not reach the lower level: the low side turns on with
    /// a voltage across it.
    IncompleteFall,
    /// The on-time would have to be shorter than the control can give.
    BelowLeastOnTime,
}

impl State {
    /// Every state.
    pub const ALL: [Self; 7] = [
        Self::ZeroVoltage,
        Self::Partial,
        Self::ClampDemagnetised,
        Self::NoHoldTime,
        Self::BeyondDiscontinuous,
        Self::IncompleteFall,
        Self::BelowLeastOnTime,
    ];

    /// Its place in [`State::ALL`], as data count it.
    #[must_use]
    pub fn place(self) -> f64 {
        let before = Self::ALL.into_iter().take_while(|own| *own != self);
        before.fold(0.0, |place, _| place + 1.0)
    }

    /// The name by which data call it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ZeroVoltage => "zero_voltage",
            Self::Partial => "partial",
            Self::ClampDemagnetised => "clamp_demagnetised",
            Self::NoHoldTime => "no_hold_time",
            Self::BeyondDiscontinuous => "beyond_discontinuous",
            Self::IncompleteFall => "incomplete_fall",
            Self::BelowLeastOnTime => "below_least_on_time",
        }
    }

    /// The state under a scheme in a sentence, with what to do about it.
    #[must_use]
    pub const fn words(self, scheme: Scheme) -> &'static str {
        match self {
            Self::ZeroVoltage => "The high side turns on with no voltage left across it.",
            Self::Partial => match scheme {
                Scheme::FreewheelTransistors | Scheme::FreewheelDiode => {
                    "The node is not at its upper level when the high side turns on: move the dead \
                     time into its window, or leave more freewheel current."
                }
                Scheme::Discontinuous => {
                    "The node rings about the output voltage, and the high side turns on wherever \
                     the ring then is."
                }
                Scheme::Continuous => {
                    "The valley current is too small to lift the node, and the high side turns on \
                     with voltage across it."
                }
                Scheme::NegativeValley => {
                    "The node is not at its upper level when the high side turns on: move the dead \
                     time into its window, or let the current go further below zero."
                }
            },
            Self::ClampDemagnetised => {
                "The clamp has taken all current before it opens, and nothing is left for the \
                 rising edge: use a clamp of lower drop, a larger inductance or a shorter hold."
            }
            Self::NoHoldTime => {
                "The cell is too short for its intervals: lower the inductance, the trip threshold \
                 or the switching frequency."
            }
            Self::BeyondDiscontinuous => {
                "The load asks for more than discontinuous conduction can give: lower the \
                 inductance or the switching frequency."
            }
            Self::IncompleteFall => {
                "The falling edge does not reach the lower level, and the low side turns on hard: \
                 raise the minimum output current."
            }
            Self::BelowLeastOnTime => {
                "The on-time would have to be shorter than the control can give: pulses are skipped."
            }
        }
    }
}

impl std::fmt::Display for State {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// The steady state at an operating point.
///
/// What the state makes meaningless is `None`, never a number from a formula
/// that does not hold. Named currents are magnitudes, as in the equations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SteadyState {
    /// How the stage is run.
    pub scheme: Scheme,
    /// The operating point.
    pub at: OperatingPoint,
    /// How the cell works out.
    pub state: State,
    /// Why, in a sentence, where the state's own words leave it open.
    pub reason: Option<&'static str>,
    /// The current that just carries the node from the output to its upper level.
    pub floor: Current,
    /// Current when the low side is released, `I_s`, where the scheme fixes it.
    pub release_current: Option<Current>,
    /// Current when the clamp turns on, `I_c`.
    pub clamp_on_current: Option<Current>,
    /// Duration of the node's way from the lower level to the output.
    pub partial_rise_time: Option<Time>,
    /// By how much the intervals are longer than a cell even without a hold, where no
    /// hold time is left.
    pub time_short: Option<Time>,
    /// The trip threshold that leaves the margin over the floor after a hold of a whole
    /// cell, the longest there can be; without a clamp none.
    pub trip_needed: Option<Current>,
    /// The same where it is not cut off at zero: below, the delay or the partial rise alone
    /// gives more.
    pub trip_wanted: Option<Current>,
    /// The largest negative current that the release path can reach, a magnitude; none
    /// without resistance.
    pub trip_reach: Option<Current>,
    /// The cell itself, where there is one.
    pub course: Option<Course>,
}

impl SteadyState {
    /// The time left for the hold, below zero where the intervals are longer than the
    /// cell; none without a clamp and where the trip cannot be reached.
    #[must_use]
    pub fn hold_left(&self) -> Option<Time> {
        let hold = self.course.and_then(|course| course.hold);
        let short = self.time_short.map(|short| -short);
        hold.map(|hold| hold.duration).or(short)
    }

    /// The state in a sentence, with what to do about it.
    #[must_use]
    pub fn words(&self) -> &'static str {
        let soft = |course: &Course| course.switching() == Switching::ZeroVoltage;
        if self.state == State::Partial && self.course.as_ref().is_some_and(soft) {
            return NEXT_TO_NONE;
        }
        self.reason.unwrap_or(self.state.words(self.scheme))
    }

    /// How the cell works out in sentences, with what to do about it.
    #[must_use]
    pub fn explanation(&self) -> String {
        let words = self.words();
        match self.low_side() {
            Some(more) => format!("{words} {more}"),
            None => words.to_owned(),
        }
    }

    /// What is to say of a low side that turns on with voltage across it although the
    /// node comes to its lower level: its dead time ends before that, or after the node
    /// has left again.
    fn low_side(&self) -> Option<String> {
        let course = self.course.as_ref()?;
        let (arrives, leaves) = course.low_window?;
        let TurnOn { voltage, energy } = course.low_turn_on;
        if voltage.coherent() == 0.0 {
            return None;
        }
        let dead = course.low_dead_time;
        let (when, advice) = if dead < arrives {
            (
                format!("before the node has fallen, which takes {}", print(arrives)),
                "lengthen",
            )
        } else {
            (
                format!("after the node has left again at {}", print(leaves)),
                "shorten",
            )
        };
        Some(format!(
            "The low side turns on with {} across it and loses {}: its dead time of {} ends \
             {when}; {advice} it.",
            print(voltage),
            print(energy),
            print(dead)
        ))
    }
}
