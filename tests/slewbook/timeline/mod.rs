//! The simulation of the stage with its control.
#![expect(clippy::cast_precision_loss, reason = "numbers of pairs are small")]

mod agreement;
mod check_figures;
mod default_gains;
mod laws;
mod losses;
mod margins;
mod random;
mod ripple;
mod running;
mod scenarios;
mod stability;
mod stage;
mod window;
