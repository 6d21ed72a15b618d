//! The resonant edges: how long the node takes, and the window for the dead time.

use crate::equation::{Derivation, Term};
use crate::quantity::{Current, Inductance, Time, Voltage};
use crate::stage::Stage;
use crate::{cycle, freewheel};

/// The duration of a move of the node from `from` to `to`: the integral of
/// `C(u)/i(u)`, the current from the energy balance
/// `i(u)² = current² − 2·W(from, u)/L`.
pub(crate) fn duration(
    stage: &Stage,
    inductance: Term<Inductance>,
    current: Term<Current>,
    from: Term<Voltage>,
    to: Term<Voltage>,
) -> Term<Time> {
    Term::integral("u", from, to, |u| {
        let balance = current.squared() - 2.0 * stage.work(from, u) / inductance;
        let flowing =
            balance
                .sqrt()
                .function("i", "current while the node is at u", &[u.expression()]);
        stage.capacitance(u) / flowing
    })
}

/// The duration of the falling edge, from the upper to the lower level, which
/// starts with the peak current: `i(u)² = I_pk² + 2·W(u, V_hi)/L`.
pub(crate) fn fall(stage: &Stage, inductance: Term<Inductance>, peak: Term<Current>) -> Term<Time> {
    Term::integral("u", stage.V_lo, stage.V_hi, |u| {
        let balance = peak.squared() + 2.0 * stage.work(u, stage.V_hi) / inductance;
        let flowing =
            balance
                .sqrt()
                .function("i", "current while the node is at u", &[u.expression()]);
        stage.capacitance(u) / flowing
    })
    .named("t_f", "duration of the falling edge")
}

/// The rising edge from a freewheel current: its duration and what is left.
struct Rise {
    duration: Term<Time>,
    remaining: Term<Time>,
    freewheel: Term<Current>,
    floor: Term<Current>,
}

fn rise(stage: &Stage) -> Rise {
    let freewheel = freewheel::required(stage);
    let floor = stage.floor(stage.L);
    let duration = duration(stage, stage.L, freewheel, stage.V_out, stage.V_hi)
        .named("t_r", "duration of the rising edge");
    let left = (freewheel.squared() - floor.squared())
        .sqrt()
        .named("I_r", "current left when the node arrives");
    let remaining = (stage.L * left / stage.a).named(
        "t_rem",
        "time for which the high-side diode then holds the node",
    );
    Rise {
        duration,
        remaining,
        freewheel,
        floor,
    }
}

fn window(name: &str, question: &str, time: Term<Time>, rise: &Rise) -> Derivation<Time> {
    Derivation::new(name, question, time)
        .requires(
            rise.freewheel.at_least(rise.floor),
            "the freewheel current carries the node to its upper level",
            "Raise the trip threshold or the margin.",
        )
        .source("energy-balance")
        .assumes("No drop of the body diode: part data carry none yet.")
}

/// The earliest dead time of the rising edge: the node has just arrived,
/// `t_r = ∫ C(u)/i(u) du` from the output to the upper level.
///
/// For a constant capacitance it is `√(L·C)·arcsin(a/(Z·I_h))`.
///
/// # Source
/// Conservation of energy in the resonant transition.
#[must_use]
pub fn dead_time_earliest(stage: &Stage) -> Derivation<Time> {
    let rise = rise(stage);
    window(
        "dead_time_earliest",
        "How long must the dead time be at least, from the clamp's opening?",
        rise.duration,
        &rise,
    )
}

/// The latest dead time of the rising edge: the current left has come to zero
/// and the node is about to ring back, `t_late = t_r + L·I_r/a`.
///
/// # Source
/// Straight-line current in an inductor after the resonant transition.
#[must_use]
pub fn dead_time_latest(stage: &Stage) -> Derivation<Time> {
    let rise = rise(stage);
    let latest = (rise.duration + rise.remaining).named("t_late", "latest dead time");
    window(
        "dead_time_latest",
        "How long may the dead time be at most, before the node rings back?",
        latest,
        &rise,
    )
}

/// The best dead time of the rising edge: the middle of its window, as far from
/// a hard turn-on on either side as can be, `t_best = t_r + t_rem/2`.
///
/// # Source
/// The middle of the window, a rule of this project.
#[must_use]
pub fn dead_time_best(stage: &Stage) -> Derivation<Time> {
    let rise = rise(stage);
    let best = (rise.duration + rise.remaining / 2.0).named("t_best", "best dead time");
    window(
        "dead_time_best",
        "Which dead time is farthest from both ends of its window?",
        best,
        &rise,
    )
}

/// The duration of the falling edge in steady state, from the peak current to
/// the lower level: the earliest dead time of the low side.
///
/// # Source
/// Conservation of energy in the resonant transition.
#[must_use]
pub fn fall_time(stage: &Stage, trip: Term<Current>) -> Derivation<Time> {
    let cell = cycle::cell(stage, trip);
    cell.conditions(Derivation::new(
        "fall_time",
        "How long must the low side's dead time be at least?",
        cell.fall_time,
    ))
}

/// The latest dead time of the low side: its diode carries the current until it
/// reverses, `t_f + L·I_after/b`.
///
/// # Source
/// Straight-line current in an inductor after the resonant transition.
#[must_use]
pub fn fall_latest(stage: &Stage, trip: Term<Current>) -> Derivation<Time> {
    let cell = cycle::cell(stage, trip);
    let latest = cell.fall_time + stage.L * cell.current_after_fall / stage.b;
    cell.conditions(Derivation::new(
        "fall_latest",
        "How long may the low side's dead time be at most?",
        latest.named("t_f,late", "latest dead time of the low side"),
    ))
}
