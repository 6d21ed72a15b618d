//! Malformed specifications and command lines, through the real program: exit
//! code 2 and a message that says what was found, what was expected, what to do
//! and where.
//!
//! The whole message of each case stands in `tests/data/malformed/`; a run with
//! `SNAPSHOTS=overwrite` in the environment writes them anew, to be read before
//! they are committed.

mod correlations;

use std::collections::BTreeSet;
use std::path::Path;

use slewbook::stage::DEMONSTRATION;

use crate::program::{folder, run};
use crate::support::{is_number_word, overwriting, specification_with};

/// One malformed input: the name of its expected message, and its bytes.
struct Case(&'static str, Vec<u8>);

fn set(name: &'static str, path: &str, value: &str) -> Case {
    Case(name, specification_with(&[(path, value)]).into_bytes())
}

fn replaced(name: &'static str, from: &str, to: &str) -> Case {
    assert!(DEMONSTRATION.contains(from), "{name}: no {from}");
    Case(name, DEMONSTRATION.replacen(from, to, 1).into_bytes())
}

fn whole(name: &'static str, text: impl Into<Vec<u8>>) -> Case {
    Case(name, text.into())
}

/// The demonstration without the tables and keys that start with `start`.
fn without(name: &'static str, start: &str) -> Case {
    let mut skipping = false;
    let mut found = false;
    let kept = DEMONSTRATION.lines().filter(|line| {
        if line.starts_with('[') {
            skipping = false;
        }
        if line.starts_with(start) {
            found = true;
            skipping = line.starts_with('[');
            return false;
        }
        !skipping
    });
    let text = kept.collect::<Vec<_>>().join("\n") + "\n";
    assert!(found, "{name}: nothing starts with {start}");
    Case(name, text.into_bytes())
}

fn missing_and_unknown() -> Vec<Case> {
    vec![
        without("missing-title", "title"),
        without("missing-input", "[input]"),
        without("missing-output", "[output]"),
        without("missing-stage", "[stage]"),
        without("missing-clamp", "[clamp]"),
        without("missing-trip", "[trip]"),
        without("missing-transistor", "[transistors.low]"),
        without("missing-levels", "levels"),
        without("missing-frequency", "switching_frequency"),
        without("missing-on-resistance", "on_resistance"),
        replaced("missing-minimum", "{ min = \"30 V\", ", "{ "),
        set(
            "missing-floor",
            "transistors.high.output_capacitance",
            "{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5 }",
        ),
        replaced(
            "missing-because",
            "because = \"its drop",
            "reason = \"its drop",
        ),
        replaced("unknown-key", "switching_frequency", "switchingfrequency"),
        replaced("unknown-key-in-curve", "grading = 0.5", "gradient = 0.5"),
        replaced("unknown-table", "[limits]", "[limit]"),
        replaced("unknown-placeholder", "{peak_current}", "{peak_curent}"),
        replaced("empty-placeholder", "{peak_current}", "{ }"),
        replaced("unclosed-placeholder", "{peak_current}", "{peak_current"),
        set("empty-title", "title", "\" \""),
        replaced(
            "empty-reason",
            "\"its drop demagnetises the inductor before a long hold ends\"",
            "\"\"",
        ),
        replaced(
            "table-is-number",
            "[timing]\ndead_time = \"25 ns\"\nminimum_on_time = \"0 ns\"\n",
            "",
        )
        .at_top("timing = 25\n"),
        replaced("decision-is-text", "[[decision]]", "[decision]"),
        whole("only-title", "title = \"Nothing else\"\n"),
    ]
}

impl Case {
    /// The same with a text before it.
    fn at_top(self, text: &str) -> Self {
        Self(self.0, [text.as_bytes(), &self.1].concat())
    }
}

fn units_and_numbers() -> Vec<Case> {
    vec![
        set("wrong-unit", "stage.switching_frequency", "\"140 kV\""),
        set(
            "wrong-unit-in-range",
            "input.voltage",
            "{ min = \"30 A\", max = \"44 V\" }",
        ),
        set("unknown-unit", "trip.delay", "\"35 nanosec\""),
        set("unknown-prefix", "stage.output_capacitance", "\"100 xF\""),
        set("unit-without-number", "trip.delay", "\"ns\""),
        set("number-without-unit", "trip.delay", "35e-9"),
        set("text-without-unit", "trip.delay", "\"35\""),
        set("empty-text", "trip.delay", "\"\""),
        set("negative", "clamp.resistance", "\"-12 mohm\""),
        set(
            "negative-true-minus",
            "clamp.resistance",
            "\"\u{2212}12 mohm\"",
        ),
        set("zero-frequency", "stage.switching_frequency", "\"0 Hz\""),
        set(
            "zero-inductance",
            "stage.inductance",
            "{ nominal = \"0 H\" }",
        ),
        set("absurd-inductance", "stage.inductance", "\"1e-300 uH\""),
        set("nan-text", "clamp.resistance", "\"NaN ohm\""),
        set("inf-text", "clamp.resistance", "\"inf ohm\""),
        set("nan-float", "trip.margin", "nan"),
        set("inf-float", "trip.margin", "-inf"),
        set("overflow-text", "clamp.resistance", "\"1e999 ohm\""),
        set("overflow-float", "trip.margin", "1e999"),
        set("overflow-by-prefix", "clamp.resistance", "\"1e308 kohm\""),
        set("underflow", "stage.output_capacitance", "\"1e-320 pF\""),
        set("huge", "output.voltage", "\"1e30 V\""),
        set(
            "decimal-comma",
            "stage.inductance",
            "{ nominal = \"0,68 uH\" }",
        ),
        set(
            "thousands-space",
            "stage.switching_frequency",
            "\"140 000 Hz\"",
        ),
        set(
            "power-of-unit",
            "stage.output_capacitance",
            "\"1 F^9*F^9*F^9*F^9*F^9\"",
        ),
        set("slash-only", "stage.output_capacitance", "\"1 /\""),
        set("array-instead-of-value", "trip.delay", "[\"35 ns\"]"),
        set(
            "table-instead-of-value",
            "trip.delay",
            "{ value = \"35 ns\" }",
        ),
        set("boolean-instead-of-value", "trip.delay", "true"),
        set("date-instead-of-value", "trip.delay", "2026-01-01"),
        set("number-instead-of-text", "document.author", "7"),
        set(
            "very-long-value",
            "trip.delay",
            &format!("\"{}\"", "3".repeat(100_000)),
        ),
        set(
            "very-long-unit",
            "trip.delay",
            &format!("\"3 {}\"", "s".repeat(100_000)),
        ),
    ]
}

fn ranges_and_conditions() -> Vec<Case> {
    let two = |name, input: &str, output: &str, levels: &str| {
        let changes = [
            ("input.voltage", input),
            ("output.voltage", output),
            ("stage.levels", levels),
        ];
        Case(name, specification_with(&changes).into_bytes())
    };
    let zero = "{ constant = \"0 pF\" }";
    let bare = specification_with(&[
        ("transistors.high.output_capacitance", zero),
        ("transistors.low.output_capacitance", zero),
        ("clamp.output_capacitance", zero),
        ("stage.node_capacitance", "\"0 F\""),
    ]);
    vec![
        set(
            "min-above-max",
            "input.voltage",
            "{ min = \"44 V\", max = \"30 V\" }",
        ),
        set(
            "nominal-outside",
            "input.voltage",
            "{ min = \"30 V\", nominal = \"60 V\", max = \"44 V\" }",
        ),
        set(
            "nominal-of-current-outside",
            "output.current",
            "{ min = \"0.3 A\", nominal = \"9 A\", max = \"6 A\" }",
        ),
        set(
            "band-edge-inside",
            "output.voltage",
            "{ min = \"14 V\", max = \"23 V\" }",
        ),
        two("band-edge-half", "\"36 V\"", "\"18 V\"", "3"),
        two(
            "band-edge-touched-below",
            "{ min = \"30 V\", max = \"36 V\" }",
            "{ min = \"18 V\", max = \"20 V\" }",
            "3",
        ),
        two(
            "band-edge-touched-above",
            "{ min = \"30 V\", max = \"36 V\" }",
            "{ min = \"12 V\", max = \"15 V\" }",
            "3",
        ),
        two(
            "band-edge-third-of-four-levels",
            "\"30 V\"",
            "\"10 V\"",
            "4",
        ),
        two("output-equals-input", "\"36 V\"", "\"36 V\"", "2"),
        two(
            "output-reaches-input",
            "{ min = \"30 V\", max = \"44 V\" }",
            "\"32 V\"",
            "2",
        ),
        set("output-above-input", "output.voltage", "\"50 V\""),
        set("levels-one", "stage.levels", "1"),
        set("levels-many", "stage.levels", "99"),
        set("levels-fraction", "stage.levels", "2.5"),
        set("levels-text", "stage.levels", "\"three\""),
        set("levels-negative", "stage.levels", "-3"),
        set(
            "levels-beyond-integers",
            "stage.levels",
            "99999999999999999999",
        ),
        set("zero-current", "output.current", "\"0 A\""),
        set("dead-time-too-long", "timing.dead_time", "\"4 us\""),
        set("margin-below-one", "trip.margin", "0.9"),
        set(
            "tolerance-too-large",
            "stage.inductance",
            "{ nominal = \"0.68 uH\", tolerance = \"150 %\" }",
        ),
        set(
            "tolerance-negative",
            "stage.inductance",
            "{ nominal = \"0.68 uH\", tolerance = \"-5 %\" }",
        ),
        set(
            "tolerance-of-another-quantity",
            "stage.inductance",
            "{ nominal = \"0.68 uH\", tolerance = \"20 V\" }",
        ),
        whole("no-capacitance", bare),
    ]
}

fn curves() -> Vec<Case> {
    let path = "transistors.low.output_capacitance";
    let law = |name, built_in: &str, grading: &str| {
        let value = format!(
            "{{ zero_bias = \"900 pF\", built_in = {built_in}, grading = {grading}, floor = \"0 F\" }}"
        );
        set(name, path, &value)
    };
    vec![
        law("built-in-zero", "\"0 V\"", "0.5"),
        law("grading-above-one", "\"0.8 V\"", "1.2"),
        law("grading-one", "\"0.8 V\"", "1"),
        law("grading-text", "\"0.8 V\"", "\"half\""),
        set(
            "curve-of-two-kinds",
            path,
            "{ constant = \"300 pF\", table = [] }",
        ),
        set("curve-of-no-kind", path, "{ }"),
        set("curve-is-text", path, "\"300 pF\""),
        set(
            "table-of-one-point",
            path,
            "{ table = [[\"0 V\", \"900 pF\"]] }",
        ),
        set("table-empty", path, "{ table = [] }"),
        set(
            "table-not-rising",
            path,
            "{ table = [[\"5 V\", \"900 pF\"], [\"5 V\", \"400 pF\"]] }",
        ),
        set(
            "table-of-three-columns",
            path,
            "{ table = [[\"0 V\", \"900 pF\", \"1 pF\"], [\"5 V\", \"4 pF\", \"1 pF\"]] }",
        ),
        set(
            "table-columns-exchanged",
            path,
            "{ table = [[\"900 pF\", \"0 V\"], [\"400 pF\", \"5 V\"]] }",
        ),
        set(
            "table-negative",
            path,
            "{ table = [[\"0 V\", \"900 pF\"], [\"5 V\", \"-4 pF\"]] }",
        ),
        set("table-of-numbers", path, "{ table = [[0, 900], [5, 400]] }"),
        set("table-is-text", path, "{ table = \"coss.csv\" }"),
    ]
}

fn texts() -> Vec<Case> {
    let line = |length: usize| format!("title = \"{}\"\n{DEMONSTRATION}", "x".repeat(length));
    let nested = format!(
        "{DEMONSTRATION}\n[more]\ndeep = {}{}\n",
        "[".repeat(50_000),
        "]".repeat(50_000)
    );
    let keys: String = (0..20_000).map(|k| format!("key_{k} = {k}\n")).collect();
    let mut latin = DEMONSTRATION.as_bytes().to_vec();
    latin[100] = 0xb5;
    let mut nul = DEMONSTRATION.as_bytes().to_vec();
    nul[100] = 0;
    vec![
        whole("empty", ""),
        whole("only-blanks", " \n\t\n"),
        whole("only-comments", "# nothing yet\n# nor here\n"),
        whole("not-toml", "This is a letter, not a specification.\n"),
        whole("json", "{ \"title\": \"x\" }\n"),
        whole("long-line", line(3_000_000)),
        whole(
            "large-file",
            format!("{DEMONSTRATION}{}", "# a comment\n".repeat(250_000)),
        ),
        whole("many-unknown-keys", format!("{keys}{DEMONSTRATION}")),
        whole(
            "very-long-key",
            format!("{} = 1\n{DEMONSTRATION}", "k".repeat(900_000)),
        ),
        whole("deeply-nested", nested),
        whole("not-utf8", latin),
        whole("nul-byte", nul),
        whole("carriage-returns-only", DEMONSTRATION.replace('\n', "\r")),
        whole(
            "crlf-with-error",
            specification_with(&[("trip.margin", "0.9")]).replace('\n', "\r\n"),
        ),
        whole(
            "bom-with-error",
            format!("\u{feff}{}", DEMONSTRATION.replacen("title", "titel", 1)),
        ),
        whole(
            "duplicate-key",
            DEMONSTRATION.replacen("levels = 3", "levels = 3\nlevels = 3", 1),
        ),
        whole(
            "duplicate-table",
            format!("{DEMONSTRATION}\n[trip]\nmargin = 1.2\n"),
        ),
        whole(
            "unclosed-text",
            DEMONSTRATION.replacen("\"0 A\"", "\"0 A", 1),
        ),
        whole(
            "unclosed-table",
            DEMONSTRATION.replacen("[trip]", "[trip", 1),
        ),
        whole(
            "value-missing",
            DEMONSTRATION.replacen("margin = 1.2", "margin =", 1),
        ),
        whole(
            "quotes-missing",
            DEMONSTRATION.replacen("\"35 ns\"", "35 ns", 1),
        ),
        whole(
            "semicolon",
            DEMONSTRATION.replacen("margin = 1.2", "margin = 1.2;", 1),
        ),
    ]
}

/// Compares a message with the expected one, or writes it.
fn check(name: &str, output: &std::process::Output, problems: &mut Vec<String>) {
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    if output.status.code() != Some(2) {
        problems.push(format!(
            "{name}: exit {:?}: {message}",
            output.status.code()
        ));
    }
    if !output.stdout.is_empty() {
        problems.push(format!("{name}: something on standard output"));
    }
    if message.contains("panicked") || message.trim().is_empty() {
        problems.push(format!("{name}: {message:?}"));
    }
    // What the user wrote may be repeated in quotes; a number of ours is not.
    let unquoted: String = message.split('"').step_by(2).collect();
    if let Some(word) = unquoted.split_whitespace().find(|w| is_number_word(w)) {
        problems.push(format!("{name}: prints {word} as a number"));
    }
    let file = Path::new("tests/data/malformed").join(format!("{name}.txt"));
    if overwriting() {
        std::fs::write(&file, &message).unwrap();
    }
    let expected = std::fs::read_to_string(&file).unwrap_or_default();
    if expected != message {
        problems.push(format!("{name}: expected\n{expected}found\n{message}"));
    }
}

#[test]
fn every_malformed_input_ends_with_its_message_and_exit_code_2() {
    let folder = folder("malformed");
    let mut names = BTreeSet::new();
    let mut problems = Vec::new();
    let cases = [
        missing_and_unknown(),
        units_and_numbers(),
        ranges_and_conditions(),
        curves(),
        texts(),
        correlations::cases(),
    ];
    for Case(name, bytes) in cases.into_iter().flatten() {
        std::fs::write(folder.join("specification.toml"), bytes).unwrap();
        let started = std::time::Instant::now();
        check(
            name,
            &run(&folder, &["derive", "specification.toml"]),
            &mut problems,
        );
        if started.elapsed().as_secs() > 30 {
            problems.push(format!("{name}: took {:?}", started.elapsed()));
        }
        assert!(names.insert(name), "two cases are named {name}");
    }
    std::fs::write(folder.join("good.toml"), DEMONSTRATION).unwrap();
    std::fs::write(folder.join("a-file"), "in the way").unwrap();
    std::fs::create_dir(folder.join("a-folder")).unwrap();
    std::fs::create_dir_all(folder.join("taken/rationale.html")).unwrap();
    let command_lines: &[(&'static str, &[&str])] = &[
        ("folder-as-specification", &["derive", "a-folder"]),
        (
            "folder-as-specification-of-rationale",
            &["rationale", "a-folder"],
        ),
        ("no-such-file", &["derive", "no-such-file.toml"]),
        ("no-such-folder", &["derive", "no/such/file.toml"]),
        ("file-as-folder", &["derive", "good.toml/more"]),
        ("endless-file", &["derive", "/dev/zero"]),
        (
            "output-folder-is-file",
            &["rationale", "good.toml", "-o", "a-file"],
        ),
        (
            "output-below-file",
            &["rationale", "good.toml", "-o", "a-file/below"],
        ),
        (
            "output-file-is-folder",
            &["rationale", "good.toml", "-o", "taken"],
        ),
        ("output-folder-not-named", &["rationale", "good.toml", "-o"]),
        ("unknown-command", &["derivve", "good.toml"]),
        ("unknown-option", &["derive", "good.toml", "--jsno"]),
        ("unknown-option-alone", &["--colour"]),
        ("option-with-value", &["derive", "good.toml", "--json=yes"]),
        ("two-forms", &["derive", "good.toml", "--json", "--latex"]),
        (
            "two-specifications",
            &["derive", "good.toml", "better.toml"],
        ),
        ("derive-nothing", &["derive"]),
        ("specification-without-name", &["derive", ""]),
        ("command-without-name", &[""]),
        ("example-of-something", &["example", "good.toml"]),
    ];
    for (name, arguments) in command_lines {
        check(name, &run(&folder, arguments), &mut problems);
        assert!(names.insert(name), "two cases are named {name}");
    }
    for entry in std::fs::read_dir("tests/data/malformed").unwrap() {
        let path = entry.unwrap().path();
        let stem = path.file_stem().unwrap().to_str().unwrap();
        if !names.contains(stem) {
            problems.push(format!("{} belongs to no case", path.display()));
        }
    }
    assert!(problems.is_empty(), "{}", problems.join("\n"));
}
