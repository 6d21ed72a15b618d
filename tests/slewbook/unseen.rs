//! Characters that move a terminal's cursor or turn the direction of a text come from
//! titles, keys and names of files, and are shown as escapes wherever they come out.

use std::fs;

use serde_json::Value;
use slewbook::stage::DEMONSTRATION;

use crate::program::{folder, run};

/// ESC, right-to-left override and isolate, BEL and NUL, as TOML writes them.
const WRITTEN: &str = "\\u001b[2J\\u202e\\u2066\\u0007\\u0000";
const RAW: &str = "\u{1b}[2J\u{202e}\u{2066}\u{7}\0";
const SHOWN: &str = "\\x1b[2J\\u{202e}\\u{2066}\\x07\\x00";

fn assert_seen(bytes: &[u8], what: &str) -> String {
    let text = String::from_utf8(bytes.to_vec()).unwrap();
    for own in text.chars() {
        let unseen = (own.is_control() && !matches!(own, '\n' | '\t'))
            || matches!(own, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        assert!(!unseen, "{what} has {own:?}: {}", text.escape_debug());
    }
    text
}

#[test]
fn a_title_is_shown_with_escapes() {
    let folder = folder("unseen-title");
    let title = DEMONSTRATION
        .lines()
        .find(|line| line.starts_with("title"))
        .unwrap();
    let text = DEMONSTRATION.replace(title, &format!("title = \"Sonde {WRITTEN}\""));
    fs::write(folder.join("s.toml"), &text).unwrap();
    let said = |arguments: &[&str]| {
        let output = run(&folder, arguments);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}");
        assert_seen(&output.stderr, "standard error");
        assert_seen(&output.stdout, &format!("{arguments:?}"))
    };
    let shown = format!("Sonde {SHOWN}");
    assert!(said(&["derive", "s.toml"]).contains(&shown));
    assert!(said(&["rationale", "s.toml", "-o", "-"]).contains(&shown));
    let set = format!("title=Sonde {}", RAW.replace('\0', ""));
    let set = ["--set", set.as_str()];
    let latex = said(&["derive", "s.toml", "--latex", set[0], set[1]]);
    assert!(latex.contains("% set on the command line: title = "));
    for command in ["derive", "cycle", "compare"] {
        let json = said(&[command, "s.toml", "--json", set[0], set[1]]);
        // The value is the same.
        let json: Value = serde_json::from_str(&json).unwrap();
        let value = json["settings"][0]["value"].as_str().unwrap();
        assert!(
            value.contains('\u{202e}') || value.contains("u202E"),
            "{value}"
        );
    }
    said(&["cycle", "s.toml", set[0], set[1]]);
}

#[test]
fn what_is_wrong_is_told_with_escapes() {
    let folder = folder("unseen-key");
    let key = format!("[stage]\n\"bad{WRITTEN}\" = 1\n");
    let text = DEMONSTRATION.replace("[stage]\n", &key);
    fs::write(folder.join("s.toml"), &text).unwrap();
    let refused = |arguments: &[&str]| {
        let output = run(&folder, arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty());
        assert_seen(&output.stderr, &format!("{arguments:?}"))
    };
    assert!(
        refused(&["derive", "s.toml"]).contains(&format!("stage.bad{SHOWN}: is not a known key"))
    );
    // Raw, where the reader of TOML stops.
    let raw = format!("[stage]\nbad = {RAW}\tx\n");
    fs::write(
        folder.join("s.toml"),
        DEMONSTRATION.replace("[stage]\n", &raw),
    )
    .unwrap();
    let said = refused(&["derive", "s.toml"]);
    assert!(said.contains("not valid TOML"), "{said}");
    assert!(refused(&["derive", "no\u{1b}[2J\u{202e}.toml"]).contains("no\\x1b[2J\\u{202e}.toml"));
    assert!(refused(&["\u{1b}\u{2066}"]).contains("no command \"\\x1b\\u{2066}\""));
    assert!(refused(&["derive", "--set", "\u{1b}\u{202e}"]).contains("\\x1b\\u{202e}"));
}

#[test]
fn lines_and_tabs_stay() {
    let folder = folder("unseen-lines");
    let text = DEMONSTRATION
        .replace('\n', "\r\n")
        .replace("[stage]", "[stage]\t# a\ttab");
    fs::write(folder.join("s.toml"), &text).unwrap();
    let output = run(&folder, &["rationale", "s.toml", "-o", "-"]);
    let document = String::from_utf8(output.stdout).unwrap();
    assert!(document.contains("[stage]\t# a\ttab"));
    assert!(!document.contains("\\x0d") && !document.contains("\\x09"));
}
