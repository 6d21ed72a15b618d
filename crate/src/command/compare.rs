//! `slewbook compare`: schemes side by side.

use std::path::PathBuf;

use lexopt::prelude::*;
use slewbook::compare::{self, Comparison};
#[cfg(feature = "frames")]
use slewbook::file::Output;
use slewbook::file::{Folder, finish};
use slewbook::table::{Table, TableError};

use super::given::Given;
use super::settings::Source;
use super::sources::Sources;
use super::{Failure, STANDARD, print};

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let (mut source, mut folder, mut json) = (Source::default(), None, false);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("set") => source.set(&parser.value()?.string()?)?,
            Long("json") => json = true,
            Short('o') | Long("output") => folder = Some(PathBuf::from(parser.value()?)),
            Value(path) if source.file.is_none() => source.file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    if source.file.is_none() {
        return Err(Failure::Input(
            "slewbook: compare needs a specification; `slewbook example` prints one, `slewbook \
             example parts` parts with data for their losses"
                .to_owned(),
        ));
    }
    if folder
        .as_ref()
        .is_some_and(|own| own.as_os_str() == STANDARD)
    {
        return Err(Failure::Input(
            "slewbook: -o - is standard output, and compare writes several files; give a folder"
                .to_owned(),
        ));
    }
    let sources = Sources::read(source)?;
    let folder = folder.map(|own| Folder::new("-o", &own)).transpose()?;
    let given = Given::of(sources)?;
    let comparison = Comparison::new(&given.specification, &given.in_force)
        .map_err(|error| Failure::Other(format!("{}: {error}", given.name)))?;
    if let Some(folder) = &folder {
        let mut outputs = Vec::new();
        let begin = |name: String| folder.output("-o", &name, &given.inputs);
        for drawing in compare::drawings(&comparison).map_err(|e| Failure::Other(e.to_string()))? {
            let mut output = begin(format!("{}.svg", drawing.id))?;
            output.put(drawing.svg)?;
            outputs.push(output);
        }
        for (name, table) in tables(&comparison).map_err(|e| Failure::Other(e.to_string()))? {
            let mut output = begin(format!("{name}.csv"))?;
            output.put(table.to_csv())?;
            outputs.push(output);
            #[cfg(feature = "frames")]
            {
                let mut output = begin(format!("{name}.parquet"))?;
                write_parquet(&mut output, &table)?;
                outputs.push(output);
            }
        }
        finish(outputs)?;
    }
    if json {
        print(&(compare::json(&comparison) + "\n"))
    } else {
        print(&compare::text(&comparison))
    }
}

#[cfg(feature = "frames")]
fn write_parquet(output: &mut Output, table: &Table) -> Result<(), Failure> {
    let written = table.write_parquet(std::io::BufWriter::new(&mut *output));
    written.map_err(|error| match error {
        TableError::Io(error) => output.refused(error).into(),
        other => Failure::Other(format!("{}: {other}", output.place().display())),
    })
}

/// The tables of a comparison with their names.
fn tables(c: &Comparison) -> Result<Vec<(String, Table)>, TableError> {
    let mut list = Vec::new();
    for (place, scheme) in c.schemes.iter().enumerate() {
        list.push((format!("losses-{scheme}"), c.table(place)?));
    }
    list.push(("losses-over-inductance".to_owned(), c.inductance_table()?));
    list.push(("losses-over-margin".to_owned(), c.margin_table()?));
    Ok(list)
}
