//! What can be wrong with a table.

use std::fmt;

/// Why a table cannot be built, read or written.
#[derive(Debug)]
#[non_exhaustive]
pub enum TableError {
    /// A name that is empty, or has a line break or a byte order mark.
    Name {
        /// The name.
        name: String,
    },
    /// Two columns of one name.
    DuplicateName {
        /// The name.
        name: String,
    },
    /// A column of another length than the others.
    Length {
        /// The column.
        name: String,
        /// Its length.
        found: usize,
        /// The others' length.
        expected: usize,
    },
    /// A header without name or unit.
    Header {
        /// The header as written.
        header: String,
    },
    /// A cell that is no number.
    Cell {
        /// The row's line in the file, from 1.
        line: usize,
        /// The column's header.
        header: String,
        /// The cell as written.
        cell: String,
    },
    /// A row with more or fewer cells than there are columns.
    Cells {
        /// The row's line in the file, from 1.
        line: usize,
        /// Its cells.
        found: usize,
        /// The columns.
        expected: usize,
    },
    /// A quotation mark that is not closed, or stands inside a cell.
    Quotation {
        /// The line in the file, from 1, on which the cell starts.
        line: usize,
    },
    /// A data frame's column that does not hold numbers.
    NotNumbers {
        /// The column's header.
        header: String,
        /// What it holds.
        found: String,
    },
    /// A table with other columns than the file it is written to.
    Columns {
        /// Its columns' headers.
        found: String,
        /// Those of the file.
        expected: String,
    },
    /// The file's own description of its columns does not fit them.
    Description {
        /// What does not fit.
        problem: String,
    },
    /// Reading or writing failed.
    Io(std::io::Error),
    /// The data-frame library refused.
    Frame(String),
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Name { name } => write!(
                f,
                "{name:?} cannot name a column; give a name in one line, such as input_voltage"
            ),
            Self::DuplicateName { name } => {
                write!(f, "two columns are named {name}; rename one")
            }
            Self::Length {
                name,
                found,
                expected,
            } => write!(
                f,
                "column {name} has {found} rows where the others have {expected}; give every \
                 column the same length"
            ),
            Self::Header { header } => write!(
                f,
                "{header:?} does not head a column; expected a name and a unit, such as \
                 input_voltage_V, or the name alone of plain numbers or words"
            ),
            Self::Cell { line, header, cell } => write!(
                f,
                "line {line}, column {header}: {cell:?} is not a finite number; expected one such \
                 as 3.3 or 6.8e-7, or nothing where there is no value"
            ),
            Self::Cells {
                line,
                found,
                expected,
            } => write!(
                f,
                "line {line} has {found} cells for {expected} columns; separate cells by commas, \
                 with a point as the decimal marker"
            ),
            Self::Quotation { line } => write!(
                f,
                "line {line}: a quotation mark is not closed, or stands inside a cell; put the \
                 whole cell in quotation marks and double those inside"
            ),
            Self::NotNumbers { header, found } => write!(
                f,
                "column {header} holds {found}, not numbers; leave it out or convert it first"
            ),
            Self::Columns { found, expected } => write!(
                f,
                "the rows have the columns {found} and the file has {expected}; write them to a \
                 file of their own"
            ),
            Self::Description { problem } => write!(
                f,
                "the file's description of its columns does not fit: {problem}; write the file \
                 anew, or remove the description"
            ),
            Self::Io(error) => error.fmt(f),
            Self::Frame(message) => f.write_str(message),
        }
    }
}

impl std::error::Error for TableError {}

impl From<std::io::Error> for TableError {
    fn from(error: std::io::Error) -> Self {
        Self::Io(error)
    }
}
