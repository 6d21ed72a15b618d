//! Limits: how large the inductance may be, what the parts must block, and how
//! large the capacitors must be.

mod inductance;
mod preferred;
mod ripple;
mod stress;

pub use inductance::{boundary, ceiling, ceiling_operating};
pub use preferred::{Series, at_least, at_most};
pub use ripple::{
    flying_capacitance_needed, flying_ripple, output_capacitance_needed, output_ripple,
};
pub use stress::{
    clamp_blocking, clamp_blocking_start, outermost_blocking_start, outermost_blocking_step,
    release_path_current, transistor_blocking,
};
