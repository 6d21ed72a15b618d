//! Every formula of the library, in each form it takes: bands, drop, offset,
//! kinds of capacitance curve.

use std::rc::Rc;

use slewbook::design::Design;
use slewbook::edge;
use slewbook::equation::{Point, Record, Term};
use slewbook::quantity::{Current, Dimensioned};
use slewbook::stage::Stage;

/// A formula for one stage, with points at which it has a value.
pub struct Formula {
    /// Shared by the formulas of one specification.
    pub design: Rc<Design>,
    /// The derivation.
    pub record: Rc<Record>,
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
    let path = format!("{}/tests/data/independent/{file}.toml", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(path).unwrap()
}

/// A record under the name of its formula: some results are one formula at
/// another place.
pub fn formula_name(record: &Record) -> &str {
    match record.name() {
        "trip_current_least_inductance" | "trip_current_greatest_inductance" => "trip_current",
        "fall_time_least_load" => "fall_time",
        "on_time_least" => "on_time",
        name => name,
    }
}

/// The formulas of a stage that no result of the design takes as they are.
fn beside(stage: &Stage) -> [Record; 2] {
    let point = stage.nominal();
    let floor = slewbook::freewheel::floor(stage).at(&point).unwrap();
    let current = |factor: f64| {
        let current = Current::from_coherent(factor * floor.coherent());
        Term::input("I_h", "freewheel current when the clamp opens", current)
    };
    [
        edge::rise_time(stage, current(1.6)).into_record(),
        edge::reached_voltage(stage, current(0.6)).into_record(),
    ]
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
        let design = Rc::new(Design::derive(&specification(file)).unwrap());
        let records = design.findings.iter().map(|finding| Rc::clone(&finding.record));
        let others = beside(&design.stage).map(Rc::new);
        let mut seen: Vec<String> = Vec::new();
        for record in records.chain(others) {
            let name = formula_name(&record).to_owned();
            if seen.contains(&name) {
                continue;
            }
            seen.push(name);
            let points = points(&design.stage)
                .into_iter()
                .filter(|point| record.value_at(point).unwrap().is_some())
                .collect();
            let design = Rc::clone(&design);
            list.push(Formula { design, record, points });
        }
    }
    list
}
