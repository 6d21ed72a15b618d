//! The commands of the program.

mod compare;
mod cycle;
mod given;
mod map;
mod settings;
mod sources;
mod timeline;

use std::ffi::OsString;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use lexopt::prelude::*;
use slewbook::design;
use slewbook::file::{FileError, Folder, Inputs, Output, finish};
use slewbook::{rationale, stage};

use settings::Source;
use sources::Sources;

const HELP: &str = "\
slewbook: soft-switched converters from equations that compute themselves

  slewbook                                 the rationale of the built-in, invented demonstration
  slewbook rationale [SPEC] [-o DIR]       the rationale of a specification, as DIR/rationale.html
  slewbook derive SPEC [--json | --latex]  the derivations with their results, as text, JSON or LaTeX
  slewbook cycle SPEC [--input-voltage 44V] [--output-voltage 6V] [--output-current 6A]
                 [--scheme NAME] [--ripple] [--json] [-o FIGURE.svg] [--phase-plane FIGURE.svg]
                 [--width 88mm|180mm]      one cell in steady state at a point, nominal voltages and
                                           greatest current unless given; its waveforms and its edges in
                                           the phase plane as figures; with --ripple, the flying capacitors' ripple in it
  slewbook timeline SPEC [--until 2ms] [--load-step '1 A, 6 A, 1 ms'] [--input-step '36 V, 44 V, 1 ms']
                    [--start-up '0 V'] [--disturb '1, -2 V, 1 ms'] [--duty 18%] [--spacing 50ns]
                    [--input-voltage 44V] [--output-voltage 6V] [--output-current 6A]
                    [--scheme NAME] -o WAVES.csv
                                           the stage with its control, from event to event: waveforms with
                                           gates and events, and what came of it; --start-up with that
                                           output voltage and empty flying capacitors, --disturb changes
                                           the voltage of one of them, --duty leaves out the voltage loop
  slewbook map SPEC [--x input-voltage] [--x-range '30 V, 44 V'] [--y output-current]
               [--y-range '0.3 A, 6 A'] [--grid 200x200] [--scheme NAME] [--input-voltage 44V]
               [--output-voltage 6V] [--output-current 6A]
               [--samples 1000 --seed 1 | --corners] -o MAP.csv [--figure MAP.svg [--width 88mm|180mm]]
                                           where zero-voltage switching holds, and for which share of
                                           units within tolerance; -o MAP.parquet where built with frames
  slewbook compare SPEC [--input-voltage 44V] [--output-voltage 6V] [--output-current 6A]
                   [--json] [-o DIR]       schemes side by side: losses, efficiencies, where soft switching
                                           pays; where -o is given, figures as DIR/*.svg and losses as
                                           DIR/*.csv, and as DIR/*.parquet where built with frames
  slewbook example [parts]                 the demonstration's specification, to start from; with `parts`,
                                           invented parts for it

  --bounds, with rationale or derive, proves bounds of every result over the ranges and
  tolerances, which takes half a minute; without it only those of formulas that need no iteration.

  --set 'stage.inductance=0.81 uH', wherever a SPEC is read and as often as needed, gives a key of
  it another value.

  SPEC is a TOML file; DIR is `rationale` unless given. --output is -o. --version prints the version.
  Exit codes: 0 done (a verdict `not met` too), 2 bad input, 1 anything else.
";

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
            "slewbook: {error}; `slewbook --help` lists the commands"
        ))
    }
}

/// Runs the command line.
pub fn run(arguments: impl Iterator<Item = OsString>) -> Result<(), Failure> {
    let arguments: Vec<OsString> = arguments.collect();
    if arguments.iter().any(|own| own == "--help" || own == "-h") {
        return print(HELP);
    }
    let mut parser = lexopt::Parser::from_args(arguments);
    match parser.next()? {
        None => write_rationale(Source::default(), None, false),
        Some(Long("version") | Short('V')) => print(&format!("slewbook {}\n", slewbook::VERSION)),
        Some(Value(name)) => match name.to_str() {
            Some("rationale") => rationale_command(parser),
            Some("derive") => derive_command(parser),
            Some("cycle") => cycle::run(parser),
            Some("timeline") => timeline::run(parser),
            Some("map") => map::run(parser),
            Some("compare") => compare::run(parser),
            Some("example") => example_command(parser),
            _ => Err(Failure::Input(format!(
                "slewbook: no command \"{}\"; the commands are rationale, derive, cycle, timeline, map, \
                 compare and example",
                name.to_string_lossy()
            ))),
        },
        Some(other) => Err(other.unexpected().into()),
    }
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
    let (mut source, mut folder, mut bounds) = (Source::default(), None, false);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("set") => source.set(&parser.value()?.string()?)?,
            Long("bounds") => bounds = true,
            Short('o') | Long("output") => folder = Some(PathBuf::from(parser.value()?)),
            Value(path) if source.file.is_none() => source.file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    write_rationale(source, folder, bounds)
}

fn derive_command(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let (mut source, mut form, mut bounds) = (Source::default(), None, false);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("set") => source.set(&parser.value()?.string()?)?,
            Long("bounds") => bounds = true,
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
        Some("json") => print(&(design::json(&design) + "\n")),
        Some(_) => print(&design::latex(&design).map_err(|e| Failure::Other(e.to_string()))?),
        None => print(&design::text(&design).map_err(|e| Failure::Other(e.to_string()))?),
    }
}

fn write_rationale(source: Source, folder: Option<PathBuf>, bounds: bool) -> Result<(), Failure> {
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
    let unmet = design
        .requirements
        .iter()
        .filter(|r| r.verdict == design::Verdict::NotMet);
    let said = format!(
        "{}: {} results, {} requirements, of which {} not met\n",
        output.place().display(),
        design.findings.len(),
        design.requirements.len(),
        unmet.count()
    );
    end_with(vec![output], &said)
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
        let _ = std::io::stderr().write_all(said.as_bytes());
        return Ok(());
    }
    print(said)
}

/// Writes to standard output; a reader that closed it early is no error.
fn print(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::Other(format!("standard output: {error}")))
        }
        _ => Ok(()),
    }
}
