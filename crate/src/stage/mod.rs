//! What the user describes: the specification, and the stage built from it.

mod check;
mod model;
mod problem;
mod reader;
mod specification;

pub use model::{Axes, Stage};
pub use problem::{Problem, Problems};
pub use specification::{
    Clamp, DEMONSTRATION, Decision, Placed, Range, Rejected, Specification, Transistor, Trip,
};
