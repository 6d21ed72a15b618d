//! `slewbook compare`: schemes side by side.

use std::path::PathBuf;

use lexopt::prelude::*;
use slewbook::compare::{self, Comparison};
#[cfg(feature = "frames")]
use slewbook::file::Output;
use slewbook::file::{Folder, finish};
use slewbook::quantity::{Dimensioned, print as shown};
use slewbook::stage::OperatingPoint;
use slewbook::table::{Table, TableError};

use super::given::{Given, Place};
use super::settings::Source;
use super::sources::Sources;
use super::{Failure, STANDARD, print};

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let mut place = Place::default();
    let (mut source, mut folder, mut json) = (Source::default(), None, false);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("set") => source.set(&parser.value()?.string()?)?,
            Long(name) if Place::of_point(name) => {
                let name = name.to_owned();
                place.take(&name, parser.value()?.string()?)?;
            }
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
    let at = given.sound_point(&place.point)?;
    within(&given, &at)?;
    let comparison = Comparison::at(&given.specification, &given.in_force, at)
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

/// That a point lies in the specification's ranges, which the comparison covers.
fn within(given: &Given, at: &OperatingPoint) -> Result<(), Failure> {
    let s = &given.specification;
    let (input, output, load) = (s.input_voltage, s.output_voltage, s.output_current);
    inside("--input-voltage", at.input_voltage, input.min, input.max)?;
    inside(
        "--output-voltage",
        at.output_voltage,
        output.min,
        output.max,
    )?;
    inside("--output-current", at.output_current, load.min, load.max)
}

fn inside<Q: Dimensioned + PartialOrd>(
    option: &str,
    value: Q,
    min: Q,
    max: Q,
) -> Result<(), Failure> {
    if value >= min && value <= max {
        return Ok(());
    }
    Err(Failure::Input(format!(
        "slewbook: {option} is {}; expected a value of the specification's range, {} to {}, over \
         which schemes are compared; choose one, or give another range with --set",
        shown(value),
        shown(min),
        shown(max)
    )))
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
