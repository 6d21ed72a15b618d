//! The law of the command that a verdict gives: pasted into a shell, it prints the
//! requirement as one that does not hold.
#![cfg(unix)]

use std::path::Path;
use std::process::Command;

use slewbook::design::{Design, Verdict};
use slewbook::stage::DEMONSTRATION;

use crate::program::{folder, write};

/// Standard output of a line of a shell that finds the program by its name.
fn shell(folder: &Path, line: &str) -> String {
    let program = Path::new(env!("CARGO_BIN_EXE_slewbook"));
    let output = Command::new("/bin/sh")
        .args(["-c", line])
        .env("PATH", program.parent().unwrap())
        .current_dir(folder)
        .output()
        .unwrap();
    let complaints = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{line}: {complaints}");
    String::from_utf8(output.stdout).unwrap()
}

/// Runs the command of every requirement that is not met; how many there are.
fn witnesses_of(name: &str, text: &str) -> usize {
    let folder = folder(&format!("pasted-{name}"));
    let specification = write(&folder, text);
    let design = Design::derive(text).unwrap();
    let mut count = 0;
    for own in &design.requirements {
        if own.verdict != Verdict::NotMet {
            continue;
        }
        let line = own.command.as_ref().unwrap();
        let said = shell(&folder, &line.replace("SPEC", specification));
        let expected = format!("  not met: {}:", own.words);
        assert!(
            said.lines().any(|line| line.starts_with(&expected)),
            "{name}: {line}\n{said}"
        );
        count += 1;
    }
    count
}

#[test]
fn a_command_of_a_verdict_can_be_pasted() {
    let mut all = witnesses_of("demonstration", DEMONSTRATION);
    let open = DEMONSTRATION.replace("threshold = \"0.4 A\"", "");
    all += witnesses_of("demonstration-without-threshold", &open);
    let data = Path::new("tests/data/specifications");
    for file in [
        "eight-levels",
        "five-levels",
        "high-voltage-tables",
        "point-of-load",
        "six-uncertain",
    ] {
        let text = std::fs::read_to_string(data.join(format!("{file}.toml"))).unwrap();
        all += witnesses_of(file, &text);
    }
    assert!(all >= 10, "only {all} commands");
}
