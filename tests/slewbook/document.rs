//! The rationale as a document: reproducible, self-contained, accessible,
//! well-formed.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use slewbook::compare::{self, Comparison};
use slewbook::cycle;
use slewbook::design::{self, Design};
use slewbook::rationale;
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint};

use crate::support::{is_number_word, specification_with};

/// A start tag or an end tag.
#[derive(Debug)]
struct Tag<'d> {
    name: &'d str,
    end: bool,
    /// `<path ... />`
    closed: bool,
    attributes: BTreeMap<&'d str, &'d str>,
}

fn document(source: &str) -> String {
    rationale::html(&Design::derive(source).unwrap()).unwrap()
}

/// The demonstration's document.
static DOCUMENT: LazyLock<String> = LazyLock::new(|| document(DEMONSTRATION));

/// Every tag of a document whose attributes are all quoted; the text between
/// them, style sheets left out, goes to `text`.
fn tags<'d>(html: &'d str, text: &mut String) -> Vec<Tag<'d>> {
    let mut tags: Vec<Tag> = Vec::new();
    let mut rest = html;
    while let Some((before, after)) = rest.split_once('<') {
        if tags.last().is_none_or(|tag| tag.name != "style" || tag.end) {
            assert!(!before.contains('>'), "a stray > in {before:?}");
            text.push_str(before);
            text.push(' ');
        }
        let mut quoted = false;
        let length = after
            .find(|c| {
                quoted ^= c == '"';
                c == '>' && !quoted
            })
            .expect("a tag that does not end");
        let (inside, next) = (&after[..length], &after[length + 1..]);
        rest = next;
        if inside.starts_with('!') {
            continue;
        }
        let end = inside.starts_with('/');
        let closed = inside.ends_with('/');
        let inside = inside.trim_matches('/').trim();
        let (name, mut attributes) = inside
            .split_once(char::is_whitespace)
            .unwrap_or((inside, ""));
        let mut map = BTreeMap::new();
        while let Some((key, value)) = attributes.split_once("=\"") {
            let (value, next) = value.split_once('"').unwrap();
            assert!(
                map.insert(key.trim(), value).is_none(),
                "{key} twice in <{inside}>"
            );
            attributes = next;
        }
        assert!(
            attributes.trim().is_empty(),
            "an attribute without quotes in <{inside}>"
        );
        tags.push(Tag {
            name,
            end,
            closed,
            attributes: map,
        });
    }
    text.push_str(rest);
    tags
}

/// Elements of HTML that have no end tag.
const VOID: &[&str] = &["meta", "br", "hr", "img", "link", "input"];

fn assert_nested(tags: &[Tag]) {
    let mut open: Vec<&str> = Vec::new();
    for tag in tags {
        if tag.end {
            assert_eq!(
                open.pop(),
                Some(tag.name),
                "</{}> closes another element",
                tag.name
            );
        } else if !tag.closed && !VOID.contains(&tag.name) {
            open.push(tag.name);
        }
    }
    assert!(open.is_empty(), "never closed: {open:?}");
}

/// Everything that holds of every document.
fn assert_sound(html: &str) {
    let mut text = String::new();
    let tags = tags(html, &mut text);
    assert_nested(&tags);
    let starts = || tags.iter().filter(|tag| !tag.end);

    // Self-contained: nothing runs, nothing is loaded.
    for tag in starts() {
        let forbidden = [
            "script", "iframe", "object", "embed", "link", "img", "image", "base", "form",
        ];
        assert!(!forbidden.contains(&tag.name), "<{}>", tag.name);
        for (key, value) in &tag.attributes {
            assert!(!key.starts_with("on"), "{key} on <{}>", tag.name);
            match *key {
                "xmlns" => assert!(
                    [
                        "http://www.w3.org/2000/svg",
                        "http://www.w3.org/1998/Math/MathML"
                    ]
                    .contains(value)
                ),
                "href" | "xlink:href" | "src" => assert!(value.starts_with('#'), "{key}={value}"),
                _ => assert!(
                    !value.contains("://") && !value.replace("url(#", "").contains("url("),
                    "{key}={value}"
                ),
            }
        }
    }
    assert!(!html.contains("@import") && !html.replace("url(#", "").contains("url("));

    // Identifiers are unique, and what refers to one finds it.
    let mut ids = BTreeSet::new();
    for id in starts().filter_map(|tag| tag.attributes.get("id")) {
        assert!(ids.insert(*id), "two elements have the id {id}");
    }
    for tag in starts() {
        for (key, value) in &tag.attributes {
            let targets: Vec<_> = match *key {
                "href" => vec![value.trim_start_matches('#')],
                "aria-labelledby" | "aria-describedby" => value.split(' ').collect(),
                _ => vec![],
            };
            for target in targets {
                assert!(
                    ids.contains(target),
                    "{key} to {target}, which is not there"
                );
            }
        }
    }

    // Every figure has a title and a description.
    let figures = starts().filter(|tag| tag.name == "svg").count();
    assert!(figures >= 1);
    for name in ["title", "desc"] {
        let id = format!("-{name}");
        let count = starts()
            .filter(|tag| {
                tag.name == name && tag.attributes.get("id").is_some_and(|i| i.ends_with(&id))
            })
            .count();
        assert_eq!(count, figures, "{name}");
    }
    for svg in starts().filter(|tag| tag.name == "svg") {
        assert_eq!(svg.attributes.get("role"), Some(&"img"));
    }
    // Every formula has a text alternative.
    for math in starts().filter(|tag| tag.name == "math") {
        assert!(
            math.attributes
                .get("alttext")
                .is_some_and(|text| !text.is_empty())
        );
    }

    let bad = |text: &str| {
        text.split_whitespace()
            .find(|w| is_number_word(w))
            .map(str::to_owned)
    };
    assert_eq!(bad(&text), None, "as a number");
    for (key, value) in starts().flat_map(|tag| &tag.attributes) {
        let words = value.replace([',', ';', '('], " ");
        assert_eq!(bad(&words), None, "in {key}={value}");
    }
}

/// The MathML and SVG of the document are XML on their own.
fn assert_embedded_xml(html: &str) {
    for element in ["math", "svg"] {
        let (open, close) = (format!("<{element} "), format!("</{element}>"));
        let mut rest = html;
        let mut count = 0;
        while let Some(start) = rest.find(&open) {
            let end = start + rest[start..].find(&close).unwrap() + close.len();
            let xml = &rest[start..end];
            roxmltree::Document::parse(xml).unwrap_or_else(|error| panic!("{error}: {xml}"));
            rest = &rest[end..];
            count += 1;
        }
        assert!(count > 0, "no {element}");
    }
}

#[test]
fn the_rationale_of_the_demonstration_is_sound_and_repeats_byte_for_byte() {
    let design = Design::derive(DEMONSTRATION).unwrap();
    let first = rationale::html(&design).unwrap();
    assert_eq!(first, *DOCUMENT);
    assert_sound(&first);
    assert_embedded_xml(&first);
    for finding in &design.findings {
        assert!(
            first.contains(&format!("id=\"{}\"", finding.name())),
            "{}",
            finding.name()
        );
        assert!(first.contains(&finding.shown()), "{}", finding.name());
    }
    // Every text of the specification is there, its placeholders filled.
    assert!(first.contains("Why 0.68 uH?") && first.contains("Instrument power group"));
    let decisions = first.split_once("id=\"decisions\"").unwrap().1;
    let decisions = decisions.split_once("id=\"cautions\"").unwrap().0;
    assert!(
        !decisions.contains('{'),
        "a placeholder that was not filled"
    );
    assert!(first.contains("local codes and licensed practice decide"));
}

#[test]
fn other_specifications_give_sound_documents_too() {
    let curve =
        "{ table = [[\"0 V\", \"900 pF\"], [\"5 V\", \"400 pF\"], [\"20 V\", \"210 pF\"]] }";
    let cases: &[&[(&str, &str)]] = &[
        &[
            ("title", "\"<script>alert('&')</script> \\\"quoted\\\"\""),
            ("document.author", "\"A & B <c>\""),
        ],
        &[("input.voltage", "\"36 V\""), ("output.voltage", "\"6 V\"")],
        &[("clamp.drop", "\"0.4 V\""), ("trip.offset", "\"-20 mA\"")],
        &[("transistors.low.output_capacitance", curve)],
        &[("stage.levels", "2"), ("clamp.drop", "\"0.7 V\"")],
        &[
            ("stage.levels", "8"),
            ("input.voltage", "\"400 V\""),
            ("output.voltage", "\"380 V\""),
        ],
        // Far beyond what the stage can do: no value, but a document.
        &[("output.current", "{ min = \"0.3 A\", max = \"500 A\" }")],
        &[(
            "stage.inductance",
            "{ nominal = \"100 mH\", tolerance = \"20 %\" }",
        )],
        &[("stage.node_capacitance", "\"1 mF\"")],
        &[
            ("stage.switching_frequency", "\"100 MHz\""),
            ("timing.dead_time", "\"1 ns\""),
        ],
    ];
    for changes in cases {
        let html = document(&specification_with(changes));
        assert_sound(&html);
        assert_embedded_xml(&html);
    }
}

#[test]
fn tables_have_as_many_cells_as_headings() {
    for table in DOCUMENT.split("<table>").skip(1) {
        let table = table.split_once("</table>").unwrap().0;
        let headings = table.matches("<th scope=\"col\"").count();
        for row in table
            .split("<tr>")
            .skip(1)
            .filter(|row| row.contains("<td"))
        {
            let cells = row.matches("<td").count() + row.matches("<th scope=\"row\"").count();
            assert!(headings == 0 || cells == headings, "{row}");
        }
    }
}

/// Where a capacitance table stops short of the node's step, the document, the text
/// and the JSON of the derivations, and those of the commands that rest on them, say
/// in one sentence how it goes on.
#[test]
fn a_table_that_ends_early_is_said_to() {
    let told = |table: &str| {
        let text = specification_with(&[("transistors.low.output_capacitance", table)]);
        let design = Design::derive(&text).unwrap();
        let comparison = Comparison::new(&design.stage.specification, &design.in_force).unwrap();
        let specification = &design.stage.specification;
        let circuit = Circuit::new(
            specification,
            Scheme::FreewheelTransistors,
            specification.inductance.unwrap(),
            design.in_force.trip.value,
        );
        let at = OperatingPoint {
            input_voltage: specification.input_voltage.nominal,
            output_voltage: specification.output_voltage.nominal,
            output_current: specification.output_current.max,
        };
        let steady = cycle::steady_state(&circuit.unwrap(), at).unwrap();
        [
            document(&text),
            design::text(&design).unwrap(),
            design::json(&design),
            cycle::text(&steady, specification),
            cycle::json(&steady, specification),
            compare::text(&comparison),
            compare::json(&comparison),
        ]
    };
    let words = "The output capacitance of the low-side transistor is taken as constant below 1 V \
                 and above 5 V, where its table ends; a step of the node is up to 22 V.";
    for (place, early) in told("{ table = [[\"1 V\", \"300 pF\"], [\"5 V\", \"200 pF\"]] }")
        .iter()
        .enumerate()
    {
        assert_eq!(early.matches(words).count(), 1, "{place}: {early}");
    }
    for whole in told("{ table = [[\"0 V\", \"300 pF\"], [\"22 V\", \"200 pF\"]] }") {
        assert!(!whole.contains("where its table ends"));
    }
}
