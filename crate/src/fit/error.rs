//! Why nothing was fitted.

use std::fmt;

/// Why nothing was fitted.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum FitError {
    /// Not more residuals than parameters.
    FewResiduals {
        /// The residuals.
        residuals: usize,
        /// The parameters.
        parameters: usize,
    },
    /// The model has no value at the start, or next to where the search is.
    NoValue {
        /// The parameters there.
        at: Vec<(&'static str, f64)>,
    },
    /// The data do not tell some parameters.
    Undetermined {
        /// Parameters that can change together without a change of residuals.
        together: Vec<&'static str>,
    },
    /// The search came to no end.
    NoEnd {
        /// The parameters where it stood.
        at: Vec<(&'static str, f64)>,
    },
}

/// Parameters with their values, in words.
fn shown(at: &[(&'static str, f64)]) -> String {
    let each = at.iter().map(|(name, value)| format!("{name} = {value:e}"));
    each.collect::<Vec<String>>().join(", ")
}

impl fmt::Display for FitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FewResiduals {
                residuals,
                parameters,
            } => write!(
                f,
                "{residuals} points for {parameters} parameters; expected more points than parameters"
            ),
            Self::NoValue { at } => write!(
                f,
                "the model has no value at {}; start nearer to the answer",
                shown(at)
            ),
            Self::Undetermined { together } => write!(
                f,
                "the data do not tell {}; add data that do, or fit fewer parameters",
                together.join(" and ")
            ),
            Self::NoEnd { at } => write!(
                f,
                "the fit came to no end and stood at {}; start nearer to the answer",
                shown(at)
            ),
        }
    }
}

impl std::error::Error for FitError {}
