//! `changes`: what differs between two specifications.

use std::path::PathBuf;

use lexopt::prelude::*;
use slewbook::changes::Changes;

use super::settings::Source;
use super::sources::Sources;
use super::{Failure, end_with, once, output, print};

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let (mut files, mut as_json, mut page) = (Vec::new(), false, None);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("json") => as_json = true,
            Short('o') | Long("output") => {
                once(&mut page, "-o", PathBuf::from(parser.value()?))?;
            }
            Value(path) if files.len() < 2 => files.push(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    let [old, new] = <[PathBuf; 2]>::try_from(files).map_err(|given| {
        Failure::Input(format!(
            "slewbook: changes needs two specifications, the old one and the new one; {} given",
            match given.len() {
                0 => "none is",
                _ => "one is",
            }
        ))
    })?;
    let read = |file| {
        let settings = vec![];
        let file = Some(file);
        Sources::read(Source { file, settings })
    };
    let (old, new) = (read(old)?, read(new)?);
    let mut outputs = Vec::new();
    if let Some(target) = &page {
        // It may be neither of the two.
        output("-o", target, &old.inputs)?;
        outputs.push(output("-o", target, &new.inputs)?);
    }
    let changes = Changes::between(&old.derive(false)?, &new.derive(false)?);
    let said = if as_json {
        changes.json() + "\n"
    } else {
        changes.text()
    };
    let Some(page) = outputs.first_mut() else {
        return print(&said);
    };
    page.put(changes.html().map_err(|e| Failure::Other(e.to_string()))?)?;
    end_with(outputs, &said)
}
