//! The simulation of the stage with its control.

mod agreement;
mod check_figures;
mod laws;
mod stage;
