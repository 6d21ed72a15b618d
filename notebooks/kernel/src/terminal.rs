//! What the program says to a person.
//!
//! Names, messages and texts come from notebooks and files: whatever would move
//! the cursor or turn the direction of writing is shown escaped. Who listens may
//! have gone away; that is no reason to stop.

use std::fmt::Display;
use std::io::Write;

use slewbook::visible::visible;

/// A line on standard output.
pub fn say(text: impl Display) {
    let _ = writeln!(std::io::stdout(), "{}", visible(&text.to_string()));
}

/// A line on standard error.
pub fn complain(text: impl Display) {
    let _ = writeln!(std::io::stderr(), "{}", visible(&text.to_string()));
}
