//! The literate core: one expression gives the value, the shown equation, the
//! sensitivities and the program that is evaluated over ranges.
//!
//! A formula is written once, as a typed [`Term`]; the compiler checks its
//! dimension. Intermediate results carry names of their own ([`Term::named`]);
//! a [`Derivation`] lists them in order, each with its words and conditions.

mod curve;
mod derivation;
mod diagnose;
mod error;
mod extreme;
mod glyph;
mod gradient;
mod node;
mod program;
mod quadrature;
pub(crate) mod render;
mod root;
mod scalar;
mod shape;
mod term;

pub use curve::Curve;
pub use derivation::{
    Condition, ConditionState, Derivation, DerivationError, Line, Outcome, Point, Record,
};
pub use error::{CurveError, EquationError};
pub use extreme::{Extreme, Sense, Span, find as find_extreme};
pub use glyph::Glyph;
pub use gradient::Gradient;
pub use node::{Comparison, Expression, Name, Node, Relation, Symbol};
pub use program::Program;
pub use scalar::Scalar;
pub use term::{NoQuantity, Root, SameDimension, Term, Unknown};
