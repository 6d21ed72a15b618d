//! Writing: whole or not at all, all or none.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use same_file::Handle;

use super::unfinished::{self, Unfinished};
use super::{FileError, Inputs, Problem};

/// A file that is being written. What stands in its place stays there until
/// [`finish`]; dropped before, it leaves nothing behind.
#[derive(Debug)]
pub struct Output {
    option: String,
    target: PathBuf,
    sink: Sink,
}

#[derive(Debug)]
enum Sink {
    /// A file beside the target.
    Part(Unfinished, File),
    /// What is no file, such as a pipe.
    Stream(File),
    Standard(io::Stdout),
}

impl Output {
    /// Begins the file that an option names.
    ///
    /// # Errors
    ///
    /// [`FileError`] where it is an input, a symbolic link, a folder or read-only, or
    /// where its folder cannot be written to.
    pub fn new(option: &str, target: &Path, inputs: &Inputs) -> Result<Self, FileError> {
        let owned = || option.to_owned();
        let refused = |problem| FileError::new(target, problem);
        let unwritable = |error| {
            let option = owned();
            refused(Problem::Unwritable { option, error })
        };
        let there = match fs::symlink_metadata(target) {
            Ok(there) => Some(there),
            Err(error) if error.kind() == io::ErrorKind::NotFound => None,
            Err(error) => return Err(unwritable(error)),
        };
        let (option, target) = (owned(), target.to_owned());
        if let Some(there) = &there {
            if there.is_dir() {
                return Err(refused(Problem::FolderThere { option }));
            }
            if let Some(what) = inputs.known(&target) {
                let what = what.to_owned();
                return Err(refused(Problem::Input { option, what }));
            }
            if there.is_symlink() {
                return Err(refused(Problem::Link { option }));
            }
            if !there.is_file() {
                let stream = File::options()
                    .write(true)
                    .open(&target)
                    .map_err(unwritable)?;
                let sink = Sink::Stream(stream);
                return Ok(Self {
                    option,
                    target,
                    sink,
                });
            }
            if there.permissions().readonly() {
                return Err(refused(Problem::ReadOnly { option }));
            }
        }
        let folder = folder(&target);
        let (part, file) = Unfinished::file(folder, there.is_some()).map_err(unwritable)?;
        if let Some(there) = there {
            file.set_permissions(there.permissions())
                .map_err(unwritable)?;
        }
        let sink = Sink::Part(part, file);
        Ok(Self {
            option,
            target,
            sink,
        })
    }

    /// Begins the file of another option, which has to be another file.
    ///
    /// # Errors
    ///
    /// As for [`Self::new`], and where both options name one file.
    pub fn beside(&self, option: &str, target: &Path, inputs: &Inputs) -> Result<Self, FileError> {
        if same_place(target, &self.target) {
            let (first, option) = (self.option.clone(), option.to_owned());
            return Err(FileError::new(target, Problem::Twice { first, option }));
        }
        Self::new(option, target, inputs)
    }

    /// Standard output.
    #[must_use]
    pub fn standard(option: &str) -> Self {
        Self {
            option: option.to_owned(),
            target: PathBuf::from("standard output"),
            sink: Sink::Standard(io::stdout()),
        }
    }

    /// Whether it is standard output.
    #[must_use]
    pub fn is_standard(&self) -> bool {
        matches!(self.sink, Sink::Standard(_))
    }

    /// The place it has or will have.
    #[must_use]
    pub fn place(&self) -> &Path {
        &self.target
    }

    /// That it cannot be written.
    #[must_use]
    pub fn refused(&self, error: io::Error) -> FileError {
        let option = self.option.clone();
        FileError::new(&self.target, Problem::Unwritable { option, error })
    }

    /// Writes all of a text or of bytes.
    ///
    /// # Errors
    ///
    /// Where it cannot be written.
    pub fn put(&mut self, content: impl AsRef<[u8]>) -> Result<(), FileError> {
        self.write_all(content.as_ref())
            .map_err(|error| self.refused(error))
    }
}

impl Write for Output {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match &mut self.sink {
            Sink::Part(_, file) | Sink::Stream(file) => file.write(bytes),
            Sink::Standard(out) => out.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match &mut self.sink {
            Sink::Part(_, file) | Sink::Stream(file) => file.flush(),
            Sink::Standard(out) => out.flush(),
        }
    }
}

/// Puts the outputs of a command in their places: all of them, or none. What was there
/// before comes back where one cannot be put in its place.
///
/// # Errors
///
/// [`FileError`] of the first that cannot be written.
pub fn finish(mut outputs: Vec<Output>) -> Result<(), FileError> {
    for output in &mut outputs {
        let written = match &mut output.sink {
            // On the disk before it has its name: no cut file after a power failure.
            Sink::Part(_, file) => file.sync_all(),
            Sink::Stream(_) | Sink::Standard(_) => output.flush(),
        };
        written.map_err(|error| output.refused(error))?;
    }
    let parts: Vec<_> = outputs
        .iter()
        .filter_map(|output| match &output.sink {
            Sink::Part(part, _) => Some((output, part.path())),
            Sink::Stream(_) | Sink::Standard(_) => None,
        })
        .collect();
    let mut kept = Vec::new();
    for (output, _) in &parts {
        let target = &output.target;
        // A single one is put in its place in one step of the file system.
        let keep = parts.len() > 1 && fs::symlink_metadata(target).is_ok();
        let own = keep.then(|| Unfinished::kept(target, folder(target)));
        kept.push(own.transpose().map_err(|error| output.refused(error))?);
    }
    let mut list = unfinished::list();
    for (done, (output, part)) in parts.iter().enumerate() {
        if let Err(error) = fs::rename(part, &output.target) {
            for ((output, _), before) in parts[..done].iter().zip(&kept).rev() {
                let _ = match before {
                    Some(before) => fs::rename(before.path(), &output.target),
                    None => fs::remove_file(&output.target),
                };
            }
            return Err(output.refused(error));
        }
        list.retain(|own| own != part);
    }
    drop(list);
    for (output, _) in &parts {
        // That the name itself outlives a power failure; not every system can.
        let _ = File::open(folder(&output.target)).and_then(|own| own.sync_all());
    }
    Ok(())
}

/// A folder for outputs. Those of its parents that were not there are made, and go away
/// again with this value where nothing was put in them.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    /// The innermost goes first.
    _made: Vec<Unfinished>,
}

impl Folder {
    /// The folder that an option names.
    ///
    /// # Errors
    ///
    /// [`FileError`] where it can be no folder.
    pub fn new(option: &str, path: &Path) -> Result<Self, FileError> {
        let mut made = Vec::new();
        let ancestors: Vec<_> = path
            .ancestors()
            .filter(|a| !a.as_os_str().is_empty())
            .collect();
        for folder in ancestors.into_iter().rev().filter(|own| !own.is_dir()) {
            match Unfinished::folder(folder) {
                Ok(own) => made.insert(0, own),
                // Another run may have made it at the same time.
                Err(_) if folder.is_dir() => {}
                Err(error) => {
                    let option = option.to_owned();
                    let problem = Problem::Unwritable { option, error };
                    return Err(FileError::new(path, problem));
                }
            }
        }
        let path = path.to_owned();
        Ok(Self { path, _made: made })
    }

    /// A file in it, begun.
    ///
    /// # Errors
    ///
    /// As for [`Output::new`].
    pub fn output(&self, option: &str, name: &str, inputs: &Inputs) -> Result<Output, FileError> {
        Output::new(option, &self.path.join(name), inputs)
    }
}

/// The folder that a file is in.
fn folder(file: &Path) -> &Path {
    match file.parent() {
        Some(own) if !own.as_os_str().is_empty() => own,
        _ => Path::new("."),
    }
}

/// Whether two names are of one file, or would be.
fn same_place(a: &Path, b: &Path) -> bool {
    // Opening a pipe would wait for its other end.
    let is_file = |path: &Path| fs::metadata(path).is_ok_and(|own| own.is_file());
    let there = || {
        let both = is_file(a) && is_file(b);
        Some(both && Handle::from_path(a).ok()? == Handle::from_path(b).ok()?)
    };
    let folders = || {
        let one = Handle::from_path(folder(a)).ok()? == Handle::from_path(folder(b)).ok()?;
        Some(one && a.file_name() == b.file_name())
    };
    a == b || folders().unwrap_or(false) || there().unwrap_or(false)
}
