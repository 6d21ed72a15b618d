//! Between the engine and the process that runs the cells.
//!
//! The engine starts this relay in place of that process. The relay starts it, and
//! is the only one that the engine listens to: what a cell writes to its standard
//! output and standard error is text, whatever it looks like; what it displays comes
//! by a pipe of its own; and that it came back is known by a secret, new for each
//! cell, which it is not told. With the cell ends what it started.
//!
//! To the engine, on standard output, the relay speaks the engine's own marks; to
//! the session, on standard error, one [`Event`] a line.

mod text;

use std::fs::File;
use std::io::{self, Read, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::os::unix::fs::OpenOptionsExt;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Command, Stdio};

use rustix::event::{PollFd, PollFlags, poll};
use rustix::process::{Pid, WaitStatus};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use slewbook::hash::hexadecimal;

use super::generated::{self, CHANGED_TYPE, CHANNEL, PANIC, QUESTION_MARK};
use super::runtime::{self, Returned, Task};
use super::{processes, slot, standard_library};
use text::Text;

/// The variable that makes this program the relay.
const ROLE: &str = "SLEWBOOK_RELAY";
/// The variable that says how much of what a cell gives is kept, in bytes.
const OUTPUT: &str = "SLEWBOOK_OUTPUT";

/// The MIME type by which the engine hands on that a program ran; its content is the
/// program's number.
pub const RAN: &str = "application/vnd.slewbook.ran";

// evcxr's own marks (version 0.22).
const COMPLETE: &str = "EVCXR_EXECUTION_COMPLETE";
const PANICKED: &str = "EVCXR_PANIC_NOTIFICATION";
const ERROR_OCCURRED: &str = "EVCXR_ERROR_OCCURRED";
const TYPE_CHANGED: &str = "EVCXR_VARIABLE_CHANGED_TYPE:";

/// Why what a cell displays is not taken.
const NOT_A_DISPLAY: &str = "what came by the channel for displays is none";

/// What the session is told.
#[derive(Debug, Deserialize, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Event {
    /// A program begins: how many have, with this one.
    Begun(usize),
    /// Text on standard output.
    Stdout(String),
    /// Text on standard error.
    Stderr(String),
    /// A display: content by MIME type.
    Display(Vec<(String, String)>),
    /// The program came back, with this outcome and, if its displays are not what they
    /// should be, the reason.
    Returned(u8, Option<String>),
    /// The process that runs the cells ended, and how.
    Ended(String),
}

/// What a cell may use.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Bytes of printed text, and of displays, that are kept of each cell.
    pub output: u64,
    /// Bytes of memory of each of its processes.
    pub memory: u64,
}

impl Limits {
    /// What holds unless said otherwise: 10 MB, and 4 GiB.
    pub const DEFAULT: Self = Self {
        output: 10_000_000,
        memory: 4 << 30,
    };
}

/// The command by which the engine starts the relay.
pub fn command(limits: Limits) -> io::Result<Command> {
    let mut command = Command::new(std::env::current_exe()?);
    command
        .env(ROLE, "1")
        .env(OUTPUT, limits.output.to_string())
        .env(runtime::MEMORY, limits.memory.to_string());
    if let Some(path) = standard_library::library_path() {
        command.env(standard_library::LIBRARY_PATH, path);
    }
    // A group of its own: what is meant for the terminal's is not for cells.
    std::os::unix::process::CommandExt::process_group(&mut command, 0);
    Ok(command)
}

/// Runs the relay if this process was started as one; otherwise returns.
pub fn hook() {
    if std::env::var_os(ROLE).is_some() {
        let code = match Relay::start().and_then(Relay::work) {
            Ok(code) => code,
            Err(error) => {
                tell(&Event::Ended(format!(
                    "the cell's process was lost: {error}"
                )));
                1
            }
        };
        // Skip whatever the caller would do next: this process is the relay alone.
        std::process::exit(code);
    }
}

/// Tells the session. When it has gone there is nobody to tell.
fn tell(event: &Event) {
    if let Ok(line) = serde_json::to_string(event) {
        let _ = writeln!(io::stderr(), "{line}");
    }
}

struct Relay {
    process: Pid,
    tasks: UnixStream,
    displays: File,
    stdout: Text,
    stderr: Text,
    commands: Vec<u8>,
    answers: Vec<u8>,
    frames: Vec<u8>,
    limit: u64,
    /// Bytes of displays of this cell.
    displayed: u64,
    /// Why its displays are not taken, if they are not.
    problem: Option<String>,
    /// Variables of it that became another type.
    changed: Vec<String>,
    /// The secret of the cell that runs.
    secret: Option<String>,
    cells: usize,
}

/// What to listen to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Source {
    Engine,
    Cell,
    Stdout,
    Stderr,
    Displays,
}

impl Relay {
    fn start() -> io::Result<Self> {
        processes::adopt();
        let path = slot::folder()?.join("displays");
        let displays = pipe(&path)?;
        let (tasks, theirs) = UnixStream::pair()?;
        let limit = std::env::var(OUTPUT)
            .ok()
            .and_then(|text| text.parse().ok());
        let mut child = Command::new(std::env::current_exe()?)
            .args(std::env::args_os().skip(1))
            .env_remove(ROLE)
            .env_remove("EVCXR_IS_RUNTIME")
            // What a cell compiles is not a cell.
            .env_remove(generated::ROLE)
            .env_remove("RUSTC_WRAPPER")
            .env(runtime::ROLE, "1")
            .env(CHANNEL, &path)
            // The report of a panic is made from its message.
            .env("RUST_BACKTRACE", "0")
            .stdin(OwnedFd::from(theirs))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()?;
        let lost = || io::Error::other("it has no standard output");
        let stdout = OwnedFd::from(child.stdout.take().ok_or_else(lost)?);
        let stderr = OwnedFd::from(child.stderr.take().ok_or_else(lost)?);
        let process = i32::try_from(child.id()).ok().and_then(Pid::from_raw);
        rustix::io::ioctl_fionbio(&tasks, true)?;
        rustix::io::ioctl_fionbio(io::stdin(), true)?;
        let limit = limit.unwrap_or(u64::MAX);
        Ok(Self {
            process: process.ok_or_else(|| io::Error::other("it has no number"))?,
            tasks,
            displays,
            stdout: Text::new(stdout, limit)?,
            stderr: Text::new(stderr, limit)?,
            commands: vec![],
            answers: vec![],
            frames: vec![],
            limit,
            displayed: 0,
            problem: None,
            changed: vec![],
            secret: None,
            cells: 0,
        })
    }

    /// Works until the engine goes away or the process ends: the exit code.
    fn work(mut self) -> io::Result<i32> {
        loop {
            for source in self.wait()? {
                match source {
                    Source::Stdout => self.tell_text(true, Text::take),
                    Source::Stderr => self.tell_text(false, Text::take),
                    Source::Displays => self.take_displays(),
                    Source::Engine => {
                        let open = read(&mut io::stdin(), &mut self.commands);
                        while let Some(line) = next_line(&mut self.commands) {
                            self.begin(&line)?;
                        }
                        if !open {
                            self.end_all();
                            slot::clear_if_left();
                            return Ok(0);
                        }
                    }
                    Source::Cell => {
                        let open = read(&mut (&self.tasks), &mut self.answers);
                        while let Some(line) = next_line(&mut self.answers) {
                            self.came_back(&line)?;
                        }
                        if !open {
                            self.lost();
                            return Ok(1);
                        }
                    }
                }
            }
        }
    }

    fn wait(&self) -> io::Result<Vec<Source>> {
        let stdin = io::stdin();
        let mut sources = vec![
            (Source::Engine, stdin.as_fd()),
            (Source::Displays, self.displays.as_fd()),
        ];
        sources.extend(self.stdout.source().map(|fd| (Source::Stdout, fd)));
        sources.extend(self.stderr.source().map(|fd| (Source::Stderr, fd)));
        // Last: what came before a cell's answer is handed on before it.
        sources.push((Source::Cell, self.tasks.as_fd()));
        let mut watched: Vec<PollFd> = sources
            .iter()
            .map(|(_, fd)| PollFd::from_borrowed_fd(*fd, PollFlags::IN))
            .collect();
        poll(&mut watched, None)?;
        let ready = sources.iter().zip(&watched);
        Ok(ready
            .filter(|(_, watched)| !watched.revents().is_empty())
            .map(|((source, _), _)| *source)
            .collect())
    }

    /// Hands a task on; the engine's other lines are answers to questions that no
    /// cell can put.
    fn begin(&mut self, line: &str) -> io::Result<()> {
        let mut words = line.split(' ');
        let (Some("LOAD_AND_RUN"), Some(library), Some(function)) =
            (words.next(), words.next(), words.next())
        else {
            return Ok(());
        };
        let secret = secret()?;
        self.secret = Some(secret.clone());
        self.cells += 1;
        (self.displayed, self.problem) = (0, None);
        self.changed.clear();
        self.stdout.begin();
        self.stderr.begin();
        tell(&Event::Begun(self.cells));
        let task = Task {
            library: library.to_owned(),
            function: function.to_owned(),
            secret,
        };
        let mut task = serde_json::to_string(&task)?;
        task.push('\n');
        // Where the process has gone, its channel says so next.
        let _ = (&self.tasks).write_all(task.as_bytes());
        Ok(())
    }

    /// What the process says of a cell. Only the secret makes it true.
    fn came_back(&mut self, line: &str) -> io::Result<()> {
        let Ok(returned) = serde_json::from_str::<Returned>(line) else {
            return Ok(());
        };
        if self.secret.as_ref() != Some(&returned.secret) {
            return Ok(());
        }
        self.secret = None;
        self.end_children();
        self.take_rest();
        tell(&Event::Returned(returned.outcome, self.problem.take()));
        let mut marks = vec![
            format!("EVCXR_BEGIN_CONTENT {RAN}"),
            self.cells.to_string(),
            "EVCXR_END_CONTENT".to_owned(),
        ];
        match returned.outcome {
            PANIC => marks.push(PANICKED.to_owned()),
            QUESTION_MARK => marks.push(ERROR_OCCURRED.to_owned()),
            CHANGED_TYPE => {
                marks.extend(
                    self.changed
                        .iter()
                        .map(|name| format!("{TYPE_CHANGED}{name}")),
                );
            }
            _ => {}
        }
        marks.push(COMPLETE.to_owned());
        let mut engine = io::stdout().lock();
        writeln!(engine, "{}", marks.join("\n"))?;
        engine.flush()
    }

    /// The process has ended, or no longer listens.
    fn lost(mut self) {
        let status = self.status();
        self.end_all();
        self.take_rest();
        tell(&Event::Ended(in_words(status)));
    }

    /// How the process ended; none if it has to be ended yet.
    fn status(&self) -> Option<WaitStatus> {
        for _ in 0..100 {
            let ended = processes::ended();
            if let Some((_, status)) = ended.iter().find(|(process, _)| *process == self.process) {
                return Some(*status);
            }
            std::thread::sleep(std::time::Duration::from_millis(2));
        }
        None
    }

    /// Ends what the cell started.
    fn end_children(&self) {
        processes::end_below(rustix::process::getpid(), Some(self.process));
        processes::ended();
    }

    /// Ends the process and what its cells started.
    fn end_all(&self) {
        let _ = rustix::process::kill_process(self.process, rustix::process::Signal::KILL);
        processes::end_below(rustix::process::getpid(), None);
    }

    /// What has been written until now and not been read yet.
    fn take_rest(&mut self) {
        self.take_displays();
        for standard_output in [true, false] {
            self.tell_text(standard_output, Text::take);
            self.tell_text(standard_output, Text::end);
        }
    }

    /// Tells what is got of standard output or standard error, if there is something.
    fn tell_text(&mut self, standard_output: bool, got: fn(&mut Text) -> String) {
        let (text, event): (_, fn(String) -> Event) = if standard_output {
            (&mut self.stdout, Event::Stdout)
        } else {
            (&mut self.stderr, Event::Stderr)
        };
        let more = got(text);
        if !more.is_empty() {
            tell(&event(more));
        }
    }

    fn take_displays(&mut self) {
        // What a background thread goes on writing is not waited for.
        let waiting = rustix::io::ioctl_fionread(&self.displays).unwrap_or(0);
        let mut bytes = vec![];
        let _ = (&self.displays).take(waiting).read_to_end(&mut bytes);
        self.displayed = self.displayed.saturating_add(bytes.len() as u64);
        if self.displayed > self.limit {
            self.frames.clear();
            self.problem = Some(format!(
                "the cell displays more than {} bytes; --output-limit sets another limit",
                self.limit
            ));
            return;
        }
        self.frames.append(&mut bytes);
        while let Some(frame) = next_line(&mut self.frames) {
            self.take_frame(&frame);
        }
    }

    fn take_frame(&mut self, frame: &str) {
        let frame: Value = serde_json::from_str(frame).unwrap_or_default();
        let plain = |text: &Value| Some(vec![("text/plain".to_owned(), text.as_str()?.to_owned())]);
        let display = match (
            frame.get("display"),
            frame.get("plain"),
            frame.get("changed"),
        ) {
            (Some(display), ..) => serde_json::from_value(display.clone()).ok(),
            (_, Some(text), _) => plain(text),
            (.., Some(name)) => {
                let name = name.as_str().unwrap_or_default();
                let letter = |letter: char| letter.is_alphanumeric() || letter == '_';
                self.changed
                    .extend(name.chars().all(letter).then(|| name.to_owned()));
                return;
            }
            _ => None,
        };
        match display {
            Some(display) => tell(&Event::Display(display)),
            None => self.problem = Some(NOT_A_DISPLAY.to_owned()),
        }
    }
}

/// The pipe by which displays come. It has a name, so that the library opens it
/// wherever it is, and nothing that a cell starts inherits it.
fn pipe(path: &Path) -> io::Result<File> {
    use rustix::fs::{CWD, FileType, Mode, OFlags, mknodat};
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    mknodat(CWD, path, FileType::Fifo, Mode::RUSR | Mode::WUSR, 0)?;
    let flags = i32::try_from(OFlags::NONBLOCK.bits()).unwrap_or_default();
    // Open to both sides: it neither waits for a writer nor ends with the last one.
    File::options()
        .read(true)
        .write(true)
        .custom_flags(flags)
        .open(path)
}

/// Reads what is there; whether there may come more.
fn read(source: &mut impl Read, into: &mut Vec<u8>) -> bool {
    let mut part = [0; 1 << 12];
    match source.read(&mut part) {
        Ok(0) => false,
        Ok(count) => {
            into.extend_from_slice(&part[..count]);
            true
        }
        Err(error) => matches!(
            error.kind(),
            io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted
        ),
    }
}

/// Takes the first whole line.
fn next_line(bytes: &mut Vec<u8>) -> Option<String> {
    let end = bytes.iter().position(|byte| *byte == b'\n')?;
    let line: Vec<u8> = bytes.drain(..=end).collect();
    Some(String::from_utf8_lossy(&line[..end]).into_owned())
}

/// Sixteen random bytes.
fn secret() -> io::Result<String> {
    let mut bytes = [0; 16];
    File::open("/dev/urandom")?.read_exact(&mut bytes)?;
    Ok(hexadecimal(&bytes))
}

fn in_words(status: Option<WaitStatus>) -> String {
    match status {
        None => "the cell's process no longer answers".to_owned(),
        Some(status) => match (status.terminating_signal(), status.exit_status()) {
            (Some(signal), _) => format!("the cell's process ended by signal {signal}"),
            (_, code) => format!(
                "the cell's process ended with exit code {}",
                code.unwrap_or(-1)
            ),
        },
    }
}
