//! `slewbook timeline` as a program.

use std::path::Path;

use serde_json::Value;
use slewbook::stage::DEMONSTRATION;

use crate::program::{folder, run, succeed, write};
use crate::support::specification_with;

/// A file of waveforms: its header and its rows, by column.
struct Waves {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Waves {
    fn read(file: &Path) -> Self {
        let text = std::fs::read_to_string(file).unwrap();
        let mut lines = text
            .split("\r\n")
            .map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
        let header = lines.next().unwrap();
        let mut rows: Vec<_> = lines.collect();
        assert_eq!(rows.pop(), Some(vec![String::new()]), "no last line end");
        assert!(rows.iter().all(|row| row.len() == header.len()));
        Self { header, rows }
    }

    fn texts(&self, name: &str) -> Vec<&str> {
        let k = self.header.iter().position(|h| h == name).unwrap();
        self.rows.iter().map(|row| row[k].as_str()).collect()
    }

    fn numbers(&self, name: &str) -> Vec<f64> {
        let texts = self.texts(name);
        texts.iter().map(|text| text.parse().unwrap()).collect()
    }
}

/// The words of a line of the summary and its value.
fn value<'t>(said: &'t str, words: &str) -> &'t str {
    let line = said.lines().find(|line| line.trim().starts_with(words));
    let line = line.unwrap_or_else(|| panic!("no line `{words}` in {said}"));
    line.trim()[words.len()..].trim()
}

#[test]
fn a_load_step_as_columns_with_events() {
    let folder = folder("timeline-load");
    let file = write(&folder, DEMONSTRATION);
    let step = ["--load-step", "1 A, 6 A, 200 us", "--until", "600 us"];
    let arguments = |output| {
        let mut all = vec!["timeline", file, "-o", output];
        all.extend(step);
        all
    };
    let said = succeed(&folder, &arguments("waves.csv"));
    assert_eq!(
        said.replace("waves.csv", "again.csv"),
        succeed(&folder, &arguments("again.csv"))
    );
    let bytes = std::fs::read(folder.join("waves.csv")).unwrap();
    assert_eq!(bytes, std::fs::read(folder.join("again.csv")).unwrap());

    let waves = Waves::read(&folder.join("waves.csv"));
    assert_eq!(
        waves.header,
        [
            "time_s",
            "event",
            "input_voltage_V",
            "output_voltage_V",
            "node_voltage_V",
            "flying_voltage_1_V",
            "inductor_current_A",
            "clamp_current_A",
            "load_current_A",
            "high_gate_of_pair_1",
            "low_gate_of_pair_1",
            "high_gate_of_pair_2",
            "low_gate_of_pair_2",
            "clamp_first_gate",
            "clamp_second_gate",
        ]
    );
    let time = waves.numbers("time_s");
    assert!(time.is_sorted());
    assert_eq!((time[0], time[time.len() - 1]), (0.0, 600e-6));
    for event in [
        "clock",
        "high_on",
        "high_off",
        "low_on",
        "tripped",
        "low_released",
        "caught",
    ] {
        assert!(waves.texts("event").contains(&event), "{event}");
    }
    let stepped = waves.texts("event").iter().position(|e| *e == "load_step");
    assert_eq!(time[stepped.unwrap()], 200e-6);
    let load = waves.numbers("load_current_A");
    assert_eq!((load[0], load[load.len() - 1]), (1.0, 6.0));
    // No row has both gates of a pair on.
    for pair in 1..=2 {
        let gate = |side| waves.numbers(&format!("{side}_gate_of_pair_{pair}"));
        let both = gate("high")
            .iter()
            .zip(gate("low"))
            .any(|(h, l)| h * l > 0.0);
        assert!(!both, "pair {pair}");
    }
    assert!(said.contains("1 A, in steady state"), "{said}");
    assert_eq!(value(&said, "skipped pulses"), "0");
    // From a turn-off on, at 280 kHz.
    assert_eq!(value(&said, "cells"), "168");
    let left = said
        .lines()
        .find(|line| line.contains("energy in"))
        .unwrap();
    assert!(
        ["⁻⁸", "⁻⁹", "⁻¹⁰"]
            .iter()
            .any(|e| left.contains(&format!("×10{e} of it"))),
        "{left}"
    );
    // Held again, the loop's ripple away from it.
    let output = waves.numbers("output_voltage_V");
    assert!((output[output.len() - 1] - 6.0).abs() < 0.1);
}

#[test]
fn other_schemes_and_the_start_from_empty_capacitors() {
    let folder = folder("timeline-start");
    let file = write(&folder, DEMONSTRATION);
    let timeline = |rest: &[&str]| {
        let mut all = vec!["timeline", file, "-o", "waves.csv", "--until", "500us"];
        all.extend(rest);
        succeed(&folder, &all)
    };
    let said = timeline(&["--start-up", "1 V", "--output-current", "2 A"]);
    assert!(said.contains("from 36 V in, 1 V out, 2 A"), "{said}");
    let waves = Waves::read(&folder.join("waves.csv"));
    assert_eq!(waves.numbers("flying_voltage_1_V")[0], 0.0);
    // The empty flying capacitor leaves the whole input on one transistor.
    assert!(value(&said, "maximum across a transistor of the leg").starts_with("36 V"));

    let said = timeline(&["--scheme", "negative-valley", "--spacing", "1 us"]);
    assert!(said.contains("\nnegative-valley"), "{said}");
    let said = timeline(&["--duty", "17 %", "--disturb", "1, -3 V, 100 us"]);
    assert!(!said.contains("within 1 % of"), "{said}");
    assert!(
        Waves::read(&folder.join("waves.csv"))
            .texts("event")
            .contains(&"disturbed")
    );
}

#[test]
fn wrong_options_are_refused_by_name() {
    let folder = folder("timeline-refused");
    let file = write(&folder, DEMONSTRATION);
    let cases: &[(&[&str], &str)] = &[
        (&[], "timeline needs a specification and a place"),
        (&["-o", "w.csv", "--until", "2 V"], "--until 2 V"),
        (
            &["-o", "w.csv", "--until", "0 s"],
            "--until is 0 s; expected more than zero",
        ),
        (
            &["-o", "w.csv", "--until", "1000 s"],
            "expected at most 35.71 s, 10000000 cells",
        ),
        (
            &["-o", "w.csv", "--load-step", "1 A, 6 A"],
            "--load-step is `1 A, 6 A`; expected value before, value after and time",
        ),
        (
            &["-o", "w.csv", "--load-step", "1 A, 6 V, 1 ms"],
            "--load-step 6 V",
        ),
        (
            &["-o", "w.csv", "--load-step", "1 A, 6 A, 3 ms"],
            "3 ms is not within the run of 2 ms; choose another time or a longer --until",
        ),
        (
            &[
                "-o",
                "w.csv",
                "--load-step",
                "1 A, 6 A, 1 ms",
                "--load-step",
                "2 A, 1 A, 1.5 ms",
            ],
            "expected a step from 6 A after 1 ms",
        ),
        (
            &[
                "-o",
                "w.csv",
                "--input-step",
                "36 V, 44 V, 1 ms",
                "--input-voltage",
                "30 V",
            ],
            "leave out --input-voltage",
        ),
        (
            &["-o", "w.csv", "--output-current", "-1 A"],
            "--output-current is −1 A; expected zero or more",
        ),
        (
            &["-o", "w.csv", "--start-up", "-1 V"],
            "output voltage at the start is −1 V",
        ),
        (
            &["-o", "w.csv", "--disturb", "2, 1 V, 1 ms"],
            "there is no flying capacitor 2",
        ),
        (
            &["-o", "w.csv", "--disturb", "1, -20 V, 1 ms"],
            "--disturb is −20 V; expected at most one step",
        ),
        (
            &["-o", "w.csv", "--disturb", "one, 1 V, 1 ms"],
            "one is no number of a flying",
        ),
        (
            &["-o", "w.csv", "--duty", "120 %"],
            "--duty is 1.2; expected more than 0",
        ),
        (
            &["-o", "w.csv", "--scheme", "clamp"],
            "--scheme: no scheme `clamp`",
        ),
        (&["-o", "no/such/w.csv"], "no/such/w.csv: cannot be written"),
        (&["-o", "w.csv", "--spacing", "0 s"], "--spacing is 0 s"),
        (
            &["-o", "w.csv", "--spacing", "1 fs"],
            "--spacing is 1 fs; expected at least 20 ps for a run of 2 ms, 100000000 rows",
        ),
        (
            &[
                "-o",
                "w.csv",
                "--input-voltage",
                "36 V",
                "--input-voltage",
                "44 V",
            ],
            "--input-voltage is given twice",
        ),
        (
            &["-o", "w.csv", "--output-voltage", "40 V"],
            "output voltage",
        ),
        (
            &["-o", "w.csv", "--until", "1e9 s"],
            "--until is 1 Gs; expected less than 1 Ms",
        ),
    ];
    let refused = |file: &str, rest: &[&str], expected: &str| {
        let mut all = vec!["timeline", file];
        all.extend(rest);
        let output = run(&folder, &all);
        assert_eq!(output.status.code(), Some(2), "{rest:?}");
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.contains(expected), "{rest:?}: {said}");
    };
    for (rest, expected) in cases {
        refused(file, rest, expected);
    }
    std::fs::write(
        folder.join("clamped.toml"),
        crate::support::demonstration_without_part_data(),
    )
    .unwrap();
    refused(
        "clamped.toml",
        &["-o", "w.csv", "--scheme", "continuous"],
        "`inductance` under [continuous]",
    );
}

/// What a run shows beyond a rating, the saturation current and the stated ranges is said.
#[test]
fn what_a_run_exceeds_is_said() {
    let folder = folder("exceeded");
    let specification = write(&folder, DEMONSTRATION);
    let said = |arguments: &[&str]| {
        let mut all = vec!["timeline", specification, "-o", "waves.csv"];
        all.extend(arguments);
        succeed(&folder, &all)
    };
    let start = said(&[
        "--start-up",
        "0 V",
        "--input-voltage",
        "44V",
        "--until",
        "500us",
    ]);
    for (what, limit) in [
        (
            "A transistor of the leg blocks 44 V",
            "the 32 V that its rating of 40 V leaves",
        ),
        (
            "The clamp blocks 44 V",
            "the 32 V that its rating of 40 V leaves",
        ),
        (
            "The inductor carries 26.7 A",
            "its saturation current of 24 A",
        ),
    ] {
        let line = start.lines().find(|line| line.starts_with(what));
        let line = line.unwrap_or_else(|| panic!("{what}: {start}"));
        assert!(line.contains(limit), "{line}");
    }
    assert!(
        !start.contains("1 + "),
        "an eigenvalue is told as a number: {start}"
    );
    let outside = said(&["--input-voltage", "46V", "--until", "100us"]);
    assert!(
        outside.contains("outside the specification's range from 30 V to 44 V"),
        "{outside}"
    );
    let usual = said(&["--until", "300us", "--json"]);
    let usual: Value = serde_json::from_str(&usual).unwrap();
    let notes = usual["notes"].to_string();
    assert!(
        !notes.contains("blocks") && !notes.contains("saturation"),
        "{notes}"
    );
}

/// An output that goes round a cycle is not passed over in silence.
#[test]
fn an_output_that_is_not_held_is_said() {
    let folder = folder("not-held");
    let high = specification_with(&[
        ("output.voltage", "\"6 V\""),
        ("control.kp", "12"),
        ("control.ki", "\"600 kHz\""),
    ]);
    let specification = write(&folder, &high);
    let arguments = [
        "timeline",
        specification,
        "-o",
        "waves.csv",
        "--until",
        "2ms",
        "--load-step",
        "1 A, 6 A, 0.2 ms",
    ];
    let said = succeed(&folder, &arguments);
    assert!(
        said.contains("The output is not held: 1.8 ms after the last change"),
        "{said}"
    );
}
