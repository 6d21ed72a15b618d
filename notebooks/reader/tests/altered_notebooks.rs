//! Stored notebooks that were altered after they were run: each alteration that a
//! reader could see is a difference.

use std::path::Path;

use serde_json::{Value, json};
use slewbook_reader::{Comparison, Notebook};

/// A notebook with an output of every kind.
fn sound() -> Value {
    json!({
        "nbformat": 4, "nbformat_minor": 5, "metadata": {},
        "cells": [
            {"cell_type": "markdown", "id": "words", "metadata": {}, "source": "# Words"},
            {
                "cell_type": "code", "id": "value", "metadata": {}, "execution_count": 1,
                "source": "6.0 * ampere",
                "outputs": [
                    {"output_type": "stream", "name": "stdout", "text": ["a line\n"]},
                    {"output_type": "execute_result", "execution_count": 1, "metadata": {}, "data": {
                        "application/vnd.slewbook.quantity.v1+json":
                            {"value": 6.0, "unit": "A", "text": "6 A"},
                        "text/plain": ["6 A"],
                        "text/html": ["<span>6 A</span>"],
                    }},
                ],
            },
            {
                "cell_type": "code", "id": "table", "metadata": {}, "execution_count": 2,
                "source": "table",
                "outputs": [{"output_type": "execute_result", "execution_count": 2, "metadata": {}, "data": {
                    "application/vnd.slewbook.document.v1+json": {"items": [
                        {"thing": "table", "data": {"caption": "t", "columns": ["V"], "rows": [["36 V"]]}},
                        {"thing": "figure", "data": {"svg": "<svg/>", "series": [{"points": [[0.0, 1.0]]}]}},
                        {"thing": "equation", "data": {"latex": "L", "mathml": "<math/>", "text": "L"}},
                        {"thing": "text", "data": {"markdown": "a sentence"}},
                        {"thing": "check", "data": {"ok": true, "text": "PASS: a"}},
                    ]},
                    "text/plain": "t", "text/markdown": "a sentence",
                }}],
            },
            {"cell_type": "code", "id": "empty", "metadata": {}, "source": "", "outputs": []},
        ],
    })
}

fn compared(stored: &Value, fresh: &Value) -> Comparison {
    let read = |json: &Value| Notebook::parse(Path::new("a.ipynb"), &json.to_string()).unwrap();
    Comparison::of(&read(stored), &read(fresh))
}

fn altered(pointer: &str, value: Value) -> Vec<String> {
    let mut stored = sound();
    *stored.pointer_mut(pointer).unwrap() = value;
    compared(&stored, &sound()).differences
}

#[test]
fn what_is_the_same_is_verified_and_counted() {
    let comparison = compared(&sound(), &sound());
    assert_eq!(comparison.differences, Vec::<String>::new());
    assert_eq!(
        comparison.cells,
        [
            "cell 1 (value): compared 2 outputs, 1 number, 6 texts",
            "cell 2 (table): compared 1 output, 2 numbers, 16 texts",
        ]
    );
}

#[test]
fn every_value_that_a_reader_sees_is_compared() {
    // Each leaf of each output, whatever it is, by itself.
    let mut leaves = vec![];
    collect(&sound()["cells"], "/cells".to_owned(), &mut leaves);
    let outputs: Vec<_> = leaves
        .iter()
        .filter(|path| path.contains("/outputs/") && !path.ends_with("/execution_count"))
        .collect();
    assert!(outputs.len() > 25);
    for path in outputs {
        for value in [
            json!("999 A"),
            json!(999.0),
            json!(null),
            json!({"value": 999.0}),
            json!([]),
        ] {
            assert!(!altered(path, value.clone()).is_empty(), "{path} = {value}");
        }
    }
}

fn collect(value: &Value, path: String, into: &mut Vec<String>) {
    let key = |key: &str| key.replace('~', "~0").replace('/', "~1");
    match value {
        Value::Object(map) => {
            for (name, value) in map {
                collect(value, format!("{path}/{}", key(name)), into);
            }
        }
        Value::Array(list) => {
            for (index, value) in list.iter().enumerate() {
                collect(value, format!("{path}/{index}"), into);
            }
        }
        _ => into.push(path),
    }
}

#[test]
fn the_tolerance_is_not_taken_from_the_file() {
    let data = "/cells/1/outputs/1/data/application~1vnd.slewbook.quantity.v1+json";
    let forged = json!({"value": 999.0, "unit": "A", "text": "6 A", "tolerance": 1e9});
    let differences = altered(data, forged);
    assert!(
        differences
            .iter()
            .any(|words| words.contains("stored 999.0, now 6.0")),
        "{differences:?}"
    );
    assert!(differences.iter().any(|words| words.contains("tolerance")));
}

#[test]
fn a_key_that_was_taken_away_or_added_is_a_difference() {
    let data = "/cells/1/outputs/1/data/application~1vnd.slewbook.quantity.v1+json";
    assert!(!altered(data, json!({"unit": "A", "text": "6 A"})).is_empty());
    assert!(
        !altered(
            data,
            json!({"value": 6.0, "unit": "A", "text": "6 A", "more": "x"})
        )
        .is_empty()
    );
}

#[test]
fn outputs_in_excess_missing_or_in_another_order_are_differences() {
    let outputs = sound()["cells"][1]["outputs"].clone();
    let list =
        |indices: &[usize]| Value::Array(indices.iter().map(|i| outputs[*i].clone()).collect());
    for indices in [&[0, 1, 1][..], &[0], &[1], &[1, 0], &[]] {
        assert!(
            !altered("/cells/1/outputs", list(indices)).is_empty(),
            "{indices:?}"
        );
    }
    // A cell without code gives nothing, and so has nothing to show.
    assert!(!altered("/cells/3/outputs", list(&[1])).is_empty());
}

#[test]
fn what_shows_itself_cannot_be_verified() {
    let mut both = sound();
    both["cells"][1]["outputs"][1]["data"] =
        json!({"text/html": "<b>6 A</b>", "text/plain": "6 A"});
    let differences = compared(&both, &both).differences;
    assert!(
        differences[0].contains("text/html shows itself, which cannot be compared"),
        "{differences:?}"
    );
}

#[test]
fn a_stated_tolerance_holds_for_the_printed_numbers_too() {
    let told = |value: f64| {
        let mut notebook = sound();
        notebook["cells"][1]["outputs"][1]["data"] = json!({
            "application/vnd.slewbook.quantity.v1+json":
                {"value": value, "unit": "A", "text": format!("{value:.1} A"), "tolerance": 0.01},
            "text/plain": format!("{value:.1} A"),
        });
        notebook
    };
    assert!(compared(&told(100.5), &told(100.0)).differences.is_empty());
    assert!(!compared(&told(102.0), &told(100.0)).differences.is_empty());
}
