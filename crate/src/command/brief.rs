//! `slewbook brief`: what to set, within which limits.

use lexopt::prelude::*;
use slewbook::brief::{self, Brief};

use super::settings::Source;
use super::sources::Sources;
use super::{Failure, met, print};
use crate::progress;

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let mut source = Source::default();
    let (mut json, mut required) = (false, false);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("set") => source.set(&parser.value()?.string()?)?,
            Long("json") => json = true,
            Long("require-met") => required = true,
            Value(path) if source.file.is_none() => source.file = Some(path.into()),
            other => return Err(other.unexpected().into()),
        }
    }
    if source.file.is_none() {
        return Err(Failure::Input(
            "slewbook: brief needs a specification; `slewbook example` prints one".to_owned(),
        ));
    }
    let sources = Sources::read(source)?;
    let design = sources.derive(false)?;
    let brief = Brief::of(&design, &|done, all| progress::show("values", done, all))
        .map_err(|error| Failure::Other(format!("{}: {error}", sources.name)))?;
    print(&if json {
        brief::json(&brief, &design) + "\n"
    } else {
        brief::text(&brief, &design)
    })?;
    if required { met(&design) } else { Ok(()) }
}
