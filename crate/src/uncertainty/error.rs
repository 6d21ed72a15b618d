//! What can be wrong with stated uncertainties.

use std::fmt;

use crate::equation::EquationError;

/// An error of an uncertainty: what was found, what was expected, what to do.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum UncertaintyError {
    /// A width, uncertainty, count or probability outside its range.
    Range {
        /// What it is, in words.
        what: &'static str,
        /// Its value, in the coherent unit.
        value: f64,
        /// What is accepted.
        expected: &'static str,
    },
    /// A distribution of another dimension than its input.
    Dimension {
        /// The input.
        symbol: String,
        /// The input's unit.
        expected: String,
        /// The distribution's unit.
        found: String,
    },
    /// A correlation that names an input without uncertainty.
    NotUncertain {
        /// The input.
        symbol: String,
    },
    /// Correlation coefficients that cannot all hold together.
    Inconsistent {
        /// The input at which they fail.
        symbol: String,
    },
    /// A correlation for which there is no joint distribution to draw from.
    NoJointDistribution {
        /// The input that is triangular.
        symbol: String,
    },
    /// A normal and a rectangular input correlated more than they can be.
    Unreachable {
        /// One of the inputs.
        symbol: String,
        /// The coefficient.
        coefficient: f64,
        /// The greatest that there can be.
        most: f64,
    },
    /// Observations that are too few or not simultaneous.
    Observations {
        /// What is wrong, in words.
        problem: String,
    },
    /// An expression that cannot be compiled, or has no value at the estimates.
    Equation(EquationError),
    /// A derivative that is not finite: the formula has a vertical tangent here.
    NoDerivative {
        /// The input.
        symbol: String,
    },
}

impl fmt::Display for UncertaintyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Range {
                what,
                value,
                expected,
            } => write!(f, "{what} is {value}; expected {expected}"),
            Self::Dimension {
                symbol,
                expected,
                found,
            } => write!(
                f,
                "the uncertainty of {symbol} is given in \"{found}\"; expected \"{expected}\", as \
                 {symbol} itself"
            ),
            Self::NotUncertain { symbol } => write!(
                f,
                "a correlation names {symbol}, which has no uncertainty; state its uncertainty \
                 first"
            ),
            Self::Inconsistent { symbol } => write!(
                f,
                "the correlation coefficients up to {symbol} cannot hold together: their matrix is \
                 not positive semi-definite; check their signs and magnitudes"
            ),
            Self::NoJointDistribution { symbol } => write!(
                f,
                "{symbol} is correlated and triangular; only normal and rectangular distributions \
                 are drawn jointly: give it one of these, or leave the correlation out"
            ),
            Self::Unreachable {
                symbol,
                coefficient,
                most,
            } => write!(
                f,
                "the correlation coefficient {coefficient} of {symbol} is beyond what a normal and \
                 a rectangular distribution can have; expected from -{most:.3} to {most:.3}, or one \
                 form for both"
            ),
            Self::Observations { problem } => f.write_str(problem),
            Self::Equation(error) => error.fmt(f),
            Self::NoDerivative { symbol } => write!(
                f,
                "the result has no finite derivative by {symbol} here, so uncertainty cannot be \
                 propagated; draw samples instead"
            ),
        }
    }
}

impl std::error::Error for UncertaintyError {}

impl From<EquationError> for UncertaintyError {
    fn from(error: EquationError) -> Self {
        Self::Equation(error)
    }
}
