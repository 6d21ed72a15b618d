//! slewbook: soft-switched converters from equations that compute themselves.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

#[macro_use]
extern crate uom;

pub mod cycle;
pub mod display;
pub mod edge;
pub mod equation;
pub mod freewheel;
pub mod limit;
pub mod quantity;
pub mod stage;
