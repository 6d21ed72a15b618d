//! slewbook: soft-switched converters from equations that compute themselves.
//!
//! Data passes through the rooms in this order:
//!
//! 1. [`mod@quantity`]: numbers with units;
//! 2. [`equation`]: typed formulas that are shown, computed and differentiated
//!    from one source; [`source`]: where they come from;
//! 3. [`stage`]: the specification and the power stage built from it;
//!    [`scheme`]: the ways to run it;
//! 4. [`freewheel`], [`edge`], [`cycle`], [`limit`]: the derivations;
//!    [`mod@timeline`]: the simulation of the stage with its control;
//! 5. [`in_force`]: inductance, trip threshold and dead times as stated or as they
//!    follow, and the circuit that has them; [`loss`]: what each mechanism dissipates;
//! 6. [`design`]: every result where it is worst, and the verdicts;
//! 7. [`compare`]: schemes side by side on the same parts; [`caution`]: what can hurt;
//!    [`recording`]: what was measured on the bench, read and checked; `fit` (with feature
//!    `fit`): parameters of a model that measurements tell;
//! 8. [`figure`], [`display`], `rationale` (with feature `program`): what a
//!    person reads;
//! 9. `verify` (with feature `program`): whether a document is what its inputs give;
//!    [`changes`]: what differs between two revisions; [`identity`]: what computed it;
//! 10. `file` (with feature `files`): how the programs read and write files.
//!
//! Start with [`design::Design::derive`] for a whole specification, with
//! [`equation::Term`] for a formula of your own.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

#[macro_use]
extern crate uom;

pub mod brief;
pub mod caution;
pub mod changes;
pub mod column;
pub mod compare;
pub mod cycle;
pub mod design;
pub mod display;
pub mod edge;
pub mod equation;
pub mod figure;
#[cfg(feature = "files")]
pub mod file;
#[cfg(feature = "fit")]
pub mod fit;
pub mod freewheel;
pub mod hash;
pub mod identity;
pub mod in_force;
pub mod limit;
pub mod loss;
pub mod map;
mod nearest;
pub mod quantity;
#[cfg(feature = "program")]
pub mod rationale;
pub mod recording;
pub mod scheme;
pub mod source;
pub mod stage;
pub mod table;
pub mod timeline;
pub mod uncertainty;
pub mod verdict;
#[cfg(feature = "program")]
pub mod verify;
pub mod visible;

pub use equation::bound;

/// The version of this library, as documents and data carry it.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// The README's code, compiled and run with the documentation tests.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
mod readme {}
