//! Guaranteed bounds: between which values a result lies for every combination
//! of its inputs inside their ranges.
//!
//! The expression that is shown and computed is evaluated once more in
//! [intervals](Interval) rounded outward, together with its slopes. Where a
//! slope has one sign, the extreme lies at an end of that input's range; elsewhere
//! the box of ranges is halved until the bound is as sharp as asked for. A bound
//! that cannot be proven is not given: [`NoBound`] says why.

mod curve;
mod enclosure;
mod function;
mod interval;
mod quadrature;
mod search;
mod solution;
mod work;

use super::error::EquationError;
use super::extreme::Span;
use super::node::Expression;
use super::point::Point;
use super::program::Program;
use super::record::{Condition, Record};
use super::render;
use crate::quantity::{Exponents, print_value};

pub use interval::Interval;

/// How much work a bound may take, and how sharp it shall be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effort {
    /// Evaluations of the expression over a box, at most.
    pub evaluations: usize,
    /// The excess at which a bound counts as sharp, as a part of the span of values
    /// known to be attained.
    pub excess: f64,
    /// Instructions of integrands and equations, at most for each of three: what is
    /// proven at first, the lower bound, and the upper one. What costs little stays below
    /// it whatever its evaluations are.
    pub work: u64,
}

impl Default for Effort {
    fn default() -> Self {
        Self {
            evaluations: 2000,
            excess: 0.02,
            work: 40_000_000,
        }
    }
}

impl Effort {
    /// The effort for each of several bounds that share the work of this one.
    #[must_use]
    pub fn shared(self, bounds: usize) -> Self {
        Self {
            work: self.work / (bounds.max(1) as u64),
            ..self
        }
    }
}

/// A guaranteed bound.
#[derive(Clone, Debug, PartialEq)]
pub struct Bounds {
    /// No value lies below, in the coherent unit.
    pub low: f64,
    /// No value lies above.
    pub high: f64,
    /// Values that are attained, the least and the greatest known: how far the
    /// bound is at most from the true range.
    pub attained: [f64; 2],
    /// Evaluations that it took.
    pub evaluations: usize,
    /// Whether the evaluations allowed ended before the bound was as sharp as
    /// asked for. It holds all the same.
    pub exhausted: bool,
    /// The dimension.
    pub exponents: Exponents,
}

impl Bounds {
    /// The width of the bound over that of the values known to be attained; one
    /// where the bound is exact. The true excess is no greater.
    #[must_use]
    pub fn sharpness(&self) -> f64 {
        let known = self.attained[1] - self.attained[0];
        if known > 0.0 {
            (self.high - self.low) / known
        } else {
            1.0
        }
    }

    /// The bound as a sentence, its ends rounded outward to four digits; what
    /// exceeds a digit by the rounding of doubles only is taken as that digit.
    #[must_use]
    pub fn sentence(&self) -> String {
        format!(
            "for every combination inside the ranges: {}",
            self.between()
        )
    }

    /// Between which values, the ends as in [`Bounds::sentence`].
    #[must_use]
    pub fn between(&self) -> String {
        format!(
            "between {} and {}",
            print_value(outward(self.low, false), self.exponents, 4),
            print_value(outward(self.high, true), self.exponents, 4)
        )
    }
}

/// The nearest number of four digits not below, or not above.
fn outward(value: f64, up: bool) -> f64 {
    if value == 0.0 {
        return value;
    }
    let unit = 10.0_f64.powf(value.abs().log10().floor() - 3.0);
    let units = value / unit;
    let whole = if up {
        (units - 1e-9).ceil()
    } else {
        (units + 1e-9).floor()
    };
    whole * unit
}

/// Why there is no guaranteed bound.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum NoBound {
    /// The formula cannot be evaluated at all.
    Equation(EquationError),
    /// A range is not one: its ends are not finite or do not rise.
    Range {
        /// The symbol.
        symbol: String,
        /// Its least value.
        low: f64,
        /// Its greatest value.
        high: f64,
    },
    /// A condition is violated somewhere inside the ranges.
    Violated {
        /// The condition.
        condition: String,
        /// Where, as `symbol = value`.
        place: String,
    },
    /// A condition is not proven everywhere inside the ranges.
    Unproven {
        /// The condition.
        condition: String,
    },
    /// An operation may leave its domain: a root of a number below zero, a
    /// division by zero.
    Domain,
    /// An equation is not proven to have exactly one solution in its bracket.
    Solution,
    /// The values are not proven to stay finite.
    Unbounded,
}

impl std::fmt::Display for NoBound {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("no bound: ")?;
        match self {
            Self::Equation(error) => error.fmt(f),
            Self::Range { symbol, low, high } => write!(
                f,
                "the range of {symbol} from {low} to {high} is none; give finite ends, the lesser first"
            ),
            Self::Violated { condition, place } => {
                write!(f, "it does not hold that {condition}, at {place}")
            }
            Self::Unproven { condition } => write!(
                f,
                "it is not proven inside all ranges that {condition}; narrower ranges may be"
            ),
            Self::Domain => f.write_str(
                "an operation may leave its domain inside the ranges, such as a root of a number \
                 below zero; narrower ranges may be proven",
            ),
            Self::Solution => f.write_str(
                "an equation is not proven to have exactly one solution in its bracket; narrower \
                 ranges may be proven",
            ),
            Self::Unbounded => f.write_str("the values are not proven to stay finite"),
        }
    }
}

impl std::error::Error for NoBound {}

impl From<EquationError> for NoBound {
    fn from(error: EquationError) -> Self {
        Self::Equation(error)
    }
}

/// The bound of a derivation over ranges of inputs, the others at `point`. Its
/// conditions must be proven inside all ranges.
///
/// It holds for the formula in real numbers; the rounding of a computed value,
/// some units of its last digit, comes on top.
///
/// # Errors
/// No bound, with the reason.
///
/// ```
/// use slewbook::{bound, freewheel, equation::{Point, Span}};
/// use slewbook::stage::{DEMONSTRATION, Specification, Stage};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let inductance = specification.inductance.unwrap();
/// let stage = Stage::new(specification, inductance, "specification");
/// let floor = freewheel::floor(&stage);
/// let bounds = bound::over(&floor, &Point::own(), &stage.spans(), bound::Effort::default()).unwrap();
/// assert_eq!(
///     bounds.sentence(),
///     "for every combination inside the ranges: between 361.3 mA and 623.7 mA"
/// );
/// ```
pub fn over(
    record: &Record,
    point: &Point,
    spans: &[Span],
    effort: Effort,
) -> Result<Bounds, NoBound> {
    over_expression(record.result(), record.conditions(), point, spans, effort)
}

/// As [`over`], of an expression under conditions.
///
/// # Errors
/// No bound, with the reason.
pub fn over_expression(
    expression: Expression,
    conditions: &[Condition],
    point: &Point,
    spans: &[Span],
    effort: Effort,
) -> Result<Bounds, NoBound> {
    for span in spans {
        if !(span.low <= span.high && span.low.is_finite() && span.high.is_finite()) {
            return Err(NoBound::Range {
                symbol: span.symbol.glyph().to_string(),
                low: span.low,
                high: span.high,
            });
        }
    }
    let mut outputs = vec![expression];
    for condition in conditions {
        outputs.extend([condition.comparison.left, condition.comparison.right]);
    }
    let program = Program::compile(&outputs)?;
    let search = search::Search::new(&program, conditions, point, spans, effort);
    search.run(expression.exponents())
}

fn words(condition: &Condition) -> String {
    format!(
        "{} ({})",
        condition.words,
        render::text::write(&render::layout::comparison(&condition.comparison))
    )
}
