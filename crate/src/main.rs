//! The program `slewbook`: from a specification to a rationale, or to its
//! results for machines and papers.

#![forbid(unsafe_code)]

mod command;
mod progress;

use std::io::Write as _;
use std::process::ExitCode;

use slewbook::visible::visible;

/// Done; a failed verdict is still done, unless it was asked to hold.
const DONE: u8 = 0;
/// The input or the command line is wrong, or the output cannot be written.
const BAD_INPUT: u8 = 2;
/// Anything else.
const OTHER: u8 = 1;
/// All is done, and what was asked to hold does not.
const UNMET: u8 = 3;

/// Characters of a line on standard error.
const LONGEST_LINE: usize = 2000;

fn main() -> ExitCode {
    // Without it, what is unfinished would stay behind: nothing worse.
    let _ = slewbook::file::take_away_on_signals();
    let code = match command::run(std::env::args_os().skip(1)) {
        Ok(()) | Err(command::Failure::Closed) => DONE,
        Err(command::Failure::Input(message)) => {
            say(&message);
            BAD_INPUT
        }
        Err(command::Failure::Unmet(message)) => {
            say(&format!("slewbook: {message}"));
            UNMET
        }
        Err(command::Failure::Other(message)) => {
            say(&format!("slewbook: {message}"));
            OTHER
        }
    };
    ExitCode::from(code)
}

/// Says something on standard error; one that is closed is no reason to panic.
fn say(message: &str) {
    let lines: Vec<_> = message.lines().map(shortened).collect();
    let _ = writeln!(std::io::stderr(), "{}", visible(&lines.join("\n")));
}

/// The start of a line that is too long to read: what it is about may be a value of any
/// length.
fn shortened(line: &str) -> String {
    match line.char_indices().nth(LONGEST_LINE) {
        None => line.to_owned(),
        Some((end, _)) => {
            let more = line[end..].chars().count();
            format!("{} … ({more} more characters)", &line[..end])
        }
    }
}
