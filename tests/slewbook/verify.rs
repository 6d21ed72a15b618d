//! Documents computed again: what holds passes, and each change is found and named.

use std::sync::LazyLock;

use serde_json::Value;
use slewbook::design::{self, Design};
use slewbook::identity::Program;
use slewbook::rationale;
use slewbook::stage::{DEMONSTRATION, Edit, PARTS, Specification};
use slewbook::verify::{self, Difference, Kind, Report, VerifyError};

use crate::program::{folder, run, succeed, write};
use crate::support::{sha256, specification_with};

fn checked(text: &str) -> Report {
    verify::document(text, &|_, _| {}).unwrap()
}

static DESIGN: LazyLock<Design> = LazyLock::new(|| Design::derive(DEMONSTRATION).unwrap());
static PAGE: LazyLock<String> = LazyLock::new(|| rationale::html(&DESIGN).unwrap());
static DATA: LazyLock<String> = LazyLock::new(|| design::json(&DESIGN));

/// A text with one change, which must be one.
fn changed(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "no {from:?}");
    let changed = text.replacen(from, to, 1);
    assert_ne!(changed, text);
    changed
}

/// The text between two marks, the marks left out.
fn between<'t>(text: &'t str, start: &str, end: &str) -> &'t str {
    let after = &text[text.find(start).unwrap() + start.len()..];
    &after[..after.find(end).unwrap()]
}

/// Elements of a name, whole.
fn elements<'t>(text: &'t str, start: &str, end: &str) -> Vec<&'t str> {
    let starts = text.match_indices(start);
    let all = starts.map(|(place, _)| {
        let rest = &text[place..];
        &rest[..rest.find(end).unwrap() + end.len()]
    });
    all.collect()
}

/// That a changed document is found out, with a difference whose text has these words.
fn found(text: &str, words: &[&str]) {
    let report = checked(text);
    assert!(!report.holds() && !report.identical);
    let said: Vec<String> = report.differences.iter().map(Difference::text).collect();
    assert!(
        said.iter()
            .any(|own| words.iter().all(|word| own.contains(word))),
        "{words:?} not in {}",
        said.concat()
    );
}

#[test]
fn what_the_program_wrote_holds() {
    for text in [&*PAGE, &*DATA] {
        let report = checked(text);
        assert!(report.holds() && report.identical, "{}", report.text());
        assert_eq!(report.written_by, Program::own());
        assert_eq!(report.input_hash, sha256(DEMONSTRATION));
        assert!(report.text().ends_with("the same to the last byte\n"));
    }
}

/// Specifications of every kind, with parts and with what was set; in data as in HTML.
#[test]
fn documents_of_several_specifications_hold() {
    let data = |name: &str| {
        let path = format!("tests/data/specifications/{name}.toml");
        std::fs::read_to_string(path).unwrap()
    };
    let with_parts = DEMONSTRATION
        .replace("[clamp]\n", "[parts]\nfile = \"parts.toml\"\n\n[clamp]\n")
        .replace(
            "[transistors.low]",
            "[transistors.low]\npart = \"low-resistance\"",
        );
    let edits = vec![Edit {
        key: "trip.threshold".to_owned(),
        value: "\"0.6 A\"".to_owned(),
    }];
    let set = specification_with(&[("trip.threshold", "\"0.6 A\"")]);
    // A remark with a mark of direction and the end of a line of another system.
    let unseen = data("point-of-load") + "# a \u{202e}remark \\x1b\r\n";
    let cases = [
        (data("five-levels"), None, vec![]),
        (unseen, None, vec![]),
        (with_parts, Some(PARTS), vec![]),
        (set, None, edits),
    ];
    for (text, parts, edits) in cases {
        let specification = Specification::read_with(&text, parts).unwrap();
        let specification = if edits.is_empty() {
            specification
        } else {
            specification.edited(edits)
        };
        let hash = specification.hash();
        let design = Design::of(specification).unwrap();
        for written in [design::json(&design), rationale::html(&design).unwrap()] {
            let report = checked(&written);
            assert!(report.holds() && report.identical, "{}", report.text());
            assert_eq!(report.input_hash, hash);
        }
    }
}

#[test]
fn a_changed_number_is_named_with_both_values() {
    let result = between(&PAGE, "<div class=\"result\">", "</div>");
    let value = between(result, "<strong>", "</strong>");
    let other = value.replacen(|c: char| c.is_ascii_digit(), "9", 1);
    let other = if other == value {
        value.replacen('9', "8", 1)
    } else {
        other
    };
    let page = changed(
        &PAGE,
        &format!("<strong>{value}<"),
        &format!("<strong>{other}<"),
    );
    found(&page, &[value, &other]);
    // The last digit of a cell of the table of requirements.
    let cell = elements(&PAGE, "<td class=\"number\">", "</td>")[0];
    let digit = cell.rfind(|c: char| c.is_ascii_digit()).unwrap();
    let next = if &cell[digit..=digit] == "9" {
        "8"
    } else {
        "9"
    };
    let other = format!("{}{next}{}", &cell[..digit], &cell[digit + 1..]);
    found(
        &changed(&PAGE, cell, &other),
        &["Requirements and verdicts: ", ", value\n"],
    );
}

#[test]
fn a_changed_verdict_is_named_with_both_words() {
    let page = changed(&PAGE, "\">not met</td>", "\">met</td>");
    found(
        &page,
        &[", verdict\n", "document: met\n", "again:  not met\n"],
    );
    let data = changed(&DATA, "\"verdict\": \"not met\"", "\"verdict\": \"met\"");
    found(
        &data,
        &[
            "requirements: ",
            ": verdict\n",
            "document: met\n",
            "again:  not met\n",
        ],
    );
}

#[test]
fn figures_that_changed_places_are_named() {
    let all = elements(&PAGE, "<svg", "</svg>");
    let (one, other) = (all[1], all[4]);
    let page = PAGE
        .replace(one, "@")
        .replace(other, one)
        .replace('@', other);
    let report = checked(&page);
    let figures = report.differences.iter();
    let figures = figures.filter(|own| own.place == ["Figures"] && own.kind == Kind::Value);
    assert!(figures.count() >= 2, "{}", report.text());
    // A point of a line, moved by more than rounding.
    let points = between(one, "points=\"", " ");
    let (x, y) = points.split_once(',').unwrap();
    let moved = |by: i64| format!("points=\"{x},{} ", y.parse::<i64>().unwrap() + by);
    let with = |by| {
        changed(
            &PAGE,
            one,
            &one.replacen(&format!("points=\"{points} "), &moved(by), 1),
        )
    };
    found(&with(40), &["drawing of "]);
    let report = checked(&with(1));
    assert!(report.holds() && !report.identical, "{}", report.text());
}

#[test]
fn a_changed_specification_does_not_go_with_old_numbers() {
    let page = changed(&PAGE, "threshold = &quot;0.4 A", "threshold = &quot;0.5 A");
    let hash = sha256(&DEMONSTRATION.replacen("threshold = \"0.4 A", "threshold = \"0.5 A", 1));
    found(&page, &["document: 400 mA", "again:  500 mA"]);
    found(&page, &[&hash]);
    let data = changed(&DATA, "threshold = \\\"0.4 A", "threshold = \\\"0.5 A");
    found(&data, &["input_hash", &hash]);
    found(&data, &["results: ", ": value\n"]);
    // A remark alone changes no number, and is no longer the text of the digest.
    let remark = changed(&DATA, "title = ", "# a remark\\ntitle = ");
    found(&remark, &["input_hash"]);
}

#[test]
fn rows_left_out_and_put_in_are_named() {
    let body = between(&PAGE, "id=\"verdicts\"", "</table>");
    let rows = elements(body, "<tr><th scope=\"row\"", "</tr>\n");
    let heading = between(rows[3], "<th scope=\"row\">", "<").to_owned();
    found(
        &changed(&PAGE, rows[3], ""),
        &[&heading, "document: nothing\n"],
    );
    let row = "<tr><th scope=\"row\">Blast</th><td>1 A</td></tr>\n";
    let page = changed(&PAGE, rows[3], &format!("{row}{}", rows[3]));
    found(&page, &["Blast", "again:  nothing\n"]);
    let page = changed(
        &PAGE,
        "<h2 id=\"losses\">",
        "<p>All is well.</p>\n<h2 id=\"losses\">",
    );
    found(&page, &["All is well.", "again:  nothing\n"]);
    // What a browser would not show.
    let page = changed(
        &PAGE,
        "<tr><th scope=\"row\"",
        "<tr hidden><th scope=\"row\"",
    );
    found(&page, &["markup of ", "<tr hidden>"]);
}

#[test]
fn changed_digests_are_named() {
    let hash = sha256(DEMONSTRATION);
    let other = hash.replacen(|c: char| c.is_ascii_digit(), "a", 1);
    found(&PAGE.replace(&hash, &other), &[&hash, &other]);
    found(
        &changed(&DATA, &hash, &other),
        &["input_hash", &hash, &other],
    );
}

#[test]
fn changed_data_are_named() {
    let json: Value = serde_json::from_str(&DATA).unwrap();
    let with = |change: &dyn Fn(&mut Value)| {
        let mut json = json.clone();
        change(&mut json);
        serde_json::to_string_pretty(&json).unwrap()
    };
    let result = json["results"][2]["name"].as_str().unwrap();
    let value = json["results"][2]["value"].as_f64().unwrap();
    let moved = |by: f64| with(&|json| json["results"][2]["value"] = (value * (1.0 + by)).into());
    found(&moved(1e-6), &["results: ", result, ": value\n"]);
    let report = checked(&moved(1e-12));
    assert!(report.holds() && !report.identical, "{}", report.text());
    let less = with(&|json| drop(json["results"].as_array_mut().unwrap().remove(2)));
    found(&less, &["results: ", result, "document: nothing\n"]);
    let more = with(&|json| {
        let all = json["requirements"].as_array_mut().unwrap();
        let mut own = all[0].clone();
        own["name"] = "blast".into();
        all.push(own);
    });
    found(&more, &["requirements: blast\n", "again:  nothing\n"]);
    let words = with(&|json| json["notes"] = serde_json::json!(["All is well."]));
    found(&words, &["notes", "All is well."]);
}

/// What another program wrote with equal numbers holds, with a note; words may differ.
#[test]
fn another_version_with_equal_numbers_holds_with_a_note() {
    let own = format!("slewbook {}", slewbook::VERSION);
    let page = PAGE.replace(&own, "slewbook 0.0.9");
    let data = changed(
        &DATA,
        &format!("\"version\": \"{}\"", slewbook::VERSION),
        "\"version\": \"0.0.9\"",
    );
    for text in [&page, &data] {
        let report = checked(text);
        assert!(report.holds(), "{}", report.text());
        assert_eq!(report.written_by.version, "0.0.9");
        assert!(report.text().contains("written by slewbook 0.0.9\n"));
    }
    let worded = changed(
        &page,
        "Steady state at constant frequency",
        "A steady state",
    );
    let report = checked(&worded);
    assert!(report.holds() && report.worded_differently.len() == 1);
    assert!(report.text().contains("1 worded differently"));
    found(
        &changed(&page, "\">not met</td>", "\">met</td>"),
        &[", verdict\n"],
    );
    // The same words in a document of this program are a difference.
    found(
        &changed(
            &PAGE,
            "Steady state at constant frequency",
            "A steady state",
        ),
        &["A steady state"],
    );
}

#[test]
fn what_is_no_document_is_refused() {
    for (text, words) in [
        ("", "it is neither HTML nor a JSON object"),
        (DEMONSTRATION, "it is neither HTML nor a JSON object"),
        (
            "<p>hello</p>",
            "HTML, but nothing in it has the id `built-from-1`",
        ),
        ("<", "HTML, but nothing"),
        ("{\"a\": 1}", "a JSON object, but missing field `program`"),
        ("{", "no JSON: "),
    ] {
        let error = verify::document(text, &|_, _| {}).unwrap_err();
        assert!(matches!(error, VerifyError::Foreign(_)));
        let said = error.to_string();
        assert!(
            said.starts_with(words)
                && said.contains("; expected a document as `slewbook rationale`"),
            "{said}"
        );
    }
    let wrong = changed(&PAGE, "&quot;140 kHz&quot;", "&quot;140 kV&quot;");
    assert!(matches!(
        verify::document(&wrong, &|_, _| {}),
        Err(VerifyError::Specification(_))
    ));
}

#[test]
fn the_command_answers_with_exit_codes() {
    let folder = folder("verify");
    std::fs::write(folder.join("page.html"), &*PAGE).unwrap();
    assert!(succeed(&folder, &["verify", "page.html"]).contains("Nothing differs"));
    let other = changed(&DATA, "\"verdict\": \"not met\"", "\"verdict\": \"met\"");
    std::fs::write(folder.join("other.json"), other).unwrap();
    let output = run(&folder, &["verify", "other.json", "--json"]);
    assert_eq!(output.status.code(), Some(3));
    let said: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(said["differences"][0]["quantity"], "verdict");
    assert_eq!(said["differences"][0]["written"], "met");
    assert_eq!(said["differences"][0]["computed"], "not met");
    let complaint = String::from_utf8(output.stderr).unwrap();
    assert!(
        complaint.starts_with("slewbook: other.json differs from what its specification gives")
    );
    write(&folder, DEMONSTRATION);
    for (arguments, words) in [
        (&["verify"][..], "verify needs a document"),
        (&["verify", "none.html"], "none.html: cannot be read"),
        (
            &["verify", "specification.toml"],
            "expected a document as `slewbook rationale`",
        ),
    ] {
        let output = run(&folder, arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.contains(words), "{said}");
    }
}
