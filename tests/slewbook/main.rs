//! Tests of the library and the program, one module per subject.
#![allow(non_snake_case, reason = "tests bind the symbols of the equations")]

mod check_figures;
mod columns;
#[cfg(feature = "frames")]
mod frames;
mod published;
mod spread;
mod support;
mod tables;
mod uncertainty;
