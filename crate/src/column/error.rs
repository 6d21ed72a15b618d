//! What can be wrong with columns.

use std::fmt;

use crate::equation::EquationError;
use crate::table::TableError;

/// Why columns cannot be evaluated.
#[derive(Debug)]
#[non_exhaustive]
pub enum ColumnError {
    /// An expression that cannot be compiled, or an input that none contains.
    Equation(EquationError),
    /// A column of another length than the ones before it.
    Length {
        /// The column's name.
        name: String,
        /// Its length.
        found: usize,
        /// The length of the others.
        expected: usize,
    },
    /// A result without a column to write it to, or the reverse.
    Outputs {
        /// Columns given.
        found: usize,
        /// Results there are.
        expected: usize,
    },
    /// A term that is a formula, where an input is needed.
    NotAnInput {
        /// The formula.
        formula: String,
    },
    /// An axis without points, with a limit that is not a number, or the same
    /// input twice.
    Axis {
        /// The input's name.
        name: String,
        /// What is wrong, and what to do.
        problem: &'static str,
    },
    /// Results that do not make a table: two of one name.
    Table(TableError),
    /// More points than a table may have.
    TooManyPoints {
        /// The points of each axis.
        axes: Vec<usize>,
        /// The most that a table may have.
        most: usize,
    },
}

impl fmt::Display for ColumnError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Equation(error) => error.fmt(f),
            Self::Table(error) => error.fmt(f),
            Self::Length {
                name,
                found,
                expected,
            } => write!(
                f,
                "column {name} has {found} values where the others have {expected}; give every \
                 column the same length"
            ),
            Self::Outputs { found, expected } => write!(
                f,
                "{found} columns for {expected} results; give one column for each result"
            ),
            Self::NotAnInput { formula } => write!(
                f,
                "{formula} is a formula, not an input; sweep the inputs it is computed from"
            ),
            Self::Axis { name, problem } => write!(f, "the axis of {name} {problem}"),
            Self::TooManyPoints { axes, most } => write!(
                f,
                "axes of {axes:?} points make more than the {most} points that a table may have; \
                 take fewer points along each"
            ),
        }
    }
}

impl std::error::Error for ColumnError {}

impl From<TableError> for ColumnError {
    fn from(error: TableError) -> Self {
        Self::Table(error)
    }
}

impl From<EquationError> for ColumnError {
    fn from(error: EquationError) -> Self {
        Self::Equation(error)
    }
}
