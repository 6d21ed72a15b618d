//! Work done on bounds by the thread, counted: the same on every machine, which a clock
//! is not.

use std::cell::Cell;

use super::enclosure::Enclosure;
use crate::equation::program::Body;

thread_local! {
    static DONE: Cell<u64> = const { Cell::new(0) };
}

/// Instructions of bodies that this thread has run so far, each counted once and once
/// more for every slope that it carries.
pub(super) fn done() -> u64 {
    DONE.get()
}

/// Runs a body, and counts it.
pub(super) fn run(
    body: &Body,
    captured: &[Enclosure],
    bound: &Enclosure,
    scratch: &mut Vec<Enclosure>,
) {
    let slopes = captured
        .iter()
        .chain([bound])
        .map(|e| e.partials.len())
        .max();
    let each = 1 + slopes.unwrap_or(0);
    DONE.set(DONE.get() + (body.code.len() * each) as u64);
    body.run(captured, bound, scratch);
}
