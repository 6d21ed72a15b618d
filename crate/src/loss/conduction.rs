//! The rms values of piecewise straight currents, and what they dissipate.

use crate::cycle::{self, Cell};
use crate::equation::{Derivation, Term};
use crate::quantity::{Current, Power, Ratio, Resistance, Time};
use crate::stage::Stage;

/// A current's square times a time.
type SquaredCurrentTime = <<Current as std::ops::Mul>::Output as std::ops::Mul<Time>>::Output;

/// The rms value of a current that runs straight from `i_1` to `i_2` over a part
/// `d` of the period and is zero for the rest:
/// `I_rms = √(d·(i_1² + i_1·i_2 + i_2²)/3)`.
///
/// A triangle has `i_1 = 0`, a rectangle `i_1 = i_2`.
///
/// # Errors
/// No value for a part of the period outside 0 to 1.
///
/// # Source
/// Integral of a straight line's square (Erickson and Maksimović, appendix).
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::conduction};
/// use slewbook::quantity::{print, unit::ampere};
/// let i_1 = Term::input("i_1", "current at the start", 0.0 * ampere);
/// let i_2 = Term::input("i_2", "current at the end", 3.0 * ampere);
/// let d = Term::input("d", "part of the period", 1.0.into());
/// let triangle = conduction::trapezoid_rms(i_1, i_2, d);
/// assert_eq!(print(triangle.value().unwrap()), "1.732 A");
/// ```
#[must_use]
pub fn trapezoid_rms(
    from: Term<Current>,
    to: Term<Current>,
    part: Term<Ratio>,
) -> Derivation<Current> {
    let rms = (part * (from.squared() + from * to + to.squared()) / 3.0).sqrt();
    Derivation::new(
        "trapezoid_rms",
        "What is the rms value of a current in a straight line?",
        rms.named("I_rms", "rms value"),
    )
    .requires(
        part.at_least(0.0.into()),
        "the part of the period is not negative",
        "Give it as a number from 0 to 1.",
    )
    .requires(
        part.at_most(1.0.into()),
        "the part of the period is one at most",
        "Give it as a number from 0 to 1.",
    )
    .source("erickson-2020")
}

/// The power that an rms current dissipates, `P = R·I_rms²`.
///
/// # Source
/// Ohm's law.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::conduction};
/// use slewbook::quantity::{print, unit::{ampere, mohm}};
/// let resistance = Term::input("R", "resistance", 4.0 * mohm);
/// let rms = Term::input("I_rms", "rms current", 8.0 * ampere);
/// assert_eq!(print(conduction::power(resistance, rms).value().unwrap()), "256 mW");
/// ```
#[must_use]
pub fn power(resistance: Term<Resistance>, rms: Term<Current>) -> Derivation<Power> {
    let power: Term<Power> = resistance * rms.squared();
    Derivation::new(
        "conduction_power",
        "What does a current dissipate in a resistance?",
        power.named("P_cond", "conduction loss"),
    )
    .source("circuit-laws")
}

/// `t·(i_1² + i_1·i_2 + i_2²)/3`, the integral of a straight line's square.
fn square(time: Term<Time>, from: Term<Current>, to: Term<Current>) -> Term<SquaredCurrentTime> {
    (from.squared() + from * to + to.squared()) * time / 3.0
}

/// The integrals of the current's square over the intervals of a cell.
struct Squares {
    cell: Cell,
    energise: Term<SquaredCurrentTime>,
    release: Term<SquaredCurrentTime>,
    freewheel: Term<SquaredCurrentTime>,
}

fn squares(stage: &Stage, trip: Term<Current>) -> Squares {
    let cell = cycle::cell(stage, trip);
    let energise = square(cell.on_time, -cell.residual_current, cell.peak_current)
        .named("S_on", "integral of the current's square while energising");
    let release = square(
        cell.release_time,
        cell.current_after_fall,
        -cell.release_current,
    )
    .named(
        "S_rel",
        "integral of the current's square during the release",
    );
    let freewheel = square(
        cell.hold_time,
        cell.clamp_on_current,
        cell.freewheel_current,
    )
    .named(
        "S_fw",
        "integral of the current's square during the freewheel",
    );
    Squares {
        cell,
        energise,
        release,
        freewheel,
    }
}

fn straight(cell: &Cell, derivation: Derivation<Current>) -> Derivation<Current> {
    cell.conditions(derivation)
        .assumes("The current runs straight in each interval; the decay during freewheel is small.")
}

/// The rms value of the inductor's current, freewheel and edges included.
///
/// # Errors
/// As [`cycle::peak_current`].
///
/// # Source
/// Integrals of straight lines' squares over the intervals of a cell.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::conduction, quantity::{print, unit::{ampere, uH}}};
/// use slewbook::stage::{DEMONSTRATION, Specification, Stage};
/// let stage = Stage::new(Specification::read(DEMONSTRATION).unwrap(), 0.68 * uH, "example");
/// let trip = Term::input("I_trip", "trip threshold", 0.4 * ampere);
/// assert_eq!(print(conduction::inductor_rms(&stage, trip).value().unwrap()), "7.992 A");
/// ```
#[must_use]
pub fn inductor_rms(stage: &Stage, trip: Term<Current>) -> Derivation<Current> {
    let s = squares(stage, trip);
    let cell = &s.cell;
    let edges = square(
        cell.rise_time,
        cell.freewheel_current,
        cell.residual_current,
    ) + square(cell.fall_time, cell.peak_current, cell.current_after_fall)
        + square(
            cell.partial_rise_time,
            cell.release_current,
            cell.clamp_on_current,
        );
    let edges = edges.named(
        "S_edge",
        "integral of the current's square during the edges",
    );
    let rms = ((s.energise + s.release + s.freewheel + edges) / stage.T).sqrt();
    straight(
        cell,
        Derivation::new(
            "inductor_rms",
            "What is the rms value of the inductor's current?",
            rms.named("I_L,rms", "rms value of the inductor's current"),
        ),
    )
}

/// The rms value of each high-side transistor's current over a switching period,
/// `√(((m + 1)·S_on + m·S_rel)/(n·T))`.
///
/// # Errors
/// As [`cycle::peak_current`].
///
/// # Source
/// Each cell has `m + 1` high sides in the path while energising and `m` during
/// the release; over a period every pair takes its turn.
#[must_use]
pub fn high_side_rms(stage: &Stage, trip: Term<Current>) -> Derivation<Current> {
    let s = squares(stage, trip);
    let sum = (stage.m + 1.0) * s.energise + stage.m * s.release;
    let rms = (sum / (stage.n * stage.T)).sqrt();
    straight(
        &s.cell,
        Derivation::new(
            "high_side_rms",
            "What is the rms value of a high-side transistor's current?",
            rms.named("I_H,rms", "rms value of a high-side transistor's current"),
        ),
    )
    .assumes("The edges are left out: a hundredth of the cell.")
}

/// The rms value of each low-side transistor's current over a switching period,
/// `√(((n − m − 1)·S_on + (n − m)·S_rel)/(n·T))`.
///
/// # Errors
/// As [`cycle::peak_current`].
///
/// # Source
/// As [`high_side_rms`].
#[must_use]
pub fn low_side_rms(stage: &Stage, trip: Term<Current>) -> Derivation<Current> {
    let s = squares(stage, trip);
    let sum = (stage.n - stage.m - 1.0) * s.energise + (stage.n - stage.m) * s.release;
    let rms = (sum / (stage.n * stage.T)).sqrt();
    straight(
        &s.cell,
        Derivation::new(
            "low_side_rms",
            "What is the rms value of a low-side transistor's current?",
            rms.named("I_L0,rms", "rms value of a low-side transistor's current"),
        ),
    )
    .assumes("The edges are left out: a hundredth of the cell.")
}

/// The rms value of the clamp's current over a cell, `√(S_fw/T)`.
///
/// # Errors
/// As [`cycle::peak_current`].
///
/// # Source
/// Integral of a straight line's square.
#[must_use]
pub fn clamp_rms(stage: &Stage, trip: Term<Current>) -> Derivation<Current> {
    let s = squares(stage, trip);
    straight(
        &s.cell,
        Derivation::new(
            "clamp_rms",
            "What is the rms value of the clamp's current?",
            (s.freewheel / stage.T)
                .sqrt()
                .named("I_c,rms", "rms value of the clamp's current"),
        ),
    )
}
