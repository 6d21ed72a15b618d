//! Why a cell failed, in words a person can act on.

use evcxr::{CompilationError, Error};

/// What went wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The cell does not compile; nothing of it ran.
    DoesNotCompile,
    /// The cell panicked.
    Panic,
    /// An error left the cell through `?`.
    Error,
    /// The cell's process ended: all variables are lost.
    ProcessEnded,
    /// The cell took longer than allowed.
    TimeLimit,
    /// The cell wrote to standard error without permission to.
    StandardError,
    /// A check in the cell failed.
    FailedCheck,
    /// A cell that is meant to fail did not.
    DidNotFail,
    /// The cell asks the engine for what is not allowed.
    Refused,
    /// What the cell displays is not what it should be.
    Display,
    /// The session could not be started.
    Start,
}

impl Kind {
    /// The name shown before the message.
    pub fn name(self) -> &'static str {
        match self {
            Self::DoesNotCompile => "does not compile",
            Self::Panic => "panic",
            Self::Error => "error",
            Self::ProcessEnded => "process ended",
            Self::TimeLimit => "time limit",
            Self::StandardError => "standard error",
            Self::FailedCheck => "failed check",
            Self::DidNotFail => "did not fail",
            Self::Refused => "refused",
            Self::Display => "display",
            Self::Start => "start",
        }
    }
}

/// A failed cell.
#[derive(Clone, Debug)]
pub struct Failure {
    /// What went wrong.
    pub kind: Kind,
    /// The message, one or few lines.
    pub message: String,
    /// The line of the cell, counted from 1, where it is known.
    pub line: Option<usize>,
    /// The full report.
    pub report: Vec<String>,
}

impl Failure {
    /// A failure whose report is its message.
    pub fn new(kind: Kind, message: impl Into<String>) -> Self {
        let message = message.into();
        Self {
            kind,
            report: message.lines().map(str::to_owned).collect(),
            message,
            line: None,
        }
    }
}

/// What evcxr reported in place of outputs.
pub fn from_engine(error: &Error) -> Failure {
    match error {
        Error::CompilationErrors(errors) => does_not_compile(errors),
        Error::TypeRedefinedVariablesLost(names) => Failure::new(
            Kind::Error,
            format!(
                "the type of {} was redefined, so the value was lost",
                names.join(", ")
            ),
        ),
        Error::SubprocessTerminated(_) => process_ended("the cell's process was stopped"),
        Error::Message(message) => Failure::new(Kind::DoesNotCompile, message.clone()),
    }
}

/// Whether there is an error among what the engine reports, and not only notes.
pub fn is_told(errors: &[CompilationError]) -> bool {
    errors.iter().any(|error| error.level() == "error")
}

/// The process that runs the cells ended.
pub fn process_ended(cause: &str) -> Failure {
    Failure::new(
        Kind::ProcessEnded,
        format!("{cause}; all variables are lost: run the cells above again"),
    )
}

/// A panic, from what the process wrote to standard error.
///
/// `generated` is the program the engine made of the cell: the panic's line
/// there, looked up by its text, is a line of the cell.
pub fn panicked(stderr: &[String], source: &str, generated: Option<&str>) -> Failure {
    let Some(start) = stderr
        .iter()
        .rposition(|line| line.contains(" panicked at "))
    else {
        return Failure::new(Kind::Panic, "the cell panicked");
    };
    let message: Vec<&str> = stderr[start + 1..]
        .iter()
        .map(String::as_str)
        .take_while(|line| !line.starts_with("note: run with `RUST_BACKTRACE"))
        .collect();
    let mut failure = Failure::new(Kind::Panic, message.join("\n").trim().to_owned());
    let place = stderr[start]
        .split_once(" panicked at ")
        .map_or("", |(_, place)| place.trim_end_matches(':'));
    failure.line = line_of_panic(place, source, generated);
    if let Some(line) = failure.line {
        failure.report.push(marked(source, line));
    } else {
        failure.report.push(format!("at {place}"));
    }
    failure
}

fn line_of_panic(place: &str, source: &str, generated: Option<&str>) -> Option<usize> {
    let rest = place.strip_prefix("src/lib.rs:")?;
    let number: usize = rest.split(':').next()?.parse().ok()?;
    let text = generated?.lines().nth(number.checked_sub(1)?)?.trim();
    // The engine puts each statement on a line of its own.
    let mut lines = source
        .lines()
        .enumerate()
        .filter(|(_, line)| !text.is_empty() && line.contains(text));
    let (index, _) = lines.next()?;
    Some(index + 1)
}

/// An error that left the cell through `?`.
pub fn question_mark(stderr: &[String], source: &str) -> Failure {
    let mut failure = Failure::new(Kind::Error, stderr.join("\n").trim().to_owned());
    let candidates: Vec<usize> = source
        .lines()
        .enumerate()
        .filter(|(_, line)| line.split("//").next().unwrap_or(line).contains('?'))
        .map(|(index, _)| index + 1)
        .collect();
    // Which `?` it was is known only where the cell has one.
    if let [line] = candidates[..] {
        failure.line = Some(line);
        failure.report.push(marked(source, line));
    }
    failure
}

fn does_not_compile(errors: &[CompilationError]) -> Failure {
    let mut report = Vec::new();
    let mut first: Option<(String, Option<usize>)> = None;
    for error in errors.iter().filter(|error| error.level() == "error") {
        let code = error
            .code()
            .map(|code| format!(" ({code})"))
            .unwrap_or_default();
        let message = super::explain::plain(&error.message());
        report.push(format!("{message}{code}"));
        let mut line = None;
        for part in error.spanned_messages() {
            // Which of the type-level integers the compiler names depends on the folder of
            // the build: the report says what it means.
            let label = match super::explain::hint(&part.label) {
                Some(_) => "a different quantity".to_owned(),
                None => super::explain::plain(&part.label),
            };
            let Some(span) = &part.span else {
                if !label.is_empty() {
                    report.push(format!("  {label}"));
                }
                continue;
            };
            if part.is_primary || line.is_none() {
                line = Some(span.start_line);
            }
            if let Some(text) = part.lines.first() {
                report.push(format!("{:>4} | {text}", span.start_line));
                let end = if span.end_line == span.start_line {
                    span.end_column
                } else {
                    text.chars().count() + 1
                };
                let width = end.saturating_sub(span.start_column).max(1);
                let indent = " ".repeat(span.start_column.saturating_sub(1));
                report.push(format!("     | {indent}{} {label}", "^".repeat(width)));
            }
        }
        report.extend(
            error
                .help()
                .iter()
                .map(|help| format!("  help: {}", super::explain::plain(help))),
        );
        let unlike = error
            .spanned_messages()
            .iter()
            .find_map(|part| super::explain::hint(&part.label));
        for hint in unlike.into_iter().chain(error.evcxr_extra_hint()) {
            report.push(format!("  help: {hint}"));
        }
        first.get_or_insert((message, line));
    }
    let (message, line) = first.unwrap_or_else(|| ("the cell does not compile".to_owned(), None));
    report.push(
        "A cell that does not compile changes nothing: earlier variables are as they were."
            .to_owned(),
    );
    Failure {
        kind: Kind::DoesNotCompile,
        message,
        line,
        report,
    }
}

/// A line of the cell as a report shows it.
fn marked(source: &str, line: usize) -> String {
    let text = source.lines().nth(line - 1).unwrap_or_default();
    format!("{line:>4} | {text}")
}
