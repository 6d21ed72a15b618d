//! Reading tables of a TOML file key by key, collecting every problem.
//!
//! A key that cannot be read leaves a problem and a stand-in value: reading goes
//! on, and the specification is given out only where no problem was left.

mod curve;
mod section;
mod value;

use std::cell::RefCell;
use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::problem::{Problem, Problems};

pub(crate) use value::Bounds;

/// The file being read and what was found wrong with it.
pub(crate) struct Reader<'s> {
    pub source: &'s str,
    problems: RefCell<Vec<Found>>,
}

/// A problem before its line and column are counted.
struct Found {
    span: Range<usize>,
    key: String,
    message: String,
}

/// Problems shown of one file; the rest is counted.
const SHOWN: usize = 40;

/// A table of the file.
pub(crate) struct Section<'s, 'r> {
    reader: &'r Reader<'s>,
    path: String,
    span: Range<usize>,
    table: Option<&'r DeTable<'s>>,
    /// The part that supplies the keys which the table does not have.
    part: Option<&'r DeTable<'s>>,
    known: RefCell<Vec<&'static str>>,
}

/// A value with its place in the file; `good` where it was read without problem.
#[derive(Clone, Debug)]
pub(crate) struct Read<T> {
    pub value: T,
    pub span: Range<usize>,
    pub good: bool,
}

impl<'s> Reader<'s> {
    pub fn new(source: &'s str) -> Self {
        Self {
            source,
            problems: RefCell::default(),
        }
    }

    pub fn problem(&self, span: &Range<usize>, key: &str, message: impl Into<String>) {
        self.problems.borrow_mut().push(Found {
            span: span.clone(),
            key: key.to_owned(),
            message: message.into(),
        });
    }

    pub fn has_problems(&self) -> bool {
        !self.problems.borrow().is_empty()
    }

    /// Whether there is a problem with a key, or below it.
    pub fn has_problem_with(&self, key: &str) -> bool {
        self.problems
            .borrow()
            .iter()
            .any(|p| p.key.starts_with(key))
    }

    /// The problems found, in the order of the file.
    pub fn finish(self) -> Result<(), Problems> {
        let mut found = self.problems.into_inner();
        if found.is_empty() {
            return Ok(());
        }
        found.sort_by_key(|problem| problem.span.start);
        let mut problems: Vec<_> = found
            .iter()
            .take(SHOWN)
            .map(|f| Problem::at(self.source, &f.span, &f.key, f.message.clone()))
            .collect();
        if let Some(next) = found.get(SHOWN) {
            let more = format!(
                "and {} more from here on; mend the ones above first",
                found.len() - SHOWN
            );
            problems.push(Problem::at(self.source, &next.span, "", more));
        }
        Err(Problems(problems))
    }
}

fn wrong_type(value: &DeValue, expected: &str) -> String {
    format!("is {}; expected {expected}", describe(value))
}

fn describe(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
