//! What differs between two revisions.

use serde_json::Value;
use slewbook::changes::Changes;
use slewbook::design::Design;
use slewbook::stage::DEMONSTRATION;

use crate::program::{folder, run, succeed};
use crate::support::specification_with;

fn threshold_moved() -> String {
    specification_with(&[("trip.threshold", "\"0.7 A\"")])
}

#[test]
fn a_moved_threshold_is_told_with_what_it_moves() {
    let new_text = threshold_moved();
    let [old, new] = [DEMONSTRATION, &new_text].map(|text| Design::derive(text).unwrap());
    let changes = Changes::between(&old, &new);
    let [input] = &changes.inputs[..] else {
        panic!("{:?}", changes.inputs)
    };
    assert_eq!(
        (input.file, input.key.as_str()),
        ("specification", "trip.threshold")
    );
    assert_eq!(
        (input.old.as_deref(), input.new.as_deref()),
        (Some("0.4 A"), Some("0.7 A"))
    );
    // Every verdict that differs, and no other.
    let verdict = |design: &Design, name: &str| {
        let mut all = design.requirements.iter();
        all.find(|own| own.name == name)
            .map(|own| own.verdict.words())
    };
    let differing = new
        .requirements
        .iter()
        .filter(|own| verdict(&old, own.name) != verdict(&new, own.name));
    let differing: Vec<_> = differing.map(|own| own.name).collect();
    let turned: Vec<_> = changes.verdicts.iter().map(|own| own.name).collect();
    assert_eq!(turned, differing);
    assert!(turned.contains(&"trip_threshold"), "{turned:?}");
    // Results: moved are those whose values differ, with the significance by hand
    // (JCGM 100:2008, 5.1.2, for the difference of two values).
    assert!(!changes.results.is_empty());
    for own in &changes.results {
        let find = |design: &Design, place: &Option<String>| {
            let mut all = design.all(&own.name);
            let place = place.as_deref().unwrap();
            let found = all.find(|own| own.place() == place).unwrap();
            (found.value().unwrap(), found.standard_uncertainty())
        };
        let (a, u) = find(&old, &own.places[0]);
        let (b, w) = find(&new, &own.places[1]);
        assert_eq!(own.values, [Some(a), Some(b)]);
        assert!((a - b).abs() > 1e-9 * a.abs());
        let expected = u
            .zip(w)
            .map(|(u, w)| (a - b).abs() / (u * u + w * w).sqrt());
        match (expected, own.significance) {
            (Some(x), Some(y)) => assert!((x - y).abs() <= 1e-12 * x, "{x} {y}"),
            (expected, found) => assert_eq!(expected, found),
        }
    }
    assert!(changes.results.iter().any(|own| own.significance.is_some()));
    let all = new.findings.len() + new.proposals.len();
    assert_eq!(changes.results.len() + changes.unmoved, all);
    let text = changes.text();
    assert!(text.lines().count() <= 60, "{text}");
    // The other way round: the same, turned about.
    let back = Changes::between(&new, &old);
    for own in &changes.results {
        let other = back
            .results
            .iter()
            .find(|other| other.name == own.name && other.places[0] == own.places[1]);
        let other = other.unwrap();
        assert_eq!([own.values[1], own.values[0]], other.values);
        assert_eq!(own.significance, other.significance);
    }
    // Nothing differs from itself.
    let none = Changes::between(&old, &old);
    assert!(none.inputs.is_empty() && none.results.is_empty() && none.verdicts.is_empty());
    assert!(!none.layout_alone);
    assert!(none.text().contains("Inputs: the same\n"));
}

#[test]
fn the_command_tells_them_as_text_data_and_page() {
    let folder = folder("changes");
    std::fs::write(folder.join("old.toml"), DEMONSTRATION).unwrap();
    let remark = format!("# a remark\n{}", threshold_moved());
    std::fs::write(folder.join("new.toml"), remark).unwrap();
    let files = ["changes", "old.toml", "new.toml"];
    let said = succeed(
        &folder,
        &[&files[..], &["-o", "page.html", "--json"]].concat(),
    );
    let json: Value = serde_json::from_str(&said).unwrap();
    assert_eq!(json["inputs"][0]["new"], "0.7 A");
    assert_eq!(json["program"]["version"], slewbook::VERSION);
    let page = std::fs::read_to_string(folder.join("page.html")).unwrap();
    assert!(page.contains("trip.threshold") && !page.contains("<script"));
    for own in json["results"].as_array().unwrap() {
        assert!(page.contains(own["name"].as_str().unwrap()), "{own}");
        let values = own["values"].as_array().unwrap();
        assert!(values[0] != values[1] && own["unit"].is_string());
    }
    for (arguments, words) in [
        (&["changes"][..], "none is given"),
        (
            &["changes", "old.toml"],
            "changes needs two specifications, the old one and the new one; one is given",
        ),
        (
            &["changes", "old.toml", "none.toml"],
            "none.toml: cannot be read",
        ),
        (
            &["changes", "old.toml", "new.toml", "-o", "old.toml"],
            "is the specification itself",
        ),
    ] {
        let output = run(&folder, arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.contains(words), "{said}");
    }
}
