//! Data compared with the same computed again.

use serde_json::{Map, Value};

use super::align::pairs;
use super::report::{Difference, Kind, Report, numbers};

/// How far a number may be off, as a part of it: rounding moves the last digits.
const NEAR: f64 = 1e-9;

/// Numbers without dimension that may be next to zero: as far as that in themselves.
const PARTS: [&str; 3] = ["margin", "variance_share", "coefficient"];

/// Texts that are answers, not words about them.
const ANSWERS: [&str; 5] = ["verdict", "name", "relation", "unit", "sha256"];

/// Compares all values of two documents; what computed them is told apart from that.
pub(super) fn compare(written: &Value, computed: &Value, report: &mut Report) {
    let mut walk = Walk {
        report,
        values: 0,
        place: Vec::new(),
    };
    walk.value("", written, computed);
    let values = walk.values;
    report.compared = format!("{values} values: numbers to {NEAR:e} of them, texts exactly");
}

struct Walk<'r> {
    report: &'r mut Report,
    values: usize,
    place: Vec<String>,
}

impl Walk<'_> {
    fn value(&mut self, key: &str, old: &Value, new: &Value) {
        match (old, new) {
            (Value::Object(old), Value::Object(new)) => self.object(old, new),
            (Value::Array(old), Value::Array(new)) => self.array(key, old, new),
            _ => {
                self.values += 1;
                let kind = match (old, new) {
                    _ if old == new => return,
                    (Value::Number(a), Value::Number(b)) => {
                        if a.as_f64()
                            .zip(b.as_f64())
                            .is_some_and(|(a, b)| near(key, a, b))
                        {
                            return;
                        }
                        Kind::Value
                    }
                    (Value::String(a), Value::String(b))
                        if numbers(a) == numbers(b) && !ANSWERS.contains(&key) =>
                    {
                        Kind::Words
                    }
                    _ => Kind::Value,
                };
                self.add(kind, key, Some(old), Some(new));
            }
        }
    }

    fn object(&mut self, old: &Map<String, Value>, new: &Map<String, Value>) {
        let top = self.place.is_empty();
        for (key, old) in old.iter().filter(|(key, _)| !(top && *key == "program")) {
            match new.get(key) {
                Some(new) => {
                    self.place.push(key.clone());
                    self.value(key, old, new);
                    self.place.pop();
                }
                None => self.add(Kind::Value, key, Some(old), None),
            }
        }
        for (key, new) in new.iter().filter(|(key, _)| !old.contains_key(*key)) {
            self.add(Kind::Value, key, None, Some(new));
        }
    }

    fn array(&mut self, key: &str, old: &[Value], new: &[Value]) {
        for (i, j) in pairs(old, new, called) {
            match (i.map(|i| &old[i]), j.map(|j| &new[j])) {
                (Some(old), Some(new)) => {
                    self.place.push(called(new));
                    self.value(key, old, new);
                    self.place.pop();
                }
                (old, new) => {
                    let quantity = old.or(new).map(called).unwrap_or_default();
                    self.add(Kind::Value, &quantity, old, new);
                }
            }
        }
    }

    fn add(&mut self, kind: Kind, key: &str, old: Option<&Value>, new: Option<&Value>) {
        let shown = |own: &Value| match own {
            Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        let mut place: Vec<String> = self.place.clone();
        if place.last().is_some_and(|own| own == key) {
            place.pop();
        }
        place.retain(|own| !own.is_empty());
        self.report.add(Difference {
            kind,
            place,
            quantity: key.to_owned(),
            written: old.map(shown),
            computed: new.map(shown),
        });
    }
}

/// What an element of a list is called.
fn called(value: &Value) -> String {
    let names = ["name", "symbol", "key"];
    let name = names.iter().find_map(|key| value.get(key)?.as_str());
    name.unwrap_or_default().to_owned()
}

fn near(key: &str, a: f64, b: f64) -> bool {
    let floor = if PARTS.contains(&key) { 1.0 } else { 0.0 };
    (a - b).abs() <= NEAR * a.abs().max(b.abs()).max(floor)
}
