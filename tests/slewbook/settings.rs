//! `--set`: the text of a specification with other values, in every command that reads one.

use serde_json::Value;
use slewbook::stage::{DEMONSTRATION, PARTS};

use crate::program::{folder, run, succeed, write};
use crate::support::sha256;

/// Standard error of a run that is refused.
fn refused(settings: &[&str]) -> String {
    let folder = folder(&format!("set-refused-{}", sha256(&settings.concat())));
    let specification = write(&folder, DEMONSTRATION);
    let mut arguments = vec!["derive", specification];
    for own in settings {
        arguments.extend(["--set", own]);
    }
    let output = run(&folder, &arguments);
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    String::from_utf8(output.stderr).unwrap()
}

#[test]
fn a_setting_is_as_if_it_stood_in_the_file() {
    let folder = folder("set");
    let specification = write(&folder, DEMONSTRATION);
    let set = ["--set", "trip.threshold=0.6 A"];
    let edited = DEMONSTRATION.replace("threshold = \"0.4 A\"", "threshold = \"0.6 A\"");
    let json = |arguments: &[&str]| -> Value {
        serde_json::from_str(&succeed(&folder, arguments)).unwrap()
    };
    for command in ["derive", "cycle", "compare"] {
        let mut found = json(&[command, specification, "--json", set[0], set[1]]);
        assert_eq!(found["input_hash"], sha256(&edited).as_str(), "{command}");
        assert_eq!(
            found["settings"],
            serde_json::json!([{ "key": "trip.threshold", "value": "\"0.6 A\"" }])
        );
        let notes = found["notes"].as_array_mut().unwrap();
        let said = notes.pop().unwrap();
        assert_eq!(said, "Set on the command line: trip.threshold = \"0.6 A\".");
        std::fs::write(folder.join("edited.toml"), &edited).unwrap();
        let mut expected = json(&[command, "edited.toml", "--json"]);
        expected["settings"] = found["settings"].clone();
        assert_eq!(found, expected, "{command}");
    }
    succeed(&folder, &["rationale", specification, set[0], set[1]]);
    let document = std::fs::read_to_string(folder.join("rationale/rationale.html")).unwrap();
    assert!(document.contains(&sha256(&edited)));
    assert!(document.contains("Set on the command line: trip.threshold = "));
    let map = [
        "map",
        specification,
        "--grid",
        "3x3",
        "-o",
        "m.csv",
        set[0],
        set[1],
    ];
    assert!(succeed(&folder, &map).contains("Set on the command line: trip.threshold"));
    let run = [
        "timeline",
        specification,
        "--until",
        "50us",
        "-o",
        "w.csv",
        set[0],
        set[1],
    ];
    assert!(succeed(&folder, &run).contains("Set on the command line: trip.threshold"));
}

#[test]
fn keys_reach_into_lines_and_tables_that_are_not_there() {
    let folder = folder("set-keys");
    let specification = write(&folder, DEMONSTRATION);
    let settings = [
        "input.voltage.max=43 V",
        "transistors.high.output_capacitance.scale=1.1",
        "stage.inductance={ nominal = \"0.7 uH\", tolerance = \"10 %\" }",
        "inductor.resistance=2 mohm",
        "capacitors.output.remaining=80 %",
        "start_up.input_slew_limited=true",
    ];
    let mut arguments = vec!["rationale", specification, "-o", "-"];
    for own in settings {
        arguments.extend(["--set", own]);
    }
    let output = run(&folder, &arguments);
    let complaints = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{complaints}");
    let document = String::from_utf8(output.stdout).unwrap();
    for own in [
        "max = &quot;43 V&quot;",
        "scale = 1.1",
        "tolerance = &quot;10 %&quot;",
    ] {
        assert!(document.contains(own), "{own}");
    }
    // Comments stay.
    let comment = DEMONSTRATION
        .lines()
        .find(|line| line.starts_with('#'))
        .unwrap();
    let words: String = comment.chars().skip(2).take(20).collect();
    assert!(document.contains(&words), "{words}");
}

#[test]
fn what_a_part_supplies_is_set_beside_the_rest_of_it() {
    let folder = folder("set-part");
    let with_part = DEMONSTRATION
        .replace("[clamp]", "[parts]\nfile = \"parts.toml\"\n\n[clamp]")
        .replace(
            "[transistors.low]",
            "[transistors.low]\npart = \"low-resistance\"",
        );
    let lines: Vec<&str> = with_part.lines().collect();
    let low = lines
        .iter()
        .position(|line| *line == "[transistors.low]")
        .unwrap();
    let own = lines
        .iter()
        .enumerate()
        .filter(|(number, line)| *number < low || !line.starts_with("output_capacitance"));
    let text: String = own.map(|(_, line)| format!("{line}\n")).collect();
    let specification = write(&folder, &text);
    std::fs::write(folder.join("other.toml"), PARTS).unwrap();
    let key = "transistors.low.output_capacitance.scale=1.2";
    let said = succeed(
        &folder,
        &[
            "cycle",
            specification,
            "--set",
            "parts.file=other.toml",
            "--set",
            key,
        ],
    );
    assert!(
        said.contains("transistors.low.output_capacitance.scale = 1.2"),
        "{said}"
    );
}

#[test]
fn a_wrong_setting_is_told_with_key_and_value() {
    for (settings, words) in [
        (vec!["stage.inductance"], "there is no = in it"),
        (vec!["=3"], "is no dotted key"),
        (vec!["stage..levels=3"], "`stage..levels` is no dotted key"),
        (vec!["stage.levels="], "there is no value after ="),
        (vec!["stage.inductance={ nominal"], "is not valid TOML"),
        (
            vec!["title.words=3"],
            "--set `title.words=3`: title is no table",
        ),
        (
            vec!["stage.levels=3", "stage.levels = 4"],
            "--set gives stage.levels twice, `stage.levels=3` and `stage.levels = 4`",
        ),
        (
            vec!["stage.inductanse=1 uH"],
            "stage.inductanse was set by --set `stage.inductanse=1 uH`",
        ),
        (
            vec!["input.voltage.max=44 kA"],
            "input.voltage.max was set by --set `input.voltage.max=44 kA`",
        ),
        (vec!["stage.levels=\"x\""], "stage.levels was set by --set"),
    ] {
        let said = refused(&settings);
        assert!(said.contains(words), "{settings:?}: {said}");
    }
}
