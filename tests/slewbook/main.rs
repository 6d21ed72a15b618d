//! Tests of the library and the program, one module per subject.
#![allow(non_snake_case, reason = "tests bind the symbols of the equations")]

mod check_figures;
mod commands;
mod compile_fail;
mod document;
mod latex;
mod malformed;
mod mutations;
mod program;
mod quantities;
mod rendering;
mod support;
