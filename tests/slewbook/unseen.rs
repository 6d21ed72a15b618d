//! Characters that move a terminal's cursor or turn the direction of a text come from
//! titles, keys and names of files, and are shown as escapes wherever they come out.

use std::collections::BTreeSet;
use std::fs;

use serde_json::Value;
use slewbook::display::{Check, Doc, Show, Table};
use slewbook::equation::{Derivation, Term};
use slewbook::figure::{Line, LineFigure, Panel, PanelFigure, Series, Width, Window};
use slewbook::quantity::unit::volt;
use slewbook::stage::DEMONSTRATION;
use slewbook::visible::{visible, visible_json};

use crate::program::{folder, run};

/// ESC, right-to-left override and isolate, BEL and NUL, as TOML writes them.
const WRITTEN: &str = "\\u001b[2J\\u202e\\u2066\\u0007\\u0000";
const RAW: &str = "\u{1b}[2J\u{202e}\u{2066}\u{7}\0";
const SHOWN: &str = "\\u{1b}[2J\\u{202e}\\u{2066}\\u{7}\\u{0}";

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
    assert!(
        refused(&["derive", "no\u{1b}[2J\u{202e}.toml"]).contains("no\\u{1b}[2J\\u{202e}.toml")
    );
    assert!(refused(&["\u{1b}\u{2066}"]).contains("no command \"\\u{1b}\\u{2066}\""));
    assert!(refused(&["derive", "--set", "\u{1b}\u{202e}"]).contains("\\u{1b}\\u{202e}"));
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
    assert!(!document.contains("\\u{d}") && !document.contains("\\u{9}"));
}

/// Against the tables of the Unicode Character Database as another library has them.
#[test]
fn what_is_hidden_is_what_the_unicode_standard_calls_so() {
    let class = r"[\p{Cc}\p{Zl}\p{Zp}\p{Default_Ignorable_Code_Point}\u{FFF9}-\u{FFFB}]";
    let class = regex_syntax::parse(class).unwrap();
    let regex_syntax::hir::HirKind::Class(regex_syntax::hir::Class::Unicode(class)) = class.kind()
    else {
        panic!("{class:?} is no class of characters");
    };
    let ranges = class.iter().flat_map(|r| r.start()..=r.end());
    let hidden: BTreeSet<char> = ranges.filter(|own| !"\n\t".contains(*own)).collect();
    assert!(hidden.len() > 4000, "{}", hidden.len());
    for &own in &hidden {
        let code = u32::from(own);
        assert_eq!(visible(&own.to_string()), format!("\\u{{{code:x}}}"));
        let json = visible_json(&format!("\"{own}\"")).into_owned();
        assert!(json.is_ascii(), "{json}");
        let value: String = serde_json::from_str(&json).unwrap();
        assert_eq!(value, own.to_string());
    }
    let plain: String = ('\0'..=char::MAX)
        .filter(|own| !hidden.contains(own))
        .collect();
    assert!(visible(&plain) == plain && visible_json(&plain) == plain);
    // Readers of terminals and files take it for one end.
    assert_eq!(visible("a\r\nb\rc"), "a\r\nb\\u{d}c");
}

#[test]
fn a_figure_hides_nothing() {
    let name = || format!("\"a<b>&{RAW}\u{200b}");
    let seen = |svg: &str| {
        assert_seen(svg.as_bytes(), "a figure");
        let document = roxmltree::Document::parse(svg).unwrap();
        let texts = document.descendants().filter(roxmltree::Node::is_text);
        let texts = texts.filter_map(|node| node.text());
        let shown = texts.filter(|text| text.contains(&format!("\"a<b>&{SHOWN}\\u{{200b}}")));
        shown.count()
    };
    let points = vec![(0.0, Some(1.0)), (1.0, Some(2.0))];
    let figure = LineFigure {
        id: name(),
        title: name(),
        x_label: name(),
        y_label: name(),
        series: vec![Series {
            name: name(),
            points,
        }],
        alternative: name(),
    };
    assert_eq!(seen(&figure.svg().unwrap()), 5);
    let figure = PanelFigure {
        id: name(),
        title: name(),
        alternative: name(),
        width: Width::Page,
        windows: vec![Window {
            label: name(),
            range: (0.0, 1.0),
            factor: 1.0,
            share: 1.0,
            marks: vec![(0.5, name())],
            notes: vec![(0, 0.5, 1.5, name())],
        }],
        panels: vec![Panel {
            label: name(),
            lines: vec![Line {
                name: name(),
                points: vec![(0.0, 1.0), (1.0, 2.0)],
            }],
            scaled: true,
        }],
    };
    assert!(seen(&figure.svg().unwrap()) >= 5);
}

#[test]
fn what_a_notebook_displays_hides_nothing() {
    let name = format!("a{RAW}\u{feff}");
    let shown = format!("a{SHOWN}\\u{{feff}}");
    let seen = |item: &dyn Show| {
        let text = assert_seen(item.bundle().protocol().as_bytes(), "a display");
        // As text for people twice, and with the escapes of JSON as data.
        assert!(text.matches(&shown).count() >= 2, "{text}");
        let data = text.split_once('{').unwrap().1.split('\n').next().unwrap();
        serde_json::from_str::<Value>(&format!("{{{data}")).unwrap()
    };
    let check = Check::at_most(&name, 1.0 * volt, 2.0 * volt);
    // The value is the same.
    assert_eq!(seen(&check)["name"], name);
    let table = Table::new(&name, &[&name]).row(&[&name]);
    assert_eq!(seen(&table)["caption"], name);
    seen(&Doc::new().text(&name));
    let term = Term::<slewbook::quantity::Voltage>::input("V_in", &name, 1.0 * volt);
    let doubled = (2.0 * term).named("V_2", &name);
    seen(&Derivation::new("doubled", &name, doubled));
    let figure = LineFigure {
        id: "f".to_owned(),
        title: name.clone(),
        x_label: String::new(),
        y_label: String::new(),
        series: vec![],
        alternative: name,
    };
    // Without a point it says so, with its identifier.
    assert_seen(figure.bundle().protocol().as_bytes(), "a figure");
}
