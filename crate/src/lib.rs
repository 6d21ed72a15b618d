//! slewbook: soft-switched converters from equations that compute themselves.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

#[macro_use]
extern crate uom;

pub mod cycle;
pub mod design;
pub mod display;
pub mod edge;
pub mod equation;
pub mod figure;
pub mod freewheel;
pub mod limit;
pub mod quantity;
pub mod rationale;
pub mod source;
pub mod stage;

/// The version of this library, as documents and data carry it.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");
