//! What the user describes: the specification, and the stage built from it.

mod check;
mod correlation;
mod model;
mod problem;
mod reader;
mod specification;
mod spread;

pub use correlation::Correlation;
pub use model::{Axes, Stage};
pub use problem::{Problem, Problems};
pub use specification::{
    Clamp, DEMONSTRATION, Decision, LARGEST, Placed, Range, Rejected, Specification, Transistor,
    Trip,
};
pub use spread::Spreads;
