//! The rules: what each scheme does with the parts that all share. A rule sets
//! how the node comes to the turn-on and how the release ends, finds the one
//! unknown, and leaves the rest to [`Found`].

mod found;
mod freewheel;

pub(super) use found::{Found, Whole};

use super::solver::Bench;
use crate::scheme::Scheme;

pub(super) fn solve(bench: &mut Bench, scheme: Scheme) -> Found {
    match scheme {
        Scheme::FreewheelTransistors | Scheme::FreewheelDiode => freewheel::solve(bench),
        Scheme::Discontinuous | Scheme::Continuous | Scheme::NegativeValley => todo!(),
    }
}
