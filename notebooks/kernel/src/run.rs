//! Running a notebook from the first cell to the last, without a front end.

use std::io::IsTerminal;
use std::path::Path;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::Value;
use slewbook::file::Inputs;
use slewbook::visible::visible;
use slewbook_reader::compare::OWN;
use slewbook_reader::{Notebook, tag};

use super::failure::{Failure, Kind};
use super::inputs::{self, Setting};
use super::relay::Limits;
use super::session::{Outcome, Session};
use super::slot::Slot;
use super::{files, prelude, slot, stored, terminal};

/// What to run and how.
#[derive(Clone, Debug)]
pub struct Options {
    /// Inputs to set.
    pub settings: Vec<Setting>,
    /// How long a cell may take.
    pub time: Duration,
    /// What else it may use.
    pub limits: Limits,
}

/// Why a notebook was not run to its end.
#[derive(Debug)]
pub enum Stopped {
    /// A cell failed: its number among the code cells, and why.
    Cell(usize, Box<Failure>),
    /// Nothing could be run, or an input was refused.
    Refused(String),
}

/// How long it took.
#[derive(Debug)]
pub struct Times {
    /// Until the first cell could run.
    pub start: Duration,
    /// Each code cell.
    pub cells: Vec<Duration>,
}

impl Times {
    /// One line: number of cells, the median, the whole.
    pub fn summary(&self) -> String {
        let mut sorted = self.cells.clone();
        sorted.sort();
        let median = sorted.get(sorted.len() / 2).copied().unwrap_or_default();
        let total = self.start + self.cells.iter().sum::<Duration>();
        format!(
            "{} cells, start {:.1} s, median cell {:.2} s, all {:.1} s",
            sorted.len(),
            self.start.as_secs_f64(),
            median.as_secs_f64(),
            total.as_secs_f64()
        )
    }
}

/// A session in the notebook's folder.
struct Runner {
    session: Session,
    time: Duration,
    // Dropped last: the session works in it.
    _slot: Slot,
}

impl Runner {
    fn start(notebook: &Notebook, options: &Options) -> Result<Self, Stopped> {
        let refuse = |error: String| Stopped::Refused(error);
        let slot = Slot::reserve().map_err(|error| refuse(error.to_string()))?;
        // After it: this starts a thread. Without it, what is unfinished would stay
        // behind when the run is told to end: nothing worse.
        let _ = slewbook::file::take_away_on_signals();
        slot.folder()
            .fill()
            .map_err(|error| refuse(error.to_string()))?;
        let folder = notebook.folder();
        std::env::set_current_dir(&folder)
            .map_err(|error| refuse(format!("{}: {error}", folder.display())))?;
        let mut session =
            Session::start(options.limits).map_err(|failure| refuse(failure.report.join("\n")))?;
        session
            .load(&slot::dependency(), &prelude::text())
            .map_err(|failure| refuse(failure.report.join("\n")))?;
        Ok(Self {
            session,
            time: options.time,
            _slot: slot,
        })
    }
}

/// Runs every code cell and puts the outputs into the notebook, up to the first
/// cell that fails.
///
/// # Errors
/// A cell that fails, an input that is refused, a session that does not start.
pub fn execute(notebook: &mut Notebook, options: &Options) -> Result<Times, Stopped> {
    notebook.must_be_rust().map_err(Stopped::Refused)?;
    let inputs_cell = inputs::cell(notebook, &options.settings).map_err(Stopped::Refused)?;
    if !options.settings.is_empty() {
        notebook.remove_tagged(tag::APPLIED_INPUTS);
    }
    let begun = Instant::now();
    let bar = progress(notebook);
    bar.set_message("starting");
    let mut runner = Runner::start(notebook, options)?;
    let mut times = Times {
        start: begun.elapsed(),
        cells: vec![],
    };
    let mut count = 0;
    let mut index = 0;
    while index < notebook.cells().len() {
        let cell = notebook.cells()[index];
        let (id, source) = (cell.id().to_owned(), cell.source());
        if !cell.is_code() || source.trim().is_empty() {
            if cell.is_code() {
                // Nothing runs, so nothing is shown.
                notebook.set_outputs(index, None, vec![]);
            }
            index += 1;
            continue;
        }
        count += 1;
        bar.set_message(format!("cell {count}"));
        let began = Instant::now();
        let mut outcome = runner.session.run(&source, Some(runner.time));
        times.cells.push(began.elapsed());
        let number = u64::try_from(count).unwrap_or(u64::MAX);
        notebook.set_outputs(index, Some(number), stored::outputs(&outcome, number));
        let verdict = judge(notebook, index, &mut outcome);
        if let Some(failure) = verdict {
            bar.finish_and_clear();
            return Err(Stopped::Cell(count, Box::new(failure)));
        }
        if inputs_cell.as_deref() == Some(&id) {
            let applied = inputs::applied(&options.settings, &runner.session.variables())
                .map_err(Stopped::Refused)?;
            notebook.insert(
                index + 1,
                &format!("{id}-applied"),
                tag::APPLIED_INPUTS,
                &applied,
            );
            bar.inc_length(1);
        }
        bar.inc(1);
        index += 1;
    }
    bar.finish_and_clear();
    Ok(times)
}

/// Whether what a cell gave stops the run: a failure, text on standard error
/// without permission, a failed check; for a cell that is meant to fail, that
/// it did not.
fn judge(notebook: &Notebook, index: usize, outcome: &mut Outcome) -> Option<Failure> {
    let cell = notebook.cells()[index];
    let failure = outcome.failure.take().or_else(|| {
        let stderr = outcome.stderr.trim();
        (!stderr.is_empty() && !cell.has_tag(tag::ALLOW_STDERR)).then(|| {
            Failure::new(
                Kind::StandardError,
                format!(
                    "{stderr}\n(tag the cell \"{}\" if this is right)",
                    tag::ALLOW_STDERR
                ),
            )
        })
    });
    let failure = failure.or_else(|| failed_check(cell.outputs()));
    match (failure, cell.has_tag(tag::FAILS)) {
        (Some(_), true) => None,
        (None, true) => Some(Failure::new(
            Kind::DidNotFail,
            format!("the cell is tagged \"{}\" but did not fail", tag::FAILS),
        )),
        (failure, false) => failure,
    }
}

/// The first failed check among the outputs.
fn failed_check(outputs: &[Value]) -> Option<Failure> {
    fn find(value: &Value) -> Option<&Value> {
        match value {
            Value::Object(object) => (object.get("ok") == Some(&Value::Bool(false)))
                .then_some(value)
                .or_else(|| object.values().find_map(find)),
            Value::Array(list) => list.iter().find_map(find),
            _ => None,
        }
    }
    outputs.iter().find_map(|output| {
        let data = output["data"].as_object()?;
        let own = data.iter().filter(|(mime, _)| mime.starts_with(OWN));
        let check = own.map(|(_, value)| value).find_map(find)?;
        Some(Failure::new(
            Kind::FailedCheck,
            check["text"].as_str().unwrap_or("a check failed"),
        ))
    })
}

fn progress(notebook: &Notebook) -> ProgressBar {
    let cells = notebook
        .cells()
        .iter()
        .filter(|cell| cell.is_code())
        .count();
    let bar = ProgressBar::new(cells as u64);
    if !std::io::stderr().is_terminal() {
        bar.set_draw_target(ProgressDrawTarget::hidden());
    }
    let name = notebook
        .path()
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    if let Ok(style) = ProgressStyle::with_template("{prefix} [{bar:30}] {pos}/{len} {msg}") {
        bar.set_style(style);
    }
    bar.set_prefix(visible(&name).into_owned());
    bar
}

/// The report of a run that stopped.
pub fn report(path: &Path, stopped: &Stopped) -> String {
    match stopped {
        Stopped::Refused(reason) => format!("{}: {reason}", path.display()),
        Stopped::Cell(number, failure) => {
            let line = failure
                .line
                .map(|line| format!(", line {line}"))
                .unwrap_or_default();
            let mut text = format!(
                "{}: cell {number}{line}: {}: {}",
                path.display(),
                failure.kind.name(),
                failure.message
            );
            for line in failure
                .report
                .iter()
                .skip_while(|line| failure.message.contains(line.as_str()))
            {
                text.push_str(&format!("\n    {line}"));
            }
            text
        }
    }
}

/// Runs one notebook and writes it: over itself when all went well, or to
/// `output` in any case. The exit code: 0, 1 for a failed cell, 2 otherwise.
pub fn run(path: &Path, output: Option<&Path>, options: &Options) -> u8 {
    let refuse = |error: String| {
        terminal::complain(error);
        2
    };
    let mut inputs = Inputs::default();
    let mut notebook = match files::read(path, &mut inputs) {
        Ok(notebook) => notebook,
        Err(error) => return refuse(error),
    };
    // The cells run in the notebook's own folder; paths stay what the caller meant.
    let target = std::path::absolute(output.unwrap_or(path)).unwrap_or_else(|_| path.to_owned());
    if output.is_none() {
        // It is to be rewritten.
        inputs = Inputs::default();
    }
    let written = match files::output(&target, &inputs) {
        Ok(written) => written,
        Err(error) => return refuse(error),
    };
    let result = execute(&mut notebook, options);
    let refused = matches!(result, Err(Stopped::Refused(_)));
    if (result.is_ok() || output.is_some())
        && !refused
        && let Err(error) = files::write(written, &target, &notebook.text())
    {
        return refuse(error);
    }
    match result {
        Ok(times) => {
            terminal::say(format!("{}: ok: {}", path.display(), times.summary()));
            0
        }
        Err(stopped) => {
            terminal::complain(report(path, &stopped));
            if refused { 2 } else { 1 }
        }
    }
}
