//! `slewbook cycle` and `slewbook map` as programs.

use serde_json::Value;
use slewbook::design::input_hash;
use slewbook::stage::DEMONSTRATION;
use slewbook::table::Table;

use crate::program::{folder, run, succeed, write};
use crate::support::specification_with;

/// What a machine finds in a steady state, beside where it comes from.
const KEYS: [&str; 18] = [
    "on_time",
    "duty",
    "peak_current",
    "release_current",
    "clamp_on_current",
    "hold_time",
    "freewheel_current",
    "residual_current",
    "rise_time",
    "fall_time",
    "partial_rise_time",
    "turn_on_voltage",
    "average_current",
    "inductor_rms",
    "high_rms",
    "low_rms",
    "clamp_rms",
    "state",
];

fn json(folder: &std::path::Path, arguments: &[&str]) -> Value {
    let mut all = vec!["cycle", "specification.toml", "--json"];
    all.extend(arguments);
    serde_json::from_str(&succeed(folder, &all)).unwrap()
}

#[test]
fn a_cell_as_json_has_every_key() {
    let folder = folder("cycle-json");
    write(&folder, DEMONSTRATION);
    let cell = json(&folder, &[]);
    for key in KEYS {
        assert!(!cell[key].is_null(), "{key}");
    }
    assert_eq!(cell["state"], "zero_voltage");
    assert_eq!(cell["format"], 1);
    assert_eq!(cell["scheme"], "freewheel-transistors");
    assert_eq!(cell["input_hash"], input_hash(&[DEMONSTRATION.as_bytes()]));
    assert_eq!(cell["at"]["input_voltage"], 36.0);
    assert_eq!(cell["at"]["output_current"], 6.0);
    let of = |key: &str| cell[key].as_f64().unwrap();
    // To the output, integrated; the inductor's own average lacks what circulates.
    assert!(
        (of("average_current") - 6.0).abs() < 6e-9,
        "{}",
        of("average_current")
    );
    let mean = f64::midpoint(of("clamp_on_current"), of("freewheel_current"));
    let circulates = mean * of("hold_time") / of("cell_time");
    assert!((of("average_current") - of("inductor_average") - circulates).abs() < 1e-5);
    let short = json(&folder, &["--output-current", "10A"]);
    assert_eq!(short["state"], "no_hold_time");
    for key in [
        "on_time",
        "duty",
        "peak_current",
        "hold_time",
        "turn_on_voltage",
        "inductor_rms",
    ] {
        assert!(short[key].is_null(), "{key}: {}", short[key]);
    }
    // What the trip alone fixes is still there.
    assert_eq!(short["release_current"], cell["release_current"]);
    let other = json(
        &folder,
        &[
            "--scheme",
            "discontinuous",
            "--input-voltage",
            "44 V",
            "--output-current",
            "1 A",
        ],
    );
    assert!(other["clamp_rms"].is_null() && other["freewheel_current"].is_null());
    assert!(other["ring_turn_on"]["mean"]["voltage"].as_f64().unwrap() > 0.0);
}

#[test]
fn a_cell_as_text_and_figure() {
    let folder = folder("cycle-figure");
    write(&folder, DEMONSTRATION);
    let text = succeed(&folder, &["cycle", "specification.toml", "-o", "cell.svg"]);
    assert!(
        text.contains("zero_voltage: The high side turns on with no voltage left"),
        "{text}"
    );
    assert!(text.contains("peak current"), "{text}");
    let figure = std::fs::read_to_string(folder.join("cell.svg")).unwrap();
    roxmltree::Document::parse(&figure).unwrap();
    let again = succeed(&folder, &["cycle", "specification.toml", "-o", "again.svg"]);
    assert_eq!(text, again);
    assert_eq!(
        figure,
        std::fs::read_to_string(folder.join("again.svg")).unwrap()
    );
}

fn refused(folder: &std::path::Path, arguments: &[&str], expected: &str) {
    let output = run(folder, arguments);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}");
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains(expected), "{arguments:?}: {said}");
}

#[test]
fn wrong_points_and_schemes_are_refused() {
    let folder = folder("cycle-refused");
    let file = write(&folder, DEMONSTRATION);
    let cycle = |rest: &[&str], expected: &str| {
        let mut all = vec!["cycle", file];
        all.extend(rest);
        refused(&folder, &all, expected);
    };
    cycle(&["--input-voltage", "36A"], "--input-voltage 36A");
    cycle(
        &["--output-voltage", "20V"],
        "the output voltage is 20 V; expected a voltage above 0 V and below 18 V",
    );
    cycle(
        &["--input-voltage", "1e300V"],
        "expected a value above zero, 10 kV at most",
    );
    cycle(&["--output-current", "-1A"], "the output current is");
    cycle(&["--output-current", "NaN A"], "--output-current NaN A");
    cycle(
        &["--scheme", "freewheel-diod"],
        "did you mean `freewheel-diode`?",
    );
    cycle(&["--scheme", "sun"], "no scheme `sun`; the schemes are");
    std::fs::write(
        folder.join("clamped.toml"),
        crate::support::demonstration_without_part_data(),
    )
    .unwrap();
    let without = ["cycle", "clamped.toml", "--scheme", "freewheel-diode"];
    refused(
        &folder,
        &without,
        "`resistance` and `drop` under [clamp.diode]",
    );
    cycle(
        &["--output-current", "12A", "-o", "none.svg"],
        "there is no cell to draw at this point",
    );
    cycle(&["--corner"], "invalid option '--corner'");
    refused(&folder, &["cycle"], "cycle needs a specification");
    let map = |rest: &[&str], expected: &str| {
        let mut all = vec!["map", file];
        all.extend(rest);
        refused(&folder, &all, expected);
    };
    map(&[], "map needs a specification and a place for its rows");
    map(
        &["-o", "m.csv", "--grid", "200"],
        "--grid is 200; expected two numbers",
    );
    map(
        &["-o", "m.csv", "--grid", "0x5"],
        "--grid is 0; expected a whole number from 1",
    );
    map(
        &["-o", "m.csv", "--grid", "1000000x1000000"],
        "--grid is 1000000x1000000; expected 100000000 points at most",
    );
    map(
        &["-o", "m.csv", "--grid", "10000x10000", "--samples", "1000"],
        "--grid is 10000x10000 and --samples is 1000, 100000000000 cells to solve; expected \
         10000000000 at most",
    );
    #[cfg(not(feature = "frames"))]
    map(
        &["-o", "m.parquet", "--grid", "3x3"],
        "m.parquet: this program was built without data frames",
    );
    map(&["-o", "m.csv", "--seed", "5"], "add --samples");
    map(
        &["-o", "m.csv", "--samples", "9", "--seed", "-1"],
        "--seed is -1; expected a whole number from 0",
    );
    map(&["-o", "m.csv", "--x", "load"], "no input `load` for a map");
    map(
        &["-o", "m.csv", "--y", "input-voltage", "--grid", "3x3"],
        "choose two inputs",
    );
    map(&["-o", "m.csv", "--samples", "9", "--corners"], "not both");
    map(
        &["-o", "no/such/m.csv", "--grid", "3x3"],
        "cannot be written",
    );
    let plain = specification_with(&[("stage.inductance", "\"0.68 uH\"")]);
    std::fs::write(folder.join("plain.toml"), plain).unwrap();
    let samples = ["map", "plain.toml", "-o", "m.csv", "--samples", "10"];
    refused(&folder, &samples, "no input has a spread");
}

#[test]
fn ranges_and_widths_are_read_and_refused() {
    let folder = folder("map-ranges");
    let file = write(&folder, DEMONSTRATION);
    let map = ["map", file, "--grid", "3x2", "-o", "map.csv"];
    let with = |rest: &[&'static str]| [&map[..], rest].concat();
    let clamp = ["--x", "clamp-drop", "--x-range", "0 V, 0.4 V"];
    let drawn = ["--figure", "map.svg", "--width", "88mm"];
    succeed(&folder, &with(&[clamp, drawn].concat()));
    let text = std::fs::read_to_string(folder.join("map.csv")).unwrap();
    assert!(
        text.starts_with("clamp_drop_V,output_current_A,state,"),
        "{text}"
    );
    assert!(text.contains("\n0.4,"), "{text}");
    let figure = std::fs::read_to_string(folder.join("map.svg")).unwrap();
    assert!(
        figure.starts_with("<svg width=\"88mm\""),
        "{}",
        &figure[..99]
    );
    for (rest, expected) in [
        (&["--x", "clamp-drop"][..], "give one with --x-range"),
        (
            &["--x-range", "44 V, 30 V"],
            "expected the lower value first",
        ),
        (
            &["--y-range", "1 V, 2 A"],
            "--y-range 1 V, 2 A: \"V\" is a unit",
        ),
        (
            &["--x-range", "8 V, 44 V"],
            "across a band edge: at 8 V in, the band ends at 4 V out",
        ),
        (
            &["--scheme", "discontinuous", "--x", "clamp-resistance"],
            "the scheme has no clamp",
        ),
        (
            &["--scheme", "negative-valley", "--y", "switching-frequency"],
            "frequency is not fixed",
        ),
        (&["--width", "88mm"], "--width is given without --figure"),
        (
            &["--figure", "m.svg", "--width", "9in"],
            "no figure is 9in wide",
        ),
    ] {
        refused(&folder, &with(rest), expected);
    }
    let cycle = [
        "cycle",
        file,
        "--phase-plane",
        "plane.svg",
        "--width",
        "88mm",
    ];
    succeed(&folder, &cycle);
    let plane = std::fs::read_to_string(folder.join("plane.svg")).unwrap();
    assert!(plane.starts_with("<svg width=\"88mm\"") && plane.contains("rising edge"));
    refused(
        &folder,
        &["cycle", file, "--width", "88mm"],
        "without a figure",
    );
}

#[test]
fn a_map_is_written_with_its_figure() {
    let folder = folder("map");
    let text = specification_with(&[("trip.threshold", "\"0.3 A\"")]);
    let file = write(&folder, &text);
    let arguments = [
        "map",
        file,
        "--grid",
        "20x15",
        "--samples",
        "40",
        "--seed",
        "3",
        "-o",
        "map.csv",
        "--figure",
        "map.svg",
    ];
    let said = succeed(&folder, &arguments);
    assert!(
        said.starts_with("map.csv: 300 points, zero voltage holds at "),
        "{said}"
    );
    assert!(said.ends_with("; 40 units at each point\n"), "{said}");
    let bytes = std::fs::read(folder.join("map.csv")).unwrap();
    let table = Table::read_csv(&bytes[..]).unwrap();
    assert_eq!(table.rows(), 300);
    let header = String::from_utf8(bytes.clone()).unwrap();
    assert!(
        header.starts_with("input_voltage_V,output_current_A,"),
        "{header}"
    );
    for row in 0..300 {
        let value = |name: &str| table.column(name).unwrap().get(row).unwrap();
        assert!(value("share_low") <= value("zero_voltage_share"));
        assert!(value("share_high") >= value("zero_voltage_share"));
    }
    succeed(&folder, &arguments);
    assert_eq!(bytes, std::fs::read(folder.join("map.csv")).unwrap());
    let figure = std::fs::read_to_string(folder.join("map.svg")).unwrap();
    roxmltree::Document::parse(&figure).unwrap();
    let corners = [
        "map",
        file,
        "--grid",
        "4x3",
        "--corners",
        "-o",
        "corners.csv",
    ];
    assert!(succeed(&folder, &corners).contains("2 corners of the tolerances"));
}
