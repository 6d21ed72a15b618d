//! The process that runs the cells: it loads each as a shared library, calls it,
//! and says that it came back.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Write};
use std::os::fd::AsFd;
use std::os::raw::c_void;
use std::os::unix::net::UnixStream;
use std::path::Path;

use libloading::Library;
use serde::{Deserialize, Serialize};

use super::generated::OUTCOME;

/// The variable that makes this program the process that runs the cells.
pub const ROLE: &str = "SLEWBOOK_CELLS";
/// The variable that says how much memory it may use, in bytes.
pub const MEMORY: &str = "SLEWBOOK_MEMORY";

/// What to run.
#[derive(Debug, Deserialize, Serialize)]
pub struct Task {
    /// The shared library.
    pub library: String,
    /// The function in it.
    pub function: String,
    /// What has to be said for the cell to have come back: new for each cell.
    pub secret: String,
}

/// That a cell came back.
#[derive(Debug, Deserialize, Serialize)]
pub struct Returned {
    /// The secret of its task.
    pub secret: String,
    /// How it ended: see [`OUTCOME`].
    pub outcome: u8,
}

/// Runs cells until no more come, if this process was started for that; otherwise
/// returns.
pub fn hook() {
    if std::env::var_os(ROLE).is_some() {
        let code = match serve() {
            Ok(()) => 0,
            Err(error) => {
                super::terminal::complain(format!("the process that runs the cells: {error}"));
                99
            }
        };
        std::process::exit(code);
    }
}

fn serve() -> io::Result<()> {
    let mut channel = channel()?;
    limit_memory();
    #[cfg(target_os = "linux")]
    rustix::process::set_parent_process_death_signal(Some(rustix::process::Signal::KILL))?;
    let mut variables = std::ptr::null_mut();
    let mut libraries = vec![];
    for line in BufReader::new(channel.try_clone()?).lines() {
        let task: Task = serde_json::from_str(&line?)?;
        let (library, outcome) =
            run(&task, &mut variables).map_err(|error| io::Error::other(in_words(&error)))?;
        // Kept for ever: variables have functions in it.
        libraries.push(std::mem::ManuallyDrop::new(library));
        let secret = task.secret;
        let mut answer = serde_json::to_string(&Returned { secret, outcome })?;
        answer.push('\n');
        channel.write_all(answer.as_bytes())?;
    }
    Ok(())
}

/// The channel by which tasks come and answers go. It came as standard input, which
/// is the cells': they find it empty, and what they start does not inherit the channel.
fn channel() -> io::Result<UnixStream> {
    let channel = io::stdin().as_fd().try_clone_to_owned()?;
    rustix::stdio::dup2_stdin(File::open(Path::new("/dev/null"))?)?;
    Ok(UnixStream::from(channel))
}

/// Beyond the limit the allocator fails, which ends the process. Each process that
/// a cell starts has the limit for itself.
fn limit_memory() {
    use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
    let limit = std::env::var(MEMORY)
        .ok()
        .and_then(|text| text.parse().ok());
    let Some(limit) = limit else {
        return;
    };
    let maximum = getrlimit(Resource::As).maximum;
    let limit = maximum.map_or(limit, |maximum: u64| maximum.min(limit));
    let both = Rlimit {
        current: Some(limit),
        maximum: Some(limit),
    };
    // A system that knows no such limit has none.
    let _ = setrlimit(Resource::As, both);
}

/// An error with its cause, which says which file is missing.
fn in_words(error: &dyn std::error::Error) -> String {
    match error.source() {
        Some(cause) => format!("{error}: {cause}"),
        None => error.to_string(),
    }
}

/// Loads and calls a cell: native code that the compiler of this very kernel has
/// made, which is the one thing here that a compiler cannot check.
#[allow(unsafe_code)]
fn run(task: &Task, variables: &mut *mut c_void) -> Result<(Library, u8), libloading::Error> {
    type Cell = extern "C" fn(*mut c_void) -> *mut c_void;
    type Outcome = extern "C" fn() -> u8;
    // SAFETY: the library is the cell that this kernel's compiler has just linked; its
    // initialisers are those of Rust's standard library. The engine generates `function` as
    // `extern "C" fn(*mut VariableStore) -> *mut VariableStore` and `generated.rs` appends
    // `outcome` with the type given here. The pointer is null or what the cell before
    // returned: nobody else uses it, and the libraries that it refers to stay loaded.
    unsafe {
        let library = Library::new(&task.library)?;
        let cell = library.get::<Cell>(task.function.as_bytes())?;
        let outcome = library.get::<Outcome>(OUTCOME.as_bytes())?;
        *variables = cell(*variables);
        let outcome = outcome();
        Ok((library, outcome))
    }
}
