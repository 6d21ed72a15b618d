//! Worst points: the quick way to them leads where the derivation itself leads; and what
//! tables of many points come to.

use slewbook::column::Columns;
use slewbook::design::Design;
use slewbook::equation::{Gradient, Program, Record, Sense, Term, find_extreme};
use slewbook::quantity::Current;
use slewbook::quantity::unit::{ampere, uH};
use slewbook::stage::{DEMONSTRATION, Specification, Stage};
use slewbook::{cycle, edge, limit};

/// The derivations whose values take iteration.
fn iterating(stage: &Stage, trip: Term<Current>) -> Vec<(Record, Sense)> {
    vec![
        (limit::ceiling(stage).into_record(), Sense::Least),
        (
            limit::ceiling_operating(stage, trip).into_record(),
            Sense::Least,
        ),
        (edge::dead_time_latest(stage).into_record(), Sense::Least),
        (edge::fall_time(stage, trip).into_record(), Sense::Greatest),
        (edge::fall_latest(stage, trip).into_record(), Sense::Least),
        (
            cycle::peak_current(stage, trip).into_record(),
            Sense::Greatest,
        ),
        (cycle::hold_time(stage, trip).into_record(), Sense::Least),
        (cycle::on_time(stage, trip).into_record(), Sense::Least),
    ]
}

/// Of the stages of the independent reference, few enough for a minute.
const SOME: [&str; 2] = ["04-glacier-radio.toml", "07-weather-kite.toml"];

fn specifications() -> Vec<(String, String)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/independent");
    let mut all: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .filter(|path| SOME.iter().any(|name| path.ends_with(name)))
        .map(|path| {
            (
                path.display().to_string(),
                std::fs::read_to_string(&path).unwrap(),
            )
        })
        .collect();
    all.sort();
    all.push(("demonstration".to_owned(), DEMONSTRATION.to_owned()));
    all.push(("a table".to_owned(), tabulated(60)));
    all
}

/// The demonstration with the high side's junction law as a table of so many points.
fn tabulated(points: u32) -> String {
    let law = "{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\" }";
    let rows: Vec<_> = (0..points)
        .map(|k| {
            let v = 25.0 * f64::from(k) / f64::from(points - 1);
            format!(
                "[\"{v} V\", \"{} pF\"]",
                900.0 / (1.0 + v / 0.8).sqrt() + 60.0
            )
        })
        .collect();
    let table = format!("{{ table = [{}] }}", rows.join(", "));
    assert!(DEMONSTRATION.contains(law));
    DEMONSTRATION.replace(law, &table)
}

/// The derivation alone, asked at every point of the search, finds the same place and
/// the same value, to the last digit.
#[test]
fn every_search_ends_where_the_derivation_alone_ends() {
    let (mut compared, mut shown_too) = (0, 0);
    for (name, text) in specifications() {
        let design = Design::derive(&text).unwrap_or_else(|e| panic!("{name}: {e}"));
        let stage = &design.stage;
        for (record, sense) in iterating(stage, design.in_force.threshold()) {
            let base = stage.nominal();
            let mut spans = stage.spans().to_vec();
            if record.name() == "fall_latest" {
                spans.push(stage.load_span());
            }
            let found = record.extreme(&base, &spans, sense).unwrap();
            let box_: Vec<_> = spans.iter().map(|span| (span.low, span.high)).collect();
            let alone = find_extreme(&box_, sense, |place| {
                let point = spans
                    .iter()
                    .zip(place)
                    .fold(base.clone(), |point, (span, v)| point.with(span.symbol, *v));
                record.value_at(&point).unwrap().unwrap_or(f64::NAN)
            });
            assert_eq!(
                found.without_value,
                alone.without_value,
                "{name}, {}",
                record.name()
            );
            let (Some(found), Some(alone)) = (found.best, alone.best) else {
                continue;
            };
            assert_eq!(found, alone, "{name}, {}", record.name());
            compared += 1;
            // What the design shows was found with the exact steady state's hold times.
            let shown = design.finding(record.name());
            if let Some(shown) = shown.filter(|shown| shown.chosen.ends_with("over the range")) {
                assert_eq!(shown.value(), Some(alone.1), "{name}, {}", record.name());
                shown_too += 1;
            }
        }
    }
    assert!(compared > 8 && shown_too > 4, "{compared}, {shown_too}");
}

/// A fine table of a junction law gives what the law gives, but for what its lines leave
/// out; column and program agree to the last bit; derivatives agree with differences.
#[test]
fn a_fine_table_is_the_law() {
    let of = |text: &str| Stage::new(Specification::read(text).unwrap(), 0.68 * uH, "test");
    let trip = Term::input("I_set", "trip threshold in force", 0.4 * ampere);
    let (law, table) = (of(DEMONSTRATION), of(&tabulated(2000)));
    for ((plain, _), (tabled, _)) in iterating(&law, trip).iter().zip(&iterating(&table, trip)) {
        let value = |record: &Record, stage: &Stage| record.value_at(&stage.nominal()).unwrap();
        let (Some(a), Some(b)) = (value(plain, &law), value(tabled, &table)) else {
            panic!("{}", plain.name());
        };
        assert!((a / b - 1.0).abs() < 2e-5, "{}: {a} and {b}", plain.name());
        let columns = Columns::of(&[tabled]).unwrap();
        let there = columns.bind().point(&table.nominal()).run()[0][0];
        assert_eq!(there.to_bits(), b.to_bits(), "{}", plain.name());

        let program = Program::compile(&[tabled.result()]).unwrap();
        let inputs: Vec<f64> = program
            .inputs()
            .iter()
            .map(|s| table.nominal().value_of(s))
            .collect();
        let gradient = &program.run(&Gradient::inputs(&program, &inputs))[0];
        for (k, input) in inputs.iter().enumerate().filter(|(_, v)| **v != 0.0) {
            let step = 1e-5 * input;
            let at = |offset: f64| {
                let mut moved = inputs.clone();
                moved[k] += offset;
                program.run(&moved)[0]
            };
            let slope = (at(step) - at(-step)) / (2.0 * step);
            let scale = (b / input).abs();
            assert!(
                (gradient.partial(k) - slope).abs() < 2e-5 * scale.max(slope.abs()),
                "{} by {}: {} and {slope}",
                plain.name(),
                program.inputs()[k].glyph(),
                gradient.partial(k)
            );
        }
    }
}

/// Points that rounding cannot tell apart are one step, and the document says so.
#[test]
fn points_that_fall_together_are_a_step_with_a_note() {
    let law = "{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\" }";
    let table = "{ table = [[\"0 V\", \"900 pF\"], [\"2.2e-14 V\", \"700 pF\"], [\"4.4e-14 V\", \"300 pF\"]] }";
    let design = Design::derive(&DEMONSTRATION.replace(law, table)).unwrap();
    let notes = &design.stage.specification.notes;
    assert!(
        notes.iter().any(|note| note.contains("taken as one step")),
        "{notes:?}"
    );
    let constant = DEMONSTRATION.replace(law, "{ constant = \"300 pF\" }");
    let plain = Design::derive(&constant).unwrap();
    for (a, b) in design.findings.iter().zip(&plain.findings) {
        assert_eq!(a.name(), b.name());
        if let (Some(a), Some(b)) = (a.value(), b.value()) {
            assert!((a - b).abs() <= 1e-7 * b.abs(), "{a} and {b}");
        }
    }
}
