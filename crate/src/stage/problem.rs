//! What is wrong with a specification, and where.

use std::fmt;
use std::ops::Range;

/// Characters of a long message that are kept: enough to recognise the place.
const LONGEST: usize = 400;

/// One thing that is wrong with a specification.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1, in characters.
    pub column: usize,
    /// The key, as in `input.voltage.min`; empty for the file as a whole.
    pub key: String,
    /// What was found, what was expected, what to do.
    pub message: String,
}

impl Problem {
    pub(crate) fn at(source: &str, span: &Range<usize>, key: &str, message: String) -> Self {
        let (line, column) = position(source, span.start);
        Self {
            line,
            column,
            key: key.to_owned(),
            message: shortened(message),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: ", self.line, self.column)?;
        if !self.key.is_empty() {
            write!(f, "{}: ", self.key)?;
        }
        f.write_str(&self.message)
    }
}

/// Everything that is wrong with a specification, in the order of the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problems(pub Vec<Problem>);

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, problem) in self.0.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}

/// Line and column, from 1, of a byte offset.
pub(crate) fn position(source: &str, offset: usize) -> (usize, usize) {
    let before = source.get(..offset).unwrap_or(source);
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    (
        before.matches('\n').count() + 1,
        before[line_start..].chars().count() + 1,
    )
}

/// A message of a readable length.
fn shortened(message: String) -> String {
    if message.chars().count() <= LONGEST {
        return message;
    }
    let head: String = message.chars().take(LONGEST / 2).collect();
    let tail: Vec<char> = message.chars().rev().take(LONGEST / 2).collect();
    format!("{head} ... {}", tail.into_iter().rev().collect::<String>())
}
