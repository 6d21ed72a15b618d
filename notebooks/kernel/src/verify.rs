//! Running a notebook again and comparing its numbers with those stored in it.

use std::path::Path;

use serde_json::Value;

use super::notebook::Notebook;
use super::run::{self, Options};

/// Results of our own, as data: what is compared.
const OWN: &str = "application/vnd.slewbook.";

/// The relative difference allowed where a result states none: rounding of
/// another compiler or mathematics library.
const TOLERANCE: f64 = 1e-9;

/// Verifies one notebook. The exit code: 0, 1 for a failed cell or a
/// difference, 2 otherwise.
pub fn verify(path: &Path, options: &Options) -> u8 {
    let stored = match Notebook::read(path) {
        Ok(notebook) => notebook,
        Err(error) => {
            eprintln!("{error}");
            return 2;
        }
    };
    let mut fresh = stored.clone();
    match run::execute(&mut fresh, options) {
        Err(stopped) => {
            eprintln!("{}", run::report(path, &stopped));
            if matches!(stopped, run::Stopped::Refused(_)) {
                2
            } else {
                1
            }
        }
        Ok(times) => {
            let mut comparison = Comparison::default();
            comparison.notebooks(&stored, &fresh);
            for difference in &comparison.differences {
                eprintln!("{}: {difference}", path.display());
            }
            if comparison.compared == 0 && comparison.differences.is_empty() {
                eprintln!(
                    "{}: nothing to compare: no stored results; `run` the notebook first",
                    path.display()
                );
                return 1;
            }
            if comparison.differences.is_empty() {
                println!(
                    "{}: verified: {} numbers; {}",
                    path.display(),
                    comparison.compared,
                    times.summary()
                );
                0
            } else {
                1
            }
        }
    }
}

/// What was found.
#[derive(Debug, Default)]
pub struct Comparison {
    /// How many numbers were compared.
    pub compared: usize,
    /// The differences, in words.
    pub differences: Vec<String>,
}

impl Comparison {
    fn notebooks(&mut self, stored: &Notebook, fresh: &Notebook) {
        let code = |notebook: &Notebook| -> Vec<(String, Vec<(String, Value)>)> {
            let cells = notebook.cells();
            let code = cells
                .iter()
                .filter(|cell| cell.is_code() && !cell.source().trim().is_empty());
            code.map(|cell| (cell.id().to_owned(), own_results(cell.outputs())))
                .collect()
        };
        let fresh = code(fresh);
        for (number, (id, old)) in code(stored).iter().enumerate() {
            let cell = format!("cell {} ({id})", number + 1);
            let Some((_, new)) = fresh.iter().find(|(own, _)| own == id) else {
                self.differences.push(format!("{cell}: no longer there"));
                continue;
            };
            if old.len() != new.len() {
                self.differences.push(format!(
                    "{cell}: stored {} results, now {}",
                    old.len(),
                    new.len()
                ));
            }
            for ((mime, old), (_, new)) in old.iter().zip(new) {
                let kind = mime
                    .trim_start_matches(OWN)
                    .split('.')
                    .next()
                    .unwrap_or_default();
                self.values(&cell, kind, TOLERANCE, old, new);
            }
        }
    }

    /// Compares numbers, verdicts and units; other texts are presentation.
    pub fn values(&mut self, cell: &str, name: &str, tolerance: f64, old: &Value, new: &Value) {
        match (old, new) {
            (Value::Object(old), Value::Object(new)) => {
                let label = |key: &str| old.get(key).and_then(Value::as_str);
                let name = label("name").map_or_else(|| name.to_owned(), str::to_owned);
                let tolerance = old
                    .get("tolerance")
                    .and_then(Value::as_f64)
                    .unwrap_or(tolerance);
                let unit = label("unit")
                    .map(|unit| format!(" {unit}"))
                    .unwrap_or_default();
                for (key, old) in old {
                    let place = if key == "value" {
                        name.clone()
                    } else {
                        format!("{name}, {key}")
                    };
                    match new.get(key) {
                        _ if key == "tolerance" => {}
                        Some(new) if key == "unit" && old != new => {
                            self.differences
                                .push(format!("{cell}: {place}: stored {old}, now {new}"));
                        }
                        Some(new) if old.is_number() && new.is_number() => {
                            self.numbers(cell, &place, &unit, tolerance, old, new);
                        }
                        Some(new) => self.values(cell, &place, tolerance, old, new),
                        None => self
                            .differences
                            .push(format!("{cell}: {place}: no longer there")),
                    }
                }
            }
            (Value::Array(old), Value::Array(new)) => {
                if old.len() != new.len() {
                    self.differences.push(format!(
                        "{cell}: {name}: stored {} items, now {}",
                        old.len(),
                        new.len()
                    ));
                }
                for (index, (old, new)) in old.iter().zip(new).enumerate() {
                    self.values(
                        cell,
                        &format!("{name} [{}]", index + 1),
                        tolerance,
                        old,
                        new,
                    );
                }
            }
            (Value::Number(_), Value::Number(_)) => {
                self.numbers(cell, name, "", tolerance, old, new)
            }
            (Value::String(_), Value::String(_)) => {}
            (old, new) if old == new => {}
            (old, new) => self
                .differences
                .push(format!("{cell}: {name}: stored {old}, now {new}")),
        }
    }

    fn numbers(
        &mut self,
        cell: &str,
        name: &str,
        unit: &str,
        tolerance: f64,
        old: &Value,
        new: &Value,
    ) {
        self.compared += 1;
        let (Some(a), Some(b)) = (old.as_f64(), new.as_f64()) else {
            return;
        };
        let allowed = tolerance * a.abs().max(b.abs());
        if (a - b).abs() > allowed {
            self.differences.push(format!(
                "{cell}: {name}: stored {old}{unit}, now {new}{unit} (relative tolerance {tolerance:e})"
            ));
        }
    }
}

/// Our own results among a cell's outputs.
fn own_results(outputs: &[Value]) -> Vec<(String, Value)> {
    outputs
        .iter()
        .filter_map(|output| output["data"].as_object())
        .flatten()
        .filter(|(mime, _)| mime.starts_with(OWN))
        .map(|(mime, value)| (mime.clone(), value.clone()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn differences(old: &Value, new: &Value) -> Vec<String> {
        let mut comparison = Comparison::default();
        comparison.values("cell 1", "quantity", TOLERANCE, old, new);
        comparison.differences
    }

    #[test]
    fn a_changed_number_is_named_with_its_unit() {
        let old = json!({"name": "I_min", "value": 0.475, "unit": "A", "text": "475 mA"});
        let new = json!({"name": "I_min", "value": 0.480, "unit": "A", "text": "480 mA"});
        assert_eq!(
            differences(&old, &new),
            ["cell 1: I_min: stored 0.475 A, now 0.48 A (relative tolerance 1e-9)"]
        );
    }

    #[test]
    fn a_stated_tolerance_is_kept_to() {
        let old = json!({"name": "t", "value": 100.0, "tolerance": 0.01});
        assert!(
            differences(
                &old,
                &json!({"name": "t", "value": 100.9, "tolerance": 0.01})
            )
            .is_empty()
        );
        assert_eq!(
            differences(
                &old,
                &json!({"name": "t", "value": 102.0, "tolerance": 0.01})
            )
            .len(),
            1
        );
    }

    #[test]
    fn a_turned_verdict_or_a_missing_result_is_a_difference() {
        assert_eq!(
            differences(&json!({"ok": true}), &json!({"ok": false})).len(),
            1
        );
        assert_eq!(differences(&json!({"value": 1.0}), &json!({})).len(), 1);
        assert_eq!(differences(&json!([1.0, 2.0]), &json!([1.0])).len(), 1);
    }

    #[test]
    fn rewording_is_no_difference() {
        assert!(differences(&json!({"text": "a"}), &json!({"text": "b"})).is_empty());
    }
}
