//! Changes as a page of text, as a page of HTML, and for machines.

use serde::Serialize;

use super::{Changes, InputChange, Moved, Turned};
use crate::identity::Program;
use crate::quantity::number;
use crate::visible::{json_document, visible};

/// The version of the machine-readable form.
const FORMAT: u32 = 1;

/// As many of each kind fit on a page.
const LISTED: [usize; 3] = [12, 12, 24];

/// What a significance is.
const SIGNIFICANCE: &str = "σ: the difference over the combined standard uncertainty of both, as if \
     they were independent; what both share, such as one tolerance, is not taken off.";

#[derive(Serialize)]
struct Document<'c> {
    format: u32,
    program: Program,
    #[serde(flatten)]
    changes: &'c Changes,
}

/// What is shown: each row as its cells.
#[derive(Serialize)]
struct Section {
    heading: String,
    columns: Vec<&'static str>,
    rows: Vec<Vec<String>>,
}

impl Changes {
    /// The changes as one JSON object.
    #[must_use]
    pub fn json(&self) -> String {
        json_document(&Document {
            format: FORMAT,
            program: Program::own(),
            changes: self,
        })
    }

    /// The changes as at most a page of text; what it leaves out is counted.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = String::new();
        for line in self.heads() {
            text.push_str(&format!("{line}\n"));
        }
        for (section, most) in self.sections().iter().zip(LISTED) {
            text.push_str(&format!("\n{}\n", section.heading));
            let shown = section.rows.len().min(most);
            text.push_str(&table(&section.rows[..shown]));
            if section.rows.len() > shown {
                let left = section.rows.len() - shown;
                text.push_str(&format!("  and {left} more, which --json has\n"));
            }
        }
        if self.results.iter().any(|own| own.significance.is_some()) {
            text.push_str(&format!("\n{SIGNIFICANCE}\n"));
        }
        visible(&text).into_owned()
    }

    fn heads(&self) -> Vec<String> {
        let names = ["Old", "New"].into_iter().zip(&self.revisions);
        let heads = names.map(|(name, own)| {
            let revision = own.revision.as_ref();
            let revision = revision.map_or_else(String::new, |own| format!(", revision {own}"));
            format!(
                "{name}: {}{revision}; SHA-256 {}",
                own.title,
                &own.input_hash[..12]
            )
        });
        heads.collect()
    }

    fn sections(&self) -> [Section; 3] {
        let inputs = match self.inputs.len() {
            0 if self.layout_alone => {
                "Inputs: the same values; layout or comments differ".to_owned()
            }
            0 => "Inputs: the same".to_owned(),
            count => format!("Inputs changed: {count}"),
        };
        let verdicts = format!(
            "Verdicts turned: {} of {}",
            self.verdicts.len(),
            self.requirements
        );
        let results = format!(
            "Results moved: {} of {}",
            self.results.len(),
            self.results.len() + self.unmoved
        );
        [
            Section {
                heading: inputs,
                columns: vec!["Input", "Old", "New"],
                rows: self.inputs.iter().map(InputChange::row).collect(),
            },
            Section {
                heading: verdicts,
                columns: vec!["Requirement", "Old", "New"],
                rows: self.verdicts.iter().map(Turned::row).collect(),
            },
            Section {
                heading: results,
                columns: vec!["Result", "Old", "New", "Change", "Significance"],
                rows: self.results.iter().map(Moved::row).collect(),
            },
        ]
    }

    /// The changes as a page of HTML, all of them.
    ///
    /// # Errors
    /// Where the page's template and its content do not fit together.
    #[cfg(feature = "program")]
    pub fn html(&self) -> Result<String, crate::rationale::RationaleError> {
        #[derive(Serialize)]
        struct Page {
            program: String,
            heads: Vec<String>,
            sections: [Section; 3],
            significance: &'static str,
        }
        crate::rationale::rendered(
            "changes.html",
            include_str!("page.html"),
            Page {
                program: Program::own().to_string(),
                heads: self.heads(),
                sections: self.sections(),
                significance: SIGNIFICANCE,
            },
        )
    }
}

impl InputChange {
    fn row(&self) -> Vec<String> {
        let key = match self.file {
            "specification" => self.key.clone(),
            file => format!("{file}: {}", self.key),
        };
        let shown = |own: &Option<String>| own.clone().unwrap_or_else(|| "not given".to_owned());
        vec![key, shown(&self.old), shown(&self.new)]
    }
}

impl Turned {
    fn row(&self) -> Vec<String> {
        let side = |k: usize| match (self.verdicts[k], &self.shown[k]) {
            (Some(verdict), Some(shown)) => format!("{verdict}: {shown}"),
            _ => "not asked".to_owned(),
        };
        vec![self.words.to_owned(), side(0), side(1)]
    }
}

impl Moved {
    fn row(&self) -> Vec<String> {
        let place = self.places[1].as_ref().or(self.places[0].as_ref());
        let sign = |own: f64| if own > 0.0 { "+" } else { "" };
        let relative = self.relative.map(|own| own * 100.0);
        vec![
            format!("{} ({})", self.name, place.map_or("", String::as_str)),
            self.shown[0].clone(),
            self.shown[1].clone(),
            relative.map_or_else(String::new, |own| {
                format!("{}{} %", sign(own), number(own, 3))
            }),
            self.significance
                .map_or_else(String::new, |own| format!("{} σ", number(own, 2))),
        ]
    }
}

/// The widest that a cell is shown in text.
const WIDEST: usize = 60;

/// Rows with their cells below each other.
fn table(rows: &[Vec<String>]) -> String {
    let clipped = |text: &String| -> String {
        let text = text.replace(['\n', '\r'], " ");
        match text.char_indices().nth(WIDEST) {
            Some((end, _)) => format!("{} …", &text[..end]),
            None => text,
        }
    };
    let rows: Vec<Vec<String>> = rows
        .iter()
        .map(|row| row.iter().map(clipped).collect())
        .collect();
    let columns = rows.first().map_or(0, Vec::len);
    let width = |k: usize| {
        rows.iter()
            .map(|row| row[k].chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let mut text = String::new();
    for row in &rows {
        let cells = row
            .iter()
            .zip(&widths)
            .map(|(own, width)| format!("{own:width$}"));
        let line = cells.collect::<Vec<_>>().join("  ");
        text.push_str(&format!("  {}\n", line.trim_end()));
    }
    text
}
