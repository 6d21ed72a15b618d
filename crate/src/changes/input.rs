//! Which inputs differ.

use std::collections::BTreeMap;

use serde::Serialize;
use toml::{Table, Value};

use crate::stage::Specification;

/// An input that is not the same in both revisions.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct InputChange {
    /// The file that it stands in: `specification` or `parts`.
    pub file: &'static str,
    /// Its key, dotted.
    pub key: String,
    /// Its old value; none where it was not given.
    pub old: Option<String>,
    /// Its new value; none where it is no longer given.
    pub new: Option<String>,
}

/// The inputs that differ, by file and key.
pub(super) fn between(old: &Specification, new: &Specification) -> Vec<InputChange> {
    let (old, new) = (values(old), values(new));
    let mut keys: Vec<_> = old.keys().chain(new.keys()).collect();
    keys.sort();
    keys.dedup();
    let all = keys
        .into_iter()
        .map(|own| (own, old.get(own), new.get(own)));
    let differing = all.filter(|(_, old, new)| old != new);
    differing
        .map(|((file, key), old, new)| InputChange {
            file,
            key: key.clone(),
            old: old.cloned(),
            new: new.cloned(),
        })
        .collect()
}

/// Every value of a specification and its parts, by file and key. The specification first.
fn values(specification: &Specification) -> BTreeMap<(&'static str, String), String> {
    let mut all = BTreeMap::new();
    for input in specification.inputs() {
        // It has been read as TOML before.
        let table: Table = toml::from_str(input.text).unwrap_or_default();
        for (key, value) in &table {
            put(&mut all, input.name, key.clone(), value);
        }
    }
    all
}

fn put(
    all: &mut BTreeMap<(&'static str, String), String>,
    file: &'static str,
    key: String,
    value: &Value,
) {
    match value {
        Value::Table(table) => {
            for (name, value) in table {
                put(all, file, format!("{key}.{name}"), value);
            }
        }
        Value::Array(items) if items.iter().any(Value::is_table) => {
            for (place, value) in items.iter().enumerate() {
                put(all, file, format!("{key}[{}]", place + 1), value);
            }
        }
        other => {
            all.insert((file, key), words(other));
        }
    }
}

fn words(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Integer(own) => own.to_string(),
        Value::Float(own) => own.to_string(),
        Value::Boolean(own) => own.to_string(),
        Value::Datetime(own) => own.to_string(),
        Value::Array(items) => {
            let items: Vec<_> = items.iter().map(words).collect();
            format!("[{}]", items.join(", "))
        }
        Value::Table(table) => {
            let items = table
                .iter()
                .map(|(key, own)| format!("{key} = {}", words(own)));
            format!("{{ {} }}", items.collect::<Vec<_>>().join(", "))
        }
    }
}
