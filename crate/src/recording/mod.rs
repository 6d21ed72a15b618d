//! Records of oscilloscopes and loggers: text in columns, of whatever dialect, as a
//! [`Table`] with time.
//!
//! How the file is written is found ([`Dialect`]) and can be stated ([`Options`]).
//! What the head states (sample interval or rate, start, index of time zero, number of
//! samples) is compared with the samples. A file that contradicts itself, breaks off
//! or leaves open when its samples were taken is refused with line and reason.

mod axis;
mod body;
mod describe;
mod dialect;
mod error;
mod head;
mod key;
mod name;
mod survey;
mod unit;

use crate::quantity::{Dimensioned, Exponents, Time};
use crate::table::{Column, Table, TableError};

pub use axis::{Axis, TimeSource};
pub use describe::{json, text};
pub use dialect::{Decimal, Dialect, Encoding, Separator};
pub use error::RecordingError;
pub use head::Entry;
pub use key::Key;
pub use survey::Survey;

use axis::Told;
use head::Head;
use name::{Named, is_index, is_time};
use unit::Unit;

/// The largest file of a record that is read, in bytes: 1 GiB. Its text is held in memory
/// together with its samples, of which there are at most [`MOST_SAMPLES`].
pub const LARGEST: u64 = 1 << 30;
/// Cells of samples of a record at most, time included: 128 Mi, which take 1 GiB.
pub const MOST_SAMPLES: usize = 1 << 27;
/// Channels in turn in one column at most.
const MOST_CHANNELS: usize = 64;

/// What is known of a record and not left to be found.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// What stands between cells.
    pub separator: Option<Separator>,
    /// The decimal marker.
    pub decimal: Option<Decimal>,
    /// The line of the first sample, from 1.
    pub first_line: Option<usize>,
    /// How many channels' samples stand in one column in turn.
    pub channels: Option<usize>,
    /// The interval between samples of one channel, s, above zero.
    pub interval: Option<f64>,
    /// The time of the first sample, or of index zero, s.
    pub start: Option<f64>,
}

/// A record, read and checked.
#[derive(Debug)]
pub struct Recording {
    /// How the file is written.
    pub dialect: Dialect,
    /// What stands above the samples.
    pub head: Vec<Entry>,
    /// `time` and the other columns, in coherent units.
    pub table: Table,
    /// The times.
    pub axis: Axis,
    /// What each column after `time` looks like; none where it has no value.
    pub surveys: Vec<Option<Survey>>,
    /// What a reader must know: assumptions, and what was not understood.
    pub notes: Vec<String>,
}

impl Recording {
    /// Reads a record from the bytes of its file.
    ///
    /// # Errors
    /// A file that is no text, has no samples, is damaged or cut off, contradicts
    /// itself, or leaves open how to read it or when the samples were taken; options
    /// that do not fit it.
    ///
    /// # Example
    /// ```
    /// use slewbook::recording::{Options, Recording};
    /// let file = "Sample Interval,2e-9\nRecord Length,3\n\
    ///             TIME,CH1 (mV)\n0,10\n2e-9,12.5\n4e-9,15\n";
    /// let recording = Recording::read(file.as_bytes(), &Options::default()).unwrap();
    /// assert_eq!(recording.table.rows(), 3);
    /// assert!((recording.axis.interval - 2e-9).abs() < 1e-15);
    /// assert_eq!(recording.table.column("CH1").unwrap().get(1), Some(12.5e-3));
    /// // One sample short of what the head says: refused.
    /// assert!(Recording::read(&file.as_bytes()[..file.len() - 8], &Options::default()).is_err());
    /// ```
    pub fn read(bytes: &[u8], options: &Options) -> Result<Self, RecordingError> {
        check(options)?;
        let (text, encoding) = dialect::decode(bytes)?;
        let dialect = dialect::find(&text, encoding, options)?;
        let body = body::Body::read(&text, dialect)?;
        let stated = options.first_line.is_some();
        let head = Head::read(&text, dialect, &body.filled, &body.beside, stated)?;
        let mut notes = Vec::new();
        if !text.ends_with(b"\n") {
            notes.push("the last line has no line end: it may be cut off".to_owned());
        }
        if dialect::may_be_grouped(&text, dialect) {
            notes.push(
                "every comma has three figures after it and is taken for a decimal marker; where \
                 it divides thousands, export the record without"
                    .to_owned(),
            );
        }
        // The text may be as large as the samples, and is no longer needed.
        drop(text);
        let columns = named(body.columns, &body.filled, &head, &mut notes)?;
        assemble(dialect, head, columns, options, notes)
    }
}

fn check(options: &Options) -> Result<(), RecordingError> {
    let wrong = |option, problem: String| Err(RecordingError::Option { option, problem });
    if let Some(interval) = options.interval
        && !(interval.is_finite() && interval > 0.0)
    {
        let problem = format!("{interval} s is no interval; expected a time above zero");
        return wrong("interval", problem);
    }
    if options.start.is_some_and(|start| !start.is_finite()) {
        return wrong("start", "expected a finite time".to_owned());
    }
    if options.first_line == Some(0) {
        return wrong("first line", "lines are counted from 1".to_owned());
    }
    if options
        .channels
        .is_some_and(|n| !(1..=MOST_CHANNELS).contains(&n))
    {
        let problem = format!("expected 1 to {MOST_CHANNELS} channels");
        return wrong("channels", problem);
    }
    Ok(())
}

/// What a column is for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Role {
    /// Its name says that it is the time.
    Time,
    /// It counts samples.
    Index,
    /// Samples in a unit of time: the record's time where no other column tells it.
    Duration,
    Samples,
}

/// A column as read, in coherent units.
struct Read {
    name: String,
    words: String,
    exponents: Exponents,
    /// Whether it holds temperatures in degrees Celsius.
    celsius: bool,
    values: Vec<f64>,
    role: Role,
}

impl Read {
    fn column(self) -> Result<Column, TableError> {
        if self.celsius {
            Column::celsius(&self.name, &self.words, self.values)
        } else {
            Column::new(&self.name, &self.words, self.exponents, self.values)
        }
    }
}

/// Names and units on the columns that hold anything.
fn named(
    columns: Vec<Vec<f64>>,
    filled: &[bool],
    head: &Head,
    notes: &mut Vec<String>,
) -> Result<Vec<Read>, RecordingError> {
    let mut read: Vec<Read> = Vec::new();
    notes.extend(
        head.empty
            .iter()
            .map(|name| format!("column {name}: without any value, and left out")),
    );
    for (k, mut values) in columns.into_iter().enumerate().filter(|(k, _)| filled[*k]) {
        let written = head.names.get(k).map_or("", String::as_str);
        let below = head.units.get(k);
        let Named {
            bare,
            text: own,
            mut unit,
            aside,
        } = Named::read(written, below)?;
        let index = below.is_some_and(|unit| is_index(unit)) || (is_index(&bare) && own.is_none());
        // A capital T alone is a temperature as often as a time, except in front.
        let time = !index && is_time(&bare) && (read.is_empty() || bare != "T");
        let mut text = own;
        if text.is_none() && !index {
            let heads = if time {
                head.time_unit()
            } else {
                let timed = read
                    .first()
                    .is_some_and(|first| first.role != Role::Samples);
                let columns = filled.iter().filter(|own| **own).count();
                head.sample_unit(read.len(), columns, timed)?
            };
            text = heads.map(str::to_owned);
            unit = text.as_ref().and_then(|text| unit::named(text, &bare));
        }
        let exponents = unit.as_ref().map_or(Exponents::NONE, Unit::exponents);
        let known = unit.as_ref().is_some_and(Unit::known);
        let role = match (index, exponents == Time::EXPONENTS) {
            (true, _) => Role::Index,
            (_, true) if time || read.is_empty() => Role::Time,
            (_, true) => Role::Duration,
            // A letter alone may stand for a place or a temperature as well.
            _ if time && (!known || bare.chars().count() > 1) => Role::Time,
            _ => Role::Samples,
        };
        let text = text.filter(|text| !text.is_empty());
        if let Some(unit) = text
            .as_ref()
            .filter(|_| role == Role::Time && exponents != Time::EXPONENTS)
        {
            let (column, unit) = (bare, unit.clone());
            return Err(RecordingError::TimeUnit { column, unit });
        }
        let kept = text.filter(|_| !known);
        let name = free(if bare.is_empty() { "column" } else { &bare }, &read, notes);
        if let Some(unit) = &unit {
            for value in &mut values {
                *value = unit.apply(*value);
            }
        }
        if let Some(text) = &kept {
            notes.push(format!(
                "column {name}: numbers are kept as written, in {text:?}, which is no unit that is \
                 converted"
            ));
        }
        if let Some(text) = aside {
            notes.push(format!(
                "column {name}: {text:?} is no unit that is converted; numbers are kept as written"
            ));
        }
        if role == Role::Time && !known {
            notes.push(format!("column {name}: no unit; seconds are assumed"));
        }
        read.push(Read {
            words: kept.map_or(String::new(), |text| format!("in {text}")),
            name,
            exponents,
            celsius: matches!(unit, Some(Unit::Celsius)),
            values,
            role,
        });
    }
    Ok(read)
}

/// Rounding of times beyond this share of an interval is told.
const ROUGH: f64 = 1e-4;
/// The name of the column of times.
const TIME: &str = "time";

/// A name that no column has yet; one without name is called by its place.
fn free(wanted: &str, read: &[Read], notes: &mut Vec<String>) -> String {
    let taken = |name: &str| read.iter().any(|other| other.name == name);
    if wanted != "column" && !taken(wanted) {
        return wanted.to_owned();
    }
    let from = if wanted == "column" {
        read.len() + 1
    } else {
        2
    };
    let names = (from..).map(|n| format!("{wanted}_{n}"));
    let name = names.into_iter().find(|name| !taken(name));
    let name = name.unwrap_or_default();
    if wanted != "column" {
        notes.push(format!("a second column {wanted:?} is called {name:?}"));
    }
    name
}

/// The column that tells when the samples were taken.
fn teller(columns: &mut [Read], head: &Head, notes: &mut Vec<String>) -> Option<usize> {
    let of = |role| columns.iter().position(|column| column.role == role);
    let told = [Role::Time, Role::Index, Role::Duration]
        .into_iter()
        .find_map(of);
    let unnamed = head.names.first().is_none_or(String::is_empty);
    if told.is_some() || !unnamed || columns.len() < 2 {
        return told;
    }
    let first = &mut columns[0];
    if first.exponents != Exponents::NONE || !axis::is_even(&first.values) {
        return None;
    }
    let counts = first.values[1] - first.values[0] == 1.0 && first.values[0].fract() == 0.0;
    notes.push(if counts {
        first.role = Role::Index;
        "the first column has no name, increases by one and is taken for a count of samples"
            .to_owned()
    } else {
        "the first column has no name, increases evenly and is taken for time in seconds".to_owned()
    });
    Some(0)
}

fn assemble(
    dialect: Dialect,
    head: Head,
    mut columns: Vec<Read>,
    options: &Options,
    mut notes: Vec<String>,
) -> Result<Recording, RecordingError> {
    let told = teller(&mut columns, &head, &mut notes);
    let teller = told.map(|place| columns.remove(place));
    if columns.is_empty() {
        return Err(RecordingError::NoSamples);
    }
    if columns.iter().any(|column| column.role == Role::Time) {
        notes.push("more than one column holds time; the first is the record's".to_owned());
    }
    split_channels(&mut columns, teller.is_some(), options, &mut notes)?;
    let rows = columns[0].values.len();
    let told = teller.map_or(Told::Nothing, |column| {
        if column.role == Role::Index {
            Told::Indices(column.values)
        } else {
            Told::Times(column.values)
        }
    });
    let (times, axis) = axis::times(told, rows, dialect.first_line, &head, options)?;
    let farthest = times
        .iter()
        .fold(0.0_f64, |most, time| most.max(time.abs()));
    if farthest * f64::EPSILON > ROUGH * axis.interval {
        notes.push(
            "times are so far from zero that intervals are rounded; export the record with times \
             from its start"
                .to_owned(),
        );
    }
    if axis.assumed_start {
        notes.push("the start is not stated: time counts from zero".to_owned());
    }
    if let Some(place) = columns.iter().position(|column| column.name == TIME) {
        columns[place].name = free(TIME, &columns, &mut notes);
    }
    let mut table = Table::default().with(Column::new(TIME, "time", Time::EXPONENTS, times)?)?;
    let mut surveys = Vec::new();
    for column in columns {
        surveys.push(survey::survey(&column.values));
        table = table.with(column.column()?)?;
    }
    Ok(Recording {
        dialect,
        head: head.entries,
        table,
        axis,
        surveys,
        notes,
    })
}

/// Takes a column of several channels' samples in turn apart.
fn split_channels(
    columns: &mut Vec<Read>,
    timed: bool,
    options: &Options,
    notes: &mut Vec<String>,
) -> Result<(), RecordingError> {
    let channels = options.channels.unwrap_or(1);
    if channels == 1 {
        if options.channels.is_none()
            && !timed
            && columns.len() == 1
            && survey::looks_interleaved(&columns[0].values)
        {
            notes.push(
                "neighbouring samples differ more than those further apart: the column may hold \
                 several channels in turn; state their number"
                    .to_owned(),
            );
        }
        return Ok(());
    }
    let wrong = |problem: String| {
        let option = "channels";
        Err(RecordingError::Option { option, problem })
    };
    if timed || columns.len() != 1 {
        return wrong("only a single column without time can hold several in turn".to_owned());
    }
    let rows = columns[0].values.len();
    if !rows.is_multiple_of(channels) {
        return wrong(format!(
            "{rows} samples are not {channels} times a whole number"
        ));
    }
    let whole = columns.remove(0);
    columns.extend((0..channels).map(|k| {
        Read {
            name: format!("channel_{}", k + 1),
            words: whole.words.clone(),
            exponents: whole.exponents,
            celsius: whole.celsius,
            values: whole
                .values
                .iter()
                .skip(k)
                .step_by(channels)
                .copied()
                .collect(),
            role: Role::Samples,
        }
    }));
    Ok(())
}
