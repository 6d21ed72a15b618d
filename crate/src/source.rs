//! Where a formula comes from: the bibliography in `references/`, and the
//! principles that need no citation.

use std::sync::LazyLock;

use serde::Deserialize;

/// What is derived here or is common practice, and says so.
const PRINCIPLES: &[(&str, &str)] = &[
    (
        "energy-balance",
        "Conservation of energy in inductor and node capacitance; derived here, checked against \
         integration of the differential equations.",
    ),
    ("circuit-laws", "Ohm's and Kirchhoff's laws."),
    ("common-practice", "Common practice; no source."),
];

static BIBLIOGRAPHY: LazyLock<Vec<Entry>> = LazyLock::new(|| {
    serde_json::from_str(include_str!("../../references/bibliography.json")).unwrap_or_default()
});

/// An entry of the bibliography (CSL-JSON), as far as a citation needs it.
#[derive(Debug, Deserialize)]
struct Entry {
    id: String,
    title: String,
    #[serde(default)]
    author: Vec<Author>,
    issued: Option<Issued>,
    edition: Option<String>,
    publisher: Option<String>,
    #[serde(rename = "container-title")]
    container: Option<String>,
    volume: Option<String>,
    issue: Option<String>,
    page: Option<String>,
    number: Option<String>,
    note: Option<String>,
}

#[derive(Debug, Deserialize)]
struct Author {
    family: Option<String>,
    given: Option<String>,
    literal: Option<String>,
}

#[derive(Debug, Deserialize)]
struct Issued {
    #[serde(rename = "date-parts")]
    parts: Vec<Vec<u32>>,
}

/// A source as a sentence, by its key; `None` for a key that nobody knows.
///
/// ```
/// let source = slewbook::source::cite("iec-60063").unwrap();
/// assert!(source.contains("Preferred number series"));
/// assert!(slewbook::source::cite("no-such-source").is_none());
/// ```
#[must_use]
pub fn cite(key: &str) -> Option<String> {
    if let Some((_, words)) = PRINCIPLES.iter().find(|(own, _)| *own == key) {
        return Some((*words).to_owned());
    }
    BIBLIOGRAPHY
        .iter()
        .find(|entry| entry.id == key)
        .map(Entry::sentence)
}

impl Entry {
    fn sentence(&self) -> String {
        let authors: Vec<String> = self.author.iter().map(Author::text).collect();
        let mut parts = vec![];
        if !authors.is_empty() {
            parts.push(authors.join(", "));
        }
        parts.push(self.title.clone());
        parts.extend(self.container.clone());
        let labelled = [
            ("vol. ", &self.volume),
            ("no. ", &self.issue),
            ("", &self.number),
            ("pp. ", &self.page),
            ("edition ", &self.edition),
            ("", &self.publisher),
        ];
        for (label, value) in labelled {
            parts.extend(value.as_ref().map(|value| format!("{label}{value}")));
        }
        let year = self
            .issued
            .as_ref()
            .and_then(|i| i.parts.first()?.first().copied());
        parts.extend(year.map(|year| year.to_string()));
        let note = self
            .note
            .as_ref()
            .map_or_else(String::new, |note| format!(" {note}"));
        format!("{}.{note}", parts.join(", "))
    }
}

impl Author {
    fn text(&self) -> String {
        match (&self.given, &self.family, &self.literal) {
            (Some(given), Some(family), _) => format!("{given} {family}"),
            (None, Some(name), _) | (_, None, Some(name)) => name.clone(),
            (given, None, None) => given.clone().unwrap_or_default(),
        }
    }
}
