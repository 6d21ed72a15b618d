//! The literate core: one expression gives the value, the shown equation, the
//! sensitivities and the program that is evaluated over ranges.
//!
//! A formula is written once, as a typed [`Term`]; the compiler checks its
//! dimension. Intermediate results carry names of their own ([`Term::named`]);
//! a [`Derivation`] lists them in order, each with its words and conditions.

pub mod bound;
pub(crate) mod charge;
mod compiler;
pub(crate) mod curve;
mod derivation;
mod diagnose;
mod error;
mod extreme;
mod glyph;
mod gradient;
mod line;
pub(crate) mod node;
mod operators;
mod point;
pub(crate) mod program;
pub(crate) mod quadrature;
mod record;
pub(crate) mod render;
pub(crate) mod root;
pub(crate) mod scalar;
mod shape;
mod term;

pub use curve::Curve;
pub use derivation::{Derivation, DerivationError};
pub use error::{CurveError, EquationError};
pub use extreme::{Extreme, Sense, Span, find as find_extreme};
pub use glyph::Glyph;
pub use gradient::Gradient;
pub use line::{Line, Numbers};
pub use node::{Comparison, Expression, Name, Node, Relation, Symbol};
pub use operators::{NoQuantity, SameDimension};
pub use point::Point;
pub use program::Program;
pub use record::{Condition, ConditionState, Outcome, Record, Sensitivity};
pub use scalar::Scalar;
pub use term::{Root, Term, Unknown};
