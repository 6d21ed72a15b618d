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

/// A bar of the part that is done.
pub struct Progress {
    shown: u32,
    terminal: bool,
}

impl Progress {
    const WIDTH: usize = 40;

    /// A bar that shows nothing yet.
    pub fn new() -> Self {
        Self {
            shown: u32::MAX,
            terminal: std::io::stderr().is_terminal(),
        }
    }

    /// Shows that a part of the whole, up to 1, is done.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a percentage"
    )]
    pub fn reach(&mut self, part: f64) {
        let percent = (100.0 * part.clamp(0.0, 1.0)) as u32;
        if self.terminal && percent != self.shown {
            self.shown = percent;
            let full = percent as usize * Self::WIDTH / 100;
            let bar = "#".repeat(full) + &"-".repeat(Self::WIDTH - full);
            // A terminal that cannot be written to loses its progress only.
            let _ = write!(std::io::stderr(), "\r{bar} {percent:3} %");
        }
    }

    /// Leaves the line.
    pub fn end(&self) {
        if self.terminal {
            let _ = writeln!(std::io::stderr());
        }
    }
}
