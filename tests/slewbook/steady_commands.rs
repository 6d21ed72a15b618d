//! `slewbook cycle` and `slewbook map` as programs.

use serde_json::Value;
use slewbook::stage::DEMONSTRATION;
use slewbook::table::Table;

use crate::program::{folder, run, succeed, write};
use crate::support::{sha256, specification_with};

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
    assert_eq!(cell["input_hash"], sha256(DEMONSTRATION));
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

/// The demonstration with keys changed, as a file.
fn changed(folder: &std::path::Path, changes: &[(&str, &str)]) {
    write(folder, &specification_with(changes));
}

fn number(cell: &Value, key: &str) -> f64 {
    let value = cell[key].as_f64();
    value.unwrap_or_else(|| panic!("{key}: {}", cell[key]))
}

/// Conduction and turn-on with the losses in the capacitors' own resistances, 3 and
/// 1.5 milliohm in the demonstration.
fn lost(cell: &Value) -> f64 {
    number(cell, "conduction_and_turn_on_loss")
        + 3e-3 * number(cell, "flying_capacitor_rms").powi(2)
        + 1.5e-3 * number(cell, "output_capacitor_rms").powi(2)
}

/// A dead time of the low side that ends before the node has fallen, and one that
/// leaves its diode to conduct, against what `slewbook timeline` counts in its books.
#[test]
fn the_dead_time_of_the_low_side_counts() {
    let folder = folder("cycle-low-dead-time");
    let light = ["--output-current", "0.3 A"];
    let near = |found: f64, expected: f64| {
        assert!(
            (found / expected - 1.0).abs() < 0.01,
            "{found} is not {expected}"
        );
    };
    changed(&folder, &[("control.low_dead_time", "\"2 ns\"")]);
    let cell = json(&folder, &light);
    assert_eq!(cell["state"], "zero_voltage");
    assert!(number(&cell, "low_turn_on_voltage") > 1.0);
    assert!(number(&cell, "low_dead_time") < number(&cell, "low_dead_time_earliest"));
    near(number(&cell, "low_turn_on_energy") * 280e3, 17.8e-3);
    near(lost(&cell), 32.45e-3);
    let text = succeed(
        &folder,
        &["cycle", "specification.toml", "--output-current", "0.3 A"],
    );
    for words in [
        "The low side turns on with ",
        "its dead time of 2 ns ends before the node has fallen",
        "left across the low side at turn-on",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }

    changed(&folder, &[("control.low_dead_time", "\"200 ns\"")]);
    near(lost(&json(&folder, &[])), 1.318);

    // Without a load the dead time of 25 ns is too short for the fall.
    write(&folder, DEMONSTRATION);
    let idle = json(&folder, &["--output-current", "0 A"]);
    assert!(number(&idle, "low_turn_on_voltage") > 0.0);
    // What rounding leaves of nothing is nothing.
    assert_eq!(number(&idle, "average_current"), 0.0);
}

/// A window that the dead time misses is told, so that it can be moved there.
#[test]
fn a_missed_window_is_told() {
    let folder = folder("cycle-window");
    write(&folder, DEMONSTRATION);
    for at in [
        ["--scheme", "freewheel-diode", "--output-current", "6 A"],
        ["--input-voltage", "44 V", "--output-current", "0.3 A"],
    ] {
        let cell = json(&folder, &at);
        assert!(number(&cell, "freewheel_current") > number(&cell, "freewheel_floor"));
        let (earliest, latest) = (
            number(&cell, "dead_time_earliest"),
            number(&cell, "dead_time_latest"),
        );
        assert!(earliest < latest);
        let inside = (earliest..=latest).contains(&number(&cell, "dead_time"));
        assert_eq!(inside, cell["state"] == "zero_voltage", "{cell}");
        // Moved there, the node arrives.
        let middle = format!("\"{} ns\"", 0.5e9 * (earliest + latest));
        changed(&folder, &[("timing.dead_time", &middle)]);
        assert_eq!(json(&folder, &at)["state"], "zero_voltage");
        write(&folder, DEMONSTRATION);
    }
}

/// The intervals make up the cell and join; the paths are those of the table.
#[test]
fn a_cell_has_its_intervals_and_paths() {
    let folder = folder("cycle-intervals");
    write(&folder, DEMONSTRATION);
    for (scheme, names) in [
        (
            "freewheel-transistors",
            &[
                "rise",
                "energise",
                "fall",
                "release",
                "partial_rise",
                "hold",
            ][..],
        ),
        ("discontinuous", &["ring", "energise", "fall", "release"]),
        ("continuous", &["rise", "energise", "fall", "release"]),
        (
            "negative-valley",
            &["partial_rise", "rise", "energise", "fall", "release"],
        ),
    ] {
        let cell = json(&folder, &["--scheme", scheme, "--output-current", "3 A"]);
        let intervals = cell["intervals"].as_array().unwrap();
        let found: Vec<_> = intervals
            .iter()
            .map(|i| i["name"].as_str().unwrap())
            .collect();
        assert_eq!(found, names, "{scheme}");
        let sum: f64 = intervals.iter().map(|i| number(i, "duration")).sum();
        let time = number(&cell, "cell_time");
        assert!((sum / time - 1.0).abs() < 1e-9, "{scheme}");
        let frequency = number(&cell, "frequency");
        assert!((2.0 * frequency * time - 1.0).abs() < 1e-12, "{scheme}");
        for (k, interval) in intervals.iter().enumerate() {
            let next = &intervals[(k + 1) % intervals.len()];
            let jump = number(interval, "end_current") - number(next, "start_current");
            assert!(
                jump.abs() < 1e-8 * number(&cell, "peak_current"),
                "{scheme} {k}"
            );
        }
        for path in [
            "inductor",
            "high",
            "low",
            "high_diode",
            "low_diode",
            "output_capacitor",
        ] {
            for key in ["average", "rms", "charge"] {
                assert!(
                    cell["paths"][path][key].is_number(),
                    "{scheme} {path} {key}"
                );
            }
        }
        assert_eq!(cell["paths"]["high"]["rms"], cell["high_rms"]);
        let ring = scheme == "discontinuous";
        assert_eq!(cell["ring_time"].is_number(), ring);
        assert_eq!(cell["dead_time"].is_null(), ring);
        let text = succeed(
            &folder,
            &[
                "cycle",
                "specification.toml",
                "--scheme",
                scheme,
                "--output-current",
                "3 A",
            ],
        );
        assert_eq!(text.contains("dead time in force"), !ring, "{text}");
        assert_eq!(text.contains("rising edge  "), !ring, "{text}");
        for words in ["interval ", "path ", "each low side", "switching frequency"] {
            assert!(text.contains(words), "{words}: {text}");
        }
        // The sentences apart.
        let wide = text
            .lines()
            .take_while(|line| !line.starts_with("Requirements"))
            .filter(|line| line.starts_with("  ") && !line.ends_with('.'));
        for line in wide {
            assert!(line.chars().count() <= 100, "{line}");
        }
    }
}

/// What the state leaves without meaning is not in the text either.
#[test]
fn a_clamp_without_current_has_no_rising_edge() {
    let folder = folder("cycle-demagnetised");
    changed(&folder, &[("clamp.diode.drop", "\"1 V\"")]);
    let at = ["--scheme", "freewheel-diode", "--output-current", "0.5 A"];
    let cell = json(&folder, &at);
    assert_eq!(cell["state"], "clamp_demagnetised");
    assert!(cell["rise_time"].is_null());
    assert_eq!(cell["intervals"][0]["name"], "rest");
    let text = succeed(
        &folder,
        &[&["cycle", "specification.toml"], &at[..]].concat(),
    );
    assert!(!text.contains("rising edge  "), "{text}");
    assert!(text.contains("rest without current"), "{text}");
}

#[test]
fn a_trip_out_of_reach_and_a_band_edge_are_named() {
    let folder = folder("cycle-words");
    changed(&folder, &[("transistors.low.on_resistance", "\"10 ohm\"")]);
    let text = succeed(&folder, &["cycle", "specification.toml"]);
    assert!(
        text.contains("no_hold_time: The trip threshold cannot be reached"),
        "{text}"
    );
    write(&folder, DEMONSTRATION);
    let note = "The point comes within 2.8 % of a step to a band edge";
    let edge = ["--output-voltage", "17.5V", "--output-current", "1 A"];
    let text = succeed(
        &folder,
        &[&["cycle", "specification.toml"], &edge[..]].concat(),
    );
    assert!(text.contains(note), "{text}");
    let notes = json(&folder, &edge)["notes"].to_string();
    assert!(notes.contains(note), "{notes}");
    assert!(
        !json(&folder, &[])["notes"]
            .to_string()
            .contains("The point")
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
        said.contains("\nmap.csv: 300 points, zero-voltage switching at "),
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
