//! How large the inductance may be.

use crate::cycle;
use crate::equation::{Derivation, Term, Unknown};
use crate::quantity::{Current, Inductance};
use crate::stage::Stage;

/// The largest inductance for a current between `-I_0` and `2·I_out + I_0`.
fn textbook(stage: &Stage) -> Term<Inductance> {
    let (a, b) = (stage.a, stage.b);
    (stage.T * a * b / ((a + b) * (2.0 * stage.I_out))).named(
        "L_bnd",
        "inductance at the boundary of discontinuous conduction",
    )
}

/// The boundary of discontinuous conduction: `L = T·a·b/((a + b)·2·I_out)`.
///
/// Above it the current of a plain stage without freewheel no longer returns to
/// zero within a cell. `a` and `b` are the steps from the output to the node's
/// levels, `T` the cell.
///
/// # Source
/// The textbook limit of discontinuous conduction (Erickson and Maksimović,
/// chapter 5), here between two neighbouring levels.
///
/// # Example
/// ```
/// use slewbook::{limit, quantity::{print, unit::uH}, stage::{DEMONSTRATION, Specification, Stage}};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let stage = Stage::new(specification, 0.68 * uH, "specification");
/// assert_eq!(print(limit::boundary(&stage).value().unwrap()), "1.19 µH");
/// ```
#[must_use]
pub fn boundary(stage: &Stage) -> Derivation<Inductance> {
    Derivation::new(
        "inductance_boundary",
        "At which inductance would the current just return to zero in every cell?",
        textbook(stage),
    )
    .source("erickson-2020")
    .assumes("Instant edges, no freewheel, no resistance.")
}

/// The ceiling: the inductance at which freewheel shrinks to nothing at this
/// load, the current running from `-I_min` to `2·I_out + I_min`.
///
/// The floor `I_min` itself falls with the inductance, so the equation is
/// solved: `L·(a + b)·2·(I_out + I_min(L)) = T·a·b`.
///
/// # Source
/// The boundary of discontinuous conduction with the floor's current.
#[must_use]
pub fn ceiling(stage: &Stage) -> Derivation<Inductance> {
    let unknown = Unknown::<Inductance>::new("L_max", "inductance at which no freewheel is left");
    let (a, b, inductance) = (stage.a, stage.b, unknown.term());
    let left = inductance * (a + b) * (2.0 * (stage.I_out + stage.floor(inductance)));
    let bound = textbook(stage);
    let solved = unknown.solves(left, stage.T * a * b, bound / LOWEST, bound);
    Derivation::new(
        "inductance_ceiling",
        "How large may the inductance be if the minimum freewheel current is to flow?",
        solved,
    )
    .source("erickson-2020")
    .source("energy-balance")
    .assumes("Instant edges, no margin, no trip delay: it explains the ceiling in operation.")
}

/// How far below the boundary a solution is sought: a stage with less of it has
/// nothing but edges in a cell.
const LOWEST: f64 = 1e4;

/// The ceiling in operation: the inductance at which the hold time of the exact
/// steady state is zero, with the trip threshold as it is set.
///
/// # Errors
/// No value where the freewheel current does not reach its floor at that
/// inductance, or the falling edge stays incomplete.
///
/// # Source
/// Conservation of energy and charge in one cell.
#[must_use]
pub fn ceiling_operating(stage: &Stage, trip: Term<Current>) -> Derivation<Inductance> {
    let unknown = Unknown::<Inductance>::new("L_op", "inductance at which no hold time is left");
    let (cell, intervals) = cycle::without_hold(stage, unknown.term(), trip);
    let bound = textbook(stage);
    let solved = unknown.solves(intervals, stage.T, bound / LOWEST, bound);
    cell.conditions(Derivation::new(
        "inductance_ceiling_operating",
        "How large may the inductance be in operation, with the trip as set?",
        solved,
    ))
}
