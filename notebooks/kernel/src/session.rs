//! A running session: cells go in, outputs and failures come out.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use evcxr::{CommandContext, Error, EvalContext};
use rustix::process::Pid;

use super::failure::{self, Failure, Kind};
use super::generated::{CHANGED_TYPE, PANIC, QUESTION_MARK};
use super::relay::{self, Event, Limits};
use super::{command, processes, slot};

/// What every session compiles its cells with: they are compiled once and run
/// once, and what takes long is in the library, which is compiled as a release.
const OPTIMISATION: &str = "0";
/// A cell that makes the code analysis read what it needs. It ends with an error
/// on purpose: the variable is forgotten, and the first `?` of a session, which
/// costs a second build of its cell, is spent here.
const WARM_UP: &str = "let slewbook_warm_up = vec![1.0 * volt];\nErr::<(), &str>(\"warm\")?;";

/// How long to wait for what the relay has said already.
const PATIENCE: Duration = Duration::from_secs(5);
/// How often a cell that has to end is looked after.
const ROUND: Duration = Duration::from_millis(50);
/// How long the relay may take to see that a cell was ended, before it is ended too.
const GRACE: Duration = Duration::from_secs(5);

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

/// What the relay says. It is read for ever: the engine stops when nobody reads.
fn events(
    source: crossbeam_channel::Receiver<String>,
    listener: Arc<Mutex<Option<Listener>>>,
) -> Receiver<Event> {
    let (sender, events) = channel();
    std::thread::spawn(move || {
        for line in source {
            // Other lines are those of the relay's own failures, which the engine tells.
            let Ok(event) = serde_json::from_str::<Event>(&line) else {
                continue;
            };
            if let (Event::Stdout(text), Ok(listener)) = (&event, listener.lock())
                && let Some(listener) = &*listener
            {
                listener(text);
            }
            // The session may have ended.
            let _ = sender.send(event);
        }
    });
    events
}

/// Stops the running cell from another thread.
#[derive(Clone)]
pub struct Stopper {
    relay: Arc<Mutex<std::process::Child>>,
    /// Whether a cell is compiled or run, so that there is something to stop.
    busy: Arc<AtomicBool>,
    stopped: Arc<AtomicBool>,
}

impl Stopper {
    /// Stops the cell that is compiled or run; its variables are lost.
    pub fn stop(&self) {
        if self.busy.load(Ordering::SeqCst) {
            self.stopped.store(true, Ordering::SeqCst);
        }
    }

    /// Ends everything that this process has started for a cell: the compiler, the
    /// process of the cells, and what is below them. The relay ends by itself when that
    /// process has; with `relay_too` it is ended as well.
    fn end(&self, relay_too: bool) {
        let relay = self
            .relay
            .lock()
            .map(|child| child.id())
            .unwrap_or_default();
        let relay = i32::try_from(relay).ok().and_then(Pid::from_raw);
        processes::end_below(rustix::process::getpid(), relay);
        if let Some(relay) = relay
            && (relay_too || cfg!(not(target_os = "linux")))
        {
            let _ = rustix::process::kill_process_group(relay, rustix::process::Signal::KILL);
        }
    }

    /// Ends the cell when it is stopped or its time is up, until `done` says that it
    /// has ended. Whether its time was up.
    fn watch(&self, limit: Option<Duration>, done: &Receiver<()>) -> bool {
        let begun = Instant::now();
        let mut late = false;
        let mut ending: Option<Instant> = None;
        loop {
            if done.recv_timeout(ROUND) != Err(RecvTimeoutError::Timeout) {
                return late;
            }
            late |= limit.is_some_and(|limit| begun.elapsed() > limit);
            if late || self.stopped.load(Ordering::SeqCst) {
                let since = *ending.get_or_insert_with(Instant::now);
                self.end(since.elapsed() > GRACE);
            }
        }
    }
}

/// A session with the library loaded.
pub struct Session {
    context: CommandContext,
    events: Receiver<Event>,
    listener: Arc<Mutex<Option<Listener>>>,
    stopper: Stopper,
}

impl Session {
    /// Starts the engine.
    ///
    /// The current folder and the build slot must be set before (see [`super::slot`]).
    ///
    /// # Errors
    /// The engine does not start: the reason in words. A failing prelude or
    /// dependency is no error here: see [`Session::load`].
    pub fn start(limits: Limits) -> Result<Self, Failure> {
        let start = |error: String| Failure::new(Kind::Start, error);
        let command = relay::command(limits).map_err(|error| start(error.to_string()))?;
        let (engine, outputs) = EvalContext::with_subprocess_command(command).map_err(|error| {
            let error = error.to_string();
            let words = error
                .lines()
                .filter_map(|line| match serde_json::from_str(line) {
                    Ok(Event::Stderr(text) | Event::Ended(text)) => Some(text),
                    Ok(_) => None,
                    Err(_) => Some(line.to_owned()),
                })
                .collect::<Vec<_>>()
                .join("\n");
            start(format!("the notebook engine does not start: {words}"))
        })?;
        let mut context = CommandContext::with_eval_context(engine);
        context
            .set_opt_level(OPTIMISATION)
            .map_err(|error| start(error.to_string()))?;
        let listener = Arc::new(Mutex::new(None));
        // The relay tells the engine nothing that the engine would hand on.
        std::thread::spawn(move || outputs.stdout.iter().for_each(drop));
        Ok(Self {
            stopper: Stopper {
                relay: context.process_handle(),
                busy: Arc::default(),
                stopped: Arc::default(),
            },
            context,
            events: events(outputs.stderr, Arc::clone(&listener)),
            listener,
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
        if is_warm(&self.run(&whole, None)) {
            return Ok(());
        }
        for (what, source) in steps {
            let outcome = self.run(source, None);
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
        self.stopper.clone()
    }

    /// Hands what cells print to `listener` while they run.
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
        // The engine obeys some commands even while they are typed.
        if command::has_any(source) {
            return None;
        }
        let found = self.context.completions(source, offset).ok()?;
        let matches = found.completions.iter().map(|c| c.code.clone()).collect();
        Some((found.start_offset, found.end_offset, matches))
    }

    /// Runs a cell, at most as long as `limit` says.
    pub fn run(&mut self, source: &str, limit: Option<Duration>) -> Outcome {
        if let Some((line, name)) = command::refused(source) {
            let mut failure = Failure::new(Kind::Refused, command::reason(name));
            failure.line = Some(line);
            return Outcome {
                failure: Some(failure),
                ..Outcome::default()
            };
        }
        while self.events.try_recv().is_ok() {}
        self.stopper.stopped.store(false, Ordering::SeqCst);
        self.stopper.busy.store(true, Ordering::SeqCst);
        let (done, wait) = channel::<()>();
        let stopper = self.stopper();
        let watch = std::thread::spawn(move || stopper.watch(limit, &wait));
        let result = self.context.execute(source);
        drop(done);
        let late = watch.join().unwrap_or(false);
        self.stopper.busy.store(false, Ordering::SeqCst);
        let stopped = self.stopper.stopped.load(Ordering::SeqCst);
        if (late || stopped) && !matches!(result, Err(Error::SubprocessTerminated(_))) {
            // Stopped while it was compiled: the engine is yet to see that the process
            // has gone, and would lay it to the next cell.
            let _ = self.context.execute("()");
        }
        let mut outcome = match result {
            Ok(outputs) => self.came_back(outputs.content_by_mime_type, source),
            Err(error) => {
                let failure = self.explained(&error, source);
                if failure.kind == Kind::ProcessEnded {
                    self.was_lost()
                } else {
                    Outcome {
                        failure: Some(failure),
                        ..Outcome::default()
                    }
                }
            }
        };
        if outcome.failure.is_some() {
            if let (true, Some(limit)) = (late, limit) {
                let limit = limit.as_secs_f64();
                outcome.failure = Some(Failure::new(
                    Kind::TimeLimit,
                    format!("the cell did not end within {limit} s; all variables are lost"),
                ));
            } else if stopped {
                outcome.failure = Some(failure::process_ended("the cell was stopped"));
            }
        }
        outcome
    }

    /// Why a cell failed. Of an error in what a cell displays, the engine may keep
    /// only a note on where the function was defined: then the cell is checked again
    /// as it stands, without display.
    fn explained(&mut self, error: &Error, source: &str) -> Failure {
        if let Error::CompilationErrors(errors) = error
            && !failure::is_told(errors)
            && let Ok(checked) = self.context.check(source)
            && failure::is_told(&checked)
        {
            return failure::from_engine(&Error::CompilationErrors(checked));
        }
        failure::from_engine(error)
    }

    /// What a cell gave that the engine says has run.
    fn came_back(
        &mut self,
        mut content: std::collections::HashMap<String, String>,
        source: &str,
    ) -> Outcome {
        let number = content
            .remove(relay::RAN)
            .and_then(|text| text.parse().ok());
        let mut outcome = Outcome::default();
        // What is left are answers of the engine to commands.
        let mut answers: Bundle = content.into_iter().collect();
        answers.sort();
        outcome
            .bundles
            .extend((!answers.is_empty()).then_some(answers));
        // Where there is no number, no program ran.
        let Some(number) = number else {
            return outcome;
        };
        match self.gather(number, &mut outcome) {
            Some(Event::Returned(how, problem)) => {
                let stderr: Vec<String> = outcome.stderr.lines().map(str::to_owned).collect();
                let generated = self.context.last_source().ok();
                let failure = match how {
                    PANIC => Some(failure::panicked(&stderr, source, generated.as_deref())),
                    QUESTION_MARK => Some(failure::question_mark(&stderr, source)),
                    CHANGED_TYPE => Some(Failure::new(
                        Kind::Error,
                        "a variable's type was redefined, so its value was lost",
                    )),
                    _ => None,
                };
                if failure.is_some() {
                    // It is told by the failure.
                    outcome.stderr.clear();
                }
                let problem = problem.map(|problem| Failure::new(Kind::Display, problem));
                outcome.failure = failure.or(problem);
            }
            Some(Event::Ended(cause)) => outcome.failure = Some(failure::process_ended(&cause)),
            _ => {
                outcome.failure = Some(failure::process_ended(
                    "nothing says that the cell came back",
                ));
            }
        }
        outcome
    }

    /// What a cell gave before its process ended.
    fn was_lost(&mut self) -> Outcome {
        let mut outcome = Outcome::default();
        let cause = loop {
            match self.gather(0, &mut outcome) {
                Some(Event::Ended(cause)) => break cause,
                Some(_) => {}
                None => break "the cell's process was stopped".to_owned(),
            }
        };
        outcome.failure = Some(failure::process_ended(&cause));
        outcome
    }

    /// Gathers what comes up to the end of a program; of others before it, nothing.
    fn gather(&mut self, number: usize, outcome: &mut Outcome) -> Option<Event> {
        let mut own = number == 0;
        loop {
            match self.events.recv_timeout(PATIENCE).ok()? {
                Event::Begun(begun) => own = own || begun == number,
                Event::Stdout(text) if own => outcome.stdout.push_str(&text),
                Event::Stderr(text) if own => outcome.stderr.push_str(&text),
                Event::Display(mut bundle) if own => {
                    bundle.sort();
                    outcome.bundles.push(bundle);
                }
                event @ Event::Ended(_) => return Some(event),
                event @ Event::Returned(..) if own => return Some(event),
                _ => {}
            }
        }
    }
}

/// Whether a cell ended with the error that ends the warm-up.
fn is_warm(outcome: &Outcome) -> bool {
    outcome
        .failure
        .as_ref()
        .is_some_and(|failure| failure.kind == Kind::Error && failure.message == "warm")
}
