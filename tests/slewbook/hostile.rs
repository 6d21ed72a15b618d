//! What must not happen to anybody's files, whatever stands in a folder.
#![cfg(unix)]

use std::fs;
use std::io::Write as _;
use std::os::unix::fs::{FileTypeExt as _, MetadataExt as _, PermissionsExt as _, symlink};
use std::os::unix::process::ExitStatusExt as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use slewbook::file::{Inputs, Output, finish};
use slewbook::stage::{DEMONSTRATION, PARTS};

use crate::program::{folder, run, succeed, write};

/// The map that takes no time.
const QUICK_MAP: [&str; 6] = ["map", "specification.toml", "--grid", "3x3", "-o", "m.csv"];

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_slewbook"))
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn refused(folder: &Path, arguments: &[&str], expected: &str) {
    let output = run(folder, arguments);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
    assert!(said.contains(expected), "{arguments:?}: {said}");
}

/// Waits for something to happen in a folder.
fn wait_for(what: &str, happened: impl Fn() -> bool) {
    let start = Instant::now();
    while !happened() {
        assert!(start.elapsed() < Duration::from_secs(60), "no {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn end_within(mut child: Child, time: Duration) -> std::process::Output {
    let start = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if start.elapsed() > time {
            child.kill().unwrap();
            panic!("still running after {time:?}");
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    child.wait_with_output().unwrap()
}

#[test]
fn documents_and_figures_spare_what_is_read() {
    let folder = folder("hostile-inputs");
    // The parts file has the name of what the command writes.
    let with = |parts: &str| format!("{DEMONSTRATION}\n[parts]\nfile = \"{parts}\"\n");
    let compared = crate::loss_model::text().replace("parts.toml", "losses-over-margin.csv");
    for (specification, parts, arguments) in [
        (
            with("rationale.html"),
            "rationale.html",
            &["rationale", "specification.toml", "-o", "."][..],
        ),
        (
            compared,
            "losses-over-margin.csv",
            &["compare", "specification.toml", "-o", "."],
        ),
    ] {
        write(&folder, &specification);
        fs::write(folder.join(parts), PARTS).unwrap();
        refused(&folder, arguments, "is the parts file itself");
        assert_eq!(fs::read_to_string(folder.join(parts)).unwrap(), PARTS);
        assert_eq!(names(&folder), [parts, "specification.toml"]);
        fs::remove_file(folder.join(parts)).unwrap();
    }
}

#[test]
fn an_input_is_known_by_every_name() {
    let folder = folder("hostile-names");
    write(&folder, DEMONSTRATION);
    fs::hard_link(folder.join("specification.toml"), folder.join("second.csv")).unwrap();
    symlink("specification.toml", folder.join("link.csv")).unwrap();
    for other in ["second.csv", "link.csv"] {
        for command in ["map", "timeline", "cycle"] {
            let arguments = [command, "specification.toml", "-o", other];
            refused(&folder, &arguments, "is the specification itself");
        }
    }
    let kept = fs::read_to_string(folder.join("second.csv")).unwrap();
    assert_eq!(kept, DEMONSTRATION);
}

#[test]
fn nothing_is_written_through_a_link() {
    let folder = folder("hostile-links");
    write(&folder, &crate::loss_model::text());
    fs::write(folder.join("parts.toml"), PARTS).unwrap();
    fs::write(folder.join("precious"), "of someone").unwrap();
    fs::create_dir(folder.join("out")).unwrap();
    let into = folder.join("out");
    symlink("../precious", into.join("rationale.html")).unwrap();
    symlink("../precious", into.join("losses-over-margin.csv")).unwrap();
    symlink("../nowhere", into.join("m.csv")).unwrap();
    let s = "specification.toml";
    for arguments in [
        &["rationale", s, "-o", "out"][..],
        &["compare", s, "-o", "out"],
        &["map", s, "--grid", "3x3", "-o", "out/m.csv"],
        &["timeline", s, "-o", "out/m.csv"],
        &["cycle", s, "-o", "out/rationale.html"],
    ] {
        refused(&folder, arguments, "is a symbolic link");
    }
    let kept = fs::read_to_string(folder.join("precious")).unwrap();
    assert_eq!(kept, "of someone");
    assert!(!folder.join("nowhere").exists());
    let left = ["losses-over-margin.csv", "m.csv", "rationale.html"];
    assert_eq!(names(&into), left);
}

#[test]
fn a_planted_file_of_the_unfinished_name_is_left_alone() {
    let folder = folder("hostile-planted");
    write(&folder, DEMONSTRATION);
    fs::write(folder.join("precious"), "of someone").unwrap();
    for planted in [".m.csv.part", ".slewbook-1-0.part"] {
        symlink("precious", folder.join(planted)).unwrap();
    }
    succeed(&folder, &QUICK_MAP);
    let kept = fs::read_to_string(folder.join("precious")).unwrap();
    assert_eq!(kept, "of someone");
    let expected = [
        ".m.csv.part",
        ".slewbook-1-0.part",
        "m.csv",
        "precious",
        "specification.toml",
    ];
    assert_eq!(names(&folder), expected);
}

#[test]
fn a_file_keeps_who_may_read_it() {
    let folder = folder("hostile-mode");
    write(&folder, DEMONSTRATION);
    let target = folder.join("m.csv");
    for mode in [0o600, 0o640, 0o664] {
        fs::write(&target, "before").unwrap();
        fs::set_permissions(&target, fs::Permissions::from_mode(mode)).unwrap();
        succeed(&folder, &QUICK_MAP);
        assert_eq!(fs::metadata(&target).unwrap().mode() & 0o7777, mode);
        assert!(fs::read_to_string(&target).unwrap().lines().count() == 10);
    }
    fs::set_permissions(&target, fs::Permissions::from_mode(0o444)).unwrap();
    refused(&folder, &QUICK_MAP, "read-only");
}

/// A limit on the size of files stands for a full disk.
#[test]
fn on_a_full_disk_all_stays_as_it_was() {
    let folder = folder("hostile-full");
    write(&folder, &crate::loss_model::text());
    fs::write(folder.join("parts.toml"), PARTS).unwrap();
    let s = "specification.toml";
    succeed(&folder, &["compare", s, "-o", "out"]);
    succeed(&folder, &["rationale", s, "-o", "out"]);
    let out = folder.join("out");
    let before = names(&out);
    for name in &before {
        fs::write(out.join(name), format!("{name} of before")).unwrap();
    }
    for command in ["compare", "rationale"] {
        for blocks in ["1", "20"] {
            let limited = format!(
                "trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" {command} specification.toml -o out"
            );
            let output = Command::new("sh")
                .args(["-c", &limited, env!("CARGO_BIN_EXE_slewbook")])
                .current_dir(&folder)
                .output()
                .unwrap();
            let said = String::from_utf8(output.stderr).unwrap();
            assert_eq!(output.status.code(), Some(2), "{command}: {said}");
            assert!(said.contains("cannot be written"), "{command}: {said}");
            assert_eq!(names(&out), before, "{command}");
            for name in &before {
                let kept = fs::read_to_string(out.join(name)).unwrap();
                assert_eq!(kept, format!("{name} of before"));
            }
        }
    }
}

/// What was there comes back where a later output cannot be put in its place.
#[test]
fn all_outputs_appear_or_none() {
    let folder = folder("hostile-together");
    let inputs = Inputs::default();
    let path = |name: &str| folder.join(name);
    fs::write(path("first"), "of before").unwrap();
    let mut outputs = Vec::new();
    for name in ["first", "second", "third"] {
        let mut output = Output::new("-o", &path(name), &inputs).unwrap();
        output.put("new").unwrap();
        outputs.push(output);
    }
    // Its place is taken meanwhile.
    fs::create_dir(path("third")).unwrap();
    fs::write(path("third/file"), "").unwrap();
    let error = finish(outputs).unwrap_err().to_string();
    assert!(error.contains("third: cannot be written"), "{error}");
    assert_eq!(names(&folder), ["first", "third"]);
    assert_eq!(fs::read_to_string(path("first")).unwrap(), "of before");
}

#[test]
fn of_two_writers_the_last_whole_one_wins() {
    let folder = folder("hostile-two");
    write(&folder, DEMONSTRATION);
    let rows = |grid: &str| {
        succeed(
            &folder,
            &[
                "map",
                "specification.toml",
                "--grid",
                grid,
                "-o",
                "alone.csv",
            ],
        );
        let text = fs::read_to_string(folder.join("alone.csv")).unwrap();
        fs::remove_file(folder.join("alone.csv")).unwrap();
        text
    };
    let whole = [rows("40x40"), rows("41x39")];
    for _ in 0..3 {
        let both = ["40x40", "41x39"].map(|grid| {
            program()
                .args(["map", "specification.toml", "--grid", grid, "-o", "m.csv"])
                .current_dir(&folder)
                .stdout(Stdio::null())
                .spawn()
                .unwrap()
        });
        for child in both {
            let output = end_within(child, Duration::from_secs(60));
            assert_eq!(output.status.code(), Some(0));
        }
        let found = fs::read_to_string(folder.join("m.csv")).unwrap();
        assert!(whole.contains(&found), "neither of both");
        assert_eq!(names(&folder), ["m.csv", "specification.toml"]);
    }
}

#[test]
fn a_program_told_to_end_leaves_nothing_behind() {
    let folder = folder("hostile-ended");
    write(&folder, DEMONSTRATION);
    for (signal, number) in [("TERM", 15), ("INT", 2), ("HUP", 1)] {
        fs::create_dir(folder.join("new")).unwrap();
        let child = program()
            .args([
                "map",
                "specification.toml",
                "--grid",
                "1000x1000",
                "-o",
                "new/m.csv",
            ])
            .current_dir(&folder)
            .stderr(Stdio::piped())
            .spawn();
        let child = child.unwrap();
        wait_for("unfinished file", || names(&folder.join("new")).len() == 1);
        let told = Command::new("kill")
            .args([format!("-{signal}"), child.id().to_string()])
            .status();
        assert!(told.unwrap().success());
        let output = end_within(child, Duration::from_secs(20));
        assert_eq!(output.status.signal(), Some(number));
        assert_eq!(String::from_utf8(output.stderr).unwrap(), "");
        assert_eq!(names(&folder.join("new")), [""; 0], "{signal}");
        fs::remove_dir(folder.join("new")).unwrap();
    }
}

#[test]
fn what_is_no_file_is_not_read() {
    let folder = folder("hostile-pipes");
    let pipe = folder.join("pipe");
    let made = Command::new("mkfifo").arg(&pipe).status().unwrap();
    assert!(made.success() && fs::metadata(&pipe).unwrap().file_type().is_fifo());
    write(
        &folder,
        &format!("{DEMONSTRATION}\n[parts]\nfile = \"pipe\"\n"),
    );
    for file in ["pipe", "/dev/zero", "specification.toml"] {
        let child = program()
            .args(["derive", file])
            .current_dir(&folder)
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn();
        let output = end_within(child.unwrap(), Duration::from_secs(20));
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{file}: {said}");
        assert!(said.contains("is a pipe or a device"), "{file}: {said}");
    }
    refused(&folder, &["derive", "."], "is a folder");
    fs::write(
        folder.join("large"),
        vec![b'#'; slewbook::stage::LARGEST + 1],
    )
    .unwrap();
    refused(&folder, &["derive", "large"], "is larger than");
}

#[test]
fn a_dash_is_standard_input_or_output() {
    let folder = folder("hostile-dash");
    write(&folder, DEMONSTRATION);
    let through = |arguments: &[&str]| {
        let mut child = program()
            .args(arguments)
            .current_dir(&folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // One that refuses does not read it.
        let _ = child
            .stdin
            .take()
            .unwrap()
            .write_all(DEMONSTRATION.as_bytes());
        child.wait_with_output().unwrap()
    };
    for (arguments, file) in [
        (&["map", "--grid", "3x3"][..], "m.csv"),
        (&["timeline", "--until", "20us"], "w.csv"),
        (&["rationale"], "rationale.html"),
    ] {
        let place = if arguments == ["rationale"] {
            "."
        } else {
            file
        };
        let mut whole = arguments.to_vec();
        whole.extend(["specification.toml", "-o", place]);
        succeed(&folder, &whole);
        let expected = fs::read_to_string(folder.join(file)).unwrap();
        let mut piped = arguments.to_vec();
        piped.extend(["-", "-o", "-"]);
        let output = through(&piped);
        assert_eq!(output.status.code(), Some(0), "{piped:?}");
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.contains("standard output: "), "{piped:?}: {said}");
        assert!(
            String::from_utf8(output.stdout).unwrap() == expected,
            "{piped:?}: another content"
        );
    }
    for several in ["compare", "cycle"] {
        let output = through(&[several, "-", "-o", "-"]);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{several}: {said}");
        assert!(said.contains("is standard output"), "{several}: {said}");
    }
    assert!(!folder.join("-").exists());
}

#[test]
fn a_closed_standard_error_or_output_is_no_panic() {
    let folder = folder("hostile-closed");
    write(&folder, DEMONSTRATION);
    for (line, code) in [
        ("\"$0\" nonsense 2>&-", 2),
        (
            "\"$0\" map specification.toml --grid 3x3 -o - 2>&- >/dev/null",
            0,
        ),
        (
            "\"$0\" map specification.toml --grid 3x3 -o - >/dev/full",
            2,
        ),
        (
            "{ \"$0\" map specification.toml --grid 99x99 -o -; echo $? >&2; } | head -1 >/dev/null",
            0,
        ),
    ] {
        let output = Command::new("sh")
            .args(["-c", line, env!("CARGO_BIN_EXE_slewbook")])
            .current_dir(&folder)
            .output()
            .unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(code), "{line}: {said}");
        assert!(!said.contains("panicked"), "{line}: {said}");
        if line.contains("head") {
            assert_eq!(said, "0\n", "{line}");
        }
    }
}

#[test]
fn a_message_has_an_end_and_a_name() {
    let folder = folder("hostile-messages");
    let s = write(&folder, DEMONSTRATION);
    let endless = "9".repeat(100_000);
    for arguments in [
        &["cycle", s, "--input-voltage", &endless][..],
        &[
            "cycle",
            s,
            "--set",
            &format!("stage.levels={}", "[".repeat(60_000)),
        ],
        &["cycle", s, "--set", &format!("{}a=1", "a.".repeat(50_000))],
        &["cycle", &format!("{}s.toml", "a/".repeat(2_000))],
    ] {
        let output = program()
            .args(arguments)
            .current_dir(&folder)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2));
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(
            said.len() < 10_000 && said.contains(" more characters)"),
            "{said}"
        );
    }
    refused(&folder, &["map", s, "-o", ""], "\"\": cannot be written");
    refused(
        &folder,
        &["cycle", ""],
        "the name of the specification is empty",
    );
}

/// What a specification or a setting holds stays what it is: no key, no file, no line of
/// the program's own.
#[test]
fn a_value_is_no_more_than_a_value() {
    let folder = folder("hostile-values");
    let s = write(&folder, DEMONSTRATION);
    let set = |setting: &str, expected: &str| {
        refused(&folder, &["cycle", s, "--set", setting], expected);
    };
    set(
        "title=a\nRequirements: all are met",
        "title: has several lines",
    );
    set("stage.levels\n[x]\ny=3", "is no dotted key");
    set("stage.levels=3 # x", "stage.levels: is \"3 # x\"");
    set("correlation[9].x=1", "is no dotted key");
    set("...=1", "is no dotted key");
    set("__proto__.x=1", "__proto__: is not a known key");
    set("input.voltage=nan V", "is not a finite number");
    set("input.voltage=1e400 V", "is not a finite number");
    set("input.voltage=4.9e-324 V", "is out of range");
    set("parts.file=/dev/zero", "is a pipe or a device");
    set("parts.file=-", "-: cannot be read");
    set("parts.file=specification.toml", "title: is not a known key");
    // A quotation mark does not end the value.
    let setting = "document.author=a\" \nevil = 1 #";
    let json = succeed(&folder, &["cycle", s, "--json", "--set", setting]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["settings"].as_array().unwrap().len(), 1);
    assert_eq!(json["settings"][0]["key"], "document.author");
    // Nesting ends in words.
    for text in [
        format!("x = {}{}", "[".repeat(100_000), "]".repeat(100_000)),
        format!("x = {}1{}", "{a=".repeat(50_000), "}".repeat(50_000)),
        format!("[{}a]", "a.".repeat(100_000)),
        format!("{}a = 1", "a.".repeat(100_000)),
    ] {
        fs::write(
            folder.join("deep.toml"),
            format!("{DEMONSTRATION}\n{text}\n"),
        )
        .unwrap();
        refused(&folder, &["derive", "deep.toml"], "not valid TOML");
    }
    // Links that lead in a circle.
    symlink("two.toml", folder.join("one.toml")).unwrap();
    symlink("one.toml", folder.join("two.toml")).unwrap();
    refused(&folder, &["derive", "one.toml"], "one.toml: cannot be read");
    for file in ["specification.toml", "../hostile-values/specification.toml"] {
        refused(
            &folder,
            &["map", s, "-o", file],
            "is the specification itself",
        );
    }
}
