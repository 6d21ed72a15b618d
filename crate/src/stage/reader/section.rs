//! Tables of the file: their keys, the tables below them, and keys that nothing
//! asked for.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::{Reader, Section, wrong_type};
use crate::nearest::misspelt;

impl<'s, 'r> Section<'s, 'r> {
    /// The whole file.
    pub fn root(reader: &'r Reader<'s>, table: &'r Spanned<DeTable<'s>>) -> Self {
        Self {
            reader,
            path: String::new(),
            span: 0..0,
            table: Some(table.get_ref()),
            part: None,
            known: RefCell::default(),
        }
    }

    /// A table under this one, or the want of it.
    fn below(
        &self,
        path: String,
        span: Range<usize>,
        table: Option<&'r DeTable<'s>>,
    ) -> Section<'s, 'r> {
        Section {
            reader: self.reader,
            path,
            span,
            table,
            part: None,
            known: RefCell::default(),
        }
    }

    fn key(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    pub fn problem(&self, span: &Range<usize>, key: &str, message: impl Into<String>) {
        self.reader.problem(span, &self.key(key), message);
    }

    pub fn get(&self, key: &'static str) -> Option<&'r Spanned<DeValue<'s>>> {
        self.known.borrow_mut().push(key);
        let find = |table: &'r DeTable<'s>| table.iter().find(|(own, _)| own.get_ref() == key);
        self.table
            .and_then(find)
            .or_else(|| self.part.and_then(find))
            .map(|(_, value)| value)
    }

    /// Whether the key is there.
    pub fn has(&self, key: &'static str) -> bool {
        self.get(key).is_some()
    }

    /// The same table, a part supplying the keys which it does not have.
    pub fn with_part(mut self, part: Option<&'r DeTable<'s>>) -> Self {
        self.part = part;
        self
    }

    /// Reports a key that must be there and is not.
    pub fn missing(&self, key: &'static str, example: &str) {
        let place = if self.table.is_some() || self.path.is_empty() {
            String::new()
        } else {
            format!(" under [{}]", self.path)
        };
        self.problem(
            &self.span,
            key,
            format!("is missing; write {key} = {example}{place}"),
        );
    }

    /// A table under this one; without it, its required keys are missing.
    pub fn section(&self, key: &'static str) -> Section<'s, 'r> {
        let value = self.get(key);
        let table = value.and_then(|v| v.get_ref().as_table());
        if let (Some(value), None) = (value, table) {
            self.problem(
                &value.span(),
                key,
                wrong_type(value.get_ref(), "a table of keys"),
            );
        }
        self.below(self.key(key), value.map_or(0..0, Spanned::span), table)
    }

    /// A table under this one, where the key holds one.
    pub fn section_if_table(&self, key: &'static str) -> Option<Section<'s, 'r>> {
        self.get(key)?
            .get_ref()
            .as_table()
            .map(|_| self.section(key))
    }

    /// The tables under this one with their names.
    pub fn tables(&self) -> Vec<(String, Section<'s, 'r>)> {
        let entries = self.table.into_iter().flat_map(|table| table.iter());
        let tables = entries.filter_map(|(own, value)| {
            let name: &str = own.get_ref();
            let table = value.get_ref().as_table();
            if table.is_none() {
                let found = wrong_type(value.get_ref(), "a table of keys");
                self.problem(&value.span(), name, found);
            }
            let section = self.below(self.key(name), value.span(), Some(table?));
            Some((name.to_owned(), section))
        });
        tables.collect()
    }

    /// The tables of an array of tables.
    pub fn sections(&self, key: &'static str) -> Vec<Section<'s, 'r>> {
        let Some(value) = self.get(key) else {
            return vec![];
        };
        let Some(array) = value.get_ref().as_array() else {
            self.problem(
                &value.span(),
                key,
                wrong_type(value.get_ref(), "a list of tables"),
            );
            return vec![];
        };
        let tables = array.iter().enumerate().filter_map(|(index, item)| {
            let table = item.get_ref().as_table();
            if table.is_none() {
                self.problem(
                    &item.span(),
                    key,
                    wrong_type(item.get_ref(), "a table of keys"),
                );
            }
            let path = format!("{}[{}]", self.key(key), index + 1);
            Some(self.below(path, item.span(), Some(table?)))
        });
        tables.collect()
    }

    /// Reports keys that nothing asked for, each with the nearest known one.
    pub fn close(&self) {
        let known = self.known.borrow();
        let present: Vec<&str> = known
            .iter()
            .copied()
            .filter(|k| {
                self.table
                    .is_some_and(|t| t.iter().any(|(own, _)| own.get_ref() == k))
            })
            .collect();
        for (own, _) in self.table.into_iter().flat_map(|table| table.iter()) {
            let name: &str = own.get_ref();
            if known.contains(&name) {
                continue;
            }
            let absent = known.iter().copied().filter(|k| !present.contains(k));
            let nearest = misspelt(name, absent);
            let mut list: Vec<_> = known.clone();
            list.sort_unstable();
            list.dedup();
            let suggestion = nearest.map_or_else(String::new, |nearest| {
                format!("; did you mean `{nearest}`?")
            });
            let message = format!(
                "is not a known key{suggestion} (known here: {})",
                list.join(", ")
            );
            self.problem(&own.span(), name, message);
        }
    }
}
