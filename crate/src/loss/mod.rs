//! Losses: what each mechanism dissipates, as formulas that show themselves.
//!
//! [`turn_on`] has the energy of a hard turn-on and the range of it where the
//! node rings; [`conduction`] the rms values of a cell's currents; [`drive`] gate
//! charge, overlap, diodes and recovery; [`core`] and [`winding`] the inductor;
//! [`heat`] the temperature that follows; `measured_core` (with feature `fit`) the constants
//! of a core from a table of losses. They take terms, so that they can be used
//! with other circuits too.
//!
//! [`Model`] puts numbers into them for one scheme at any operating point, fed by
//! the exact steady state, with the temperatures that settle.

mod budget;
pub mod conduction;
pub mod core;
pub mod drive;
pub mod heat;
#[cfg(feature = "fit")]
pub mod measured_core;
mod model;
mod numbers;
mod triangle;
pub mod turn_on;
pub mod winding;

pub use budget::{Losses, Mechanism, Outcome, PartFinding, Place, Temperatures};
pub use model::{Model, ModelError};
pub use triangle::{Difference, Flux};

use crate::equation::Term;
use crate::quantity::Ratio;

/// The number π as an expression that is read back to all its digits.
fn pi() -> Term<Ratio> {
    let one: Term<Ratio> = 1.0.into();
    (2.0 * one.asin()).named("pi", "half a turn, in radian")
}
