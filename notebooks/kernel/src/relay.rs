//! A line filter between the engine and the process that runs the cells.
//!
//! evcxr reads what a cell prints through a pipe and reports neither a panic
//! nor an error that left a cell through `?`, keeps one display per MIME type,
//! and does not say when the last line of standard error has come. The process
//! it starts is therefore this relay, which starts the real one and adds the
//! missing facts to the stream:
//!
//! - a failure becomes a display of type [`FAILURE`];
//! - each display's type carries the number of the bundle it belongs to
//!   (`text/latex#0`): a repeated type begins the next bundle;
//! - how many lines a cell printed is a display of type [`PRINTED`];
//! - standard error ends with [`END_OF_CELL`] and the cell's number when a cell
//!   has run.

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex};

/// The MIME type under which a failure is reported; its content is [`PANIC`] or [`QUESTION_MARK`].
pub const FAILURE: &str = "application/vnd.slewbook.failure";
/// A cell panicked.
pub const PANIC: &str = "panic";
/// An error left a cell through `?`.
pub const QUESTION_MARK: &str = "question-mark";
/// The MIME type under which the number of printed lines is reported.
pub const PRINTED: &str = "application/vnd.slewbook.printed";
/// How the line begins that ends standard error of a cell; its number follows.
pub const END_OF_CELL: &str = "SLEWBOOK_END_OF_CELL";

/// How the line begins that says how the cell's process ended.
pub const ENDED: &str = "the cell's process ended";

/// The line that ends standard error of a process.
pub fn end_of_process() -> String {
    format!("{END_OF_CELL} of the process")
}

/// What a display of type [`PRINTED`] says: how many lines the cell printed, and
/// the line that ends its standard error.
pub fn printed(fact: &str) -> Option<(usize, String)> {
    let (lines, cell) = fact.split_once(' ')?;
    Some((lines.parse().ok()?, format!("{END_OF_CELL} {cell}")))
}

const ROLE: &str = "SLEWBOOK_RELAY";

// evcxr's own marks on the stream (version 0.22).
const BEGIN_CONTENT: &str = "EVCXR_BEGIN_CONTENT ";
const END_CONTENT: &str = "EVCXR_END_CONTENT";
const COMPLETE: &str = "EVCXR_EXECUTION_COMPLETE";
const PANICKED: &str = "EVCXR_PANIC_NOTIFICATION";
const ERROR_OCCURRED: &str = "EVCXR_ERROR_OCCURRED";

/// The command by which the engine starts the relay.
pub fn command() -> std::io::Result<Command> {
    let mut command = Command::new(std::env::current_exe()?);
    command.env(ROLE, "1");
    // A group of its own, so that relay and cell are stopped together.
    #[cfg(unix)]
    std::os::unix::process::CommandExt::process_group(&mut command, 0);
    Ok(command)
}

/// Runs the relay if this process was started as one; otherwise returns.
pub fn hook() {
    if std::env::var_os(ROLE).is_some() {
        let success = run().unwrap_or_else(|error| {
            eprintln!("cannot start the process that runs the cells: {error}");
            false
        });
        // Skip whatever the caller would do next: this process is the relay alone.
        std::process::exit(i32::from(!success));
    }
}

/// Stops the relay and the cell it runs.
#[cfg(unix)]
pub fn stop(process: &Mutex<Child>) {
    let id = process.lock().map(|child| child.id()).unwrap_or_default();
    if let Some(group) = i32::try_from(id)
        .ok()
        .and_then(rustix::process::Pid::from_raw)
    {
        // It may have ended by itself already.
        let _ = rustix::process::kill_process_group(group, rustix::process::Signal::KILL);
    }
}

/// Stops the relay; the cell ends when it next reads or writes.
#[cfg(not(unix))]
pub fn stop(process: &Mutex<Child>) {
    if let Ok(mut child) = process.lock() {
        let _ = child.kill();
    }
}

/// Runs until the cell's process ends; whether it ended well.
fn run() -> std::io::Result<bool> {
    let mut child = Command::new(std::env::current_exe()?)
        .args(std::env::args_os().skip(1))
        .env_remove(ROLE)
        // The report of a panic is made from its message; the stack is the engine's.
        .env("RUST_BACKTRACE", "0")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()?;
    let (input, output) = (child.stdin.take(), child.stdout.take());
    let child = Arc::new(Mutex::new(child));
    if let Some(input) = input {
        let child = Arc::clone(&child);
        std::thread::spawn(move || forward_input(input, &child));
    }
    if let Some(output) = output {
        let mut to = std::io::stdout().lock();
        let mut filter = Filter::default();
        for line in BufReader::new(output).lines() {
            let lines = filter.line(&line?);
            if filter.ended {
                // Written by this process after the cell's own lines are in the same pipe.
                eprintln!("{END_OF_CELL} {}", filter.cell);
            }
            for line in lines {
                writeln!(to, "{line}")?;
            }
            to.flush()?;
        }
        eprintln!("{}", end_of_process());
    }
    let status = child
        .lock()
        .map_err(|_| std::io::ErrorKind::Other)?
        .wait()?;
    // Heard only if a cell ended its process: a session that is over has stopped listening.
    let _ = writeln!(std::io::stdout(), "{}", in_words(status));
    Ok(status.success())
}

/// Passes commands on; when the engine goes away, so does the cell.
fn forward_input(mut input: ChildStdin, child: &Mutex<Child>) {
    for line in std::io::stdin().lines().map_while(Result::ok) {
        if writeln!(input, "{line}")
            .and_then(|()| input.flush())
            .is_err()
        {
            break;
        }
    }
    drop(input);
    std::thread::sleep(std::time::Duration::from_millis(300));
    if let Ok(mut child) = child.try_lock() {
        let _ = child.kill();
        std::process::exit(0);
    }
}

fn in_words(status: std::process::ExitStatus) -> String {
    #[cfg(unix)]
    if let Some(signal) = std::os::unix::process::ExitStatusExt::signal(&status) {
        return format!("{ENDED} by signal {signal}");
    }
    format!("{ENDED} with exit code {}", status.code().unwrap_or(-1))
}

/// What the relay knows about the cell that is running.
#[derive(Default)]
struct Filter {
    bundle: usize,
    types: Vec<String>,
    printed: usize,
    inside: bool,
    ended: bool,
    /// How many cells have run.
    cell: usize,
}

impl Filter {
    /// The lines to pass on in place of one line.
    fn line(&mut self, line: &str) -> Vec<String> {
        self.ended = false;
        if self.inside {
            if line == END_CONTENT || line == PANICKED {
                self.inside = false;
            }
            return match line {
                PANICKED => failure(line, PANIC),
                _ => vec![line.to_owned()],
            };
        }
        match line {
            COMPLETE => {
                let cell = self.cell + 1;
                let mut lines = content(PRINTED, &format!("{} {cell}", self.printed));
                lines.push(line.to_owned());
                *self = Self {
                    ended: true,
                    cell,
                    ..Self::default()
                };
                lines
            }
            PANICKED => failure(line, PANIC),
            ERROR_OCCURRED => failure(line, QUESTION_MARK),
            _ => self.content_or_text(line),
        }
    }

    /// Text printed without a line end just before a display is a line of its own.
    fn content_or_text(&mut self, line: &str) -> Vec<String> {
        // Without a line end before it, evcxr's mark stands behind the text.
        for mark in [COMPLETE, PANICKED, ERROR_OCCURRED] {
            if let Some(text) = line.strip_suffix(mark) {
                self.printed += 1;
                let mut lines = vec![text.to_owned()];
                lines.extend(self.line(mark));
                return lines;
            }
        }
        let Some(start) = line.find(BEGIN_CONTENT) else {
            self.printed += 1;
            return vec![line.to_owned()];
        };
        self.inside = true;
        let (text, mark) = line.split_at(start);
        let kind = mark[BEGIN_CONTENT.len()..].trim().to_owned();
        if self.types.contains(&kind) {
            self.bundle += 1;
            self.types.clear();
        }
        let begin = format!("{BEGIN_CONTENT}{kind}#{}", self.bundle);
        self.types.push(kind);
        if text.is_empty() {
            return vec![begin];
        }
        self.printed += 1;
        vec![text.to_owned(), begin]
    }
}

/// A failure, after the engine's own mark of it.
fn failure(mark: &str, kind: &str) -> Vec<String> {
    let mut lines = vec![mark.to_owned()];
    lines.extend(content(FAILURE, kind));
    lines
}

/// A display of the relay's own.
fn content(mime: &str, text: &str) -> Vec<String> {
    vec![
        format!("{BEGIN_CONTENT}{mime}#0"),
        text.to_owned(),
        END_CONTENT.to_owned(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pass(lines: &[&str]) -> Vec<String> {
        let mut filter = Filter::default();
        lines.iter().flat_map(|line| filter.line(line)).collect()
    }

    #[test]
    fn a_repeated_type_begins_the_next_bundle() {
        let two = ["EVCXR_BEGIN_CONTENT text/latex", "a", END_CONTENT];
        let lines = pass(&[two, two].concat());
        assert_eq!(lines[0], "EVCXR_BEGIN_CONTENT text/latex#0");
        assert_eq!(lines[3], "EVCXR_BEGIN_CONTENT text/latex#1");
    }

    #[test]
    fn text_before_a_display_is_kept() {
        let lines = pass(&[
            "half a lineEVCXR_BEGIN_CONTENT text/plain",
            "a",
            END_CONTENT,
        ]);
        assert_eq!(
            lines[..2],
            ["half a line", "EVCXR_BEGIN_CONTENT text/plain#0"]
        );
    }

    #[test]
    fn text_before_the_end_of_a_cell_does_not_hide_it() {
        let lines = pass(&["no line endEVCXR_EXECUTION_COMPLETE"]);
        assert_eq!(lines[0], "no line end");
        assert_eq!(lines[2], "1 1");
        assert_eq!(lines[4], COMPLETE);
    }

    #[test]
    fn a_panic_inside_a_display_is_reported() {
        let lines = pass(&["EVCXR_BEGIN_CONTENT text/plain", PANICKED]);
        assert!(lines.contains(&format!("EVCXR_BEGIN_CONTENT {FAILURE}#0")));
    }
}
