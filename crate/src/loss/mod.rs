//! Losses: what each mechanism dissipates, as formulas that show themselves.
//!
//! [`turn_on`] has the energy of a hard turn-on and the range of it where the
//! node rings; [`conduction`] the rms values of a cell's currents; [`drive`] gate
//! charge, overlap, diodes and recovery; [`core`] and [`winding`] the inductor;
//! [`heat`] the temperature that follows.
//!
//! All of them take terms, so that they can be used with other circuits too.

pub mod conduction;
pub mod core;
pub mod drive;
pub mod heat;
pub mod turn_on;
pub mod winding;

use crate::equation::Term;
use crate::quantity::Ratio;

/// The number π as an expression that is read back to all its digits.
fn pi() -> Term<Ratio> {
    let one: Term<Ratio> = 1.0.into();
    (2.0 * one.asin()).named("pi", "half a turn, in radian")
}
