//! `slewbook recording`: what it says of a record, and what it refuses.

use crate::program::{folder, run, succeed};

#[test]
fn the_program_tells_what_it_understands_of_a_record() {
    let folder = folder("recording");
    let write = |name: &str, text: &str| std::fs::write(folder.join(name), text).unwrap();
    write(
        "waves.csv",
        "Sample Interval,2e-9\nRecord Length,4\nTIME,CH1 (mV),D0\n\
         -2e-9,10,0\n0,12.5,1\n2e-9,15,1\n4e-9,,0\n",
    );
    let said = succeed(&folder, &["recording", "waves.csv"]);
    for line in [
        "written as: UTF-8, cells separated by comma, decimal point, samples from line 4",
        "samples: 4, from −2 ns to 4 ns",
        "time from: a column of times",
        "interval: 2 ns",
        "gaps: none",
        "column CH1 (V): 10 mV to 15 mV, 1 samples without value",
        "column D0 (digital): 0 to 1",
        "note: column TIME: no unit; seconds are assumed",
        "head: Record Length = 4",
    ] {
        assert!(said.lines().any(|own| own == line), "{line} in\n{said}");
    }
    let json = succeed(&folder, &["recording", "waves.csv", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!((&json["format"], &json["samples"]), (&1.into(), &4.into()));
    assert_eq!(json["time"]["even"], true);
    assert_eq!(json["columns"][0]["survey"]["maximum"], 15e-3);
    assert_eq!(json["columns"][0]["last"], serde_json::Value::Null);
    assert_eq!(json["columns"][1]["name"], "D0");

    // What is stated is used; what does not fit is refused with the option.
    write("turns.csv", "1,5\n-1,5\n2,5\n-2,5\n");
    let stated = |more: &[&str]| {
        let arguments = [&["recording", "turns.csv"], more].concat();
        run(&folder, &arguments)
    };
    let all = [
        "--separator",
        "semicolon",
        "--decimal",
        "comma",
        "--channels",
        "2",
    ];
    let output = stated(&[&all[..], &["--interval", "4ns", "--start=-4ns"]].concat());
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("samples: 2, from −4 ns to 0 s"), "{said}");
    assert!(
        said.contains("column channel_2 (no unit): −2.5 to −1.5"),
        "{said}"
    );
    for (more, words) in [
        (
            &["--separator", "bar"][..],
            "--separator bar: not understood; expected comma",
        ),
        (
            &["--decimal", "dot"],
            "--decimal dot: not understood; expected point or comma",
        ),
        (
            &["--channels", "two"],
            "--channels two: not understood; expected a whole number",
        ),
        (
            &["--channels", "0", "--interval", "1s"],
            "channels: expected 1 to 64",
        ),
        (
            &["--channels", "3", "--interval", "1s", "--decimal", "comma"],
            "channels: 4 samples",
        ),
        (
            &["--first-line", "0"],
            "first line: lines are counted from 1",
        ),
        (&["--interval", "4V"], "--interval 4V"),
        (&["--interval", "0s"], "interval: 0 s is no interval"),
        (
            &["--json", "--interval", "1s", "--interval", "2s"],
            "--interval is given twice",
        ),
        (&[], "turns.csv: line 1: the comma in \"1,5\""),
        (&["--scheme", "none"], "--scheme"),
        (&["turns.csv"], "turns.csv"),
    ] {
        let output = stated(more);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{more:?}: {said}");
        assert!(
            output.stdout.is_empty() && said.contains(words),
            "{more:?}: {said}"
        );
    }
    for missing in [
        &["recording"][..],
        &["recording", "nowhere.csv"],
        &["recording", "."],
    ] {
        assert_eq!(run(&folder, missing).status.code(), Some(2));
    }
    // A name that turns the direction of text or clears the screen is shown, not done.
    write("name.csv", "t (s),u\u{1b}[2J\u{202e}\n0,1\n1,2\n2,3\n");
    let said = succeed(&folder, &["recording", "name.csv"]);
    assert!(said.contains("column u\\u{1b}[2J\\u{202e} ("), "{said}");
    let json = succeed(&folder, &["recording", "name.csv", "--json"]);
    assert!(!json.contains(['\u{1b}', '\u{202e}']));
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["columns"][0]["name"], "u\u{1b}[2J\u{202e}");
}
