//! How far a longer work has come, on standard error where a person watches it.

use std::io::{IsTerminal as _, Write as _};

/// Characters of a full bar.
const WIDTH: usize = 30;

/// Shows that `done` of `all` bounds are worked out; clears the line at the end.
/// A standard error that is no terminal gets nothing.
pub fn show(done: usize, all: usize) {
    let mut out = std::io::stderr().lock();
    if !out.is_terminal() {
        return;
    }
    let line = if done < all {
        let full = done * WIDTH / all;
        format!(
            "\rguaranteed bounds [{}{}] {done} of {all}",
            "#".repeat(full),
            ".".repeat(WIDTH - full)
        )
    } else {
        format!("\r{}\r", " ".repeat(WIDTH + 40))
    };
    // A bar that cannot be shown is no reason to stop.
    let _ = out.write_all(line.as_bytes()).and_then(|()| out.flush());
}
