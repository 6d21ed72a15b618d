//! The commands of the program.

mod brief;
mod changes;
mod compare;
mod core_loss;
mod cycle;
mod given;
mod help;
mod map;
mod recording;
mod settings;
mod sources;
mod timeline;
mod verify;

use std::ffi::{OsStr, OsString};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use lexopt::prelude::*;
use slewbook::design::{self, Design};
use slewbook::file::{FileError, Folder, Inputs, Output, finish};
use slewbook::identity::Program;
use slewbook::visible::visible;
use slewbook::{rationale, stage};

use settings::Source;
use sources::Sources;

/// Takes an option's value; an option is given once.
fn once<T>(slot: &mut Option<T>, option: &str, value: T) -> Result<(), Failure> {
    if slot.replace(value).is_some() {
        return Err(Failure::Input(format!(
            "slewbook: {option} is given twice; give it once"
        )));
    }
    Ok(())
}

/// Why a command ended without doing its work.
pub enum Failure {
    /// The input, the command line or the output folder is wrong.
    Input(String),
    /// Whoever read what is written has gone: nothing is left to do.
    Closed,
    /// All is done, and what was asked to hold does not.
    Unmet(String),
    /// Anything else.
    Other(String),
}

impl From<FileError> for Failure {
    fn from(error: FileError) -> Self {
        if error.is_closed() {
            Self::Closed
        } else {
            Self::Input(error.to_string())
        }
    }
}

impl From<lexopt::Error> for Failure {
    fn from(error: lexopt::Error) -> Self {
        Self::Input(format!(
            "slewbook: {error}; `slewbook help` lists the commands"
        ))
    }
}

/// Runs the command line.
pub fn run(arguments: impl Iterator<Item = OsString>) -> Result<(), Failure> {
    let arguments: Vec<OsString> = arguments.collect();
    if arguments.iter().any(|own| own == "--help" || own == "-h") {
        let command = arguments.first().and_then(|own| own.to_str());
        return print(&help::of(command).unwrap_or_else(help::all));
    }
    let mut parser = lexopt::Parser::from_args(arguments);
    match parser.next()? {
        None => write_rationale(Source::default(), None, false, false),
        Some(Long("version") | Short('V')) => print(&Program::own().text()),
        Some(Value(name)) => match name.to_str() {
            Some("rationale") => rationale_command(parser),
            Some("brief") => brief::run(parser),
            Some("derive") => derive_command(parser),
            Some("cycle") => cycle::run(parser),
            Some("timeline") => timeline::run(parser),
            Some("map") => map::run(parser),
            Some("compare") => compare::run(parser),
            Some("changes") => changes::run(parser),
            Some("verify") => verify::run(parser),
            Some("recording") => recording::run(parser),
            Some("core-loss") => core_loss::run(parser),
            Some("example") => example_command(parser),
            Some("version") => version_command(parser),
            Some("help") => help_command(parser),
            _ => Err(unknown(&name)),
        },
        Some(other) => Err(other.unexpected().into()),
    }
}

fn unknown(name: &OsStr) -> Failure {
    Failure::Input(format!(
        "slewbook: no command \"{}\"; the commands are {}",
        name.to_string_lossy(),
        help::names()
    ))
}

fn help_command(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let text = match parser.next()? {
        None => help::all(),
        Some(Value(name)) => help::of(name.to_str()).ok_or_else(|| unknown(&name))?,
        Some(other) => return Err(other.unexpected().into()),
    };
    end(parser)?;
    print(&text)
}

fn version_command(parser: lexopt::Parser) -> Result<(), Failure> {
    end(parser)?;
    print(&Program::own().text())
}

fn end(mut parser: lexopt::Parser) -> Result<(), Failure> {
    parser
        .next()?
        .map_or(Ok(()), |extra| Err(extra.unexpected().into()))
}

fn example_command(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let text = match parser.next()? {
        None => stage::DEMONSTRATION,
        Some(Value(name)) if name == "parts" => stage::PARTS,
        Some(other) => return Err(other.unexpected().into()),
    };
    end(parser)?;
    print(text)
}

fn rationale_command(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let (mut source, mut folder) = (Source::default(), None);
    let (mut bounds, mut required) = (false, false);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("set") => source.set(&parser.value()?.string()?)?,
            Long("bounds") => bounds = true,
            Long("require-met") => required = true,
            Short('o') | Long("output") => folder = Some(PathBuf::from(parser.value()?)),
            Value(path) if source.file.is_none() => source.file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    write_rationale(source, folder, bounds, required)
}

fn derive_command(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let (mut source, mut form) = (Source::default(), None);
    let (mut bounds, mut required) = (false, false);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("set") => source.set(&parser.value()?.string()?)?,
            Long("bounds") => bounds = true,
            Long("require-met") => required = true,
            Long("json") if form.is_none() => form = Some("json"),
            Long("latex") if form.is_none() => form = Some("latex"),
            Long("json" | "latex") => {
                return Err(Failure::Input(
                    "slewbook: one form at a time; give --json or --latex once".to_owned(),
                ));
            }
            Value(path) if source.file.is_none() => source.file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    if source.file.is_none() {
        return Err(Failure::Input(
            "slewbook: derive needs a specification; `slewbook example` prints one".to_owned(),
        ));
    }
    let design = Sources::read(source)?.derive(bounds)?;
    match form {
        Some("json") => print(&(design::json(&design) + "\n"))?,
        Some(_) => print(&design::latex(&design).map_err(|e| Failure::Other(e.to_string()))?)?,
        None => print(&design::text(&design).map_err(|e| Failure::Other(e.to_string()))?)?,
    }
    if required { met(&design) } else { Ok(()) }
}

fn write_rationale(
    source: Source,
    folder: Option<PathBuf>,
    bounds: bool,
    required: bool,
) -> Result<(), Failure> {
    let sources = Sources::read(source)?;
    let folder = folder.unwrap_or_else(|| PathBuf::from("rationale"));
    let folder = if folder.as_os_str() == STANDARD {
        None
    } else {
        Some(Folder::new("-o", &folder)?)
    };
    let mut output = match &folder {
        None => Output::standard("-o"),
        Some(folder) => folder.output("-o", "rationale.html", &sources.inputs)?,
    };
    let design = sources.derive(bounds)?;
    output.put(rationale::html(&design).map_err(|e| Failure::Other(e.to_string()))?)?;
    let said = format!(
        "{}: {} results; {}\n",
        output.place().display(),
        design.findings.len(),
        design.verdicts_in_words()
    );
    end_with(vec![output], &said)?;
    if required { met(&design) } else { Ok(()) }
}

/// That every requirement of a design is met.
fn met(design: &Design) -> Result<(), Failure> {
    let all = design.requirements.iter();
    let all = all.map(|own| {
        (
            own.verdict == design::Verdict::Met,
            own.verdict.words(),
            own.words,
        )
    });
    required(&all.collect::<Vec<_>>())
}

/// That every requirement is met, each given with its verdict and its own words.
fn required(all: &[(bool, &str, &str)]) -> Result<(), Failure> {
    let mut unmet = all.iter().filter(|(met, _, _)| !met);
    let Some((_, verdict, words)) = unmet.next() else {
        return Ok(());
    };
    Err(Failure::Unmet(format!(
        "{} of {} requirements are other than met; the first is {verdict}: {words}",
        unmet.count() + 1,
        all.len()
    )))
}

/// What stands for standard input and standard output.
const STANDARD: &str = "-";

/// The file that an option names, begun; standard output for `-`.
fn output(option: &str, target: &Path, inputs: &Inputs) -> Result<Output, Failure> {
    if target.as_os_str() == STANDARD {
        return Ok(Output::standard(option));
    }
    Ok(Output::new(option, target, inputs)?)
}

/// Puts the outputs in their places and says what came of it: on standard error where
/// standard output is one of them.
fn end_with(outputs: Vec<Output>, said: &str) -> Result<(), Failure> {
    let taken = outputs.iter().any(Output::is_standard);
    finish(outputs)?;
    if taken {
        // A closed standard error is no reason to fail.
        let _ = std::io::stderr().write_all(visible(said).as_bytes());
        return Ok(());
    }
    print(said)
}

/// Writes to standard output; a reader that closed it early is no error.
fn print(text: &str) -> Result<(), Failure> {
    let text = visible(text);
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::Other(format!("standard output: {error}")))
        }
        _ => Ok(()),
    }
}
