//! slewbook-notebook: notebooks of slewbook, in Jupyter and without it.

// But for two places, each of which says why it is sound.
#![deny(unsafe_code)]

mod check_setup;
mod command;
mod command_line;
mod dimension;
mod explain;
mod failure;
mod files;
mod generated;
mod inputs;
mod jupyter;
mod kernelspec;
mod open;
mod prelude;
mod processes;
mod relay;
mod run;
mod runtime;
mod seed;
mod session;
mod slot;
mod standard_library;
mod stored;
mod terminal;
mod verify;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use command_line::Request;

fn main() -> ExitCode {
    // This program is also the process that runs the cells, the relay in front of
    // it, and the wrapper of the compiler: it goes on only if it is none of them.
    relay::hook();
    runtime::hook();
    generated::hook();
    match command_line::parse(std::env::args_os()) {
        Ok(request) => ExitCode::from(answer(request)),
        Err(error) => {
            terminal::complain(error);
            ExitCode::from(2)
        }
    }
}

fn answer(request: Request) -> u8 {
    match request {
        Request::Help => {
            terminal::say(command_line::HELP.trim_end());
            0
        }
        Request::Version => {
            terminal::say(format!("slewbook-notebook {}", env!("CARGO_PKG_VERSION")));
            0
        }
        Request::Serve(file) => finish(jupyter::serve(&file)),
        Request::MakeSeed => finish(seed::make()),
        Request::Install(into) => finish(install(into)),
        Request::Open(arguments) => finish(open::open(&arguments)),
        Request::CheckSetup => u8::from(!check_setup::check_setup()),
        Request::Run(files, output, options) => match &files[..] {
            [file] => run::run(file, output.as_deref(), &options),
            files => one_by_one(files),
        },
        Request::Export(file, output) => finish(files::export(&file, &output)),
        Request::Verify(files, options) => match &files[..] {
            [file] => verify::verify(file, &options),
            files => one_by_one(files),
        },
    }
}

fn finish(result: Result<(), String>) -> u8 {
    match result {
        Ok(()) => 0,
        Err(error) => {
            terminal::complain(error);
            2
        }
    }
}

fn install(into: Option<PathBuf>) -> Result<(), String> {
    let folder = into
        .or_else(kernelspec::users_folder)
        .ok_or("no folder of Jupyter data is known; name one with --into DIR")?;
    let file = kernelspec::install(&folder)?;
    seed::ready(standard_library::named().as_deref()).map_err(|error| error.to_string())?;
    terminal::say(format!("installed: {}", file.display()));
    Ok(())
}

/// Each notebook in a process of its own: folder and build slot are settings of
/// the process. The exit code is the worst.
fn one_by_one(files: &[PathBuf]) -> u8 {
    let is_file =
        |argument: &std::ffi::OsString| files.iter().any(|file| file == Path::new(argument));
    // The same command line, with one notebook in place of all.
    let others: Vec<_> = std::env::args_os()
        .skip(1)
        .filter(|argument| !is_file(argument))
        .collect();
    let codes = files.iter().map(|file| {
        let status = std::env::current_exe()
            .and_then(|program| Command::new(program).args(&others).arg(file).status());
        match status {
            Ok(status) => status
                .code()
                .and_then(|code| u8::try_from(code).ok())
                .unwrap_or(2),
            Err(error) => {
                terminal::complain(format!("{}: {error}", file.display()));
                2
            }
        }
    });
    codes.max().unwrap_or(0)
}
