//! The program `slewbook`: from a specification to a rationale, or to its
//! results for machines and papers.

mod command;
mod progress;

use std::process::ExitCode;

/// Done; a failed verdict is still done.
const DONE: u8 = 0;
/// The input or the command line is wrong, or the output cannot be written.
const BAD_INPUT: u8 = 2;
/// Anything else.
const OTHER: u8 = 1;

fn main() -> ExitCode {
    let code = match command::run(std::env::args_os().skip(1)) {
        Ok(()) => DONE,
        Err(command::Failure::Input(message)) => {
            eprintln!("{message}");
            BAD_INPUT
        }
        Err(command::Failure::Other(message)) => {
            eprintln!("slewbook: {message}");
            OTHER
        }
    };
    ExitCode::from(code)
}
