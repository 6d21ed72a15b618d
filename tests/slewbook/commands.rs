//! The commands of the program on good input, and specifications of every kind.

use serde_json::Value;
use slewbook::design::{Design, Requirement, Verdict};
use slewbook::quantity::unit::{uH, volt};
use slewbook::stage::{DEMONSTRATION, Specification, Stage};
use slewbook::verdict::Check;
use slewbook::{edge, freewheel, limit};

use crate::program::{folder, run, succeed, write};
use crate::quick_cell::Quick;
use crate::support::{sha256, specification_with};

/// The demonstration reduced to what must be there.
const LEAST: &str = r#"
title = "The least specification"
input = { voltage = "36 V" }
output = { voltage = "6 V", current = "6 A" }
[stage]
levels = 3
switching_frequency = "140 kHz"
output_capacitance = "100 uF"
node_capacitance = "600 pF"
[clamp]
resistance = "12 mohm"
[trip]
delay = "35 ns"
margin = 1.2
[transistors]
high = { on_resistance = "4 mohm", output_capacitance = { constant = "0 F" } }
low = { on_resistance = "4 mohm", output_capacitance = { constant = "0 F" } }
"#;

#[test]
fn a_failed_verdict_ends_with_exit_code_0() {
    let folder = folder("failed-verdict");
    let design = Design::derive(DEMONSTRATION).unwrap();
    assert!(
        design
            .requirements
            .iter()
            .any(|r| r.verdict == Verdict::NotMet)
    );
    let specification = write(&folder, DEMONSTRATION);
    let said = succeed(&folder, &["rationale", specification, "-o", "out/deep"]);
    assert!(
        said.starts_with("out/deep/rationale.html: ") && said.ends_with(" not met\n"),
        "{said}"
    );
    assert!(folder.join("out/deep/rationale.html").is_file());
    assert!(succeed(&folder, &["derive", specification]).contains("not met: "));
}

#[test]
fn without_arguments_the_demonstration_is_written_to_the_default_folder() {
    let folder = folder("default");
    succeed(&folder, &[]);
    let alone = std::fs::read(folder.join("rationale/rationale.html")).unwrap();
    succeed(&folder, &["rationale"]);
    assert_eq!(
        alone,
        std::fs::read(folder.join("rationale/rationale.html")).unwrap()
    );
    let specification = write(&folder, DEMONSTRATION);
    succeed(&folder, &["rationale", specification, "--output", "other"]);
    // The document does not depend on where its specification was.
    assert_eq!(
        alone,
        std::fs::read(folder.join("other/rationale.html")).unwrap()
    );
}

#[test]
fn help_and_version_go_to_standard_output() {
    let folder = folder("help");
    let help = succeed(&folder, &["--help"]);
    for word in [
        "rationale [SPEC] [-o DIR]",
        "derive SPEC [--json | --latex]",
        "example",
        "Exit codes",
    ] {
        assert!(help.contains(word), "{word}");
    }
    assert_eq!(succeed(&folder, &["-h"]), help);
    assert_eq!(succeed(&folder, &["help"]), help);
    let commands = [
        "rationale",
        "derive",
        "cycle",
        "timeline",
        "map",
        "compare",
        "changes",
        "verify",
        "recording",
        "core-loss",
        "example",
        "version",
        "help",
    ];
    for command in commands {
        let own = succeed(&folder, &["help", command]);
        assert_eq!(succeed(&folder, &[command, "--help"]), own);
        assert_eq!(succeed(&folder, &[command, "-h"]), own);
        let named = own.matches("  slewbook ").count();
        assert_eq!(named, 1, "{own}");
        assert!(own.starts_with(&format!("  slewbook {command} ")));
        let text = own.split_once("\n\n").unwrap().0;
        assert!(help.contains(text), "{text}");
        assert!(own.contains("Exit codes"));
    }
    let unknown = run(&folder, &["help", "nonsense"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(unknown.stdout.is_empty());
    assert_eq!(
        run(&folder, &["help", "map", "cycle"]).status.code(),
        Some(2)
    );
    assert_eq!(
        succeed(&folder, &["--version"]),
        slewbook::identity::Program::own().text()
    );
    assert_eq!(succeed(&folder, &["version"]), succeed(&folder, &["-V"]));
    assert!(run(&folder, &["nonsense"]).stdout.is_empty());
}

#[test]
fn the_example_gives_json_with_the_documented_fields() {
    let folder = folder("json");
    let example = succeed(&folder, &["example"]);
    assert_eq!(example, DEMONSTRATION);
    let specification = write(&folder, &example);
    let json: Value =
        serde_json::from_str(&succeed(&folder, &["derive", specification, "--json"])).unwrap();
    let keys = |value: &Value| {
        value
            .as_object()
            .unwrap()
            .keys()
            .cloned()
            .collect::<Vec<_>>()
    };
    assert_eq!(
        keys(&json),
        [
            "format",
            "input_hash",
            "inputs",
            "notes",
            "program",
            "requirements",
            "results",
            "settings",
            "title",
            "units"
        ]
    );
    assert_eq!(json["format"], 1);
    assert_eq!(json["program"]["version"], slewbook::VERSION);
    assert_eq!(json["input_hash"], sha256(&example).as_str());
    let results = json["results"].as_array().unwrap();
    for result in results {
        assert_eq!(
            keys(result),
            [
                "at",
                "chosen",
                "guaranteed",
                "name",
                "not_guaranteed",
                "notes",
                "standard_uncertainty",
                "symbol",
                "uncertainty",
                "unit",
                "valid",
                "value"
            ]
        );
        assert_eq!(
            result["value"].is_number(),
            result["valid"].as_bool().unwrap(),
            "{result}"
        );
        assert!(result["value"].is_number() || result["value"].is_null());
        assert!(
            result["notes"]
                .as_array()
                .unwrap()
                .iter()
                .all(Value::is_string)
        );
        assert!(result["symbol"].is_string() && result["unit"].is_string());
        for (axis, value) in result["at"].as_object().unwrap() {
            assert!(["input_voltage", "output_voltage", "output_current"].contains(&axis.as_str()));
            assert!(value.is_number());
        }
    }
    let count = |name: &str| results.iter().filter(|r| r["name"] == name).count();
    for (name, expected) in [
        ("inductance_boundary", 1),
        ("inductance_ceiling", 1),
        ("inductance_ceiling_operating", 1),
        ("freewheel_floor", 1),
        ("clamp_on_current", 1),
        ("release_current", 1),
        ("trip_current", 1),
        ("dead_time_earliest", 3),
        ("dead_time_best", 3),
        ("dead_time_latest", 3),
        ("demagnetisation_time", 0),
        ("peak_current", 1),
    ] {
        assert_eq!(count(name), expected, "{name}");
    }
    let inputs: Vec<_> = results
        .iter()
        .filter(|r| r["name"] == "dead_time_earliest")
        .map(|r| r["at"]["input_voltage"].as_f64().unwrap())
        .collect();
    assert_eq!(inputs, [30.0, 36.0, 44.0]);
    // Three results of one name are told apart by words too.
    let chosen: std::collections::BTreeSet<_> = results
        .iter()
        .filter(|r| r["name"] == "dead_time_best")
        .map(|r| r["chosen"].as_str().unwrap())
        .collect();
    assert_eq!(chosen.len(), 3);
    let inductance = results
        .iter()
        .find(|r| r["name"] == "inductance_ceiling")
        .unwrap();
    assert_eq!(inductance["unit"], "H");
}

/// The requirements on the low side's dead time: verdict, margin, limit, note.
fn low_side(changes: &[(&str, &str)]) -> Vec<Requirement> {
    let design = Design::derive(&specification_with(changes)).unwrap();
    let requirements = design.requirements.into_iter();
    requirements
        .filter(|r| r.words.starts_with("Dead time of the low side"))
        .collect()
}

/// The node falls the slowest, and the diode holds it the least long, with the least
/// current in the inductor: the least load is the worst.
#[test]
fn the_low_side_is_checked_at_the_least_load() {
    let [need, latest] = &low_side(&[])[..] else {
        panic!("two requirements")
    };
    assert_eq!(need.verdict, Verdict::Met);
    // A quick cell of the tests' own at the least load and the largest inductance, which
    // have the least peak.
    let cell = Quick::at(44.0, 5.8, 0.816e-6, 0.3);
    let slowest = cell.fall_time;
    assert!(
        (need.limit.unwrap() / slowest - 1.0).abs() < 2e-2,
        "{need:?}"
    );
    assert_eq!(need.at.output_current, Some(0.3));
    assert_eq!(latest.at.output_current, Some(0.3));
    // At the smallest inductance the node is back the soonest, its diode's drop 0.8 V.
    let soonest = [30.0, 44.0].into_iter().flat_map(|input| {
        [5.8, 6.2].map(|output: f64| {
            let cell = Quick::at(input, output, 0.544e-6, 0.3);
            cell.fall_time + cell.time_below(output, 0.544e-6, 0.8)
        })
    });
    let soonest = soonest.fold(f64::INFINITY, f64::min);
    assert!(
        (latest.limit.unwrap() / soonest - 1.0).abs() < 2e-2,
        "{latest:?} {soonest}"
    );

    let without_load = low_side(&[("output.current", "{ min = \"0 A\", max = \"6 A\" }")]);
    assert!(without_load[0].verdict.fails(), "{without_load:?}");
}

/// Its own dead time counts, where it is stated.
#[test]
fn the_low_side_is_checked_with_its_own_dead_time() {
    let short = low_side(&[("control.low_dead_time", "\"2 ns\"")]);
    assert_eq!(short[0].value, Some(2e-9));
    assert_eq!(short[0].verdict, Verdict::NotMet);
    let long = low_side(&[("control.low_dead_time", "\"900 ns\"")]);
    assert_eq!(long[0].verdict, Verdict::Met);
    assert_eq!(long[1].verdict, Verdict::NotMet);
}

/// In the upper half of a band the node may not come down at all at the least load:
/// that is said, and no number is given.
#[test]
fn a_fall_that_never_arrives_has_no_number() {
    let [need, latest] = &low_side(&[
        ("input.voltage", "\"36 V\""),
        ("output.voltage", "\"15 V\""),
        ("output.current", "{ min = \"1 mA\", max = \"3 A\" }"),
        ("trip.threshold", "\"0 A\""),
        ("trip.delay", "\"0 ns\""),
        ("clamp.resistance", "\"60 mohm\""),
    ])[..] else {
        panic!("two requirements")
    };
    for requirement in [need, latest] {
        assert_eq!(requirement.verdict, Verdict::NoSetting, "{requirement:?}");
        assert_eq!(requirement.limit, None);
        let note = &requirement.note;
        assert!(note.contains("does not fall to its lower level"), "{note}");
    }
}

#[test]
fn latex_has_numbered_equations_and_one_macro_per_result() {
    let folder = folder("latex");
    let specification = write(&folder, &specification_with(&[("clamp.drop", "\"0.3 V\"")]));
    let latex = succeed(&folder, &["derive", specification, "--latex"]);
    crate::latex::assert_paired(&latex);
    let mut names = std::collections::BTreeSet::new();
    for line in latex
        .lines()
        .filter(|line| line.starts_with("\\newcommand"))
    {
        let rest = line.strip_prefix("\\newcommand{\\").unwrap();
        let (name, body) = rest.split_once('}').unwrap();
        assert!(name.chars().all(|c| c.is_ascii_alphabetic()), "\\{name}");
        assert!(names.insert(name.to_owned()), "\\{name} twice");
        let body = body.split_once(" % ").unwrap().0;
        crate::latex::assert_paired(body);
        assert!(
            body.starts_with("{\\ensuremath{") && body.is_ascii(),
            "{body}"
        );
    }
    assert!(names.len() >= 20);
    let mut labels = std::collections::BTreeSet::new();
    for label in latex.split("\\label{").skip(1) {
        assert!(
            labels.insert(label.split_once('}').unwrap().0),
            "a label twice"
        );
    }
    assert_eq!(latex.matches("\\begin{equation}").count(), labels.len());
    for line in latex.lines().filter(|line| !line.contains('%')) {
        assert!(line.is_ascii(), "{line}");
    }
}

#[test]
fn the_least_specification_is_enough() {
    let design = Design::derive(LEAST).unwrap();
    assert!(!design.in_force.inductance.is_stated() && !design.in_force.trip.is_stated());
    assert!(design.finding("peak_current").unwrap().value().is_some());
    let stated = |verdict| design.requirements.iter().any(|r| r.verdict == verdict);
    assert!(stated(Verdict::NotStated));
    // One string is a range of one value.
    let one = Specification::read(LEAST).unwrap();
    assert_eq!(one.input_voltage.min, one.input_voltage.max);
    let [earliest, ..] = &*design.all("dead_time_earliest").collect::<Vec<_>>() else {
        panic!("no dead time");
    };
    assert!(earliest.value().is_some());
    let folder = folder("least");
    let specification = write(&folder, LEAST);
    succeed(&folder, &["rationale", specification]);
}

#[test]
fn every_band_of_2_to_8_levels_has_a_design() {
    for levels in 2..=8u32 {
        for band in 0..levels - 1 {
            let output = 120.0 * (f64::from(band) + 0.4) / f64::from(levels - 1);
            let text = specification_with(&[
                ("stage.levels", &levels.to_string()),
                ("input.voltage", "{ min = \"118 V\", max = \"122 V\" }"),
                ("output.voltage", &format!("\"{output:.3} V\"")),
                ("stage.inductance", "\"0.33 uH\""),
            ]);
            let specification = Specification::read(&text).unwrap();
            let stage = Stage::new(specification, 0.33 * uH, "");
            assert_eq!(u32::from(stage.specification.band()), band);
            let (a, b) = (stage.a.value().unwrap(), stage.b.value().unwrap());
            assert!(a > 0.0 * volt && b > 0.0 * volt);
            // The two steps add up to one level.
            let level = 120.0 / f64::from(levels - 1);
            assert!(((a + b).value - level).abs() < 1e-9);
            assert!(limit::ceiling(&stage).value().is_ok());
            assert!(freewheel::floor(&stage).value().is_ok());
            assert!(edge::dead_time_best(&stage).value().is_ok());
            // The whole design, in one band of each number of levels.
            if band == levels / 3 {
                let design = Design::derive(&text).unwrap();
                assert_eq!(design.finding("flying_ripple").is_some(), levels > 2);
                assert!(design.finding("freewheel_floor").unwrap().value().is_some());
            }
        }
    }
}

#[test]
fn optional_keys_change_what_they_should() {
    let value = |changes: &[(&str, &str)], name: &str| {
        let design = Design::derive(&specification_with(changes)).unwrap();
        design
            .finding(name)
            .and_then(slewbook::design::Finding::value)
    };
    // The offset adds to what the trip must be set to, with its sign.
    let plain = value(&[], "trip_current").unwrap();
    let offset = |text: &str| value(&[("trip.offset", text)], "trip_current").unwrap() - plain;
    assert!((offset("\"50 mA\"") - 0.05).abs() < 1e-9);
    assert!((offset("\"-50 mA\"") + 0.05).abs() < 1e-9);
    // A drop shortens the hold: the clamp has to take over more current.
    let clamp_on = |drop: &str| value(&[("clamp.drop", drop)], "clamp_on_current").unwrap();
    assert!(clamp_on("\"0.1 V\"") > clamp_on("\"0 V\""));
    assert!(value(&[("clamp.drop", "\"0.1 V\"")], "demagnetisation_time").is_some());
    assert_eq!(value(&[], "demagnetisation_time"), None);
}

#[test]
fn how_a_file_was_saved_does_not_matter() {
    let plain = Specification::read(DEMONSTRATION).unwrap();
    let others = [
        DEMONSTRATION.replace('\n', "\r\n"),
        format!("\u{feff}{DEMONSTRATION}"),
        DEMONSTRATION.replace(" = ", "\t=\t"),
        DEMONSTRATION
            .replace("uH", "µH")
            .replace("uF", "\u{3bc}F")
            .replace("mohm", "m\u{2126}"),
        DEMONSTRATION.replace("levels = 3", "levels = 0x3"),
        DEMONSTRATION.replace("margin = 1.2", "margin = 1.200_0"),
        DEMONSTRATION.replace("140 kHz", "1.4e5 Hz"),
    ];
    for text in others {
        let read = Specification::read(&text).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(read.inductance, plain.inductance);
        assert_eq!(read.clamp.resistance, plain.clamp.resistance);
        assert_eq!(read.switching_frequency, plain.switching_frequency);
        assert_eq!(read.trip.margin, plain.trip.margin);
        assert_eq!(read.levels, plain.levels);
    }
    let hexadecimal = specification_with(&[("trip.margin", "0x10")]);
    assert_eq!(
        Specification::read(&hexadecimal).unwrap().trip.margin,
        16.0.into()
    );
}

/// The result that a verdict names has the number that the verdict is about.
#[test]
fn what_blocks_a_start_is_explained_by_a_result_of_that_voltage() {
    let precharged = format!("{DEMONSTRATION}\n[start_up]\nflying_capacitors_precharged = true\n");
    for (text, start) in [(DEMONSTRATION, 44.0), (&precharged, 22.0)] {
        let design = Design::derive(text).unwrap();
        for own in &design.requirements {
            let found = design.finding(own.decides);
            let found = found.unwrap_or_else(|| panic!("{}: no {}", own.words, own.decides));
            let blocked = match own.check {
                Check::OutermostStart | Check::ClampStart => start,
                Check::OutermostStep => 29.0,
                _ => continue,
            };
            approx::assert_relative_eq!(own.value.unwrap(), blocked, max_relative = 1e-12);
            approx::assert_relative_eq!(found.value().unwrap(), blocked, max_relative = 1e-12);
        }
    }
}
