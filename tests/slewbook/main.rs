//! Tests of the library and the program, one module per subject.
#![allow(non_snake_case, reason = "tests bind the symbols of the equations")]

mod bounds;
mod catalogue;
mod check_figures;
mod columns;
mod commands;
mod compile_fail;
mod document;
mod formula_index;
#[cfg(feature = "frames")]
mod frames;
mod independent;
mod latex;
mod laws;
mod malformed;
mod mutations;
mod program;
mod published;
mod quantities;
mod quick_cell;
mod reading;
mod references;
mod rendering;
mod spread;
mod support;
mod tables;
mod uncertainty;
