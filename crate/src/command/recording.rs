//! `slewbook recording`: what was understood of a record.

use std::path::PathBuf;

use lexopt::prelude::*;
use slewbook::file::Inputs;
use slewbook::quantity::{Dimensioned, Time};
use slewbook::recording::{self, Decimal, LARGEST, Options, Recording, Separator};

use super::given::read;
use super::{Failure, once, print};

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let (mut file, mut json) = (None, false);
    let mut options = Options::default();
    while let Some(argument) = parser.next()? {
        match argument {
            Long("json") => json = true,
            Long(name) if is_option(name) => {
                let name = format!("--{name}");
                take(&mut options, &name, &parser.value()?.string()?)?;
            }
            Value(path) if file.is_none() => file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    let Some(file) = file else {
        return Err(Failure::Input(
            "slewbook: recording needs a file of samples, such as waves.csv".to_owned(),
        ));
    };
    let bytes = Inputs::default().read("record", &file, LARGEST)?;
    let recording = Recording::read(&bytes, &options);
    let recording =
        recording.map_err(|error| Failure::Input(format!("{}: {error}", file.display())))?;
    if json {
        print(&recording::json(&recording))
    } else {
        print(&recording::text(&recording))
    }
}

/// Whether an option states how a record is to be read.
fn is_option(name: &str) -> bool {
    matches!(
        name,
        "separator" | "decimal" | "first-line" | "channels" | "interval" | "start"
    )
}

/// Takes the value of one of these.
fn take(options: &mut Options, name: &str, value: &str) -> Result<(), Failure> {
    let refused = |expected: &str| {
        Failure::Input(format!(
            "slewbook: {name} {value}: not understood; expected {expected}"
        ))
    };
    let whole = || value.parse().map_err(|_| refused("a whole number"));
    match name {
        "--separator" => {
            let found = Separator::named(value);
            let found = found.ok_or_else(|| refused("comma, semicolon, tab or space"))?;
            once(&mut options.separator, name, found)
        }
        "--decimal" => {
            let found = Decimal::named(value).ok_or_else(|| refused("point or comma"))?;
            once(&mut options.decimal, name, found)
        }
        "--first-line" => once(&mut options.first_line, name, whole()?),
        "--channels" => once(&mut options.channels, name, whole()?),
        "--interval" => once(
            &mut options.interval,
            name,
            read::<Time>(name, value)?.coherent(),
        ),
        _ => once(
            &mut options.start,
            name,
            read::<Time>(name, value)?.coherent(),
        ),
    }
}
