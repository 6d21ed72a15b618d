//! One cell in steady state: six intervals, one unknown, fixed by the output
//! current.
//!
//! The ramps are free of resistance, the edges exact for any capacitance curve,
//! and the clamp's current decays over the hold as it does. While the clamp
//! conducts, the node counts as held at the output voltage.

use crate::equation::{Derivation, Term, Unknown};
use crate::quantity::{Current, Dimensioned, Inductance, Time};
use crate::stage::Stage;
use crate::{edge, freewheel};

/// The quantity of a current's square.
type SquaredCurrent = <Current as std::ops::Mul>::Output;

/// The terms of one cell.
#[derive(Clone, Copy, Debug)]
pub struct Cell {
    /// Current when the low side is released, `I_s` (negative in the inductor).
    pub release_current: Term<Current>,
    /// Current when the clamp turns on, `I_c`.
    pub clamp_on_current: Term<Current>,
    /// Freewheel current when the clamp opens, `I_h`.
    pub freewheel_current: Term<Current>,
    /// Its floor, `I_min`.
    pub floor: Term<Current>,
    /// Current left when the node arrives, `I_r`.
    pub residual_current: Term<Current>,
    /// Peak current, `I_pk`.
    pub peak_current: Term<Current>,
    /// Current after the falling edge, `I_after`.
    pub current_after_fall: Term<Current>,
    /// Duration of the rising edge.
    pub rise_time: Term<Time>,
    /// Duration of energising, from the node's arrival to turn-off.
    pub on_time: Term<Time>,
    /// Duration of the falling edge.
    pub fall_time: Term<Time>,
    /// Duration of the release.
    pub release_time: Term<Time>,
    /// Duration of the partial rise.
    pub partial_rise_time: Term<Time>,
    /// Duration of the freewheel.
    pub hold_time: Term<Time>,
    /// The square of the current after the fall, which must not be negative.
    arrival: Term<SquaredCurrent>,
}

fn zero_time() -> Term<Time> {
    Term::constant(Time::from_coherent(0.0))
}

/// Everything of a cell but its hold time.
fn parts(
    stage: &Stage,
    inductance: Term<Inductance>,
    trip: Term<Current>,
    hold: Option<Term<Time>>,
) -> Cell {
    let (a, b) = (stage.a, stage.b);
    let floor = stage.floor(inductance);
    let release_current = freewheel::released(stage, inductance, trip);
    let clamp_on_current = (release_current.squared()
        - 2.0 * stage.work(stage.V_lo, stage.V_out) / inductance)
        .sqrt()
        .named("I_c", "current when the clamp turns on");
    let freewheel_current = match hold {
        None => clamp_on_current,
        Some(hold) => freewheel::decayed(stage, inductance, clamp_on_current, hold)
            .named("I_h", "freewheel current when the clamp opens"),
    };
    let residual_current = (freewheel_current.squared() - floor.squared())
        .sqrt()
        .named("I_r", "current left when the node arrives");
    let swing = 2.0 * stage.work(stage.V_lo, stage.V_hi) / inductance;
    let charge = 2.0 * stage.I_out * stage.T / inductance;
    let peak_squared = a * b / (a + b)
        * (charge + residual_current.squared() / a + (release_current.squared() - swing) / b);
    let peak_current = peak_squared.sqrt().named("I_pk", "peak current");
    let arrival = peak_current.squared() + swing;
    let current_after_fall = arrival
        .sqrt()
        .named("I_after", "current after the falling edge");
    let rise_time = edge::rise(stage, inductance, freewheel_current);
    let on_time = (inductance * (peak_current + residual_current) / a)
        .named("t_on", "duration of energising");
    let fall_time = edge::fall(stage, inductance, peak_current);
    let release_time = (inductance * (current_after_fall + release_current) / b)
        .named("t_rel", "duration of the release");
    let partial_rise_time = edge::partial_rise(stage, inductance, release_current);
    Cell {
        release_current,
        clamp_on_current,
        freewheel_current,
        floor,
        residual_current,
        peak_current,
        current_after_fall,
        rise_time,
        on_time,
        fall_time,
        release_time,
        partial_rise_time,
        hold_time: hold.unwrap_or_else(zero_time),
        arrival,
    }
}

impl Cell {
    fn five_intervals(&self) -> Term<Time> {
        self.rise_time + self.on_time + self.fall_time + self.release_time + self.partial_rise_time
    }

    /// Adds the conditions under which the cell's formulas hold.
    pub(crate) fn conditions<Q: Dimensioned>(&self, derivation: Derivation<Q>) -> Derivation<Q> {
        derivation
            .requires(
                self.arrival
                    .at_least(Term::constant(SquaredCurrent::from_coherent(0.0))),
                "the falling edge reaches the lower level",
                "Below this load the low side turns on hard; raise the minimum output current.",
            )
            .requires(
                self.freewheel_current.at_least(self.floor),
                "the freewheel current carries the node to its upper level",
                "Raise the trip threshold.",
            )
            .unsolved(
                "The six intervals do not fill the cell. Either no hold time is left (lower the \
                 inductance or the switching frequency); or the freewheel current falls below its \
                 floor before the cell ends (raise the trip threshold); or the falling edge does \
                 not reach the lower level at this load.",
            )
            .source("energy-balance")
            .assumes("The ramps have no resistance; the edges are exact and without resistance.")
            .assumes("The clamp's current circulates and does not reach the output.")
    }
}

/// The cell of a stage with a trip threshold: the hold time is the one unknown.
///
/// ```
/// use slewbook::{cycle, equation::Term, quantity::{print, unit::{ampere, uH}}};
/// use slewbook::stage::{DEMONSTRATION, Specification, Stage};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let stage = Stage::new(specification, 0.68 * uH, "specification");
/// let trip = Term::input("I_trip", "trip threshold", 0.4 * ampere);
/// let cell = cycle::cell(&stage, trip);
/// assert_eq!(print(cell.peak_current.value().unwrap()), "15.89 A");
/// ```
#[must_use]
pub fn cell(stage: &Stage, trip: Term<Current>) -> Cell {
    let hold = Unknown::<Time>::new("t_h", "hold time");
    let cell = parts(stage, stage.L, trip, Some(hold.term()));
    let keep = freewheel_lasts(stage, &cell);
    let solved = hold.solves(
        cell.five_intervals() + cell.hold_time,
        stage.T,
        zero_time(),
        stage.T.min(keep),
    );
    Cell {
        hold_time: solved,
        ..cell
    }
}

/// The time for which the clamp's current stays above the floor.
fn freewheel_lasts(stage: &Stage, cell: &Cell) -> Term<Time> {
    let ratio = match stage.V_c {
        None => cell.clamp_on_current / cell.floor,
        Some(drop) => {
            let offset = drop / stage.R_f;
            (cell.clamp_on_current + offset) / (cell.floor + offset)
        }
    };
    (stage.L / stage.R_f * ratio.ln()).named(
        "t_keep",
        "time for which the clamp current stays above the floor",
    )
}

/// The peak current in steady state, from the balance of the output charge:
/// `I_out·T = L/2·((I_pk² − I_r²)/a + (I_after² − I_s²)/b)`.
///
/// # Errors
/// No value where no hold time is left, where the freewheel current does not
/// reach its floor, or where the falling edge stays incomplete.
///
/// # Source
/// Conservation of energy and charge.
#[must_use]
pub fn peak_current(stage: &Stage, trip: Term<Current>) -> Derivation<Current> {
    let cell = cell(stage, trip);
    cell.conditions(Derivation::new(
        "peak_current",
        "How high does the inductor current rise?",
        cell.peak_current,
    ))
}

/// The hold time in steady state: what the other five intervals leave of the cell.
///
/// # Errors
/// As [`peak_current`].
///
/// # Source
/// Conservation of energy and charge.
#[must_use]
pub fn hold_time(stage: &Stage, trip: Term<Current>) -> Derivation<Time> {
    let cell = cell(stage, trip);
    cell.conditions(Derivation::new(
        "hold_time",
        "How long does the clamp hold the node?",
        cell.hold_time,
    ))
}

/// The on-time in steady state, from the node's arrival to the turn-off.
///
/// # Errors
/// As [`peak_current`].
///
/// # Source
/// Straight-line current in an inductor.
#[must_use]
pub fn on_time(stage: &Stage, trip: Term<Current>) -> Derivation<Time> {
    let cell = cell(stage, trip);
    cell.conditions(Derivation::new(
        "on_time",
        "How long does the high side energise the inductor?",
        cell.on_time,
    ))
}

/// A cell without hold for an inductance that is itself unknown: the five
/// remaining intervals fill it.
pub(crate) fn without_hold(
    stage: &Stage,
    inductance: Term<Inductance>,
    trip: Term<Current>,
) -> (Cell, Term<Time>) {
    let cell = parts(stage, inductance, trip, None);
    (cell, cell.five_intervals())
}
