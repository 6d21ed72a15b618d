//! slewbook: soft-switched converters from equations that compute themselves.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

#[macro_use]
extern crate uom;

pub mod display;
pub mod equation;
pub mod quantity;
