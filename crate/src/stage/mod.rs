//! What the user describes: the specification, and the stage built from it.

mod check;
mod circuit;
mod correlation;
mod model;
mod part;
mod problem;
mod reader;
mod specification;
mod spread;

pub use circuit::{Circuit, Freewheel, MissingPart, OperatingPoint, Switch};
pub use correlation::Correlation;
pub use model::{Axes, Stage};
pub use part::Parts;
pub use problem::{Problem, Problems};
pub use specification::{
    Clamp, ClampDiode, DEMONSTRATION, Decision, LARGEST, Placed, Range, Rejected, Specification,
    Transistor, Trip,
};
pub use spread::Spreads;
