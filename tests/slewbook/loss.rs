//! Losses: check figures, limits, and the closed forms against independent ways.

use slewbook::equation::Term;
use slewbook::loss::turn_on;
use slewbook::quantity::unit::{uH, volt};
use slewbook::quantity::{Dimensioned, Energy, Voltage};
use slewbook::stage::{Specification, Stage};

use crate::support::{assert_printed, specification_with};

/// 44 V in, 6 V out, the junction law on both transistors, no clamp.
pub fn hard(v_in: &str, v_out: &str, low: &str, high: &str, node: &str) -> Stage {
    let text = specification_with(&[
        ("input.voltage", &format!("\"{v_in}\"")),
        ("output.voltage", &format!("\"{v_out}\"")),
        ("stage.node_capacitance", &format!("\"{node}\"")),
        ("transistors.high.output_capacitance", high),
        ("transistors.low.output_capacitance", low),
    ]);
    let specification = Specification::read(&text).unwrap();
    Stage::new(
        turn_on::without_clamp(&specification),
        0.68 * uH,
        "check figures",
    )
}

pub const LAW: &str =
    "{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\" }";
const NONE: &str = "{ constant = \"0 pF\" }";

fn energy_from(stage: &Stage, volts: f64) -> Energy {
    let v0 = Term::input("v_0", "node voltage at turn-on", volts * volt);
    turn_on::energy(stage, v0).value().unwrap()
}

/// Computed outside this project by quadrature, good to half a unit of the last digit.
#[test]
fn turn_on_energies_agree_with_the_check_figures() {
    let stage = hard("44 V", "6 V", LAW, LAW, "50 pF");
    for (from, printed) in [(6.0, "84.8479"), (0.0, "178.5849")] {
        let found = energy_from(&stage, from).coherent();
        assert_printed(found, printed, 1e-9, &format!("from {from} V"));
    }
}

/// A constant capacitance has closed forms: a sinusoidal ring.
#[test]
fn a_constant_capacitance_rings_as_a_sinusoid() {
    let (c, v_hi, v_out) = (600e-12, 22.0, 6.0);
    let stage = hard("44 V", "6 V", NONE, NONE, "600 pF");
    let close = |found: f64, expected: f64, what: &str| {
        assert!(
            (found / expected - 1.0).abs() < 1e-9,
            "{what}: {found} is not {expected}"
        );
    };
    let energy = |v0: f64| c * (v_hi - v0).powi(2) / 2.0;
    close(
        turn_on::ring_energy(&stage).value().unwrap().coherent(),
        c * v_out * v_out / 2.0,
        "ring",
    );
    close(
        turn_on::ring_top(&stage).value().unwrap().coherent(),
        2.0 * v_out,
        "top",
    );
    close(
        turn_on::hard_best(&stage).value().unwrap().coherent(),
        energy(2.0 * v_out),
        "best",
    );
    close(
        turn_on::hard_worst(&stage).value().unwrap().coherent(),
        energy(0.0),
        "worst",
    );
    close(
        turn_on::hard_damped(&stage).value().unwrap().coherent(),
        energy(v_out),
        "damped",
    );
    // The mean square of v_hi - v_out - v_out·cos.
    let mean = c * ((v_hi - v_out).powi(2) + v_out * v_out / 2.0) / 2.0;
    close(
        turn_on::hard_mean(&stage).value().unwrap().coherent(),
        mean,
        "mean",
    );
}

/// Output close to the upper level: the high-side diode cuts the ring at the level.
#[test]
fn the_diode_at_the_upper_level_limits_the_ring() {
    let stage = hard("44 V", "15 V", NONE, NONE, "600 pF");
    let top: Voltage = turn_on::ring_top(&stage).value().unwrap();
    assert!((top.coherent() - 22.0).abs() < 1e-6, "{top:?}");
    let best = turn_on::hard_best(&stage).value().unwrap().coherent();
    assert!(best.abs() < 1e-18, "{best}");
    let worst = turn_on::hard_worst(&stage).value().unwrap().coherent();
    let expected = 600e-12 * 14f64.powi(2) / 2.0;
    assert!(
        (worst / expected - 1.0).abs() < 1e-9,
        "{worst} is not {expected}"
    );
}

/// The commutation as it is: the capacitances charge through a small resistance, from
/// a voltage source, and what the resistance dissipates is the energy of the turn-on.
struct Commutation<'s> {
    stage: &'s Stage,
    program: &'s slewbook::equation::Program,
    symbol: &'static slewbook::equation::Symbol,
    resistance: f64,
    level: f64,
}

impl ode_solvers::System<f64, ode_solvers::Vector2<f64>> for Commutation<'_> {
    fn system(&self, _: f64, y: &ode_solvers::Vector2<f64>, dy: &mut ode_solvers::Vector2<f64>) {
        let point = self.stage.nominal().with(self.symbol, y[0]);
        let capacitance: f64 = self.program.run(&point.inputs(self.program))[0];
        let current = (self.level - y[0]) / self.resistance;
        dy[0] = current / capacitance;
        dy[1] = current * current * self.resistance;
    }
}

#[test]
fn turn_on_energy_is_what_a_small_resistance_dissipates() {
    let stage = hard("44 V", "6 V", LAW, LAW, "50 pF");
    let (node, symbol) = Term::with_symbol("u", "node voltage", 6.0 * volt, "");
    let program =
        slewbook::equation::Program::compile(&[stage.capacitance(node).expression()]).unwrap();
    for resistance in [0.1, 0.01] {
        let commutation = Commutation {
            stage: &stage,
            program: &program,
            symbol,
            resistance,
            level: 22.0,
        };
        // Many times the largest capacitance times the resistance.
        let end = 40.0 * 1.5e-9 * resistance;
        let start = ode_solvers::Vector2::new(6.0, 0.0);
        let mut solver =
            ode_solvers::Dopri5::new(commutation, 0.0, end, end / 100.0, start, 1e-10, 1e-20);
        solver.integrate().unwrap();
        let found = solver.y_out().last().unwrap()[1];
        let expected = energy_from(&stage, 6.0).coherent();
        assert!(
            (found / expected - 1.0).abs() < 1e-6,
            "{resistance} ohm: {found} is not {expected}"
        );
    }
}
