//! Verdicts against the cells that they speak of.

mod design;
mod law;
mod pasted;
