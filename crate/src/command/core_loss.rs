//! `slewbook core-loss`: Steinmetz's constants from a table of measured losses.

use std::path::PathBuf;

use lexopt::prelude::*;
use slewbook::file::Inputs;
use slewbook::loss::measured_core::{self, MeasuredCore, Point, Waveform};
use slewbook::quantity::{
    Dimensioned, Exponents, Frequency, MagneticFluxDensity, VolumetricPowerDensity,
};
use slewbook::table::{Column, Table};

use super::{Failure, print};

/// The largest table that is read, in bytes.
const LARGEST: u64 = 1 << 26;

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let (mut file, mut json, mut swing) = (None, false, false);
    let mut waveform = Waveform::Sinusoid;
    while let Some(argument) = parser.next()? {
        match argument {
            Long("json") => json = true,
            Long("triangles") => waveform = Waveform::Triangle,
            Long("peak-to-peak") => swing = true,
            Value(path) if file.is_none() => file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    let Some(file) = file else {
        return Err(Failure::Input(
            "slewbook: core-loss needs a table of losses, such as losses.csv".to_owned(),
        ));
    };
    let name = file.display().to_string();
    let wrong = |problem: String| Failure::Input(format!("{name}: {problem}"));
    let bytes = Inputs::default().read("table", &file, LARGEST)?;
    let table = Table::read_csv(&bytes[..]).map_err(|error| wrong(error.to_string()))?;
    let points = points(&table, swing).map_err(wrong)?;
    let core = MeasuredCore::new(&points, waveform).map_err(|error| wrong(error.to_string()))?;
    if json {
        print(&measured_core::json(&core))
    } else {
        print(&format!("{name}: {}", measured_core::text(&core)))
    }
}

/// The points of a table, whose columns are known by their units.
fn points(table: &Table, swing: bool) -> Result<Vec<Point>, String> {
    let of = |exponents: Exponents, words: &str| -> Result<&Column, String> {
        let own = |column: &&Column| column.exponents() == exponents;
        let mut found = table.columns().iter().filter(own);
        match (found.next(), found.next()) {
            (Some(column), None) => Ok(column),
            (first, _) => Err(format!(
                "{} {words}; expected one column of each, as under the header \
                 frequency_kHz,flux_density_mT,loss_density_kW/m^3",
                if first.is_some() {
                    "more than one column is a"
                } else {
                    "no column is a"
                },
            )),
        }
    };
    let frequency = of(Frequency::EXPONENTS, "frequency")?;
    let flux = of(MagneticFluxDensity::EXPONENTS, "flux density")?;
    let loss = of(VolumetricPowerDensity::EXPONENTS, "loss density")?;
    let share = if swing { 0.5 } else { 1.0 };
    let rows = frequency
        .values()
        .iter()
        .zip(flux.values())
        .zip(loss.values());
    let point = |((frequency, flux), loss): ((&f64, &f64), &f64)| Point {
        frequency: *frequency,
        amplitude: share * flux,
        loss: *loss,
    };
    Ok(rows.map(point).collect())
}
