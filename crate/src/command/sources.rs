//! What a command works on, each file of it read once.

use std::io::Write as _;
use std::path::Path;

use slewbook::bound::Effort;
use slewbook::caution;
use slewbook::design::{Design, DesignError};
use slewbook::file::Inputs;
use slewbook::stage::{self, Specification};
use slewbook::visible::visible;

use super::settings::{Setting, Source, apply};
use super::{Failure, STANDARD};
use crate::progress;

/// A specification, and the parts file that it names.
pub struct Sources {
    /// What messages call the specification.
    pub name: String,
    /// The files, which no output may be.
    pub inputs: Inputs,
    source: String,
    parts: Option<String>,
    settings: Vec<Setting>,
}

impl Sources {
    /// Reads them and sets what is to be set; `-` is standard input, and without a name it is
    /// the demonstration.
    pub fn read(asked: Source) -> Result<Self, Failure> {
        let Source { file, settings } = asked;
        let file = file.as_deref();
        let mut inputs = Inputs::default();
        let (name, source) = match file {
            None => ("demonstration".to_owned(), stage::DEMONSTRATION.to_owned()),
            Some(path) if path.as_os_str().is_empty() => {
                return Err(Failure::Input(
                    "slewbook: the name of the specification is empty; give a file, or run \
                     `slewbook example` for one to start from"
                        .to_owned(),
                ));
            }
            Some(path) if path.as_os_str() == STANDARD => (
                "standard input".to_owned(),
                inputs.read_standard_input("specification", LARGEST)?,
            ),
            Some(path) => {
                let text = inputs.read_text("specification", path, LARGEST);
                let text = text.map_err(|error| {
                    if error.is_unreadable() {
                        let help = "`slewbook example` prints a specification";
                        Failure::Input(format!("{error}; {help}"))
                    } else {
                        error.into()
                    }
                })?;
                (path.display().to_string(), text)
            }
        };
        let of_parts = settings.iter().filter(|own| own.is_of_parts());
        let source = apply(source, of_parts, None)?;
        let parts = Specification::parts_file(&source)
            .map(|parts| {
                // A parts file is named from where the specification is.
                let folder = file.and_then(Path::parent).unwrap_or(Path::new(""));
                let path = folder.join(parts);
                let text = inputs.read_text("parts file", &path, LARGEST)?;
                stage::check_parts(&text).map_err(|problems| {
                    Failure::Input(listed(&path.display().to_string(), &problems))
                })?;
                Ok::<_, Failure>(text)
            })
            .transpose()?;
        let others = settings.iter().filter(|own| !own.is_of_parts());
        let source = apply(source, others, parts.as_deref())?;
        Ok(Self {
            name,
            inputs,
            source,
            parts,
            settings,
        })
    }

    /// Reads the specification and derives nothing.
    pub fn specification(&self) -> Result<Specification, Failure> {
        let read = Specification::read_with(&self.source, self.parts.as_deref());
        let specification = read.map_err(|problems| self.wrong(&problems))?;
        warn(&self.name, &specification);
        Ok(specification.edited(self.settings.iter().map(Setting::edit).collect()))
    }

    /// That the specification has problems, with what was set where one is about it.
    pub fn wrong(&self, problems: &stage::Problems) -> Failure {
        let mut text = listed(&self.name, problems);
        for own in &self.settings {
            if problems.0.iter().any(|problem| own.concerns(&problem.key)) {
                text.push_str(&format!(
                    "\nslewbook: {} was set by --set `{}`",
                    own.key(),
                    own.typed
                ));
            }
        }
        if !self.settings.is_empty() {
            text.push_str("\nslewbook: lines are those of the specification with what --set gives");
        }
        Failure::Input(text)
    }

    /// Derives the design. With `bounds` those that take longer too.
    pub fn derive(&self, bounds: bool) -> Result<Design, Failure> {
        let name = &self.name;
        let design = Design::of(self.specification()?);
        let mut design = design.map_err(|error| match error {
            DesignError::Specification(problems) => self.wrong(&problems),
            other => Failure::Other(format!("{name}: {other}")),
        })?;
        if bounds {
            design
                .guarantee(Effort::default(), &|done, all| {
                    progress::show("guaranteed bounds", done, all);
                })
                .map_err(|error| Failure::Other(format!("{name}: {error}")))?;
        }
        Ok(design)
    }
}

/// Says on standard error what a voltage calls for; `name` is what the specification stands in.
pub fn warn(name: &str, specification: &Specification) {
    if let Some(line) = caution::line(specification) {
        // A closed standard error is no reason to fail.
        let said = format!("{name}: {line}");
        let _ = writeln!(std::io::stderr(), "{}", visible(&said));
    }
}

/// The most bytes of a file that is read.
const LARGEST: u64 = stage::LARGEST as u64;

/// Problems, each with its file.
fn listed(name: &str, problems: &stage::Problems) -> String {
    let lines: Vec<_> = problems
        .0
        .iter()
        .map(|problem| format!("{name}:{problem}"))
        .collect();
    lines.join("\n")
}
