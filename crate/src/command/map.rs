//! `slewbook map`: where zero-voltage switching holds, over two inputs.

use std::io::BufWriter;
use std::path::{Path, PathBuf};

use lexopt::prelude::*;
use slewbook::figure::{self, Width};
use slewbook::map::{self, Axis, Field, Map, MapError, Span, within_band};
use slewbook::quantity::number;
use slewbook::table::Table;

use super::cycle::width;
use super::given::{Given, POINT, Place};
use super::settings::Source;
use super::sources::Sources;
use super::{Failure, end_with, once};
use crate::progress::Progress;

/// Points of a figure at most: beyond that it is no longer a page's work.
const DRAWN: usize = 4_000_000;

struct Options {
    source: Source,
    axes: [Axis; 2],
    ranges: [Option<String>; 2],
    grid: [usize; 2],
    place: Place,
    samples: Option<usize>,
    seed: Option<u64>,
    corners: bool,
    output: Option<PathBuf>,
    figure: Option<PathBuf>,
    width: Option<Width>,
}

fn options(parser: &mut lexopt::Parser) -> Result<Options, Failure> {
    let mut o = Options {
        source: Source::default(),
        axes: [Axis::InputVoltage, Axis::OutputCurrent],
        ranges: [None, None],
        grid: [200, 200],
        place: Place::default(),
        samples: None,
        seed: None,
        corners: false,
        output: None,
        figure: None,
        width: None,
    };
    let axis = |option: &str, text: String| -> Result<Axis, Failure> {
        text.parse()
            .map_err(|error| Failure::Input(format!("slewbook: {option}: {error}")))
    };
    let whole = |option: &str, text: String| -> Result<u64, Failure> {
        text.parse().map_err(|_| {
            Failure::Input(format!(
                "slewbook: {option} is {text}; expected a whole number from 0 to {}",
                u64::MAX
            ))
        })
    };
    while let Some(argument) = parser.next()? {
        match argument {
            Long("set") => o.source.set(&parser.value()?.string()?)?,
            Long("x") => o.axes[0] = axis("--x", parser.value()?.string()?)?,
            Long("y") => o.axes[1] = axis("--y", parser.value()?.string()?)?,
            Long("x-range") => once(&mut o.ranges[0], "--x-range", parser.value()?.string()?)?,
            Long("y-range") => once(&mut o.ranges[1], "--y-range", parser.value()?.string()?)?,
            Long("width") => once(&mut o.width, "--width", width(&parser.value()?.string()?)?)?,
            Long("grid") => o.grid = grid(&parser.value()?.string()?)?,
            Long(name) if Place::takes(name) => {
                let name = name.to_owned();
                o.place.take(&name, parser.value()?.string()?)?;
            }
            Long("samples") => once(
                &mut o.samples,
                "--samples",
                count("--samples", &parser.value()?.string()?)?,
            )?,
            Long("seed") => once(
                &mut o.seed,
                "--seed",
                whole("--seed", parser.value()?.string()?)?,
            )?,
            Long("corners") => o.corners = true,
            Short('o') | Long("output") => {
                once(&mut o.output, "-o", PathBuf::from(parser.value()?))?;
            }
            Long("figure") => once(&mut o.figure, "--figure", PathBuf::from(parser.value()?))?,
            Value(path) if o.source.file.is_none() => o.source.file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    if o.seed.is_some() && o.samples.is_none() {
        return Err(Failure::Input(
            "slewbook: --seed is given without --samples, and nothing is drawn; add --samples, \
             such as --samples 1000, or leave --seed out"
                .to_owned(),
        ));
    }
    if o.width.is_some() && o.figure.is_none() {
        return Err(Failure::Input(
            "slewbook: --width is given without --figure, and nothing is drawn; add --figure \
             MAP.svg, or leave --width out"
                .to_owned(),
        ));
    }
    for (name, given) in POINT.iter().zip(&o.place.point) {
        let swept = |axis: &Axis| axis.name().replace('_', "-") == *name;
        if given.is_some() && o.axes.iter().any(swept) {
            return Err(Failure::Input(format!(
                "slewbook: --{name} is given, and the map runs over it; leave it out, or choose \
                 another input with --x or --y"
            )));
        }
    }
    Ok(o)
}

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let mut o = options(&mut parser)?;
    let source = std::mem::take(&mut o.source);
    let (Some(_), Some(output)) = (&source.file, &o.output) else {
        return Err(Failure::Input(
            "slewbook: map needs a specification and a place for its rows: slewbook map SPEC -o \
             MAP.csv"
                .to_owned(),
        ));
    };
    if o.figure.is_some() && o.grid[0].saturating_mul(o.grid[1]) > DRAWN {
        return Err(Failure::Input(format!(
            "slewbook: --figure draws maps of up to {DRAWN} points; give a smaller --grid"
        )));
    }
    let form = Form::of(output)?;
    let sources = Sources::read(source)?;
    let mut rows = super::output("-o", output, &sources.inputs)?;
    let drawing = o.figure.as_ref();
    let drawing = drawing.map(|target| rows.beside("--figure", target, &sources.inputs));
    let drawing = drawing.transpose()?;
    let given = Given::of(sources)?;
    let name = &given.name;
    let map = planned(&given, &o)?;
    let wrong = |error: MapError| Failure::Input(format!("{name}: {error}"));
    let mut field = match &o.figure {
        Some(_) => Some(Field::new(&map).map_err(wrong)?),
        None => None,
    };
    let mut progress = Progress::new();
    let (mut points, mut held) = (0, 0);
    let take = |table: &Table| {
        let slack = table.column("zero_voltage_slack");
        held += slack.map_or(0, |c| c.values().iter().filter(|s| **s >= 0.0).count());
        points += table.rows();
        if let Some(field) = &mut field {
            field.take(table);
        }
    };
    let target = BufWriter::new(&mut rows);
    let watch = |part| progress.reach(part);
    match form {
        Form::Csv => map.write_csv_watched(None, target, take, watch),
        #[cfg(feature = "frames")]
        Form::Parquet => map.write_parquet_watched(None, target, take, watch),
    }
    .map_err(|error| match error {
        MapError::Write(error) => rows.refused(error).into(),
        other => wrong(other),
    })?;
    progress.end();
    let said = rows.place().display().to_string();
    let mut outputs = vec![rows];
    if let (Some(mut target), Some(field)) = (drawing, &field) {
        let drawn = figure::map("map", field, o.width.unwrap_or(Width::Page))
            .about(&given.specification.title)
            .svg()
            .map_err(|error| Failure::Other(error.to_string()))?;
        target.put(drawn)?;
        outputs.push(target);
    }
    let units = match map.units.len() {
        0 => String::new(),
        count if map.random => format!("; {count} units at each point"),
        count => format!("; {count} corners of the tolerances at each point"),
    };
    let said = format!(
        "{}\n{said}: {points} points, zero-voltage switching at {held} of them ({} %){units}\n{}",
        given.specification.title,
        number(100.0 * share(held, points), 3),
        given.edits()
    );
    end_with(outputs, &said)
}

/// What the rows are written as.
enum Form {
    Csv,
    #[cfg(feature = "frames")]
    Parquet,
}

impl Form {
    /// By the extension of the file's name.
    fn of(output: &Path) -> Result<Self, Failure> {
        let extension = output.extension();
        if !extension.is_some_and(|own| own.eq_ignore_ascii_case("parquet")) {
            return Ok(Self::Csv);
        }
        #[cfg(feature = "frames")]
        return Ok(Self::Parquet);
        #[cfg(not(feature = "frames"))]
        Err(Failure::Input(format!(
            "{}: this program was built without data frames, which a Parquet file needs; build it \
             with them (cargo run --release --features frames -- map ...), or choose a name that \
             ends in .csv",
            output.display()
        )))
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "numbers of points are far below 2⁵²"
)]
fn share(held: usize, points: usize) -> f64 {
    held as f64 / points.max(1) as f64
}

fn planned(given: &Given, o: &Options) -> Result<Map, Failure> {
    let (s, name) = (&given.specification, &given.name);
    let circuit = given.circuit(o.place.scheme.as_deref())?;
    let span = |k: usize| -> Result<Span, Failure> {
        let (axis, points, letter) = (o.axes[k], o.grid[k], ["x", "y"][k]);
        if let Some(why) = axis.without_effect(&circuit) {
            return Err(Failure::Input(format!(
                "slewbook: --{letter} is {}, which changes nothing: {why}; choose another input",
                axis.name().replace('_', "-")
            )));
        }
        let (low, high) = match &o.ranges[k] {
            Some(text) => axis.read_range(text).map_err(|problem| {
                Failure::Input(format!("slewbook: --{letter}-range {text}: {problem}"))
            })?,
            None => axis
                .range(s, &circuit)
                .filter(|(low, high)| high > low)
                .ok_or_else(|| {
                    Failure::Input(format!(
                        "{name}: the specification gives no range of the {} to map over; give one \
                         with --{letter}-range, or choose another input with --x or --y",
                        axis.words()
                    ))
                })?,
        };
        Ok(Span {
            axis,
            low,
            high,
            points,
        })
    };
    let (x, y) = (span(0)?, span(1)?);
    let at = given.sound_point(&o.place.point)?;
    within_band(&circuit, &at, [&x, &y])
        .map_err(|problem| Failure::Input(format!("slewbook: {problem}")))?;
    let units = match (o.samples, o.corners) {
        (Some(_), true) => {
            return Err(Failure::Input(
                "slewbook: give --samples or --corners, not both".to_owned(),
            ));
        }
        (Some(count), false) => map::drawn(s, count, o.seed.unwrap_or(1))
            .map_err(|error| Failure::Input(format!("{name}: {error}")))?,
        (None, true) => map::corners(s),
        (None, false) => vec![],
    };
    let [across, down] = o.grid;
    let cells = across.saturating_mul(down).saturating_mul(units.len());
    if cells > CELLS {
        let count = units.len();
        let asked = match o.samples {
            Some(_) => format!("--samples is {count}"),
            None => format!("--corners makes {count} units"),
        };
        return Err(Failure::Input(format!(
            "slewbook: --grid is {across}x{down} and {asked}, {cells} cells to solve; expected {CELLS} \
             at most, which are hours of work; give a smaller --grid or fewer units"
        )));
    }
    if !units.is_empty() && s.spreads.is_empty() {
        return Err(Failure::Input(format!(
            "{name}: no input has a spread, so all units are alike; give a tolerance, such as \
             inductance = {{ nominal = \"0.68 uH\", tolerance = \"20 %\" }}"
        )));
    }
    Ok(Map {
        x,
        y,
        circuit,
        at,
        units,
        random: o.samples.is_some(),
    })
}

/// The greatest number of points of a map: some gigabytes of rows.
const POINTS: usize = 100_000_000;

/// The greatest number of cells to solve, all units at all points: hours of work.
const CELLS: usize = 10_000_000_000;

/// The greatest number of points along an axis, and of samples.
const GREATEST: usize = 1_000_000;

fn count(option: &str, text: &str) -> Result<usize, Failure> {
    text.parse()
        .ok()
        .filter(|count| (1..=GREATEST).contains(count))
        .ok_or_else(|| {
            Failure::Input(format!(
                "slewbook: {option} is {text}; expected a whole number from 1 to {GREATEST}"
            ))
        })
}

fn grid(text: &str) -> Result<[usize; 2], Failure> {
    let (across, down) = text.split_once('x').ok_or_else(|| {
        Failure::Input(format!(
            "slewbook: --grid is {text}; expected two numbers of points such as 200x200"
        ))
    })?;
    let points = [count("--grid", across)?, count("--grid", down)?];
    if points[0].saturating_mul(points[1]) > POINTS {
        return Err(Failure::Input(format!(
            "slewbook: --grid is {text}; expected {POINTS} points at most, as many rows as the \
             file would have"
        )));
    }
    Ok(points)
}
