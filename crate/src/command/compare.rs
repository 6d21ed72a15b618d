//! `slewbook compare`: schemes side by side.

use std::path::PathBuf;

use lexopt::prelude::*;
use slewbook::compare::{self, Comparison};
use slewbook::table::{Table, TableError};

use super::{Failure, derive, print, unwritable};

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let (mut file, mut folder, mut json) = (None, None, false);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("json") => json = true,
            Short('o') | Long("output") => folder = Some(PathBuf::from(parser.value()?)),
            Value(path) if file.is_none() => file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    let Some(file) = file else {
        return Err(Failure::Input(
            "slewbook: compare needs a specification; `slewbook example` prints one, `slewbook \
             example parts` parts with data for their losses"
                .to_owned(),
        ));
    };
    let design = derive(Some(&file), false)?;
    let comparison = Comparison::new(&design)
        .map_err(|error| Failure::Other(format!("{}: {error}", file.display())))?;
    if let Some(folder) = folder {
        let drawings = compare::drawings(&comparison).map_err(|e| Failure::Other(e.to_string()))?;
        let refused = |error| unwritable(&folder, &error, "another folder with -o");
        std::fs::create_dir_all(&folder).map_err(refused)?;
        for drawing in drawings {
            let path = folder.join(format!("{}.svg", drawing.id));
            std::fs::write(path, drawing.svg).map_err(refused)?;
        }
        for (name, table) in tables(&comparison).map_err(|e| Failure::Other(e.to_string()))? {
            let path = folder.join(format!("{name}.csv"));
            std::fs::write(path, table.to_csv()).map_err(refused)?;
            #[cfg(feature = "frames")]
            write_parquet(&folder.join(format!("{name}.parquet")), &table)?;
        }
    }
    if json {
        print(&(compare::json(&comparison) + "\n"))
    } else {
        print(&compare::text(&comparison))
    }
}

#[cfg(feature = "frames")]
fn write_parquet(target: &std::path::Path, table: &Table) -> Result<(), Failure> {
    let refused = |error| unwritable(target, &error, "another folder with -o");
    let file = std::fs::File::create(target).map_err(refused)?;
    let written = table.write_parquet(std::io::BufWriter::new(file));
    written.map_err(|error| match error {
        TableError::Io(error) => refused(error),
        other => Failure::Other(format!("{}: {other}", target.display())),
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
