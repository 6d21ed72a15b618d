//! The rationale: one self-contained HTML document that a reviewer can check
//! and re-run.
//!
//! No network, no scripts; equations are MathML, figures inline SVG with text
//! alternatives. Same input, same bytes.

mod blocks;
mod context;
mod figures;
mod losses;
mod operation;

use crate::design::Design;
use crate::equation::EquationError;
use crate::figure::FigureError;
use crate::identity::Program;
use crate::visible::visible;

/// Why there is no document.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum RationaleError {
    /// A derivation cannot be compiled.
    Equation(EquationError),
    /// A figure cannot be drawn.
    Figure(FigureError),
    /// The schemes cannot be compared.
    Compare(crate::compare::CompareError),
    /// The document's template and its content do not fit together.
    Template(String),
}

impl std::fmt::Display for RationaleError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Equation(error) => error.fmt(f),
            Self::Figure(error) => error.fmt(f),
            Self::Compare(error) => error.fmt(f),
            Self::Template(message) => write!(f, "the document's template: {message}"),
        }
    }
}

impl std::error::Error for RationaleError {}

impl From<EquationError> for RationaleError {
    fn from(error: EquationError) -> Self {
        Self::Equation(error)
    }
}

impl From<FigureError> for RationaleError {
    fn from(error: FigureError) -> Self {
        Self::Figure(error)
    }
}

/// The document as HTML.
///
/// # Errors
/// A derivation that cannot be compiled, a figure that cannot be drawn.
///
/// ```
/// use slewbook::{design::Design, rationale, stage::DEMONSTRATION};
/// let document = rationale::html(&Design::derive(DEMONSTRATION).unwrap()).unwrap();
/// assert!(document.contains("River sonde") && !document.contains("<script"));
/// ```
pub fn html(design: &Design) -> Result<String, RationaleError> {
    html_by(design, &Program::own())
}

/// The same as another program would write it, which computed the same.
pub(crate) fn html_by(design: &Design, program: &Program) -> Result<String, RationaleError> {
    let content = context::content(design, program)?;
    rendered("page.html", include_str!("page.html"), content)
}

/// A page from its template and its content.
pub(crate) fn rendered(
    name: &str,
    text: &str,
    content: impl serde::Serialize,
) -> Result<String, RationaleError> {
    let template = |error: minijinja::Error| RationaleError::Template(format!("{error:#}"));
    let mut environment = minijinja::Environment::new();
    environment.set_undefined_behavior(minijinja::UndefinedBehavior::Strict);
    environment.add_template(name, text).map_err(template)?;
    let page = environment.get_template(name).map_err(template)?;
    page.render(minijinja::value::Serde(content))
        .map(|page| visible(&page).into_owned())
        .map_err(template)
}
