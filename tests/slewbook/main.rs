//! Tests of the library and the program, one module per subject.
#![allow(non_snake_case, reason = "tests bind the symbols of the equations")]

mod check_figures;
mod support;
