//! Whether a document is what its inputs give.
//!
//! A document carries the texts that it was computed from. They are computed again, the
//! document is written again, and both are compared: all that a reader sees, and the digest
//! of the texts.
//!
//! ```no_run
//! use slewbook::{design::{self, Design}, stage::DEMONSTRATION, verify};
//! let document = design::json(&Design::derive(DEMONSTRATION).unwrap());
//! let quiet = |_, _| {};
//! assert!(verify::document(&document, &quiet).unwrap().holds());
//! let report = verify::document(&document.replacen("not met", "met", 1), &quiet).unwrap();
//! assert_eq!(report.differences[0].quantity, "verdict");
//! ```

mod align;
mod data;
mod document;
mod embedded;
mod markup;
mod page;
mod report;

use std::fmt;

pub use report::{Difference, Kind, Report};

use crate::bound::Effort;
use crate::design::{self, Design, DesignError, Guarantee};
use crate::rationale::{self, RationaleError};
use crate::stage::{Problems, Specification};
use embedded::{Embedded, Form};

/// Bytes beyond which a file is not taken for a document.
pub const LARGEST: usize = 1 << 25;

/// Why a document cannot be compared.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum VerifyError {
    /// It is none of ours: what is missing in it.
    Foreign(String),
    /// The specification in it has problems.
    Specification(Problems),
    /// Nothing can be derived from it.
    Design(DesignError),
    /// It cannot be written again.
    Rationale(RationaleError),
}

impl fmt::Display for VerifyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Foreign(why) => write!(
                f,
                "{why}; expected a document as `slewbook rationale` or `slewbook derive --json` \
                 writes it"
            ),
            Self::Specification(problems) => {
                write!(f, "the specification in it cannot be read: {problems}")
            }
            Self::Design(error) => write!(f, "the specification in it: {error}"),
            Self::Rationale(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for VerifyError {}

impl From<RationaleError> for VerifyError {
    fn from(error: RationaleError) -> Self {
        Self::Rationale(error)
    }
}

impl From<DesignError> for VerifyError {
    fn from(error: DesignError) -> Self {
        Self::Design(error)
    }
}

/// Computes a document again from the texts in it, and compares.
///
/// Words and printed digits have to be the same, coordinates of figures within a thirtieth
/// of a millimetre, numbers of data within 1e-9 of them. `progress` is told how many
/// guaranteed bounds of how many are worked out, where the document has them.
///
/// # Errors
/// What is no document of this program, or holds a specification that cannot be read.
pub fn document(
    text: &str,
    progress: &(impl Fn(usize, usize) + Sync),
) -> Result<Report, VerifyError> {
    let embedded = Embedded::read(text)?;
    let specification = embedded.specification()?;
    let hash = specification.hash();
    let mut design = Design::of(specification)?;
    let open = |design: &Design| {
        let mut all = design.findings.iter();
        all.any(|own| own.guarantee == Guarantee::NotAsked)
    };
    if embedded.bounds && open(&design) {
        design
            .guarantee(Effort::default(), progress)
            .map_err(DesignError::Equation)?;
    }
    let mut report = Report::new(embedded.program.clone(), hash);
    let computed = match &embedded.form {
        Form::Page => {
            let computed = rationale::html_by(&design, &embedded.program)?;
            document::compare(text, &computed, &mut report);
            computed
        }
        Form::Data(written) => {
            let computed = design::json_by(&design, &embedded.program);
            let value = serde_json::from_str(&computed).unwrap_or_default();
            data::compare(written, &value, &mut report);
            computed
        }
    };
    report.identical = text.trim_end() == computed.trim_end();
    Ok(report)
}

/// The specification in a document.
///
/// # Errors
/// What is no document of this program, or holds a specification that cannot be read.
pub fn specification(text: &str) -> Result<Specification, VerifyError> {
    Embedded::read(text)?.specification()
}
