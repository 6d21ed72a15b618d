//! slewbook: soft-switched converters from equations that compute themselves.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

#[macro_use]
extern crate uom;

pub mod cycle;
pub mod design;
pub mod edge;
pub mod equation;
pub mod freewheel;
pub mod limit;
pub mod quantity;
pub mod stage;

pub use equation::bound;

/// The version of this library, as documents and data carry it.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");
