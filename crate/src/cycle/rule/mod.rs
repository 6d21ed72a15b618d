//! The rules: what each scheme does with the parts that all share. A rule sets
//! how the node comes to the turn-on and how the release ends, finds the one
//! unknown, and leaves the rest to [`Found`].

mod continuous;
mod discontinuous;
mod found;
mod freewheel;
mod negative_valley;

pub(super) use found::{Found, Whole};

use super::balance::Excess;
use super::solver::Bench;
use crate::scheme::Scheme;

/// The cell of a scheme. Where one like it was found at this point, the search starts
/// from there. Where a search leads to no cell, that says nothing until all was sought
/// anew, every charge met on the way.
pub(super) fn solve(bench: &mut Bench, scheme: Scheme) -> Found {
    let rule = match scheme {
        Scheme::FreewheelTransistors | Scheme::FreewheelDiode => freewheel::solve,
        Scheme::Discontinuous => discontinuous::solve,
        Scheme::Continuous => continuous::solve,
        Scheme::NegativeValley => negative_valley::solve,
    };
    bench.strict = false;
    let found = rule(bench);
    if found.whole.is_some() || bench.near.is_none() {
        return found;
    }
    (bench.near, bench.last_peak, bench.strict) = (None, None, true);
    rule(bench)
}

/// Whether the intervals add up to a cell: where already the shortest on-time
/// brings too much charge, they jump past it. A first search that comes less near than
/// rounding allows is repeated strictly.
fn closed(left: Excess, bench: &Bench) -> bool {
    let least = if bench.strict { 1e-9 } else { 5e-12 };
    let most = bench.closing.max(least) * bench.n.period;
    left.over.abs() <= most && left.doubt <= most
}
