//! Files that the program writes: never one that it reads, whole or not at all.

use slewbook::stage::{DEMONSTRATION, PARTS};

use crate::program::{folder, run, write};

#[test]
fn what_is_read_is_never_written_over() {
    let folder = folder("outputs-inputs");
    let file = write(&folder, DEMONSTRATION);
    let with_parts = format!("{DEMONSTRATION}\n[parts]\nfile = \"parts.toml\"\n");
    std::fs::write(folder.join("with-parts.toml"), &with_parts).unwrap();
    std::fs::write(folder.join("parts.toml"), PARTS).unwrap();
    // The same file by another name.
    let again = format!("./{file}");
    let cases: &[(&[&str], &str)] = &[
        (&["cycle", file, "-o", file], "is the specification itself"),
        (
            &["cycle", file, "-o", &again],
            "is the specification itself",
        ),
        (&["map", file, "-o", file], "is the specification itself"),
        (
            &["map", file, "-o", "m.csv", "--figure", file],
            "--figure specification.toml is the specification itself",
        ),
        (
            &["map", file, "-o", "m.csv", "--figure", "./m.csv"],
            "-o and --figure both name ./m.csv; choose two files",
        ),
        (
            &["timeline", file, "-o", file],
            "is the specification itself",
        ),
        (
            &["cycle", "with-parts.toml", "-o", "parts.toml"],
            "is the parts file itself",
        ),
    ];
    for (arguments, expected) in cases {
        let output = run(&folder, arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(expected), "{arguments:?}: {said}");
        let kept = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
        assert_eq!(kept(file), DEMONSTRATION, "{arguments:?}");
        assert_eq!(kept("parts.toml"), PARTS, "{arguments:?}");
        assert!(!folder.join("m.csv").exists(), "{arguments:?}");
    }
}

/// What was there stays when the new one cannot be made, and nothing is left beside it.
#[test]
fn a_run_that_fails_leaves_what_was_there() {
    let folder = folder("outputs-kept");
    let file = write(&folder, DEMONSTRATION);
    let same_axes = ["--x", "input-voltage", "--y", "input-voltage"];
    let cases: [&[&str]; 3] = [
        &["map", file, "-o", "kept"],
        &["timeline", file, "-o", "kept", "--start-up", "100 kV"],
        &["cycle", file, "-o", "kept", "--output-voltage", "15 V"],
    ];
    for (k, case) in cases.into_iter().enumerate() {
        std::fs::write(folder.join("kept"), "of before").unwrap();
        let mut arguments = case.to_vec();
        if k == 0 {
            arguments.extend(same_axes);
        }
        let output = run(&folder, &arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let kept = std::fs::read_to_string(folder.join("kept")).unwrap();
        assert_eq!(kept, "of before", "{arguments:?}");
        let names = std::fs::read_dir(&folder).unwrap();
        let names: Vec<_> = names.map(|entry| entry.unwrap().file_name()).collect();
        assert_eq!(names.len(), 2, "{arguments:?}: {names:?}");
    }
}

/// A point without a cell is told all the same where a figure was asked for.
#[test]
fn a_state_is_told_though_there_is_no_figure() {
    let folder = folder("outputs-state");
    let file = write(&folder, DEMONSTRATION);
    let output = run(
        &folder,
        &[
            "cycle",
            file,
            "--output-voltage",
            "15 V",
            "--json",
            "-o",
            "f.svg",
        ],
    );
    assert_eq!(output.status.code(), Some(2));
    let told = String::from_utf8(output.stdout).unwrap();
    assert!(told.contains("\"state\": \"no_hold_time\""), "{told}");
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("no figure is written"), "{said}");
    assert!(!folder.join("f.svg").exists());
}
