//! What transistors and clamp must block, and whether the trip can be reached.

use crate::equation::{Derivation, Term};
use crate::quantity::{Current, Resistance, Voltage};
use crate::stage::Stage;

/// The voltage that each transistor blocks: one step, `V_in/n`.
///
/// # Source
/// The flying-capacitor leg (Meynard and Foch, 1992).
#[must_use]
pub fn transistor_blocking(stage: &Stage) -> Derivation<Voltage> {
    Derivation::new(
        "transistor_blocking_voltage",
        "Which voltage must each transistor block?",
        (stage.V_in / stage.n).named("V_block", "voltage blocked by a transistor"),
    )
    .source("meynard-foch-1992")
    .assumes("The flying capacitors are at their levels; ripple and ringing come on top.")
}

/// The voltage that the clamp blocks in operation: the greater of the two steps.
///
/// # Source
/// The clamp lies between node and output.
#[must_use]
pub fn clamp_blocking(stage: &Stage) -> Derivation<Voltage> {
    Derivation::new(
        "clamp_blocking_voltage",
        "Which voltage must the clamp block in operation?",
        stage
            .a
            .max(stage.b)
            .named("V_cl", "voltage blocked by the clamp"),
    )
    .source("circuit-laws")
}

/// The voltage that the clamp blocks at start-up, the output still at zero and
/// the flying capacitors at their levels: `V_in/n`.
///
/// # Source
/// The clamp lies between node and output.
#[must_use]
pub fn clamp_blocking_start(stage: &Stage) -> Derivation<Voltage> {
    Derivation::new(
        "clamp_blocking_voltage_start",
        "Which voltage must the clamp block at start-up with charged flying capacitors?",
        (stage.V_in / stage.n).named("V_cl,0", "voltage blocked by the clamp at start-up"),
    )
    .source("circuit-laws")
    .assumes(
        "Flying capacitors already at their levels; uncharged, the clamp may see the whole input \
         voltage.",
    )
}

/// The voltage that the outermost pair's open transistor blocks at a start with
/// uncharged flying capacitors: the whole input, `V_in`. The clamp sees as much.
///
/// Pair `k` sees `v_C,k − v_C,k−1`; the outermost pair lies between the last flying
/// capacitor and the input. What inner pairs see is for the start sequence to show.
///
/// # Source
/// The flying-capacitor leg (Meynard and Foch, 1992).
#[must_use]
pub fn outermost_blocking_start(stage: &Stage) -> Derivation<Voltage> {
    Derivation::new(
        "outermost_blocking_voltage_start",
        "Which voltage must the outermost pair and the clamp block at a start with empty flying \
         capacitors?",
        stage.V_in.named(
            "V_block,0",
            "voltage blocked by the outermost pair at start-up",
        ),
    )
    .source("meynard-foch-1992")
    .assumes("The flying capacitors are empty: no precharge.")
}

/// The voltage that the outermost pair's open transistor blocks when the input steps
/// from its least to its greatest value faster than the flying capacitors follow:
/// `V_in,max − (n − 1)·V_in,min/n`.
///
/// # Source
/// The flying-capacitor leg (Meynard and Foch, 1992).
///
/// # Example
/// ```
/// use slewbook::{limit, quantity::{print, unit::uH}, stage::{DEMONSTRATION, Specification, Stage}};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let stage = Stage::new(specification, 0.68 * uH, "specification");
/// assert_eq!(print(limit::outermost_blocking_step(&stage).value().unwrap()), "29 V");
/// ```
#[must_use]
pub fn outermost_blocking_step(stage: &Stage) -> Derivation<Voltage> {
    let range = stage.specification.input_voltage;
    let end = |name, words, value| Term::input_from(name, words, value, "[input] voltage");
    let least = end("V_in,min", "minimum input voltage", range.min);
    let greatest = end("V_in,max", "maximum input voltage", range.max);
    let blocked = greatest - (stage.n - 1.0) * least / stage.n;
    Derivation::new(
        "outermost_blocking_voltage_step",
        "Which voltage must the outermost pair block when the input steps?",
        blocked.named(
            "V_block,step",
            "voltage blocked by the outermost pair after a step",
        ),
    )
    .source("meynard-foch-1992")
    .assumes("The input steps over its whole range before the flying capacitors follow.")
}

/// The largest negative current that the release path can reach: `b/R`.
///
/// `R = m·R_H + (n − m)·R_L` is the resistance of the transistors in the path.
/// A trip threshold above it is never reached.
///
/// # Source
/// Ohm's law.
#[must_use]
pub fn release_path_current(stage: &Stage) -> Option<Derivation<Current>> {
    let s = &stage.specification;
    let ohms = |r: Resistance| r.value;
    if ohms(s.high.on_resistance) + ohms(s.low.on_resistance) == 0.0 {
        return None;
    }
    let high = Term::input_from(
        "R_H",
        "channel resistance of a high-side transistor",
        s.high.on_resistance,
        "[transistors.high] on_resistance",
    );
    let low = Term::input_from(
        "R_L",
        "channel resistance of a low-side transistor",
        s.low.on_resistance,
        "[transistors.low] on_resistance",
    );
    let path = (stage.m * high + (stage.n - stage.m) * low)
        .named("R_path", "resistance of the release path");
    Some(
        Derivation::new(
            "release_path_current",
            "Which negative current can the release path reach at most?",
            (stage.b / path).named("I_path", "largest current of the release path"),
        )
        .source("circuit-laws"),
    )
}
