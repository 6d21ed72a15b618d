//! Laws that hold for every stage: conservation, monotony, scaling, closed forms,
//! gradients, and the differential equations by a general-purpose integrator.

use ode_solvers::{Dop853, System, Vector2};
use proptest::prelude::*;
use slewbook::equation::{Curve, Point, Term};
use slewbook::quantity::unit::{pF, volt};
use slewbook::quantity::{Capacitance, Current, Dimensioned, Inductance, Voltage};
use slewbook::stage::{Specification, Stage};
use slewbook::{cycle, edge, freewheel, limit};

use crate::catalogue::formulas;
use crate::support::specification_with;

/// A capacitance law of the test's own, beside its text for the specification.
#[derive(Clone, Debug)]
pub enum Law {
    Constant(f64),
    Junction([f64; 4]),
    Polygon(Vec<(f64, f64)>),
}

impl Law {
    fn text(&self) -> String {
        match self {
            Self::Constant(c) => format!("{{ constant = \"{c:?} pF\" }}"),
            Self::Junction([zero, built_in, grading, floor]) => format!(
                "{{ zero_bias = \"{zero:?} pF\", built_in = \"{built_in:?} V\", grading = {grading:?}, \
                 floor = \"{floor:?} pF\" }}"
            ),
            Self::Polygon(knots) => {
                let row = |(v, c): &(f64, f64)| format!("[\"{v:?} V\", \"{c:?} pF\"]");
                let rows: Vec<_> = knots.iter().map(row).collect();
                format!("{{ table = [{}] }}", rows.join(", "))
            }
        }
    }

    /// Picofarad at a voltage; below zero and past a table's end it stays.
    pub fn at(&self, v: f64) -> f64 {
        let v = v.max(0.0);
        match self {
            Self::Constant(c) => *c,
            Self::Junction([zero, built_in, grading, floor]) => {
                zero / (1.0 + v / built_in).powf(*grading) + floor
            }
            Self::Polygon(knots) => {
                let after = knots.iter().position(|(x, _)| *x > v);
                match after {
                    None => knots[knots.len() - 1].1,
                    Some(0) => knots[0].1,
                    Some(k) => {
                        let ((x0, y0), (x1, y1)) = (knots[k - 1], knots[k]);
                        y0 + (y1 - y0) * (v - x0) / (x1 - x0)
                    }
                }
            }
        }
    }
}

fn law() -> impl Strategy<Value = Law> {
    let polygon = (
        100.0..900.0f64,
        proptest::collection::vec((1.0..9.0f64, 0.4..0.95f64), 1..5),
    );
    prop_oneof![
        (50.0..900.0f64).prop_map(Law::Constant),
        (100.0..1500.0f64, 0.4..1.2f64, 0.2..0.7f64, 10.0..200.0f64).prop_map(
            |(zero, built_in, grading, floor)| Law::Junction([zero, built_in, grading, floor])
        ),
        polygon.prop_map(|(start, steps)| {
            let mut knots = vec![(0.0, start)];
            for (step, factor) in steps {
                let (v, c) = knots[knots.len() - 1];
                knots.push((v + step, c * factor));
            }
            Law::Polygon(knots)
        }),
    ]
}

/// A random stage of three levels in its lower band.
#[derive(Clone, Debug)]
struct Case {
    low: Law,
    high: Law,
    clamp: Law,
    input: f64,
    part: f64,
    inductance: f64,
}

fn case() -> impl Strategy<Value = Case> {
    (
        law(),
        law(),
        law(),
        20.0..50.0f64,
        0.15..0.45f64,
        0.3..1.5f64,
    )
        .prop_map(|(low, high, clamp, input, part, inductance)| Case {
            low,
            high,
            clamp,
            input,
            part,
            inductance,
        })
}

impl Case {
    fn stage(&self) -> Stage {
        let text = specification_with(&[
            ("input.voltage", &format!("\"{:?} V\"", self.input)),
            ("output.voltage", &format!("\"{:?} V\"", self.output())),
            ("output.current", "\"3 A\""),
            ("transistors.low.output_capacitance", &self.low.text()),
            ("transistors.high.output_capacitance", &self.high.text()),
            ("clamp.output_capacitance", &self.clamp.text()),
        ]);
        let specification = Specification::read(&text).unwrap();
        Stage::new(
            specification,
            Inductance::from_coherent(self.inductance * 1e-6),
            "case",
        )
    }

    fn output(&self) -> f64 {
        self.upper() * self.part * 2.0 * 0.99
    }

    fn upper(&self) -> f64 {
        self.input / 2.0
    }

    /// Farad at the node; the demonstration adds 50 pF of winding and layout.
    fn node(&self, u: f64) -> f64 {
        let clamp = self.clamp.at((u - self.output()).abs());
        (self.low.at(u) + self.high.at(self.upper() - u) + clamp + 50.0) * 1e-12
    }

    /// The highest node voltage from a current at the output voltage, by integration.
    fn reaches(&self, current: f64) -> f64 {
        let most = self
            .node(0.0)
            .max(self.node(self.upper()))
            .max(self.node(self.output()));
        let scale = (self.inductance * 1e-6 * most).sqrt();
        let system = Node { case: self.clone() };
        let start = Vector2::new(self.output(), current);
        let end = 4.0 * scale;
        let mut solver = Dop853::new(system, 0.0, end, end / 4000.0, start, 1e-10, 1e-10);
        solver.integrate().unwrap();
        solver.y_out().iter().map(|y| y[0]).fold(0.0, f64::max)
    }
}

/// Node voltage, and the current that charges the node.
struct Node {
    case: Case,
}

impl System<f64, Vector2<f64>> for Node {
    fn system(&self, _time: f64, y: &Vector2<f64>, dy: &mut Vector2<f64>) {
        dy[0] = y[1] / self.case.node(y[0]);
        dy[1] = -(y[0] - self.case.output()) / (self.case.inductance * 1e-6);
    }

    fn solout(&mut self, _time: f64, y: &Vector2<f64>, _dy: &Vector2<f64>) -> bool {
        y[1] < 0.0
    }
}

fn ampere(name: &str, value: f64) -> Term<Current> {
    Term::input(name, "current", Current::from_coherent(value))
}

fn of<Q: Dimensioned>(term: Term<Q>) -> f64 {
    term.value().unwrap().coherent()
}

fn near(found: f64, expected: f64, relative: f64) -> Result<(), TestCaseError> {
    prop_assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "{found} is not {expected}"
    );
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// Just above the floor the node reaches its upper level, just below it does not,
    /// and where it stops the solved step says.
    #[test]
    fn the_floor_divides_arrival_from_stopping_short(case in case()) {
        let stage = case.stage();
        let floor = freewheel::floor(&stage).value().unwrap().coherent();
        prop_assert!(case.reaches(floor * 1.001) >= case.upper());
        let short = case.reaches(floor * 0.999);
        prop_assert!(short < case.upper());
        let reached = edge::reached_voltage(&stage, ampere("I_h", floor * 0.999)).value().unwrap();
        near(short, reached.coherent(), 1e-5)?;
    }

    /// The work of an edge is the energy that the curves store, and what the output takes.
    #[test]
    fn the_work_of_an_edge_is_stored_energy(case in case()) {
        let stage = case.stage();
        let (v_out, v_hi) = (case.output(), case.upper());
        let steps = 40_000;
        let width = v_hi / f64::from(steps);
        let work: f64 = (0..steps)
            .map(|k| (f64::from(k) + 0.5) * width)
            .map(|u| case.node(u) * (u - v_out) * width)
            .sum();
        let scale: f64 = of(stage.work(stage.V_out, stage.V_hi));
        let found = of(stage.work(stage.V_lo, stage.V_hi));
        prop_assert!((found - work).abs() <= 1e-6 * scale, "{found} {work}");
    }

    /// The cell's intervals fill it, and carry the output charge.
    #[test]
    fn a_cell_is_filled_and_carries_the_output_charge(case in case()) {
        let stage = case.stage();
        let floor = freewheel::floor(&stage).value().unwrap().coherent();
        let trip = ampere("I_set", 2.0 * floor);
        let peak = cycle::peak_current(&stage, trip).value();
        prop_assume!(peak.is_ok());
        let cell = cycle::cell(&stage, trip);
        let times = cell.rise_time + cell.on_time + cell.fall_time + cell.release_time
            + cell.partial_rise_time + cell.hold_time;
        near(of(times), of(stage.T), 1e-10)?;
        // Ramps as triangles; each edge carries the node's charge between its levels.
        let (a, b) = (of(stage.a), of(stage.b));
        let l = of(stage.L);
        let up = l * (of(cell.peak_current).powi(2) - of(cell.residual_current).powi(2)) / a / 2.0;
        let down = l * (of(cell.current_after_fall).powi(2) - of(cell.release_current).powi(2)) / b / 2.0;
        let output = of(stage.I_out) * of(stage.T);
        near(up + down, output, 1e-10)?;
    }

    /// More to move needs more current, more inductance less, more load less inductance.
    #[test]
    fn limits_move_the_way_they_must(case in case(), more in 1.01..1.3f64) {
        let stage = case.stage();
        let floor = freewheel::floor(&stage);
        let own = floor.value().unwrap().coherent();
        let at = |symbol: &'static slewbook::equation::Symbol| {
            Point::own().with(symbol, symbol.value() * more)
        };
        prop_assert!(floor.at(&at(stage.axes.input_voltage)).unwrap().coherent() > own);
        near(floor.at(&at(stage.axes.inductance)).unwrap().coherent(), own / more.sqrt(), 1e-12)?;
        let boundary = limit::boundary(&stage);
        let least = boundary.value().unwrap().coherent();
        near(boundary.at(&at(stage.axes.output_current)).unwrap().coherent(), least / more, 1e-12)?;
    }

    /// Capacitances and inductance times k: the same currents, times k the times.
    #[test]
    fn time_scales_with_inductance_and_capacitance(
        zero in 200.0..900.0f64, step in 6.0..30.0f64, k in 0.3..3.0f64,
    ) {
        let stage = |k: f64| {
            let curve = format!("{{ zero_bias = \"{:?} pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"{:?} pF\" }}", zero * k, 50.0 * k);
            let text = specification_with(&[
                ("input.voltage", &format!("\"{:?} V\"", 2.0 * (6.0 + step))),
                ("stage.node_capacitance", &format!("\"{:?} pF\"", 40.0 * k)),
                ("transistors.low.output_capacitance", &curve),
                ("transistors.high.output_capacitance", &curve),
                ("clamp.output_capacitance", &curve),
            ]);
            Stage::new(Specification::read(&text).unwrap(), Inductance::from_coherent(0.7e-6 * k), "case")
        };
        let (one, other) = (stage(1.0), stage(k));
        let floor = freewheel::floor(&one).value().unwrap().coherent();
        near(freewheel::floor(&other).value().unwrap().coherent(), floor, 1e-11)?;
        let rise = |stage: &Stage| edge::rise_time(stage, ampere("I_h", 1.3 * floor)).value().unwrap().coherent();
        near(rise(&other), k * rise(&one), 1e-10)?;
    }

    /// A constant capacitance has closed forms: a/Z and √(LC)·arcsin(a/(Z·I)).
    #[test]
    fn constant_capacitance_has_closed_forms(
        c in 100.0..2000.0f64, l in 0.2..2.0f64, input in 20.0..50.0f64, over in 1.0001..3.0f64,
    ) {
        let nothing = "{ constant = \"0 pF\" }";
        let text = specification_with(&[
            ("input.voltage", &format!("\"{input:?} V\"")),
            ("stage.node_capacitance", &format!("\"{c:?} pF\"")),
            ("transistors.low.output_capacitance", nothing),
            ("transistors.high.output_capacitance", nothing),
            ("clamp.output_capacitance", nothing),
        ]);
        let inductance = Inductance::from_coherent(l * 1e-6);
        let stage = Stage::new(Specification::read(&text).unwrap(), inductance, "case");
        let impedance = (l * 1e-6 / (c * 1e-12)).sqrt();
        let step = input / 2.0 - 6.0;
        let floor = freewheel::floor(&stage).value().unwrap().coherent();
        near(floor, step / impedance, 1e-12)?;
        let current = ampere("I_h", over * floor);
        let time = edge::rise_time(&stage, current).value().unwrap().coherent();
        near(time, (l * 1e-6 * c * 1e-12).sqrt() * (1.0 / over).asin(), 1e-9)?;
    }

    /// A table's charge and energy are those of its polygon, cut fine.
    #[test]
    fn a_table_is_its_polygon(law in law(), v in 0.5..40.0f64) {
        let Law::Polygon(knots) = &law else { return Ok(()) };
        let points: Vec<(Voltage, Capacitance)> = knots.iter().map(|(v, c)| (*v * volt, *c * pF)).collect();
        let curve = Curve::table("C", &points).unwrap();
        let steps = 50_000;
        let width = v / f64::from(steps);
        let (mut charge, mut energy) = (0.0, 0.0);
        for k in 0..steps {
            let u = (f64::from(k) + 0.5) * width;
            charge += law.at(u) * 1e-12 * width;
            energy += law.at(u) * 1e-12 * u * width;
        }
        near(curve.capacitance(v * volt).coherent(), law.at(v) * 1e-12, 1e-12)?;
        near(curve.charge(v * volt).coherent(), charge, 1e-7)?;
        near(curve.energy(v * volt).coherent(), energy, 1e-7)?;
    }
}

/// The exact gradient of every formula against central differences of five points.
#[test]
fn gradients_are_central_differences() {
    /// Step, relative to the input.
    const STEP: f64 = 1e-3;
    /// Of the larger of the derivative and the result over the input.
    const TOLERANCE: f64 = 1e-6;
    let mut compared = 0;
    for formula in formulas() {
        let record = &formula.record;
        let point = formula.points.last().unwrap();
        let value = record.value_at(point).unwrap().unwrap();
        for sensitivity in record.sensitivities(point).unwrap() {
            let at = point.value_of(sensitivity.symbol);
            if at == 0.0 {
                continue;
            }
            let h = STEP * at;
            let shifted = |steps: f64| {
                let moved = point.clone().with(sensitivity.symbol, at + steps * h);
                record.value_at(&moved).unwrap()
            };
            let [Some(a), Some(b), Some(c), Some(d)] = [-2.0, -1.0, 1.0, 2.0].map(shifted) else {
                continue;
            };
            let difference = (a - 8.0 * b + 8.0 * c - d) / (12.0 * h);
            let scale = difference.abs().max((value / at).abs());
            assert!(
                (sensitivity.derivative - difference).abs() <= TOLERANCE * scale,
                "{} by {}: {} against {difference}",
                record.name(),
                sensitivity.symbol.glyph(),
                sensitivity.derivative
            );
            compared += 1;
        }
    }
    println!("{compared} derivatives compared with central differences");
    assert!(compared > 1000, "{compared}");
}
