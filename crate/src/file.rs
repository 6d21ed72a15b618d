//! How the programs read and write files.
//!
//! Every input is a regular file (or standard input), is read once and up to a stated
//! size. Every output is written under a name of its own beside its place, and is put
//! there when all outputs of the command are whole; until then what stood there stays.
//! An output is never one of the inputs, by whatever name, and a symbolic link is never
//! written through. What is unfinished when a command fails, or is told to end, is taken
//! away.
//!
//! ```
//! use std::io::Write as _;
//! use slewbook::file::{Inputs, Output, finish};
//! # let folder = std::env::temp_dir().join(format!("slewbook-doc-{}", std::process::id()));
//! # std::fs::create_dir_all(&folder)?;
//! # std::fs::write(folder.join("stage.toml"), "pairs = 2")?;
//! let mut inputs = Inputs::default();
//! let text = inputs.read_text("specification", &folder.join("stage.toml"), 1000)?;
//! let mut output = Output::new("-o", &folder.join("rows.csv"), &inputs)?;
//! writeln!(output, "{}", text.len())?;
//! finish(vec![output])?;
//! assert!(Output::new("-o", &folder.join("stage.toml"), &inputs).is_err());
//! # std::fs::remove_dir_all(&folder)?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod input;
mod output;
mod unfinished;

use std::error::Error;
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

pub use input::Inputs;
pub use output::{Folder, Output, finish};
pub use unfinished::take_away_on_signals;

/// Why a file is not read or not written.
#[derive(Debug)]
pub struct FileError {
    path: PathBuf,
    problem: Problem,
}

impl FileError {
    fn new(path: &Path, problem: Problem) -> Self {
        let path = path.to_owned();
        Self { path, problem }
    }

    /// Whether a file that is to be read is not there, or cannot be opened.
    #[must_use]
    pub fn is_unreadable(&self) -> bool {
        matches!(self.problem, Problem::Unreadable(_))
    }

    /// Whether the reader of a pipe, such as standard output, has gone: no fault of the
    /// command, which only has nothing left to do.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        matches!(&self.problem, Problem::Unwritable { error, .. }
            if error.kind() == io::ErrorKind::BrokenPipe)
    }
}

/// What is wrong; `what` says what the file is for, `option` names it on the command line.
#[derive(Debug)]
enum Problem {
    Unreadable(io::Error),
    Folder { what: String },
    Special { what: String },
    TooLarge { what: String, largest: u64 },
    NotText { line: usize, byte: usize },
    Unwritable { option: String, error: io::Error },
    Link { option: String },
    FolderThere { option: String },
    ReadOnly { option: String },
    Input { option: String, what: String },
    Twice { first: String, option: String },
}

impl fmt::Display for FileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let empty = Path::new("\"\"");
        let path = if self.path.as_os_str().is_empty() {
            empty.display()
        } else {
            self.path.display()
        };
        match &self.problem {
            Problem::Unreadable(error) => write!(f, "{path}: cannot be read ({error})"),
            Problem::Folder { what } => {
                write!(f, "{path}: is a folder; expected a file, the {what}")
            }
            Problem::Special { what } => write!(
                f,
                "{path}: is a pipe or a device, which is not read; save the {what} to a file first"
            ),
            Problem::TooLarge { what, largest } => write!(
                f,
                "{path}: is larger than {largest} bytes, the most that is read of a {what}; check \
                 that it is the right file"
            ),
            Problem::NotText { line, byte } => write!(
                f,
                "{path}: is not UTF-8 text (line {line}, byte {byte}); save it as UTF-8"
            ),
            Problem::Unwritable { option, error } => write!(
                f,
                "{path}: cannot be written ({error}); choose another place with {option}"
            ),
            Problem::Link { option } => write!(
                f,
                "{path}: is a symbolic link, which is not written through; give the file that is \
                 meant, or another, with {option}"
            ),
            Problem::FolderThere { option } => {
                write!(f, "{path}: is a folder; give a file with {option}")
            }
            Problem::ReadOnly { option } => write!(
                f,
                "{path}: cannot be written (it is there and read-only); make it writable, or choose \
                 another place with {option}"
            ),
            Problem::Input { option, what } => write!(
                f,
                "{option} {path} is the {what} itself, which would be lost; choose another name"
            ),
            Problem::Twice { first, option } => {
                write!(f, "{first} and {option} both name {path}; choose two files")
            }
        }
    }
}

impl Error for FileError {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        match &self.problem {
            Problem::Unreadable(error) | Problem::Unwritable { error, .. } => Some(error),
            _ => None,
        }
    }
}
