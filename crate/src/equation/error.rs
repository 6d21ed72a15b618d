//! What can be wrong with an expression or its value.

use std::fmt;

/// An error of an expression: each says what was found, where, and what to do.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum EquationError {
    /// Two different symbols share a name.
    DuplicateSymbol {
        /// The name.
        name: String,
    },
    /// An operation outside its domain: no real number results.
    Domain {
        /// The operation as written.
        operation: String,
        /// The operand's value as printed.
        operand: String,
        /// What the operation accepts.
        expected: &'static str,
    },
    /// An equation without a solution inside its bracket.
    NoSolution {
        /// The unknown.
        unknown: String,
        /// The bracket's ends as printed.
        between: [String; 2],
    },
    /// An unknown that no equation was given for, or a variable outside its integral.
    Unbound {
        /// The symbol.
        symbol: String,
    },
    /// An overflow: the inputs are far outside any sensible range.
    Overflow {
        /// The operation as written.
        operation: String,
    },
    /// An input that the expression does not contain.
    UnknownInput {
        /// The name.
        name: String,
        /// The inputs there are.
        known: String,
    },
    /// A curve that cannot be used.
    Curve(CurveError),
}

impl fmt::Display for EquationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::DuplicateSymbol { name } => write!(
                f,
                "two different symbols are named {name}; create each symbol once and pass it on, \
                 or rename one"
            ),
            Self::Domain {
                operation,
                operand,
                expected,
            } => write!(
                f,
                "{operation} has no value: its operand is {operand}, and it needs {expected}"
            ),
            Self::NoSolution {
                unknown,
                between: [lower, upper],
            } => write!(
                f,
                "no solution for {unknown} between {lower} and {upper}: the equation's two sides \
                 do not meet there"
            ),
            Self::Unbound { symbol } => write!(
                f,
                "{symbol} has no value: give its equation, or use it inside its integral only"
            ),
            Self::Overflow { operation } => {
                write!(
                    f,
                    "{operation} is not finite; check the inputs' orders of magnitude"
                )
            }
            Self::UnknownInput { name, known } => {
                write!(
                    f,
                    "the expression has no input {name}; its inputs are {known}"
                )
            }
            Self::Curve(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for EquationError {}

impl From<CurveError> for EquationError {
    fn from(error: CurveError) -> Self {
        Self::Curve(error)
    }
}

/// Why a capacitance curve cannot be used.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum CurveError {
    /// A parameter outside its range.
    Parameter {
        /// Its key.
        name: &'static str,
        /// Its value in the coherent unit.
        value: f64,
        /// What is accepted.
        expected: &'static str,
    },
    /// A table with fewer than two points.
    TooFewPoints {
        /// How many there are.
        points: usize,
    },
    /// A table whose voltages do not rise.
    NotRising {
        /// The first point (from 1) that does not lie above the one before it.
        point: usize,
        /// Its voltage, in volts.
        voltage: f64,
    },
}

impl fmt::Display for CurveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Parameter {
                name,
                value,
                expected,
            } => {
                write!(f, "{name} = {value} is out of range; expected {expected}")
            }
            Self::TooFewPoints { points } => write!(
                f,
                "too few points for a curve: {points}; give at least two, or `constant`"
            ),
            Self::NotRising { point, voltage } => write!(
                f,
                "point {point} of the table ({voltage} V) does not lie above the one before it; \
                 sort the points by voltage"
            ),
        }
    }
}

impl std::error::Error for CurveError {}
