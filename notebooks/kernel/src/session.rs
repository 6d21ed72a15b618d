//! A running session: cells go in, outputs and failures come out.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use evcxr::{CommandContext, EvalContext};

use super::failure::{self, Failure, Kind};
use super::{relay, slot};

/// What every session compiles its cells with: they are compiled once and run
/// once, and what takes long is in the library, which is compiled as a release.
const OPTIMISATION: &str = "0";
/// A cell that makes the code analysis read what it needs. It ends with an error
/// on purpose: the variable is forgotten, and the first `?` of a session, which
/// costs a second build of its cell, is spent here.
const WARM_UP: &str = "let slewbook_warm_up = vec![1.0 * volt];\nErr::<(), &str>(\"warm\")?;";

/// How long to wait for the last lines of a cell, should its mark never come.
const STREAM_PATIENCE: Duration = Duration::from_secs(2);

/// One displayed object: content by MIME type, in the order of the types' names.
pub type Bundle = Vec<(String, String)>;

/// What a cell gave.
#[derive(Debug, Default)]
pub struct Outcome {
    /// What it printed.
    pub stdout: String,
    /// What it wrote to standard error, the failure's own message left out.
    pub stderr: String,
    /// What it displayed.
    pub bundles: Vec<Bundle>,
    /// Why it failed, if it did.
    pub failure: Option<Failure>,
}

/// Where lines go while a cell runs.
type Listener = Box<dyn Fn(&str) + Send>;

/// One stream of the process that runs the cells.
struct Stream {
    lines: Arc<Mutex<Vec<String>>>,
    marks: Receiver<String>,
}

impl Stream {
    /// Reads for ever: the engine stops when nobody reads. Marks each line, or
    /// only the end of a cell.
    fn new(
        source: crossbeam_channel::Receiver<String>,
        mark_lines: bool,
        listener: Arc<Mutex<Option<Listener>>>,
    ) -> Self {
        let lines = Arc::new(Mutex::new(Vec::new()));
        let (mark, marks) = channel();
        let sink = Arc::clone(&lines);
        std::thread::spawn(move || {
            for line in source {
                // A cell that writes no line end leaves its text before the mark.
                let (text, ended) = match line.rfind(relay::END_OF_CELL) {
                    Some(place) => (&line[..place], Some(line[place..].to_owned())),
                    None => (line.as_str(), None),
                };
                if ended.is_none() || !text.is_empty() {
                    if let Ok(listener) = listener.lock()
                        && let Some(listener) = &*listener
                    {
                        listener(text);
                    }
                    if let Ok(mut sink) = sink.lock() {
                        sink.push(text.to_owned());
                    }
                }
                if let Some(ended) = ended {
                    // The session may have ended.
                    let _ = mark.send(ended);
                } else if mark_lines {
                    let _ = mark.send(String::new());
                }
            }
        });
        Self { lines, marks }
    }

    fn forget(&self) {
        while self.marks.try_recv().is_ok() {}
        self.take();
    }

    /// The lines up to the given number of them.
    fn count(&self, lines: usize) -> Vec<String> {
        for _ in 0..lines {
            if self.marks.recv_timeout(STREAM_PATIENCE).is_err() {
                break;
            }
        }
        self.take()
    }

    /// The lines up to a mark; what comes before an earlier cell's mark is not
    /// of this cell.
    fn until(&self, mark: &str) -> Vec<String> {
        while let Ok(found) = self.marks.recv_timeout(STREAM_PATIENCE) {
            if found == mark {
                break;
            }
            self.take();
        }
        self.take()
    }

    /// The lines up to one that begins with these words.
    fn through(&self, words: &str) -> Vec<String> {
        let mut lines = self.take();
        while !lines.last().is_some_and(|line| line.starts_with(words))
            && self.marks.recv_timeout(STREAM_PATIENCE).is_ok()
        {
            lines.append(&mut self.take());
        }
        lines
    }

    fn take(&self) -> Vec<String> {
        self.lines
            .lock()
            .map(|mut lines| std::mem::take(&mut *lines))
            .unwrap_or_default()
    }
}

/// Stops the running cell from another thread.
#[derive(Clone)]
pub struct Stopper {
    process: Arc<Mutex<std::process::Child>>,
    stopped: Arc<AtomicBool>,
}

impl Stopper {
    /// Stops the cell that is running; its variables are lost.
    pub fn stop(&self) {
        self.stopped.store(true, Ordering::SeqCst);
        relay::stop(&self.process);
    }
}

/// A session with the library loaded.
pub struct Session {
    context: CommandContext,
    stdout: Stream,
    stderr: Stream,
    listener: Arc<Mutex<Option<Listener>>>,
    stopped: Arc<AtomicBool>,
}

impl Session {
    /// Starts the engine, loads the library and warms up.
    ///
    /// The current folder and the build slot must be set before (see [`super::slot`]).
    ///
    /// # Errors
    /// The engine does not start: the reason in words. A failing prelude or
    /// dependency is no error here: see [`Session::load`].
    pub fn start() -> Result<Self, Failure> {
        let start = |error: String| Failure::new(Kind::Start, error);
        let command = relay::command().map_err(|error| start(error.to_string()))?;
        let (engine, outputs) = EvalContext::with_subprocess_command(command).map_err(|error| {
            let error = error.to_string();
            let words = error
                .lines()
                .filter(|line| !line.starts_with(relay::END_OF_CELL))
                .collect::<Vec<_>>()
                .join("\n");
            start(format!("the notebook engine does not start: {words}"))
        })?;
        let mut context = CommandContext::with_eval_context(engine);
        context
            .set_opt_level(OPTIMISATION)
            .map_err(|error| start(error.to_string()))?;
        let listener = Arc::new(Mutex::new(None));
        let silent = Arc::new(Mutex::new(None));
        Ok(Self {
            context,
            stdout: Stream::new(outputs.stdout, true, Arc::clone(&listener)),
            stderr: Stream::new(outputs.stderr, false, silent),
            listener,
            stopped: Arc::new(AtomicBool::new(false)),
        })
    }

    /// Loads the library and a prelude, and warms up.
    ///
    /// # Errors
    /// The dependency or the prelude does not compile. The session stays usable
    /// without it.
    pub fn load(&mut self, dependency: &str, prelude: &str) -> Result<(), Failure> {
        let named = |what: &str, mut failure: Failure| {
            failure.message = format!("{what}: {}", failure.message);
            failure.report.insert(0, format!("{what}:"));
            Failure {
                kind: Kind::Start,
                ..failure
            }
        };
        let steps = [
            ("the library cannot be loaded", dependency),
            ("the prelude cannot be loaded", prelude),
            ("the first calculation fails", WARM_UP),
        ];
        // The engine's first build, of nothing, has emptied the lock file.
        slot::lock_versions().map_err(|error| {
            let message = format!("the versions of the library's Cargo.lock: {error}");
            Failure::new(Kind::Start, message)
        })?;
        slot::complete_sources().map_err(|error| {
            let message = format!("the sources of the standard library: {error}");
            Failure::new(Kind::Start, message)
        })?;
        // All in one cell is one build. Where that fails, each by itself says which it is.
        let whole = steps.map(|(_, source)| source).join("\n");
        if is_warm(&self.run(&whole)) {
            return Ok(());
        }
        for (what, source) in steps {
            let outcome = self.run(source);
            if let Some(failure) = &outcome.failure
                && !is_warm(&outcome)
            {
                return Err(named(what, failure.clone()));
            }
        }
        Ok(())
    }

    /// What stops a running cell.
    pub fn stopper(&self) -> Stopper {
        Stopper {
            process: self.context.process_handle(),
            stopped: Arc::clone(&self.stopped),
        }
    }

    /// Hands each printed line to `listener` while cells run.
    pub fn listen(&mut self, listener: impl Fn(&str) + Send + 'static) {
        if let Ok(mut own) = self.listener.lock() {
            *own = Some(Box::new(listener));
        }
    }

    /// The variables and their types.
    pub fn variables(&self) -> Vec<(String, String)> {
        let mut list: Vec<_> = self
            .context
            .variables_and_types()
            .map(|(name, kind)| (name.to_owned(), kind.to_owned()))
            .collect();
        list.sort();
        list
    }

    /// Completions at a byte offset: where they start and end, and what to put there.
    pub fn completions(
        &mut self,
        source: &str,
        offset: usize,
    ) -> Option<(usize, usize, Vec<String>)> {
        let found = self.context.completions(source, offset).ok()?;
        let matches = found.completions.iter().map(|c| c.code.clone()).collect();
        Some((found.start_offset, found.end_offset, matches))
    }

    /// Runs a cell.
    pub fn run(&mut self, source: &str) -> Outcome {
        self.stdout.forget();
        self.stderr.forget();
        self.stopped.store(false, Ordering::SeqCst);
        let result = self.context.execute(source);
        let mut outcome = Outcome::default();
        match result {
            Ok(outputs) => {
                let mut content = outputs.content_by_mime_type;
                let mut fact = |mime: &str| content.remove(&format!("{mime}#0"));
                let (printed, failed) = (fact(relay::PRINTED), fact(relay::FAILURE));
                outcome.bundles = in_bundles(content);
                // Where there is no such fact, no program ran: a command of the engine.
                let (stdout, stderr) = match printed.and_then(|fact| relay::printed(&fact)) {
                    Some((lines, mark)) => (self.stdout.count(lines), self.stderr.until(&mark)),
                    None => (vec![], vec![]),
                };
                outcome.stdout = text(&stdout);
                match failed.as_deref() {
                    Some(relay::PANIC) => {
                        let generated = self.context.last_source().ok();
                        outcome.failure =
                            Some(failure::panicked(&stderr, source, generated.as_deref()));
                    }
                    Some(_) => outcome.failure = Some(failure::question_mark(&stderr, source)),
                    None => outcome.stderr = text(&stderr),
                }
            }
            Err(error) => {
                let mut failure = failure::from_engine(&error);
                if failure.kind == Kind::ProcessEnded {
                    let stopped = self.stopped.load(Ordering::SeqCst);
                    // A relay that was stopped with its cell has no last words.
                    let printed = if stopped {
                        failure = failure::process_ended("the cell was stopped");
                        self.stdout.take()
                    } else {
                        outcome.stderr = text(&self.stderr.until(&relay::end_of_process()));
                        let mut printed = self.stdout.through(relay::ENDED);
                        if let Some(cause) = printed.pop_if(|line| line.starts_with(relay::ENDED)) {
                            failure = failure::process_ended(&cause);
                        }
                        printed
                    };
                    outcome.stdout = text(&printed);
                }
                outcome.failure = Some(failure);
            }
        }
        outcome
    }
}

/// Whether a cell ended with the error that ends the warm-up.
fn is_warm(outcome: &Outcome) -> bool {
    outcome
        .failure
        .as_ref()
        .is_some_and(|failure| failure.kind == Kind::Error && failure.message == "warm")
}

fn text(lines: &[String]) -> String {
    lines.iter().map(|line| format!("{line}\n")).collect()
}

/// The bundles in the order in which they were displayed.
fn in_bundles(content: std::collections::HashMap<String, String>) -> Vec<Bundle> {
    let mut numbered: Vec<(usize, String, String)> = content
        .into_iter()
        .map(|(key, content)| {
            // Types without a number come from the engine's own commands.
            let (mime, number) = key.rsplit_once('#').unwrap_or((&key, "0"));
            (number.parse().unwrap_or(0), mime.to_owned(), content)
        })
        .collect();
    numbered.sort();
    numbered
        .chunk_by(|one, other| one.0 == other.0)
        .map(|bundle| {
            bundle
                .iter()
                .map(|(_, mime, content)| (mime.clone(), content.clone()))
                .collect()
        })
        .collect()
}
