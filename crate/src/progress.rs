//! How far a longer work has come, on standard error where a person watches it.

use std::io::{IsTerminal as _, Write as _};

/// Characters of a full bar.
const WIDTH: usize = 30;

/// Shows that `done` of `all` things named `what` are worked out; clears the line at the
/// end.
pub fn show(what: &str, done: usize, all: usize) {
    if done < all {
        let bar = bar(done, all);
        write(&format!("\r{what} {bar} {done} of {all}"));
    } else {
        write(&format!("\r{}\r", " ".repeat(WIDTH + 40)));
    }
}

/// A bar of the part that is done.
pub struct Progress {
    /// The percentage shown last.
    shown: Option<usize>,
}

impl Progress {
    /// A bar that shows nothing yet.
    pub fn new() -> Self {
        Self { shown: None }
    }

    /// Shows that a part of the whole, up to 1, is done.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a percentage"
    )]
    pub fn reach(&mut self, part: f64) {
        let percent = (100.0 * part.clamp(0.0, 1.0)) as usize;
        if self.shown != Some(percent) {
            self.shown = Some(percent);
            write(&format!("\r{} {percent:3} %", bar(percent, 100)));
        }
    }

    /// Leaves the line.
    pub fn end(self) {
        if self.shown.is_some() {
            write("\n");
        }
    }
}

fn bar(done: usize, all: usize) -> String {
    let full = done * WIDTH / all;
    format!("[{}{}]", "#".repeat(full), ".".repeat(WIDTH - full))
}

/// Writes to a terminal; a standard error that is none gets nothing.
fn write(text: &str) {
    let mut out = std::io::stderr().lock();
    if out.is_terminal() {
        // A bar that cannot be shown is no reason to stop.
        let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    }
}
