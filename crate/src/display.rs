//! How results show themselves in a notebook.

/// The names that a notebook needs in scope to write down the types of quantities.
///
/// Only those: all of typenum would take names that people give to variables.
pub mod names {
    pub use crate::quantity::system::{Dimension, Q, Quantity, Units};
    pub use uom::Kind;
    pub use uom::typenum::{B0, B1, NInt, PInt, UInt, UTerm, Z0};
}
