//! What came of a comparison.

use serde::Serialize;

use crate::identity::Program;

/// What differs between a document and the same computed again.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// Whether it is a value or words about it.
    pub kind: Kind,
    /// The headings or keys that it stands under.
    pub place: Vec<String>,
    /// What differs.
    pub quantity: String,
    /// What the document says; none where it says nothing.
    pub written: Option<String>,
    /// What was computed; none where nothing was.
    pub computed: Option<String>,
}

/// What a difference is one of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Numbers, verdicts, drawings, and all that is there on one side alone.
    Value,
    /// Words with the same numbers, and markup: another program may choose others.
    Words,
}

/// What a document says, and whether it is what its inputs give.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// The program that the document names.
    pub written_by: Program,
    /// The program that computed it again.
    pub computed_by: Program,
    /// The digest of the inputs in it.
    pub input_hash: String,
    /// What was compared, within which tolerances.
    pub compared: String,
    /// Whether the document is the same to the last byte.
    pub identical: bool,
    /// What differs, in the order of the document.
    pub differences: Vec<Difference>,
    /// What another program words differently, with equal numbers.
    pub worded_differently: Vec<Difference>,
}

impl Report {
    pub(super) fn new(written_by: Program, input_hash: String) -> Self {
        Self {
            written_by,
            computed_by: Program::own(),
            input_hash,
            compared: String::new(),
            identical: false,
            differences: vec![],
            worded_differently: vec![],
        }
    }

    pub(super) fn add(&mut self, own: Difference) {
        if own.kind == Kind::Words && self.written_by != self.computed_by {
            self.worded_differently.push(own);
        } else {
            self.differences.push(own);
        }
    }

    /// Whether the document is what its inputs give.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.differences.is_empty()
    }

    /// The report in words.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = format!(
            "Computed again from the texts in it, SHA-256 {}\nCompared: {}\n",
            self.input_hash, self.compared
        );
        if self.written_by != self.computed_by {
            text.push_str("Note: it was written by another program than this one\n");
            text.push_str(&indented("written by", &self.written_by.text()));
            text.push_str(&indented("this is", &self.computed_by.text()));
        }
        if !self.worded_differently.is_empty() {
            let count = self.worded_differently.len();
            text.push_str(&format!(
                "Note: {count} worded differently, numbers equal\n"
            ));
            text.extend(self.worded_differently.iter().map(Difference::text));
        }
        match (self.differences.len(), self.identical) {
            (0, true) => text.push_str("Nothing differs: the same to the last byte\n"),
            (0, false) => text.push_str("Nothing differs within the tolerances\n"),
            (1, _) => text.push_str("1 difference\n"),
            (count, _) => text.push_str(&format!("{count} differences\n")),
        }
        text.extend(self.differences.iter().map(Difference::text));
        text
    }
}

fn indented(what: &str, lines: &str) -> String {
    let lines = lines.trim_end().replace('\n', "\n  ");
    format!("  {what} {lines}\n")
}

impl Difference {
    /// Where, what, and both values, as lines of text.
    #[must_use]
    pub fn text(&self) -> String {
        let start = self.written.as_ref().zip(self.computed.as_ref());
        let start = start.map_or(0, |(a, b)| {
            let same = a.chars().zip(b.chars()).take_while(|(a, b)| a == b);
            same.count()
        });
        let shown = |own: &Option<String>| {
            own.as_deref()
                .map_or_else(|| "nothing".to_owned(), |own| clipped(own, start))
        };
        format!(
            "  {}\n    in the document: {}\n    computed again:  {}\n",
            self.name(),
            shown(&self.written),
            shown(&self.computed)
        )
    }

    /// Where it is and what differs.
    #[must_use]
    pub fn name(&self) -> String {
        let names = self.place.iter().chain([&self.quantity]);
        let names = names.filter(|own| !own.is_empty());
        let names: Vec<_> = names.map(|own| clipped(own, 0)).collect();
        if names.is_empty() {
            return "The head of the document".to_owned();
        }
        names.join(": ")
    }
}

/// As much of a text as a reader needs to know it again, with the character at `start`.
fn clipped(text: &str, start: usize) -> String {
    const MOST: usize = 160;
    let before = start.saturating_sub(MOST / 2);
    let count = text.chars().count();
    let middle: String = text.chars().skip(before).take(MOST).collect();
    let head = if before > 0 { "… " } else { "" };
    let tail = if count > before + MOST { " …" } else { "" };
    format!("{head}{middle}{tail}")
}

/// The numbers of a text, as printed.
pub(super) fn numbers(text: &str) -> Vec<&str> {
    let part = |c: char| {
        c.is_ascii_digit() || matches!(c, '.' | '−' | '-' | '×' | '⁻' | '⁰'..='⁹' | '²' | '³' | '¹')
    };
    let all = text.split(|c| !part(c));
    let trimmed = all.map(|own| own.trim_end_matches('.'));
    trimmed
        .filter(|own| own.contains(|c: char| c.is_ascii_digit()))
        .collect()
}
