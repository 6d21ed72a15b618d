//! Files that options name: never one that is read, and whole or not at all.

use std::ffi::OsString;
use std::fs::File;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use slewbook::stage::Specification;

use super::{Failure, beside, read, unwritable};

/// What a command reads: the specification, and the parts file that it names.
pub struct Inputs(Vec<(&'static str, PathBuf)>);

impl Inputs {
    /// Those of a specification.
    pub fn of(file: &Path) -> Result<Self, Failure> {
        let mut inputs = vec![("specification", file.to_owned())];
        if let Some(parts) = Specification::parts_file(&read(file)?) {
            inputs.push(("parts file", beside(file, &parts)));
        }
        Ok(Self(inputs))
    }
}

/// A file to be written. What stands in its place stays there until the new one is
/// whole; what was begun and not finished is taken away.
pub struct Output {
    target: PathBuf,
    /// Where it is written; none for what is no file, such as a pipe.
    part: Option<PathBuf>,
    option: &'static str,
}

impl Output {
    /// The file that an option names.
    pub fn new(option: &'static str, target: &Path, inputs: &Inputs) -> Result<Self, Failure> {
        for (what, path) in &inputs.0 {
            if same(target, path) {
                return Err(Failure::Input(format!(
                    "slewbook: {option} {} is the {what} itself, which would be lost; choose \
                     another name",
                    target.display()
                )));
            }
        }
        let metadata = std::fs::metadata(target);
        let is_file = metadata.map_or(true, |found| found.is_file());
        let part = target.file_name().filter(|_| is_file).map(|name| {
            let mut part = OsString::from(".");
            part.push(name);
            part.push(".part");
            target.with_file_name(part)
        });
        Ok(Self {
            target: target.to_owned(),
            part,
            option,
        })
    }

    /// The same with another option's file, which has to be another one.
    pub fn beside(
        &self,
        option: &'static str,
        target: &Path,
        inputs: &Inputs,
    ) -> Result<Self, Failure> {
        if same(target, &self.target) {
            return Err(Failure::Input(format!(
                "slewbook: {} and {option} both name {}; choose two files",
                self.option,
                target.display()
            )));
        }
        Self::new(option, target, inputs)
    }

    /// Opens it.
    pub fn create(&self) -> Result<File, Failure> {
        File::create(self.part.as_ref().unwrap_or(&self.target))
            .map_err(|error| self.refused(&error))
    }

    /// It is whole: puts it in its place.
    pub fn done(mut self) -> Result<(), Failure> {
        match self.part.take() {
            Some(part) => std::fs::rename(part, &self.target).map_err(|error| self.refused(&error)),
            None => Ok(()),
        }
    }

    /// Writes a text.
    pub fn write(self, text: &str) -> Result<(), Failure> {
        let mut file = self.create()?;
        file.write_all(text.as_bytes())
            .map_err(|error| self.refused(&error))?;
        self.done()
    }

    /// That it cannot be written.
    pub fn refused(&self, error: &io::Error) -> Failure {
        let instead = format!("another place with {}", self.option);
        unwritable(&self.target, error, &instead)
    }
}

impl Drop for Output {
    fn drop(&mut self) {
        if let Some(part) = &self.part {
            // Often it was never opened.
            let _ = std::fs::remove_file(part);
        }
    }
}

/// Whether two names are of one file, or would be.
fn same(a: &Path, b: &Path) -> bool {
    let whole = |path: &Path| {
        std::fs::canonicalize(path).ok().or_else(|| {
            let folder = path.parent().filter(|own| !own.as_os_str().is_empty());
            let folder = std::fs::canonicalize(folder.unwrap_or(Path::new("."))).ok()?;
            Some(folder.join(path.file_name()?))
        })
    };
    a == b || (whole(a).is_some() && whole(a) == whole(b))
}
