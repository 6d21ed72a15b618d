//! Writes every formula as LaTeX with its own symbols and their values, for the
//! independent reading by a computer algebra system (`tests/sympy/`).

use std::collections::BTreeMap;

use serde_json::{Value, json};
use slewbook::equation::{Glyph, Line, Point, Record};

use crate::catalogue::{Formula, formulas};

/// One line: its LaTeX, its value, and for a solved one its unknown.
fn line(line: &Line, value: Option<f64>) -> Value {
    let unknown = line.solved().map(|(name, _)| Glyph::new(&name).latex());
    json!({ "latex": line.latex(), "value": value, "unknown": unknown })
}

fn at(record: &Record, point: &Point) -> Value {
    let outcome = record.evaluate(point).unwrap();
    assert!(
        outcome.value.is_some(),
        "{}: {:?}",
        record.name(),
        outcome.reasons
    );
    let lines = record.lines().unwrap();
    let lines: Vec<_> = lines
        .iter()
        .zip(&outcome.lines)
        .map(|(own, value)| line(own, *value))
        .collect();
    let inputs: Vec<_> = record
        .inputs()
        .unwrap()
        .iter()
        .map(|symbol| json!([symbol.glyph().latex(), point.value_of(symbol)]))
        .collect();
    json!({ "inputs": inputs, "lines": lines })
}

/// The curves by their symbol, as the specification's text gives them: the reader
/// computes them itself.
fn curves(formula: &Formula) -> BTreeMap<String, toml::Value> {
    let specification = &formula.stage.specification;
    let table: toml::Table = toml::from_str(specification.source()).unwrap();
    let part = |path: [&str; 2]| {
        let entry = table[path[0]].get(path[1]).cloned();
        entry.and_then(|entry| entry.get("output_capacitance").cloned().or(Some(entry)))
    };
    let owners = [
        Some((
            specification.low.output_capacitance,
            part(["transistors", "low"]),
        )),
        Some((
            specification.high.output_capacitance,
            part(["transistors", "high"]),
        )),
        specification
            .clamp
            .output_capacitance
            .map(|curve| (curve, part(["clamp", "output_capacitance"]))),
    ];
    owners
        .into_iter()
        .flatten()
        .filter_map(|(curve, entry)| Some((curve.glyph().latex(), entry?)))
        .collect()
}

#[test]
fn every_formula_is_written_for_the_independent_reading() {
    let mut list = Vec::new();
    for formula in formulas() {
        let name = formula.record.name();
        let title = &formula.stage.specification.title;
        assert!(!formula.points.is_empty(), "{name}: no point for {title}");
        for point in &formula.points {
            let mut entry = at(&formula.record, point);
            entry["name"] = json!(name);
            entry["specification"] = json!(title);
            entry["curves"] = json!(curves(&formula));
            list.push(entry);
        }
    }
    let path = format!("{}/formulas.json", env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(&path, serde_json::to_string_pretty(&list).unwrap()).unwrap();
    println!("{} formulas at their points written to {path}", list.len());
}

/// A symbol stands for one formula: a reader could not tell two apart.
#[test]
fn no_two_lines_of_a_derivation_define_one_symbol() {
    for formula in formulas() {
        let mut heads: Vec<String> = Vec::new();
        for line in formula.record.lines().unwrap() {
            if line.solved().is_none() {
                let text = line.text();
                let head = text.split(" = ").next().unwrap().to_owned();
                assert!(
                    !heads.contains(&head),
                    "{}: {head} twice",
                    formula.record.name()
                );
                heads.push(head);
            }
        }
        for symbol in formula.record.inputs().unwrap() {
            let name = symbol.glyph().to_string();
            assert!(
                !heads.contains(&name),
                "{}: {name} twice",
                formula.record.name()
            );
        }
    }
}
