//! Tests of the library and the program, one module per subject.
#![allow(non_snake_case, reason = "tests bind the symbols of the equations")]

mod catalogue;
mod check_figures;
mod formula_index;
mod independent;
mod laws;
mod reading;
mod references;
mod support;
