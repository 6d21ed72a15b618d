//! What a notebook stores against what its cells give now: everything that a
//! reader of the stored notebook sees, in both directions.
//!
//! Numbers may differ within a tolerance, which only the fresh result states;
//! all else is the same or a difference. What shows itself by means of its own
//! (HTML, scripts, foreign drawings) cannot be compared by what it shows, and is
//! a difference wherever a front end would show it.

mod text;

use serde_json::{Map, Value};

use crate::notebook::{self, Cell, Notebook};

/// How the MIME types of results of our own begin.
pub const OWN: &str = "application/vnd.slewbook.";

/// The relative difference allowed where a fresh result states none: rounding of
/// another compiler or mathematics library.
const TOLERANCE: f64 = 1e-9;

/// Types whose content is what a reader sees, so that the same content is the
/// same sight.
const PLAIN: [&str; 5] = [
    "text/plain",
    "text/markdown",
    "text/latex",
    "image/png",
    "image/jpeg",
];

/// What was compared and what was found.
#[derive(Debug, Default)]
pub struct Comparison {
    /// One line for each cell that shows something: what was compared in it.
    pub cells: Vec<String>,
    /// How many numbers were compared.
    pub numbers: usize,
    /// How many texts were compared.
    pub texts: usize,
    /// The differences, in words.
    pub differences: Vec<String>,
    /// The cell at hand, in words.
    place: String,
}

impl Comparison {
    /// Compares a stored notebook with the same one run again.
    #[must_use]
    pub fn of(stored: &Notebook, fresh: &Notebook) -> Self {
        let mut comparison = Self::default();
        let (old, new) = (stored.cells(), fresh.cells());
        if old.len() != new.len() {
            let counts = format!("stored {} cells, now {}", old.len(), new.len());
            comparison.differences.push(counts);
        }
        let mut number = 0;
        for (old, new) in old.iter().zip(&new) {
            number += usize::from(old.is_code());
            comparison.cell(number, *old, *new);
        }
        comparison
    }

    /// Whether there was anything to compare.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.cells.is_empty()
    }

    fn cell(&mut self, number: usize, old: Cell, new: Cell) {
        self.place = format!("cell {number} ({})", old.id());
        if old.id() != new.id() || old.is_code() != new.is_code() {
            self.differ(&format!("now another cell stands there ({})", new.id()));
            return;
        }
        if !old.is_code() || (old.outputs().is_empty() && new.outputs().is_empty()) {
            return;
        }
        let (numbers, texts) = (self.numbers, self.texts);
        self.outputs(old.outputs(), new.outputs());
        let count = |n: usize, word: &str| {
            let plural = if n == 1 { "" } else { "s" };
            format!("{n} {word}{plural}")
        };
        self.cells.push(format!(
            "{}: compared {}, {}, {}",
            self.place,
            count(old.outputs().len(), "output"),
            count(self.numbers - numbers, "number"),
            count(self.texts - texts, "text"),
        ));
    }

    fn outputs(&mut self, old: &[Value], new: &[Value]) {
        if old.len() != new.len() {
            self.differ(&format!("stored {} outputs, now {}", old.len(), new.len()));
        }
        for (index, (old, new)) in old.iter().zip(new).enumerate() {
            self.output(index + 1, old, new);
        }
    }

    fn output(&mut self, number: usize, old: &Value, new: &Value) {
        let name = format!("output {number}");
        let kind = &old["output_type"];
        if *kind != new["output_type"] {
            let new = &new["output_type"];
            self.differ(&format!("{name}: stored {kind}, now {new}"));
            return;
        }
        match kind.as_str() {
            Some("stream") => {
                let name = format!("{name}, {}", new["name"].as_str().unwrap_or("stream"));
                self.values(&name, 0.0, &old["name"], &new["name"]);
                self.joined(&name, 0.0, &old["text"], &new["text"]);
            }
            Some("error") => {
                for key in ["ename", "evalue", "traceback"] {
                    self.values(&format!("{name}, {key}"), 0.0, &old[key], &new[key]);
                }
            }
            Some("execute_result" | "display_data") => {
                self.values(
                    &format!("{name}, metadata"),
                    0.0,
                    &old["metadata"],
                    &new["metadata"],
                );
                self.data(&name, &old["data"], &new["data"]);
            }
            _ => self.differ(&format!("{name}: of the unknown type {kind}")),
        }
    }

    /// The types of one output. Texts beside data of our own are printed from
    /// it, and have its tolerance.
    fn data(&mut self, name: &str, old: &Value, new: &Value) {
        let nothing = Map::new();
        let old = old.as_object().unwrap_or(&nothing);
        let new = new.as_object().unwrap_or(&nothing);
        let own = new.iter().find(|(mime, _)| mime.starts_with(OWN));
        let tolerance = own.map_or(0.0, |(_, data)| tolerance(data, TOLERANCE));
        for mime in old.keys().filter(|mime| !new.contains_key(*mime)) {
            self.differ(&format!(
                "{name}: stored {mime}, which the cell does not give"
            ));
        }
        for (mime, new) in new {
            let Some(old) = old.get(mime) else {
                self.differ(&format!(
                    "{name}: the cell gives {mime}, which is not stored"
                ));
                continue;
            };
            if let Some(thing) = mime.strip_prefix(OWN) {
                let thing = thing.split('.').next().unwrap_or_default();
                self.values(&format!("{name}, {thing}"), tolerance, old, new);
            } else if PLAIN.contains(&mime.as_str()) || own.is_some() {
                let name = format!("{name}, {mime}");
                if notebook::is_json(mime) {
                    self.values(&name, tolerance, old, new);
                } else {
                    self.joined(&name, tolerance, old, new);
                }
            } else {
                self.differ(&format!(
                    "{name}: {mime} shows itself, which cannot be compared; show it by a result \
                     of the library, or as text"
                ));
            }
        }
    }

    /// Two texts that the format stores whole or by lines.
    fn joined(&mut self, name: &str, tolerance: f64, old: &Value, new: &Value) {
        let is_text = |value: &Value| {
            let lines = value
                .as_array()
                .is_some_and(|list| list.iter().all(Value::is_string));
            value.is_string() || lines
        };
        if is_text(old) && is_text(new) {
            let (old, new) = (notebook::joined(old), notebook::joined(new));
            self.strings(name, tolerance, &old, &new);
        } else {
            self.values(name, tolerance, old, new);
        }
    }

    /// Compares what is told as data.
    fn values(&mut self, name: &str, allowed: f64, old: &Value, new: &Value) {
        match (old, new) {
            (Value::Object(old), Value::Object(new)) => {
                let allowed = tolerance(&Value::Object(new.clone()), allowed);
                self.objects(name, allowed, old, new);
            }
            (Value::Array(old), Value::Array(new)) => {
                if old.len() != new.len() {
                    let (old, new) = (old.len(), new.len());
                    self.differ(&format!("{name}: stored {old} items, now {new}"));
                }
                for (index, (old, new)) in old.iter().zip(new).enumerate() {
                    self.values(&format!("{name} [{}]", index + 1), allowed, old, new);
                }
            }
            (Value::Number(old), Value::Number(new)) => {
                self.numbers += 1;
                let same = match (old.as_f64(), new.as_f64()) {
                    (Some(old), Some(new)) => text::within(old, new, allowed),
                    _ => old == new,
                };
                if !same {
                    self.differ(&format!(
                        "{name}: stored {old}, now {new}{}",
                        text::relative(allowed)
                    ));
                }
            }
            (Value::String(old), Value::String(new)) => self.strings(name, allowed, old, new),
            (old, new) if old == new => {}
            (old, new) => {
                let (old, new) = (text::short(&old.to_string()), text::short(&new.to_string()));
                self.differ(&format!("{name}: stored {old}, now {new}"));
            }
        }
    }

    fn objects(
        &mut self,
        name: &str,
        allowed: f64,
        old: &Map<String, Value>,
        new: &Map<String, Value>,
    ) {
        let named = new.get("name").and_then(Value::as_str);
        let name = named.map_or_else(|| name.to_owned(), |own| format!("{name} {own}"));
        for key in old.keys().filter(|key| !new.contains_key(*key)) {
            self.differ(&format!(
                "{name}, {key}: stored, but the cell does not give it"
            ));
        }
        for (key, new) in new {
            let name = format!("{name}, {key}");
            match old.get(key) {
                None => self.differ(&format!("{name}: the cell gives it, but it is not stored")),
                // What is allowed is itself told exactly.
                Some(old) if key == "tolerance" => self.values(&name, 0.0, old, new),
                Some(old) => self.values(&name, allowed, old, new),
            }
        }
    }

    fn strings(&mut self, name: &str, allowed: f64, old: &str, new: &str) {
        self.texts += 1;
        if !text::same(old, new, allowed) {
            let (old, new) = text::apart(old, new);
            self.differ(&format!("{name}: stored \"{old}\", now \"{new}\""));
        }
    }

    fn differ(&mut self, words: &str) {
        self.differences.push(format!("{}: {words}", self.place));
    }
}

/// The tolerance that a fresh result states for itself.
fn tolerance(data: &Value, otherwise: f64) -> f64 {
    let stated = data.get("tolerance").and_then(Value::as_f64);
    stated.filter(|own| *own >= 0.0).unwrap_or(otherwise)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn differences(old: &Value, new: &Value) -> Vec<String> {
        let mut comparison = Comparison::default();
        comparison.values("quantity", TOLERANCE, old, new);
        comparison.differences
    }

    #[test]
    fn a_changed_number_is_named() {
        let old = json!({"name": "I_min", "value": 0.475, "unit": "A"});
        let new = json!({"name": "I_min", "value": 0.480, "unit": "A"});
        assert_eq!(
            differences(&old, &new),
            [": quantity I_min, value: stored 0.475, now 0.48 (relative tolerance 1e-9)"]
        );
    }

    #[test]
    fn the_tolerance_is_that_of_the_code() {
        let told = |value: f64, tolerance: f64| json!({"value": value, "tolerance": tolerance});
        assert!(differences(&told(100.0, 0.01), &told(100.9, 0.01)).is_empty());
        assert_eq!(differences(&told(100.0, 0.01), &told(102.0, 0.01)).len(), 1);
        // A stored tolerance allows nothing, and is itself a difference.
        assert_eq!(
            differences(&told(999.0, 1e9), &json!({"value": 6.0})).len(),
            2
        );
    }

    #[test]
    fn both_directions_and_every_text() {
        assert_eq!(
            differences(&json!({"ok": true}), &json!({"ok": false})).len(),
            1
        );
        assert_eq!(differences(&json!({"value": 1.0}), &json!({})).len(), 1);
        assert_eq!(differences(&json!({}), &json!({"value": 1.0})).len(), 1);
        assert_eq!(differences(&json!([1.0, 2.0]), &json!([1.0])).len(), 1);
        assert_eq!(
            differences(&json!({"text": "a"}), &json!({"text": "b"})).len(),
            1
        );
    }
}
