//! Why a record is refused.

use std::fmt;

use super::MOST_SAMPLES;
use super::key::Key;
use crate::quantity::{Dimensioned, Time, print_value};
use crate::table::TableError;

/// Why a record is refused: where, what was found, and what to do.
#[derive(Debug)]
#[non_exhaustive]
pub enum RecordingError {
    /// Not text: a zero byte.
    Binary {
        /// The line, from 1.
        line: usize,
    },
    /// A carriage return inside a line of a text whose lines end with line feeds.
    Return {
        /// The line, from 1.
        line: usize,
    },
    /// No samples were found.
    NoSamples,
    /// A comma may separate two columns or be the decimal marker.
    Ambiguous {
        /// The line, from 1.
        line: usize,
        /// The line as written.
        text: String,
    },
    /// A line of samples with more or fewer cells than the others.
    Cells {
        /// The line, from 1.
        line: usize,
        /// Its cells.
        found: usize,
        /// The others' cells.
        expected: usize,
    },
    /// A cell that is no number.
    Cell {
        /// The line, from 1.
        line: usize,
        /// The column, from 1.
        column: usize,
        /// The cell as written.
        cell: String,
    },
    /// A blank line with samples below it, or a line end inside quotation marks.
    Break {
        /// The line, from 1.
        line: usize,
    },
    /// There is a head, but its last line does not name the columns.
    NoNames {
        /// The line, from 1.
        line: usize,
        /// What stands there.
        text: String,
        /// How many columns there are.
        columns: usize,
    },
    /// A line names more columns than there are.
    Names {
        /// The line, from 1.
        line: usize,
        /// How many names there are.
        names: usize,
        /// How many columns there are.
        columns: usize,
    },
    /// A column's name and the line of units say different units.
    TwoUnits {
        /// The column's name.
        column: String,
        /// The unit in its name.
        first: String,
        /// The unit in the line of units.
        second: String,
    },
    /// A value of the head cannot be read.
    Head {
        /// The key as written.
        key: String,
        /// The value as written.
        value: String,
        /// What was expected.
        expected: &'static str,
    },
    /// The head states one thing twice, differently.
    Twice {
        /// What.
        what: Key,
        /// One value.
        first: f64,
        /// The other value.
        second: f64,
    },
    /// What is stated contradicts the samples.
    Contradiction {
        /// What.
        what: Key,
        /// As stated.
        stated: f64,
        /// As the samples have it.
        found: f64,
    },
    /// Time or index does not increase.
    Order {
        /// The line, from 1.
        line: usize,
        /// The value before.
        before: f64,
        /// The value in this line.
        after: f64,
        /// Whether it is an index.
        index: bool,
    },
    /// An index that is no whole number.
    Index {
        /// The line, from 1.
        line: usize,
        /// The index.
        index: f64,
    },
    /// A column of times in a unit that is no unit of time.
    TimeUnit {
        /// The column.
        column: String,
        /// Its unit as written.
        unit: String,
    },
    /// More samples than are read.
    TooMany {
        /// Lines of samples.
        lines: usize,
        /// Cells of a line.
        cells: usize,
    },
    /// A sample without time or index.
    WithoutTime {
        /// The line, from 1.
        line: usize,
    },
    /// Nothing says when the samples were taken.
    NoTime,
    /// An option that does not fit the record.
    Option {
        /// The option in words.
        option: &'static str,
        /// What is wrong with it.
        problem: String,
    },
    /// The columns make no table.
    Table(TableError),
    /// The reader of comma-separated values refused.
    Reader(String),
}

impl fmt::Display for RecordingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Binary { line } => write!(
                f,
                "line {line}: a zero byte, so this is not text; export the record as \
                 comma-separated text"
            ),
            Self::Return { line } => write!(
                f,
                "line {line}: a carriage return inside the line, where lines end with line feeds; \
                 the file is damaged; export it again"
            ),
            Self::NoSamples => f.write_str(
                "no lines of numbers were found; expected samples in columns separated by commas, \
                 semicolons, tabs or spaces; dates and times of day are not read: give time as a number, \
                 such as seconds; else state separator, decimal marker and first line",
            ),
            Self::Ambiguous { line, text } => write!(
                f,
                "line {line}: the comma in {text:?} may separate two columns or be the decimal \
                 marker; state the separator"
            ),
            Self::Cells {
                line,
                found,
                expected,
            } => write!(
                f,
                "line {line}: {found} cells where the samples have {expected}; the file is damaged \
                 or cut off; export it again"
            ),
            Self::Cell { line, column, cell } => write!(
                f,
                "line {line}, column {column}: {cell:?} is not a number; correct or remove the \
                 line, or export the record again"
            ),
            Self::Break { line } => write!(
                f,
                "line {line}: samples are interrupted by a blank line or a quoted line end; \
                 expected one block of samples; split the file or export it again"
            ),
            Self::NoNames {
                line,
                text,
                columns,
            } => write!(
                f,
                "line {line}: {text:?} above the samples does not name their {columns} columns; \
                 correct it, add a line of names below it, or state the first line of samples to \
                 read them without names"
            ),
            Self::Names {
                line,
                names,
                columns,
            } => write!(
                f,
                "line {line}: {names} names where the samples have {columns} columns; a column is \
                 missing, or the line is damaged; export the record again or correct the line"
            ),
            Self::TwoUnits {
                column,
                first,
                second,
            } => write!(
                f,
                "column {column}: the unit is {first:?} in the name, and {second:?} in the line of \
                 units; remove the wrong one"
            ),
            Self::Head {
                key,
                value,
                expected,
            } => write!(
                f,
                "head, {key}: {value:?} cannot be read; expected {expected}"
            ),
            Self::Twice {
                what,
                first,
                second,
            } => write!(
                f,
                "the head states the {} twice, as {} and as {}; remove the wrong one",
                what.words(),
                what.shown(*first),
                what.shown(*second)
            ),
            Self::Contradiction {
                what,
                stated,
                found,
            } => contradiction(f, *what, *stated, *found),
            Self::Order {
                line,
                before,
                after,
                index,
            } => order(f, *line, [*before, *after], *index),
            Self::Index { line, index } => write!(
                f,
                "line {line}: {index} as a sample's index; expected a whole number; correct the \
                 line or export the record again"
            ),
            Self::TimeUnit { column, unit } => write!(
                f,
                "column {column}: {unit:?} is no unit of time; expected one such as s, ms or ns; \
                 correct it in the head"
            ),
            Self::TooMany { lines, cells } => write!(
                f,
                "{lines} lines of {cells} cells are more than the {MOST_SAMPLES} samples that are \
                 read; export fewer columns or a part of the record"
            ),
            Self::WithoutTime { line } => write!(
                f,
                "line {line}: the sample has no time; remove the line or export the record again"
            ),
            Self::NoTime => f.write_str(
                "nothing says when the samples were taken: there is no column of time and no \
                 sample interval in the head; state the interval, and the number of channels if \
                 the samples of several stand in one column in turn",
            ),
            Self::Option { option, problem } => write!(f, "{option}: {problem}"),
            Self::Table(error) => error.fmt(f),
            Self::Reader(message) => f.write_str(message),
        }
    }
}

/// What is stated, and what the samples have instead.
fn contradiction(f: &mut fmt::Formatter<'_>, what: Key, stated: f64, found: f64) -> fmt::Result {
    write!(
        f,
        "the {} is stated as {}, but the samples have {}; the file is damaged or cut off, or what \
         is stated is wrong; export it again or correct what is stated",
        what.words(),
        what.shown(stated),
        what.shown(found)
    )
}

/// What is not above the value before: a time, or an index.
fn order(f: &mut fmt::Formatter<'_>, line: usize, values: [f64; 2], index: bool) -> fmt::Result {
    let [before, after] = values.map(|value| {
        if index {
            value.to_string()
        } else {
            print_value(value, Time::EXPONENTS, 15)
        }
    });
    let what = if index { "the index" } else { "time" };
    write!(
        f,
        "line {line}: {what} goes from {before} to {after}; expected it to increase from line to \
         line; export the record again, with more digits of time where it has too few"
    )
}

impl std::error::Error for RecordingError {}

impl From<TableError> for RecordingError {
    fn from(error: TableError) -> Self {
        Self::Table(error)
    }
}
