//! Reading: regular files and standard input, once, up to a size.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

use same_file::Handle;

use super::{FileError, Problem};

/// What a command has read. It knows the files again, whatever they are called.
#[derive(Debug, Default)]
pub struct Inputs(Vec<(String, Handle)>);

impl Inputs {
    /// Reads a regular file of at most `largest` bytes; `what` says in messages what it
    /// is, such as `specification`.
    ///
    /// # Errors
    ///
    /// [`FileError`] where it cannot be read, is larger, or is a folder, a pipe or a
    /// device.
    pub fn read(&mut self, what: &str, path: &Path, largest: u64) -> Result<Vec<u8>, FileError> {
        let refused = |problem| FileError::new(path, problem);
        let unreadable = |error| refused(Problem::Unreadable(error));
        // Opening a pipe would wait for its other end: what it is comes first.
        regular(what, &fs::metadata(path).map_err(unreadable)?).map_err(refused)?;
        let file = File::open(path).map_err(unreadable)?;
        // It may have been exchanged meanwhile.
        regular(what, &file.metadata().map_err(unreadable)?).map_err(refused)?;
        let bytes = bounded(&file, what, largest).map_err(refused)?;
        let handle = Handle::from_file(file).map_err(unreadable)?;
        self.0.push((what.to_owned(), handle));
        Ok(bytes)
    }

    /// The same as text.
    ///
    /// # Errors
    ///
    /// As for [`Self::read`], and where it is not UTF-8.
    pub fn read_text(
        &mut self,
        what: &str,
        path: &Path,
        largest: u64,
    ) -> Result<String, FileError> {
        text(path, self.read(what, path, largest)?)
    }

    /// Reads standard input to its end as text.
    ///
    /// # Errors
    ///
    /// [`FileError`] where it cannot be read, is larger than `largest` bytes, or is not
    /// UTF-8.
    pub fn read_standard_input(&mut self, what: &str, largest: u64) -> Result<String, FileError> {
        let place = Path::new("standard input");
        let bytes = bounded(io::stdin().lock(), what, largest)
            .map_err(|problem| FileError::new(place, problem))?;
        // A file may have been redirected to it. A pipe has no place to be written to.
        if let Ok(handle) = Handle::stdin() {
            self.0.push((what.to_owned(), handle));
        }
        text(place, bytes)
    }

    /// What a file was read as, if it was.
    pub(super) fn known(&self, path: &Path) -> Option<&str> {
        // Opening a pipe would wait for its other end.
        fs::metadata(path).ok().filter(fs::Metadata::is_file)?;
        let handle = Handle::from_path(path).ok()?;
        let found = self.0.iter().find(|(_, own)| *own == handle)?;
        Some(&found.0)
    }
}

fn regular(what: &str, metadata: &fs::Metadata) -> Result<(), Problem> {
    let what = what.to_owned();
    if metadata.is_dir() {
        Err(Problem::Folder { what })
    } else if metadata.is_file() {
        Ok(())
    } else {
        Err(Problem::Special { what })
    }
}

/// Reads a byte more than is accepted, and no further.
fn bounded(source: impl Read, what: &str, largest: u64) -> Result<Vec<u8>, Problem> {
    let mut bytes = Vec::new();
    source
        .take(largest.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(Problem::Unreadable)?;
    if bytes.len() as u64 > largest {
        let what = what.to_owned();
        return Err(Problem::TooLarge { what, largest });
    }
    Ok(bytes)
}

fn text(path: &Path, bytes: Vec<u8>) -> Result<String, FileError> {
    String::from_utf8(bytes).map_err(|error| {
        let byte = error.utf8_error().valid_up_to();
        let line = error.as_bytes()[..byte].split(|b| *b == b'\n').count();
        FileError::new(path, Problem::NotText { line, byte })
    })
}
