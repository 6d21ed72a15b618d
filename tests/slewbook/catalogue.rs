//! Every formula of the library, in each form it takes: bands, drop, offset,
//! kinds of capacitance curve.

use std::rc::Rc;

use slewbook::equation::{Point, Record, Term};
use slewbook::quantity::{Capacitance, Current, Dimensioned, Ratio, Voltage};
use slewbook::stage::{Specification, Stage};
use slewbook::{cycle, edge, freewheel, limit};

/// A formula for one stage, with points at which it has a value.
pub struct Formula {
    /// Shared by the formulas of one specification.
    pub stage: Rc<Stage>,
    /// The derivation.
    pub record: Record,
    /// Where it is evaluated.
    pub points: Vec<Point>,
}

/// Specifications that between them show every form of every formula: the lowest,
/// a middle and the highest band, two levels, a drop, an offset, and curves of
/// each kind.
pub const SPECIFICATIONS: [&str; 6] = [
    "01-river-sonde",
    "02-tide-gauge",
    "04-glacier-radio",
    "05-lighthouse-horn",
    "08-buoy-beacon",
    "09-canal-gate",
];

/// The text of one of the independent specifications.
pub fn specification(file: &str) -> String {
    let path = format!(
        "{}/tests/data/independent/{file}.toml",
        env!("CARGO_MANIFEST_DIR")
    );
    std::fs::read_to_string(path).unwrap()
}

/// Every derivation of the library for a stage.
fn derivations(stage: &Stage) -> Vec<Record> {
    let point = stage.nominal();
    let floor = freewheel::floor(stage).at(&point).unwrap().coherent();
    let current = |factor: f64| {
        let current = Current::from_coherent(factor * floor);
        Term::input("I_h", "freewheel current when the clamp opens", current)
    };
    let setting = Current::from_coherent(2.0 * floor);
    let set = Term::input("I_set", "trip threshold in force", setting);
    let farads = |name, value| Term::input(name, "capacitance", Capacitance::from_coherent(value));
    let part: Term<Ratio> = Term::input("d_fly", "ripple allowed, of the step", 0.05.into());
    let allowed = Term::input("d_out", "ripple allowed", Voltage::from_coherent(0.1));
    let mut list = vec![
        limit::boundary(stage).into_record(),
        limit::ceiling(stage).into_record(),
        limit::ceiling_operating(stage, set).into_record(),
        freewheel::floor(stage).into_record(),
        freewheel::clamp_on_current(stage).into_record(),
        freewheel::release_current(stage).into_record(),
        freewheel::trip_current(stage).into_record(),
        edge::dead_time_earliest(stage).into_record(),
        edge::dead_time_best(stage).into_record(),
        edge::dead_time_latest(stage).into_record(),
        edge::rise_time(stage, current(1.6)).into_record(),
        edge::reached_voltage(stage, current(0.6)).into_record(),
        edge::fall_time(stage, set).into_record(),
        edge::fall_latest(stage, set).into_record(),
        cycle::peak_current(stage, set).into_record(),
        cycle::hold_time(stage, set).into_record(),
        cycle::on_time(stage, set).into_record(),
        limit::transistor_blocking(stage).into_record(),
        limit::clamp_blocking(stage).into_record(),
        limit::clamp_blocking_start(stage).into_record(),
        limit::outermost_blocking_start(stage).into_record(),
        limit::outermost_blocking_step(stage).into_record(),
        limit::output_ripple(stage, set, farads("C_out", 1e-4)).into_record(),
        limit::output_capacitance_needed(stage, set, allowed).into_record(),
    ];
    list.extend(
        limit::release_path_current(stage).map(slewbook::equation::Derivation::into_record),
    );
    list.extend(
        freewheel::demagnetisation_time(stage).map(slewbook::equation::Derivation::into_record),
    );
    let ripple = limit::flying_ripple(stage, set, farads("C_fly", 1e-5));
    list.extend(ripple.map(slewbook::equation::Derivation::into_record));
    let needed = limit::flying_capacitance_needed(stage, set, part);
    list.extend(needed.map(slewbook::equation::Derivation::into_record));
    list.extend(crate::loss_formulas::derivations(stage, set));
    list
}

/// Three points inside the ranges.
fn points(stage: &Stage) -> Vec<Point> {
    let s = &stage.specification;
    let between = |low: f64, high: f64, part: f64| low + (high - low) * part;
    [(0.5, 0.5, 1.0), (0.3, 0.65, 0.9), (0.75, 0.2, 0.95)]
        .map(|(x, y, z)| {
            let (input, output, current) = (s.input_voltage, s.output_voltage, s.output_current);
            Point::own()
                .with(
                    stage.axes.input_voltage,
                    between(input.min.coherent(), input.max.coherent(), x),
                )
                .with(
                    stage.axes.output_voltage,
                    between(output.min.coherent(), output.max.coherent(), y),
                )
                .with(
                    stage.axes.output_current,
                    between(current.min.coherent(), current.max.coherent(), z),
                )
        })
        .into()
}

/// Every formula for every specification above, once each.
pub fn formulas() -> Vec<Formula> {
    let mut list: Vec<Formula> = Vec::new();
    for file in SPECIFICATIONS {
        let specification = Specification::read(&specification(file)).unwrap();
        let inductance = specification.inductance.unwrap();
        let stage = Rc::new(Stage::new(specification, inductance, "[stage] inductance"));
        for record in derivations(&stage) {
            let points = points(&stage)
                .into_iter()
                .filter(|point| record.value_at(point).unwrap().is_some())
                .collect();
            let stage = Rc::clone(&stage);
            list.push(Formula {
                stage,
                record,
                points,
            });
        }
    }
    list
}
