//! The resonant edges: how long the node takes, and the window for the dead time.

use crate::equation::{Derivation, Term};
use crate::quantity::{Current, Inductance, Time, Voltage};
use crate::stage::Stage;
use crate::{cycle, freewheel};

/// The duration of a move of the node: the integral of `C(u)/i(u)`, with the
/// square of the current at each node voltage from the energy balance.
fn duration(
    stage: &Stage,
    from: Term<Voltage>,
    to: Term<Voltage>,
    name: &str,
    balance: impl Fn(Term<Voltage>) -> Term<<Current as std::ops::Mul>::Output>,
) -> Term<Time> {
    Term::integral("u", from, to, |u| {
        let words = "current while the node is at u";
        stage.capacitance(u) / balance(u).sqrt().function(name, words, &[u.expression()])
    })
}

/// The duration of the rising edge, from the output to the upper level:
/// `i(u)² = I_h² − 2·W(V_out, u)/L`.
pub(crate) fn rise(
    stage: &Stage,
    inductance: Term<Inductance>,
    freewheel: Term<Current>,
) -> Term<Time> {
    duration(stage, stage.V_out, stage.V_hi, "i_rise", |u| {
        freewheel.squared() - 2.0 * stage.work(stage.V_out, u) / inductance
    })
    .named("t_r", "duration of the rising edge")
}

/// The duration of the partial rise, from the lower level to the output:
/// `i(u)² = I_s² − 2·W(V_lo, u)/L`.
pub(crate) fn partial_rise(
    stage: &Stage,
    inductance: Term<Inductance>,
    release: Term<Current>,
) -> Term<Time> {
    duration(stage, stage.V_lo, stage.V_out, "i_part", |u| {
        release.squared() - 2.0 * stage.work(stage.V_lo, u) / inductance
    })
    .named("t_p", "duration of the partial rise")
}

/// The duration of the falling edge, from the upper to the lower level, which
/// starts with the peak current: `i(u)² = I_pk² + 2·W(u, V_hi)/L`.
pub(crate) fn fall(stage: &Stage, inductance: Term<Inductance>, peak: Term<Current>) -> Term<Time> {
    duration(stage, stage.V_lo, stage.V_hi, "i_fall", |u| {
        peak.squared() + 2.0 * stage.work(u, stage.V_hi) / inductance
    })
    .named("t_f", "duration of the falling edge")
}

/// The duration of the rising edge from any freewheel current,
/// `t_r = ∫ C(u)/i(u) du` from the output to the upper level.
///
/// # Errors
/// No value where the current is below its floor: see [`reached_voltage`].
///
/// # Source
/// Conservation of energy in the resonant transition.
#[must_use]
pub fn rise_time(stage: &Stage, freewheel: Term<Current>) -> Derivation<Time> {
    let time = rise(stage, stage.L, freewheel);
    Derivation::new(
        "rise_time",
        "How long does the node take to its upper level?",
        time,
    )
    .requires(
        freewheel.at_least(stage.floor(stage.L)),
        "the freewheel current carries the node to its upper level",
        "Below its floor the node stops short: the reached voltage says where.",
    )
    .source("energy-balance")
}

/// The voltage at which the node stops when the freewheel current is below its
/// floor: the solution of `W(V_out, v) = L·I_h²/2`.
///
/// # Errors
/// No value where the current is above its floor: the node then arrives.
///
/// # Source
/// Conservation of energy in the resonant transition.
#[must_use]
pub fn reached_voltage(stage: &Stage, freewheel: Term<Current>) -> Derivation<Voltage> {
    let voltage = Term::<Voltage>::solve(
        "v_max",
        "voltage at which the node stops",
        stage.V_out,
        stage.V_hi,
        |v| {
            (
                stage.work(stage.V_out, v),
                0.5 * stage.L * freewheel.squared(),
            )
        },
    );
    Derivation::new("reached_voltage", "How far does the node rise?", voltage)
        .requires(
            freewheel.at_most(stage.floor(stage.L)),
            "the freewheel current is below its floor",
            "Above it the node reaches its upper level.",
        )
        .source("energy-balance")
}

/// The rising edge from a freewheel current: its duration and what is left.
struct Window {
    duration: Term<Time>,
    remaining: Term<Time>,
    freewheel: Term<Current>,
    floor: Term<Current>,
}

fn opened(stage: &Stage) -> Window {
    let freewheel = freewheel::required(stage);
    let floor = stage.floor(stage.L);
    let duration = rise(stage, stage.L, freewheel);
    let left = (freewheel.squared() - floor.squared())
        .sqrt()
        .named("I_r", "current left when the node arrives");
    let remaining = (stage.L * left / stage.a).named(
        "t_rem",
        "time for which the high-side diode then holds the node",
    );
    Window {
        duration,
        remaining,
        freewheel,
        floor,
    }
}

/// Of the ends of the windows: what the drop of a body diode does to them.
const DIODE_WITHOUT_DROP: &str = "The body diode has no drop. A drop lengthens the window: the \
     node then stands beyond its level and has to fall back first. The steady state and the \
     verdicts count with the drop.";

fn window(name: &str, question: &str, time: Term<Time>, rise: &Window) -> Derivation<Time> {
    Derivation::new(name, question, time)
        .requires(
            rise.freewheel.at_least(rise.floor),
            "the freewheel current carries the node to its upper level",
            "Raise the trip threshold or the margin.",
        )
        .source("energy-balance")
        .assumes(DIODE_WITHOUT_DROP)
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
    let rise = opened(stage);
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
/// A body diode with a drop lengthens it: the node then stands that drop above its
/// level and has to fall back first. [`cycle::steady_state`] has that window.
///
/// # Source
/// Straight-line current in an inductor after the resonant transition.
#[must_use]
pub fn dead_time_latest(stage: &Stage) -> Derivation<Time> {
    let rise = opened(stage);
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
    let rise = opened(stage);
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
/// A body diode with a drop changes it: see [`dead_time_latest`].
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
    .assumes(DIODE_WITHOUT_DROP)
}
