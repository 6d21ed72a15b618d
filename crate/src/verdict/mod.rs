//! Verdicts: whether each requirement holds over the whole box of ranges and parts.
//!
//! A requirement has one number at every point of operation and for every unit: its
//! slack, positive where the requirement holds. The same function gives the slack that
//! `cycle` prints at a point. A verdict is the sign of the smallest slack that a search
//! of the box finds:
//!
//! - the **box** holds the ranges of line and load, every uncertain input (bounded ones
//!   to their ends, others to three standard uncertainties) and cold and hot resistances.
//!   Correlations are ignored here, which is conservative;
//! - *not met* names a **witness**: a point of operation and the values of the parts at
//!   which the slack is negative;
//! - *no setting* has two: one asks for more than the other allows;
//! - *not decided* names a point that has no steady state, or skips pulses;
//! - *met* says over how many points it was searched. A search proves nothing; bounds do.

mod check;
mod judgement;
mod point;
mod probe;
mod search;
mod space;

pub use check::{Check, Direction, Limits, Reading, Slack};
pub(crate) use judgement::as_typed;
pub use judgement::{Judged, Judgement, Verdict, Witness, judge};
pub use point::{AtPoint, at_point};
pub use probe::{Cell, Probe};
pub use search::{Search, Worst, holds, search, serving_trip};
pub use space::{Place, Space};
