//! Freewheel: the current that must be left when the clamp opens, its decay
//! while the clamp conducts, and the trip threshold that provides it.

use crate::equation::{Derivation, Term};
use crate::quantity::{Current, Dimensioned, Inductance, Ratio, Time};
use crate::stage::Stage;

fn zero<Q: Dimensioned>() -> Term<Q> {
    Term::constant(Q::from_coherent(0.0))
}

/// The clamp current `hold` before the freewheel current `later`, and the other
/// way about: the decay of an inductor's current through a resistance and a
/// constant drop.
///
/// # Source
/// The series circuit of inductance and resistance (OpenStax, University Physics Volume 2, chapter 14).
pub(crate) fn decayed(
    stage: &Stage,
    inductance: Term<Inductance>,
    current: Term<Current>,
    hold: Term<Time>,
) -> Term<Current> {
    shifted(stage, current, -(stage.R_f * hold / inductance))
}

fn shifted(stage: &Stage, current: Term<Current>, exponent: Term<Ratio>) -> Term<Current> {
    match stage.V_c {
        None => current * exponent.exp(),
        Some(drop) => {
            let offset = drop / stage.R_f;
            (current + offset) * exponent.exp() - offset
        }
    }
}

/// The freewheel floor: the current whose energy just carries the node from the
/// output to its upper level, `I_min = √(2·W(V_out, V_hi)/L)`.
///
/// `W` is the integral of `C(u)·(u − V_out)`; `L` the inductance. Exact for any
/// capacitance curve, with edges free of resistance. For a constant capacitance
/// it is `a/Z` with `Z = √(L/C)`.
///
/// # Source
/// Conservation of energy in the resonant transition.
///
/// # Example
/// A constant 600 pF at 44 V:
/// ```
/// use slewbook::{freewheel, stage::{Specification, Stage}, quantity::{print, unit::uH}};
/// # let text = slewbook::stage::DEMONSTRATION
/// #     .replace("{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\" }", "{ constant = \"300 pF\" }")
/// #     .replace("{ zero_bias = \"600 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"40 pF\" }", "{ constant = \"0 pF\" }")
/// #     .replace("\"50 pF\"", "\"0 pF\"").replace("nominal = \"36 V\"", "nominal = \"44 V\"");
/// let specification = Specification::read(&text).unwrap();
/// let stage = Stage::new(specification, 0.68 * uH, "example");
/// let floor = freewheel::floor(&stage);
/// assert_eq!(print(floor.value().unwrap()), "475.3 mA");
/// ```
#[must_use]
pub fn floor(stage: &Stage) -> Derivation<Current> {
    Derivation::new(
        "freewheel_floor",
        "How much current must be left in the inductor for the node to reach its upper level?",
        stage.floor(stage.L),
    )
    .source("energy-balance")
    .assumes("The rising edge has no series resistance; its loss is far below the energy moved.")
}

/// The freewheel current asked for: the floor times the margin.
pub(crate) fn required(stage: &Stage) -> Term<Current> {
    (stage.k * stage.floor(stage.L)).named("I_h", "freewheel current when the clamp opens")
}

/// The clamp current needed so that the freewheel current, after a hold of a
/// whole cell, is still the margin times its floor.
///
/// Resistive clamp: `I_c = I_h·exp(R_f·T/L)`; with a drop `V_c`:
/// `I_c = (I_h + V_c/R_f)·exp(R_f·T/L) − V_c/R_f`. `R_f` is the resistance of the
/// loop: the clamp's path and the inductor's winding.
///
/// # Assumptions
/// A hold of a whole cell bounds every hold at constant frequency, not a hold
/// across skipped pulses.
///
/// # Source
/// The series circuit of inductance and resistance, run backwards.
#[must_use]
pub fn clamp_on_current(stage: &Stage) -> Derivation<Current> {
    Derivation::new(
        "clamp_on_current",
        "How much current must flow when the clamp takes over, so that enough is left at its end?",
        needed_clamp_current(stage),
    )
    .source("openstax-university-physics-2")
    .assumes("The hold lasts a whole cell at most: constant frequency, no skipped pulses.")
}

fn needed_clamp_current(stage: &Stage) -> Term<Current> {
    shifted(stage, required(stage), stage.R_f * stage.T / stage.L)
        .named("I_c", "current when the clamp turns on")
}

/// The current at the low side's release that is needed for
/// [`clamp_on_current`], before the partial rise from the lower level to the
/// output: `I_s = √(max(0, I_c² + 2·W(V_lo, V_out)/L))`.
///
/// `W(V_lo, V_out)` is negative: on that part of the edge the inductor gains
/// energy. Zero where the partial rise alone gives more than is needed.
///
/// # Source
/// Conservation of energy in the resonant transition.
#[must_use]
pub fn release_current(stage: &Stage) -> Derivation<Current> {
    Derivation::new(
        "release_current",
        "How much negative current must flow when the low side is released?",
        needed_release_current(stage),
    )
    .source("energy-balance")
}

fn needed_release_current(stage: &Stage) -> Term<Current> {
    let clamp = needed_clamp_current(stage);
    (clamp.squared() + 2.0 * stage.work(stage.V_lo, stage.V_out) / stage.L)
        .max(zero())
        .sqrt()
        .named("I_s", "current when the low side is released")
}

/// The trip threshold that gives [`release_current`] in spite of the delay:
/// `I_trip = max(0, I_s − b·t_d/L + I_off)`.
///
/// The current goes on falling at `b/L` for the delay `t_d`; a comparator
/// offset `I_off` may act against the setting. Zero where the delay alone
/// overshoots the need.
///
/// # Source
/// Straight-line current in an inductor; common practice.
#[must_use]
pub fn trip_current(stage: &Stage) -> Derivation<Current> {
    let overshoot = stage.b * stage.t_d / stage.L;
    let mut need = needed_release_current(stage) - overshoot;
    if let Some(offset) = stage.I_off {
        need = need + offset;
    }
    Derivation::new(
        "trip_current",
        "At which negative current must the comparator trip?",
        need.max(zero()).named("I_trip", "trip threshold"),
    )
    .source("common-practice")
    .assumes("One fixed setting serves the whole range: the largest need over it.")
}

/// The current at release for a trip setting: `I_s = I_trip − I_off + b·t_d/L`.
pub(crate) fn released(
    stage: &Stage,
    inductance: Term<Inductance>,
    trip: Term<Current>,
) -> Term<Current> {
    let mut set = trip;
    if let Some(offset) = stage.I_off {
        set = set - offset;
    }
    (set + stage.b * stage.t_d / inductance).named("I_s", "current when the low side is released")
}

/// The time after which a clamp with a drop has taken all current from the
/// inductor: `t_0 = (L/R_f)·ln(1 + I_c·R_f/V_c)`, from [`clamp_on_current`].
///
/// `None` where the clamp has no drop: it then never does.
///
/// # Source
/// The series circuit of inductance, resistance and constant voltage.
#[must_use]
pub fn demagnetisation_time(stage: &Stage) -> Option<Derivation<Time>> {
    let drop = stage.V_c?;
    let current = needed_clamp_current(stage);
    let time = stage.L / stage.R_f * (1.0 + current * stage.R_f / drop).ln();
    Some(
        Derivation::new(
            "demagnetisation_time",
            "After how long a hold is nothing left for the rising edge?",
            time.named("t_0", "time to demagnetise"),
        )
        .source("openstax-university-physics-2"),
    )
}
