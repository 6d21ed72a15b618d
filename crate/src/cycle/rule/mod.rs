//! The rules: what each scheme does with the parts that all share. A rule sets
//! how the node comes to the turn-on and how the release ends, finds the one
//! unknown, and leaves the rest to [`Found`].

mod continuous;
mod discontinuous;
mod found;
mod freewheel;
mod negative_valley;

pub(super) use found::{Found, Whole};

use super::solver::Bench;
use crate::scheme::Scheme;

/// Part of the cell to which its intervals must add up.
const CLOSED: f64 = 1e-13;

pub(super) fn solve(bench: &mut Bench, scheme: Scheme) -> Found {
    match scheme {
        Scheme::FreewheelTransistors | Scheme::FreewheelDiode => freewheel::solve(bench),
        Scheme::Discontinuous => discontinuous::solve(bench),
        Scheme::Continuous => continuous::solve(bench),
        Scheme::NegativeValley => negative_valley::solve(bench),
    }
}
