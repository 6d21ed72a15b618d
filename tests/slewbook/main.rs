//! Tests of the library and the program, one module per subject.
#![allow(non_snake_case, reason = "tests bind the symbols of the equations")]

mod check_figures;
mod columns;
mod commands;
mod compile_fail;
mod document;
#[cfg(feature = "frames")]
mod frames;
mod latex;
mod malformed;
mod mutations;
mod program;
mod published;
mod quantities;
mod rendering;
mod spread;
mod support;
mod tables;
mod uncertainty;
