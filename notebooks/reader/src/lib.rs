//! Notebook files: read, compared with what their cells give now, and written
//! as pages.
//!
//! Nothing here runs a cell. A notebook comes from anybody, so that whatever its
//! file holds, reading it ends with a result or a reason in words, and the page
//! made of it runs nothing and loads nothing.

#![forbid(unsafe_code)]

pub mod compare;
pub mod export;
pub mod inputs;
mod markup;
pub mod notebook;
pub mod tag;

pub use compare::Comparison;
pub use notebook::{Cell, Notebook};
