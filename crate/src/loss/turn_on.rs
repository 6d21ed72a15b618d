//! The energy of a hard turn-on, and its range where the node rings freely.

use crate::equation::{Derivation, Term};
use crate::quantity::{Capacitance, Current, Dimensioned as _, Energy, Time, Voltage};
use crate::stage::{Specification, Stage};

/// The square of a current.
type SquaredCurrent = <Current as std::ops::Mul>::Output;

/// The energy that the high-side channel dissipates when it turns on at a node
/// voltage `v0`, `E_on = ∫ (V_hi − u)·C(u) du` from `v0` to `V_hi`.
///
/// `C(u)` is the node's capacitance at node voltage `u`, `V_hi` the upper level.
/// Right for capacitances to any fixed potential; other pairs and flying
/// capacitors change nothing. A constant `C` gives `C·(V_hi − v0)²/2`.
///
/// # Errors
/// No value above the upper level.
///
/// # Source
/// Conservation of energy: the charge comes from the upper level, what the
/// capacitances do not store is dissipated.
///
/// # Example
/// Two transistors of 900 pF at zero volts, 44 V in, from 6 V:
/// ```
/// use slewbook::{equation::Term, loss::turn_on, stage::{Specification, Stage}};
/// use slewbook::quantity::{print, unit::{uH, volt}};
/// # let law = "{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\" }";
/// # let text = slewbook::stage::DEMONSTRATION.replace("{ constant = \"300 pF\" }", law)
/// #     .replace("nominal = \"36 V\"", "nominal = \"44 V\"");
/// let specification = turn_on::without_clamp(&Specification::read(&text).unwrap());
/// let stage = Stage::new(specification, 0.68 * uH, "example");
/// let v0 = Term::input("v_0", "node voltage at turn-on", 6.0 * volt);
/// let energy = turn_on::energy(&stage, v0);
/// assert_eq!(print(energy.value().unwrap()), "84.85 nJ");
/// ```
#[must_use]
pub fn energy(stage: &Stage, from: Term<Voltage>) -> Derivation<Energy> {
    Derivation::new(
        "turn_on_energy",
        "How much energy does a turn-on at this node voltage dissipate?",
        dissipated(stage, from).named("E_on", "energy of a turn-on"),
    )
    .requires(
        from.at_most(stage.V_hi),
        "the node is not above its upper level",
        "There the high-side diode conducts and nothing is lost.",
    )
    .source("energy-balance")
    .assumes("The levels hold their voltage while the node is charged.")
}

/// The specification with nothing across the inductor: for the baseline on the
/// same parts whose node rings.
#[must_use]
pub fn without_clamp(specification: &Specification) -> Specification {
    let mut unclamped = specification.clone();
    unclamped.clamp.output_capacitance = None;
    unclamped
}

fn dissipated(stage: &Stage, from: Term<Voltage>) -> Term<Energy> {
    Term::integral("u", from, stage.V_hi, |u| {
        (stage.V_hi - u) * stage.capacitance(u)
    })
    .function(
        "E_on",
        "energy of a turn-on from a node voltage",
        &[from.expression()],
    )
}

/// The node's free ring about the output after the low side is released at zero
/// current.
struct Ring {
    energy: Term<Energy>,
    top: Term<Voltage>,
    bottom: Term<Voltage>,
}

fn ring(stage: &Stage) -> Ring {
    let released = -stage.work(stage.V_lo, stage.V_out);
    let energy = released
        .min(stage.work(stage.V_out, stage.V_hi))
        .named("E_ring", "energy of the ring about the output");
    let top = Term::<Voltage>::solve(
        "v_top",
        "highest node voltage of the ring",
        stage.V_out,
        stage.V_hi,
        |v| (stage.work(stage.V_out, v), energy),
    );
    let bottom = Term::<Voltage>::solve(
        "v_bot",
        "lowest node voltage of the ring",
        stage.V_lo,
        stage.V_out,
        |v| (-stage.work(v, stage.V_out), energy),
    );
    Ring {
        energy,
        top,
        bottom,
    }
}

/// The current of the ring while the node is at a voltage.
fn ring_current(stage: &Stage, ring: &Ring, u: Term<Voltage>) -> Term<Current> {
    let square = 2.0 * (ring.energy - stage.work(stage.V_out, u)) / stage.L;
    square
        .max(Term::constant(SquaredCurrent::from_coherent(0.0)))
        .sqrt()
        .function(
            "i_ring",
            "current of the ring while the node is at u",
            &[u.expression()],
        )
}

fn hard<Q: crate::quantity::Dimensioned>(
    name: &str,
    question: &str,
    result: Term<Q>,
) -> Derivation<Q> {
    Derivation::new(name, question, result)
        .source("energy-balance")
        .assumes(
            "The low side is released at zero current, without delay, and nothing holds the node.",
        )
        .assumes("Where the node reaches its upper level, the high-side diode returns the excess.")
}

/// The energy of the ring about the output that follows a release at zero
/// current, `E_ring = min(−W(V_lo, V_out), W(V_out, V_hi))`.
///
/// Dissipated too when the ring is damped out before the next turn-on. The
/// second form holds where the high-side diode clamps the ring.
///
/// # Source
/// Conservation of energy.
#[must_use]
pub fn ring_energy(stage: &Stage) -> Derivation<Energy> {
    hard(
        "ring_energy",
        "How much energy does the ring of the released node hold?",
        ring(stage).energy,
    )
}

/// The highest node voltage of the ring: the solution of
/// `W(V_out, v) = E_ring`, the upper level at most.
///
/// # Source
/// Conservation of energy.
#[must_use]
pub fn ring_top(stage: &Stage) -> Derivation<Voltage> {
    hard(
        "ring_top",
        "How high does the released node ring?",
        ring(stage).top,
    )
}

/// The energy of a turn-on at the top of the ring: the best instant.
///
/// # Source
/// As [`energy`].
#[must_use]
pub fn hard_best(stage: &Stage) -> Derivation<Energy> {
    hard(
        "hard_turn_on_best",
        "What does a turn-on cost at the top of the ring?",
        dissipated(stage, ring(stage).top)
            .named("E_best", "energy of a turn-on at the top of the ring"),
    )
}

/// The energy of a turn-on at the bottom of the ring: the worst instant.
///
/// # Source
/// As [`energy`].
#[must_use]
pub fn hard_worst(stage: &Stage) -> Derivation<Energy> {
    hard(
        "hard_turn_on_worst",
        "What does a turn-on cost at the bottom of the ring?",
        dissipated(stage, ring(stage).bottom)
            .named("E_worst", "energy of a turn-on at the bottom of the ring"),
    )
}

/// The energy of a turn-on after the ring has died out, the node at the output;
/// the ring's own energy, [`ring_energy`], is then lost too.
///
/// # Source
/// As [`energy`].
#[must_use]
pub fn hard_damped(stage: &Stage) -> Derivation<Energy> {
    hard(
        "hard_turn_on_damped",
        "What does a turn-on cost after the ring has died out?",
        dissipated(stage, stage.V_out).named("E_damped", "energy of a turn-on from the output"),
    )
}

/// The mean energy of a turn-on at any instant of an undamped ring,
/// `E_mean = ∫ E_on(u)·C(u)/i_ring(u) du / ∫ C(u)/i_ring(u) du` from the bottom
/// to the top of the ring.
///
/// # Source
/// Time average of [`energy`] over half a period.
#[must_use]
pub fn hard_mean(stage: &Stage) -> Derivation<Energy> {
    let ring = ring(stage);
    let half_period: Term<Time> = Term::integral("u", ring.bottom, ring.top, |u| {
        stage.capacitance(u) / ring_current(stage, &ring, u)
    })
    .named("t_half", "half a period of the ring");
    let weighted = Term::integral("u", ring.bottom, ring.top, |u| {
        let per_current: Term<<Capacitance as std::ops::Div<Current>>::Output> =
            stage.capacitance(u) / ring_current(stage, &ring, u);
        dissipated(stage, u) * per_current
    });
    let mean: Term<Energy> = weighted / half_period;
    hard(
        "hard_turn_on_mean",
        "What does a turn-on cost at no particular instant of the ring?",
        mean.named("E_mean", "mean energy of a turn-on over the ring"),
    )
    .assumes("The ring is not damped and every instant is as likely.")
}
