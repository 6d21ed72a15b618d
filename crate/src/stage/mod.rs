//! What the user describes: the specification, and the stage built from it.

mod catalogue;
mod check;
mod circuit;
mod control;
mod correlation;
mod edit;
mod hash;
mod model;
mod part;
mod problem;
mod reader;
mod specification;
mod spread;
mod uncertain;

pub use catalogue::{PARTS, check_parts};
pub(crate) use check::point_notes;
pub use circuit::{Circuit, Freewheel, MissingPart, OperatingPoint, Switch};
pub use control::Control;
pub use correlation::Correlation;
pub use edit::Edit;
pub use hash::Input;
#[cfg(feature = "program")]
pub(crate) use hash::digest;
pub use model::{Axes, Stage};
pub use part::{InductorData, Parts, SteinmetzData, SwitchData, WindingData};
pub use problem::{Problem, Problems};
pub(crate) use specification::GREATEST_VOLTAGE;
pub use specification::{
    Clamp, ClampDiode, DEMONSTRATION, Decision, LARGEST, Placed, Range, Rejected, Specification,
    Transistor, Trip,
};
pub use spread::Spreads;
pub use uncertain::{Deviation, UncertainInput};
