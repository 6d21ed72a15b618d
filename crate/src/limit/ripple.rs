//! Ripple of the flying capacitors and of the output.

use crate::cycle::{self, Cell};
use crate::equation::{Derivation, Term};
use crate::quantity::{Capacitance, Charge, Current, Ratio, Voltage};
use crate::stage::Stage;

const FLOWS_BACK: &str = "The negative current at the ends of a ramp only lessens the charge. It \
     also widens the ripple, by less than 1 % where it is small beside the peak: the verdict \
     counts that.";

/// The charge that a flying capacitor takes, peak to peak.
///
/// In the lowest band it carries the energise current only, in the highest the
/// release current only, between them the output charge of a cell.
fn flying_charge(stage: &Stage, cell: &Cell) -> Term<Charge> {
    let half = 0.5 * stage.L;
    let pairs = stage.specification.levels - 1;
    let band = stage.specification.band();
    let charge = if band == 0 {
        half * (cell.peak_current.squared() - cell.residual_current.squared()) / stage.a
    } else if band + 1 == pairs {
        half * (cell.current_after_fall.squared() - cell.release_current.squared()) / stage.b
    } else {
        stage.I_out * stage.T
    };
    charge.named("Q_fly", "charge of a flying capacitor, peak to peak")
}

/// The ripple of a flying capacitor of a given capacitance, peak to peak.
/// `None` for two levels, which have none.
///
/// # Source
/// Charge balance; the published forms give `I/(C·n·f)` for a full dwell.
#[must_use]
pub fn flying_ripple(
    stage: &Stage,
    trip: Term<Current>,
    capacitance: Term<Capacitance>,
) -> Option<Derivation<Voltage>> {
    (stage.specification.levels > 2).then(|| {
        let cell = cycle::cell(stage, trip);
        let ripple = flying_charge(stage, &cell) / capacitance;
        cell.conditions(Derivation::new(
            "flying_ripple",
            "How large is the ripple of a flying capacitor?",
            ripple.named("Delta V_fly", "ripple of a flying capacitor, peak to peak"),
        ))
        .assumes(FLOWS_BACK)
    })
}

/// The capacitance that each flying capacitor needs for a ripple of `allowed`
/// times the step. `None` for two levels.
///
/// # Source
/// Charge balance.
#[must_use]
pub fn flying_capacitance_needed(
    stage: &Stage,
    trip: Term<Current>,
    allowed: Term<Ratio>,
) -> Option<Derivation<Capacitance>> {
    (stage.specification.levels > 2).then(|| {
        let cell = cycle::cell(stage, trip);
        let needed = flying_charge(stage, &cell) / (allowed * (stage.V_in / stage.n));
        cell.conditions(Derivation::new(
            "flying_capacitance_needed",
            "How large must each flying capacitor be?",
            needed.named("C_fly,min", "minimum capacitance of a flying capacitor"),
        ))
        .assumes(FLOWS_BACK)
    })
}

/// The charge above the output current, which the output capacitor takes:
/// `ΔQ = L/2·(I_pk − I_out)²·(1/a + 1/b)`.
fn output_charge(stage: &Stage, cell: &Cell) -> Term<Charge> {
    let above = cell.peak_current - stage.I_out;
    (0.5 * stage.L * above.squared() * (1.0 / stage.a + 1.0 / stage.b))
        .named("Q_out", "charge of the output capacitor, peak to peak")
}

/// The ripple of the output, peak to peak, without the step of the capacitor's
/// series resistance.
///
/// # Source
/// Charge balance.
#[must_use]
pub fn output_ripple(
    stage: &Stage,
    trip: Term<Current>,
    capacitance: Term<Capacitance>,
) -> Derivation<Voltage> {
    let cell = cycle::cell(stage, trip);
    let ripple = output_charge(stage, &cell) / capacitance;
    cell.conditions(Derivation::new(
        "output_ripple",
        "How large is the ripple of the output?",
        ripple.named("Delta V_out", "ripple of the output, peak to peak"),
    ))
}

/// The output capacitance needed for an allowed ripple.
///
/// # Source
/// Charge balance.
#[must_use]
pub fn output_capacitance_needed(
    stage: &Stage,
    trip: Term<Current>,
    allowed: Term<Voltage>,
) -> Derivation<Capacitance> {
    let cell = cycle::cell(stage, trip);
    let needed = output_charge(stage, &cell) / allowed;
    cell.conditions(Derivation::new(
        "output_capacitance_needed",
        "How large must the output capacitance be?",
        needed.named("C_out,min", "minimum output capacitance"),
    ))
}
