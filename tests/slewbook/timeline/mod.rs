//! The simulation of the stage with its control.

mod check_figures;
mod laws;
mod stage;
