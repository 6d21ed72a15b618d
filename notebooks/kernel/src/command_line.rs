//! The command line.

use std::ffi::OsString;
use std::path::PathBuf;
use std::time::Duration;

use super::inputs::Setting;
use super::relay::Limits;
use super::run::Options;

/// What the program was asked to do.
#[derive(Debug)]
pub enum Request {
    /// Say how it is used.
    Help,
    /// Say its version.
    Version,
    /// Serve a Jupyter front end.
    Serve(String),
    /// Make the seed of the build folders.
    MakeSeed,
    /// Put the kernel into Jupyter.
    Install(Option<PathBuf>),
    /// Open JupyterLab on the notebooks.
    Open(Vec<OsString>),
    /// Look whether everything is there.
    CheckSetup,
    /// Run notebooks.
    Run(Vec<PathBuf>, Option<PathBuf>, Options),
    /// Run notebooks again and compare.
    Verify(Vec<PathBuf>, Options),
    /// Write a notebook as a page.
    Export(PathBuf, PathBuf),
}

/// How the program is used.
pub const HELP: &str = "\
slewbook-notebook: notebooks of slewbook, in Jupyter and without it

  slewbook-notebook open [-- ARGUMENT...]
      open JupyterLab on the notebooks (makes its own environment in target/)
  slewbook-notebook install [--into DIR]
      put the kernel into your Jupyter, or into a folder of Jupyter data
  slewbook-notebook check-setup
      look whether everything a notebook needs is there
  slewbook-notebook run NOTEBOOK... [--set NAME=VALUE]... [-o FILE] [LIMIT]...
      run every cell and store the outputs; stop at the first cell that fails
  slewbook-notebook verify NOTEBOOK... [LIMIT]...
      run again and compare all that a reader sees with what is stored
  slewbook-notebook export NOTEBOOK -o FILE.html
      write an executed notebook as one page that runs and loads nothing

Limits of each cell, for run and verify:
  --time-limit SECONDS       how long it may take (120)
  --output-limit MEGABYTES   how much printed text, and how much of displays, is kept (10)
  --memory-limit MEGABYTES   how much memory each of its processes may use (4096)

A notebook is rewritten only when all its cells succeed; with -o FILE the result
goes there in any case. Exit code: 0, 1 for a failed cell or a changed number,
2 for anything else.
";

/// The commands a person gives.
const COMMANDS: [&str; 6] = ["open", "install", "check-setup", "run", "verify", "export"];

/// How long a cell may take unless said otherwise.
const TIME_LIMIT: Duration = Duration::from_mins(2);

/// Reads the command line.
///
/// # Errors
/// An unknown command or option, a missing value: what was expected.
pub fn parse(arguments: impl IntoIterator<Item = OsString>) -> Result<Request, String> {
    use lexopt::prelude::{Long, Short, Value};
    let text = |error: lexopt::Error| error.to_string();
    let mut parser = lexopt::Parser::from_iter(arguments);
    let command = match parser.next().map_err(text)? {
        Some(Long("help") | Short('h')) | None => return Ok(Request::Help),
        Some(Long("version") | Short('V')) => return Ok(Request::Version),
        // The spelling by which Jupyter's Rust kernels are started.
        Some(Long("control_file")) => {
            let file = parser.value().map_err(text)?;
            return file
                .into_string()
                .map(Request::Serve)
                .map_err(|file| format!("{}: not UTF-8", file.display()));
        }
        Some(Long("make-seed")) => return Ok(Request::MakeSeed),
        Some(Value(command)) => command,
        Some(other) => return Err(other.unexpected().to_string()),
    };
    let mut files: Vec<PathBuf> = vec![];
    let mut output = None;
    let mut into = None;
    let mut options = Options {
        settings: vec![],
        time: TIME_LIMIT,
        limits: Limits::DEFAULT,
    };
    let mut rest = vec![];
    let command = command.to_string_lossy().into_owned();
    if !COMMANDS.contains(&command.as_str()) {
        return Err(format!(
            "no command {command}; the commands are {}",
            COMMANDS.join(", ")
        ));
    }
    let runs = command == "run" || command == "verify";
    loop {
        if command == "open"
            && parser
                .try_raw_args()
                .is_some_and(|raw| raw.peek().is_some_and(|a| a == "--"))
        {
            rest = parser.raw_args().map_err(text)?.skip(1).collect();
            break;
        }
        let Some(argument) = parser.next().map_err(text)? else {
            break;
        };
        match argument {
            Long("help") | Short('h') => return Ok(Request::Help),
            Long("into") if command == "install" => {
                into = Some(parser.value().map_err(text)?.into());
            }
            Short('o') | Long("output") if command == "run" || command == "export" => {
                output = Some(PathBuf::from(parser.value().map_err(text)?));
            }
            Long("set") if command == "run" => options
                .settings
                .push(setting(&parser.value().map_err(text)?)?),
            Long("time-limit") if runs => options.time = seconds(&parser.value().map_err(text)?)?,
            Long("output-limit") if runs => {
                let given = parser.value().map_err(text)?;
                options.limits.output = megabytes("output-limit", &given)?;
            }
            Long("memory-limit") if runs => {
                let given = parser.value().map_err(text)?;
                options.limits.memory = megabytes("memory-limit", &given)?;
            }
            Value(file) if runs || command == "export" => files.push(file.into()),
            other => return Err(other.unexpected().to_string()),
        }
    }
    if (runs || command == "export") && files.is_empty() {
        return Err(format!("{command}: no notebook named"));
    }
    match command.as_str() {
        "install" => Ok(Request::Install(into)),
        "open" => Ok(Request::Open(rest)),
        "check-setup" => Ok(Request::CheckSetup),
        "run" if files.len() > 1 && output.is_some() => {
            Err("run: -o names one file; give one notebook with it".to_owned())
        }
        "run" => Ok(Request::Run(files, output, options)),
        "verify" => Ok(Request::Verify(files, options)),
        "export" => match (<[PathBuf; 1]>::try_from(files), output) {
            (Ok([file]), Some(output)) => Ok(Request::Export(file, output)),
            _ => Err("export: give one notebook, and the page with -o FILE.html".to_owned()),
        },
        other => Err(format!("unknown command \"{other}\"; --help lists them")),
    }
}

fn setting(argument: &std::ffi::OsStr) -> Result<Setting, String> {
    let argument = argument.to_str().ok_or("--set: not UTF-8")?;
    match argument.split_once('=') {
        Some((name, value)) if !name.trim().is_empty() => {
            Ok((name.trim().to_owned(), value.trim().to_owned()))
        }
        _ => Err(format!(
            "--set {argument}: expected NAME=VALUE, such as --set \"v_in=48 V\""
        )),
    }
}

fn seconds(argument: &std::ffi::OsStr) -> Result<Duration, String> {
    let text = argument.to_string_lossy();
    text.parse::<f64>()
        .ok()
        .and_then(|seconds| Duration::try_from_secs_f64(seconds).ok())
        .filter(|limit| !limit.is_zero())
        .ok_or_else(|| format!("--time-limit {text}: expected seconds, such as 60"))
}

/// Megabytes as bytes.
fn megabytes(option: &str, argument: &std::ffi::OsStr) -> Result<u64, String> {
    let text = argument.to_string_lossy();
    text.parse::<u64>()
        .ok()
        .filter(|megabytes| *megabytes > 0)
        .and_then(|megabytes| megabytes.checked_mul(1_000_000))
        .ok_or_else(|| format!("--{option} {text}: expected whole megabytes, such as 100"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(line: &str) -> Result<Request, String> {
        let arguments = std::iter::once("program").chain(line.split_whitespace());
        parse(arguments.map(OsString::from))
    }

    #[test]
    fn settings_and_limits() {
        let Ok(Request::Run(files, None, options)) =
            parsed("run a.ipynb --set v_in=48V --time-limit 5")
        else {
            panic!("not a run");
        };
        assert_eq!(files, [PathBuf::from("a.ipynb")]);
        assert_eq!(options.settings, [("v_in".to_owned(), "48V".to_owned())]);
        assert_eq!(options.time, Duration::from_secs(5));
    }

    #[test]
    fn mistakes_are_named() {
        assert!(parsed("run").unwrap_err().contains("no notebook"));
        assert!(parsed("runn a").unwrap_err().contains("runn"));
        assert!(
            parsed("run a --set v_in")
                .unwrap_err()
                .contains("NAME=VALUE")
        );
        assert!(parsed("run a --time-limit 0").is_err());
        assert!(parsed("run a b -o c").is_err());
    }
}
