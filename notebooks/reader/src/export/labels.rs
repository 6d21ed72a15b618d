//! What can be referred to: numbered equations, figures and tables, and sources.

use std::collections::BTreeMap;

use serde_json::Value;

use super::result;
use crate::Notebook;

/// A kind of numbered item: the prefix of its labels and its word.
const KINDS: [(&str, &str, &str); 4] = [
    ("equation", "eq", "Equation"),
    ("derivation", "eq", "Equation"),
    ("figure", "fig", "Figure"),
    ("table", "tab", "Table"),
];

/// Labels and their numbers, in the order of the document.
#[derive(Debug, Default)]
pub struct Labels {
    /// Label to word and number: `eq:I_min` to (`Equation`, 3).
    numbers: BTreeMap<String, (&'static str, usize)>,
    counts: BTreeMap<&'static str, usize>,
    sources: Vec<String>,
}

impl Labels {
    /// Numbers everything in a notebook.
    ///
    /// # Errors
    /// Two items with one label.
    pub fn of(notebook: &Notebook) -> Result<Self, String> {
        let mut labels = Self::default();
        for cell in notebook.cells() {
            for output in cell.outputs() {
                if let Some((thing, data)) = result::own(&output["data"]) {
                    labels.add(thing, data)?;
                }
            }
        }
        Ok(labels)
    }

    fn add(&mut self, thing: &str, data: &Value) -> Result<(), String> {
        if thing == "document" {
            for item in data["items"].as_array().into_iter().flatten() {
                self.add(item["thing"].as_str().unwrap_or_default(), &item["data"])?;
            }
            return Ok(());
        }
        let Some((_, prefix, word)) = KINDS.iter().find(|(own, ..)| *own == thing) else {
            return Ok(());
        };
        let count = self.counts.entry(prefix).or_default();
        *count += 1;
        let label = format!("{prefix}:{}", name(data));
        // The same equation shown again keeps the number of its first place; a
        // figure or table is one thing.
        if let Some((_, first)) = self.numbers.get(&label) {
            if *prefix == "eq" {
                *count -= 1;
                return Ok(());
            }
            return Err(format!(
                "two items are labelled \"{label}\" (the first is {word} {first})"
            ));
        }
        self.numbers.insert(label, (word, *count));
        Ok(())
    }

    /// The label and number of an item that is written now.
    pub fn own(&self, thing: &str, data: &Value) -> Option<(String, &'static str, usize)> {
        let (_, prefix, _) = KINDS.iter().find(|(own, ..)| *own == thing)?;
        let label = format!("{prefix}:{}", name(data));
        let (word, number) = self.numbers.get(&label)?;
        Some((label, word, *number))
    }

    /// The words of a reference; none if it is not a reference to a numbered item.
    ///
    /// # Errors
    /// No item has the label.
    pub fn reference(&self, target: &str) -> Result<Option<String>, String> {
        let Some(label) = target.strip_prefix('#') else {
            return Ok(None);
        };
        if !KINDS
            .iter()
            .any(|(_, prefix, _)| label.split(':').next() == Some(prefix))
        {
            return Ok(None);
        }
        if let Some((word, number)) = self.numbers.get(label) {
            return Ok(Some(format!("{word} {number}")));
        }
        let known: Vec<&str> = self.numbers.keys().map(String::as_str).collect();
        Err(format!(
            "unresolved reference \"{target}\"; labels here: {}",
            known.join(", ")
        ))
    }

    /// The number of a source in the list of references, which it joins.
    ///
    /// # Errors
    /// The bibliography has no such key.
    pub fn cite(&mut self, key: &str) -> Result<usize, String> {
        if slewbook::source::cite(key).is_none() {
            return Err(format!(
                "unknown source \"{key}\"; the keys are in references/bibliography.json"
            ));
        }
        let place = self
            .sources
            .iter()
            .position(|own| own == key)
            .unwrap_or_else(|| {
                self.sources.push(key.to_owned());
                self.sources.len() - 1
            });
        Ok(place + 1)
    }

    /// The sources cited, in order of first citation.
    pub fn cited(&self) -> Vec<String> {
        self.sources
            .iter()
            .filter_map(|key| slewbook::source::cite(key))
            .collect()
    }
}

/// Beyond that a name is no label.
const LONGEST_LABEL: usize = 200;

fn name(data: &Value) -> String {
    let text = |key: &str| data[key].as_str();
    let name = text("id")
        .or_else(|| text("name"))
        .or_else(|| text("caption"))
        .unwrap_or_default();
    name.chars()
        .take(LONGEST_LABEL)
        .collect::<String>()
        .replace(char::is_whitespace, "-")
}
