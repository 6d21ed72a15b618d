//! The hash of what a result came from: the specification and every file it names.

use std::path::Path;

use serde_json::Value;
use slewbook::stage::{DEMONSTRATION, PARTS, Specification};

use crate::program::{folder, succeed, write};
use crate::support::sha256;

/// The demonstration with a low-side transistor from the parts file.
fn with_part() -> String {
    DEMONSTRATION
        .replace("[clamp]\n", "[parts]\nfile = \"parts.toml\"\n\n[clamp]\n")
        .replace(
            "[transistors.low]",
            "[transistors.low]\npart = \"low-resistance\"",
        )
}

/// The hash that each form of output states.
fn stated(folder: &Path) -> Vec<String> {
    let file = "specification.toml";
    let mut list: Vec<String> = ["derive", "cycle", "compare"]
        .into_iter()
        .map(|command| {
            let text = succeed(folder, &[command, file, "--json"]);
            let json: Value = serde_json::from_str(&text).unwrap();
            json["input_hash"].as_str().unwrap().to_owned()
        })
        .collect();
    let after = |text: &str, mark: &str| {
        let start = text.find(mark).unwrap() + mark.len();
        let digits = text[start..].chars().skip_while(|c| !c.is_ascii_hexdigit());
        digits
            .take_while(char::is_ascii_hexdigit)
            .collect::<String>()
    };
    list.push(after(
        &succeed(folder, &["derive", file, "--latex"]),
        "specification SHA-256",
    ));
    succeed(folder, &["rationale", file, "-o", "out"]);
    let document = std::fs::read_to_string(folder.join("out/rationale.html")).unwrap();
    assert!(
        document.contains(&list[0]),
        "the document states {}",
        list[0]
    );
    list
}

#[test]
fn a_changed_part_changes_the_hash_everywhere() {
    let folder = folder("input_hash");
    write(&folder, &with_part());
    let hashes = |parts: &str| {
        std::fs::write(folder.join("parts.toml"), parts).unwrap();
        let list = stated(&folder);
        assert!(
            list.iter().all(|own| *own == list[0] && own.len() == 64),
            "{list:?}"
        );
        list[0].clone()
    };
    let before = hashes(PARTS);
    let changed = PARTS.replacen("rated_voltage = \"", "rated_voltage = \"1", 1);
    assert_ne!(changed, PARTS);
    assert_ne!(hashes(&changed), before);
    assert_eq!(hashes(&PARTS.replace('\n', "\r\n")), before);
}

#[test]
fn without_parts_it_is_the_digest_of_the_text() {
    let hash = |text: &str, parts| Specification::read_with(text, parts).unwrap().hash();
    assert_eq!(hash(DEMONSTRATION, None), sha256(DEMONSTRATION));
    let windows = DEMONSTRATION.replace('\n', "\r\n");
    assert_eq!(hash(&windows, None), sha256(DEMONSTRATION));
    // What moves from one file to the other is not the same input.
    let text = with_part();
    let moved = format!("{text}# a remark\n");
    let parts = format!("# a remark\n{PARTS}");
    assert_ne!(hash(&moved, Some(PARTS)), hash(&text, Some(&parts)));
}
