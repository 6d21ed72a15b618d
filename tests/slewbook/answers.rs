//! What a machine is told: exit codes, and JSON with units.

use serde_json::Value;
use slewbook::design::{Design, Verdict};
use slewbook::stage::{DEMONSTRATION, PARTS};

use crate::program::{folder, run, succeed, write};
use crate::support::sha256;

/// With what the demonstration's requirements are all met.
const SOUND: [&str; 10] = [
    "--set",
    "trip.threshold=0.7 A",
    "--set",
    "timing.dead_time=30 ns",
    "--set",
    "stage.flying_capacitance=150 uF",
    "--set",
    "start_up.flying_capacitors_precharged=true",
    "--set",
    "start_up.input_slew_limited=true",
];

#[test]
fn what_is_asked_to_hold_and_does_not_is_exit_code_3() {
    let folder = folder("answers-met");
    write(&folder, DEMONSTRATION);
    let asked = ["specification.toml", "--require-met"];
    for command in ["derive", "cycle", "rationale"] {
        let arguments = [&[command][..], &asked].concat();
        let output = run(&folder, &arguments);
        assert_eq!(output.status.code(), Some(3), "{command}");
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(said.lines().count(), 1, "{said}");
        assert!(
            said.contains(" requirements are other than met; the first is "),
            "{said}"
        );
        // All is written as without it.
        let plain = succeed(&folder, &[command, asked[0]]);
        assert_eq!(plain, String::from_utf8(output.stdout).unwrap());
        let changed = [&arguments[..], &SOUND].concat();
        let met = run(&folder, &changed);
        let said = String::from_utf8_lossy(&met.stderr);
        assert_eq!(met.status.code(), Some(0), "{command}: {said}");
    }
    let count = |said: &str| -> (usize, usize) {
        let mut words = said.split(' ').skip(1);
        let first = words.next().unwrap().parse().unwrap();
        (first, words.nth(1).unwrap().parse().unwrap())
    };
    let output = run(&folder, &["derive", asked[0], asked[1]]);
    let said = String::from_utf8(output.stderr).unwrap();
    let design = Design::derive(DEMONSTRATION).unwrap();
    let all = &design.requirements;
    let unmet: Vec<_> = all
        .iter()
        .filter(|own| own.verdict.words() != "met")
        .collect();
    assert_eq!(count(&said), (unmet.len(), all.len()));
    let first = format!(
        "the first is {}: {}\n",
        unmet[0].verdict.words(),
        unmet[0].words
    );
    assert!(said.ends_with(&first), "{said}");
    let other = ["cycle", asked[0], asked[1], "--scheme", "continuous"];
    let output = run(&folder, &other);
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn the_derivations_in_json_have_requirements_and_inputs() {
    let folder = folder("answers-derive");
    let with_parts = format!("{DEMONSTRATION}\n[parts]\nfile = \"parts.toml\"\n");
    let specification = write(&folder, &with_parts);
    std::fs::write(folder.join("parts.toml"), PARTS).unwrap();
    let text = succeed(&folder, &["derive", specification, "--json"]);
    let json: Value = serde_json::from_str(&text).unwrap();
    let inputs = json["inputs"].as_array().unwrap();
    for (input, (name, text)) in inputs
        .iter()
        .zip([("specification", with_parts.as_str()), ("parts", PARTS)])
    {
        assert_eq!(input["name"], name);
        assert_eq!(input["text"], text);
        assert_eq!(input["sha256"], sha256(text).as_str());
    }
    let design = Design::derive_with(&with_parts, Some(PARTS)).unwrap();
    let found = json["requirements"].as_array().unwrap();
    assert_eq!(found.len(), design.requirements.len());
    for (found, own) in found.iter().zip(&design.requirements) {
        assert_eq!(found["name"], own.name);
        assert_eq!(found["verdict"], own.verdict.words());
        for (key, value) in [("value", own.value), ("limit", own.limit)] {
            let literal = serde_json::to_string(&value).unwrap();
            // To the last digit.
            assert_eq!(literal.parse().ok(), value);
            assert!(
                text.contains(&format!("\"{key}\": {literal},")),
                "{key} {literal}"
            );
            assert_eq!(found[key].is_number(), value.is_some());
        }
        assert!(found["unit"].is_string());
        let at = found["witness"]["at"]["input_voltage"].as_f64();
        assert_eq!(at, own.at.input_voltage);
        let command = found["witness"]["command"].as_str().unwrap();
        let told = own.command.as_deref();
        assert!(
            told.is_none_or(|own| own == command),
            "{told:?} for {command}"
        );
        let told = told.is_some() || own.against.is_some();
        assert_eq!(
            told,
            !matches!(own.verdict, Verdict::Met | Verdict::NotStated)
        );
        for (setting, (key, value)) in found["witness"]["settings"]
            .as_array()
            .unwrap()
            .iter()
            .zip(own.witness.settings.iter().chain(&own.witness.hot))
        {
            assert_eq!(setting["key"], *key);
            assert_eq!(setting["value"], value.as_str());
        }
    }
    assert_eq!(json["units"]["output_current"], "A");
}

/// Names of numbers anywhere in a value.
fn numbers(value: &Value, name: &str, found: &mut Vec<String>) {
    match value {
        Value::Number(_) => found.push(name.to_owned()),
        Value::Array(items) => items.iter().for_each(|item| numbers(item, name, found)),
        Value::Object(fields) => fields
            .iter()
            .for_each(|(key, own)| numbers(own, key, found)),
        _ => {}
    }
}

#[test]
fn every_number_of_a_cell_has_a_unit() {
    let folder = folder("answers-cycle");
    let specification = write(&folder, DEMONSTRATION);
    for scheme in ["freewheel-transistors", "discontinuous", "continuous"] {
        let cycle = ["cycle", specification, "--json", "--scheme", scheme];
        let mut json: Value = serde_json::from_str(&succeed(&folder, &cycle)).unwrap();
        let units = json["units"].take();
        let requirements = json["requirements"].take();
        assert_eq!(requirements.is_array(), scheme == "freewheel-transistors");
        for own in requirements.as_array().into_iter().flatten() {
            assert!(own["unit"].is_string() && own["verdict"].is_string());
        }
        let mut found = Vec::new();
        numbers(&json, "", &mut found);
        for name in found.iter().filter(|name| *name != "format") {
            assert!(units[name].is_string(), "{name} has no unit");
        }
    }
}

/// Every number is a count or has its unit beside it.
fn has_units(value: &Value, name: &str) {
    let counts = [
        "count",
        "at_zero_voltage",
        "cells",
        "skipped_pulses",
        "rows",
        "format",
    ];
    match value {
        Value::Number(_) => assert!(
            counts.contains(&name) || name == "firings_without_trip",
            "{name} has no unit"
        ),
        Value::Object(fields) if fields.contains_key("unit") => {
            assert!(fields["unit"].is_string() && fields.len() == 2);
        }
        Value::Object(fields) => fields.iter().for_each(|(key, own)| has_units(own, key)),
        Value::Array(items) => items.iter().for_each(|item| has_units(item, name)),
        _ => {}
    }
}

#[test]
fn a_run_in_json_is_what_its_text_says() {
    let folder = folder("answers-timeline");
    let specification = write(&folder, DEMONSTRATION);
    let run = ["timeline", specification, "--until", "300us", "-o", "w.csv"];
    let text = succeed(&folder, &run);
    let json = succeed(&folder, &[&run[..], &["--json"]].concat());
    let json: Value = serde_json::from_str(&json).unwrap();
    let cells = json["events"]["cells"].as_u64().unwrap();
    assert!(text.lines().any(|line| {
        let words: Vec<&str> = line.split_whitespace().collect();
        words == ["cells", &cells.to_string()]
    }));
    assert!(text.contains(&format!("w.csv: {} rows", json["rows"])));
    assert!(text.contains(&format!(", {}\n", json["start"]["from"].as_str().unwrap())));
    assert_eq!(
        json["start"]["input_voltage"],
        serde_json::json!({ "value": 36.0, "unit": "V" })
    );
    let greatest = json["inductor_current"]["greatest"]["value"]
        .as_f64()
        .unwrap();
    assert!(text.contains(&format!("{} A at", slewbook::quantity::number(greatest, 4))));
    has_units(&json, "");

    let voltage_loop = &json["voltage_loop"];
    assert_eq!(voltage_loop["kp"]["stated"], false);
    assert_eq!(voltage_loop["warnings"], serde_json::json!([]));
    let at = &voltage_loop["examined"][0];
    assert_eq!(at["at"]["input_voltage"], json["start"]["input_voltage"]);
    assert_eq!(at["found"]["soundness"], "sound");
    assert!(at["not_examined"].is_null());
    assert_eq!(at["found"]["phase_margin"]["unit"], "rad");
    let margin = at["found"]["phase_margin"]["value"].as_f64().unwrap();
    let degrees = slewbook::quantity::number(margin.to_degrees(), 3);
    assert!(text.contains(&format!("phase margin {degrees}°")), "{text}");

    let fixed = succeed(&folder, &[&run[..], &["--json", "--duty", "0.2"]].concat());
    let fixed: Value = serde_json::from_str(&fixed).unwrap();
    assert!(fixed["voltage_loop"].is_null() && fixed.get("voltage_loop").is_some());
}
