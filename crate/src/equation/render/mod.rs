//! Rendering: one walk from an expression to a layout, one writer per notation.
//!
//! The author's order of factors and terms is kept; nothing is simplified.
//! Writers return bare mathematics: the caller adds delimiters.

pub(crate) mod latex;
pub(crate) mod layout;
pub(crate) mod mathml;
pub(crate) mod text;

pub(crate) use layout::{Layout, definition, expression, with_numbers};
