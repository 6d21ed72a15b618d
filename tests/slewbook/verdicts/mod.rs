//! Verdicts against the cells that they speak of.

pub mod design;
mod law;
mod pasted;
