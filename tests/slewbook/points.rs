//! The options that set a point, in every command that has one.

use serde_json::Value;
use slewbook::stage::DEMONSTRATION;

use crate::program::{folder, run, succeed, write};

/// What standard error says of a command line that is refused.
fn refused(command: &[&str]) -> String {
    let folder = folder(&format!("points-refused-{}", command.len()));
    write(&folder, DEMONSTRATION);
    let output = run(&folder, command);
    assert_eq!(output.status.code(), Some(2), "{command:?}");
    String::from_utf8(output.stderr).unwrap()
}

#[test]
fn a_map_is_at_the_point_that_is_asked_for() {
    let folder = folder("points-map");
    let specification = write(&folder, DEMONSTRATION);
    let rows = |options: &[&str]| {
        let mut arguments = vec!["map", specification, "--y", "inductance", "--grid", "3x2"];
        arguments.extend(["-o", "-"]);
        arguments.extend(options);
        let output = run(&folder, &arguments);
        assert_eq!(output.status.code(), Some(0));
        String::from_utf8(output.stdout).unwrap()
    };
    let range = ["--y-range", "0.6 uH, 0.7 uH", "--x-range", "30 V, 42 V"];
    let full = rows(&range);
    assert_eq!(
        full,
        rows(&[&range[..], &["--output-current", "6 A"]].concat())
    );
    let less = rows(&[&range[..], &["--output-current", "2 A"]].concat());
    assert_ne!(full, less);
    // The peak current of the cell at that point.
    let cycle = [
        "cycle",
        specification,
        "--json",
        "--set",
        "stage.inductance=0.6 uH",
        "--input-voltage",
        "36 V",
        "--output-current",
        "2 A",
    ];
    let cell: Value = serde_json::from_str(&succeed(&folder, &cycle)).unwrap();
    let peak = cell["peak_current"].as_f64().unwrap();
    let mut lines = less.lines().filter(|line| !line.starts_with('#'));
    let heads: Vec<&str> = lines.next().unwrap().split(',').collect();
    let of = |name: &str| heads.iter().position(|own| own.starts_with(name)).unwrap();
    let found = lines.any(|line| {
        let row: Vec<&str> = line.split(',').collect();
        let number = |name: &str| row[of(name)].parse::<f64>().unwrap_or(f64::NAN);
        (number("input_voltage") - 36.0).abs() < 1e-9
            && (number("peak_current") - peak).abs() < 1e-9 * peak
    });
    assert!(found, "no row with {peak}: {less}");
}

#[test]
fn a_comparison_is_at_the_point_that_is_asked_for() {
    let folder = folder("points-compare");
    let specification = write(&folder, DEMONSTRATION);
    let compare = [
        "compare",
        specification,
        "--json",
        "--output-current",
        "3 A",
    ];
    let compare = [&compare[..], &["--input-voltage", "40 V"]].concat();
    let found: Value = serde_json::from_str(&succeed(&folder, &compare)).unwrap();
    let cycle = ["cycle", specification, "--json", "--output-current", "3 A"];
    let cycle = [&cycle[..], &["--input-voltage", "40 V"]].concat();
    let cell: Value = serde_json::from_str(&succeed(&folder, &cycle)).unwrap();
    let first = &found["schemes"]["freewheel-transistors"][0];
    assert_eq!(first["input_voltage"], 40.0);
    assert_eq!(first["output_current"], 3.0);
    assert!(first["peak_current"].is_number() && cell["peak_current"].is_number());
    let notes = found["notes"].to_string();
    assert!(
        notes.contains(
            "The nominal point of this comparison is the one given, 40 V in, 6 V out, 3 A."
        )
    );
}

#[test]
fn a_point_that_cannot_be_is_refused_by_name() {
    let map = ["map", "specification.toml", "-o", "m.csv"];
    let of = |options: &[&str]| refused(&[&map[..], options].concat());
    assert!(
        of(&["--input-voltage", "40 V"]).contains("--input-voltage is given, and the map runs")
    );
    let below = [
        "--x",
        "inductance",
        "--x-range",
        "0.6 uH, 0.7 uH",
        "--input-voltage",
        "-3 V",
    ];
    assert!(of(&below).contains("--input-voltage is −3 V; expected more than zero"));
    assert!(of(&["--output-voltage", "3 kA"]).contains("--output-voltage 3 kA: "));
    let compare = ["compare", "specification.toml", "--output-current", "60 A"];
    let said = refused(&compare);
    assert!(
        said.contains("--output-current is 60 A; expected a value of the specification's range")
    );
}
