//! What stands above the samples, or beside them: keys with values, names of
//! columns, units.

use super::RecordingError;
use super::body::{cells, number, split};
use super::dialect::{Decimal, Dialect};
use super::unit::{Unit, named as unit_named};
use crate::quantity::{Current, Dimensioned, Frequency, Ratio, Time, Voltage, print_value};

/// A key of the head with its value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// The key as written.
    pub key: String,
    /// The value as written; cells after the first are joined by commas.
    pub value: String,
}

impl Entry {
    fn of(cells: &[String]) -> Option<Self> {
        let filled: Vec<&str> = cells
            .iter()
            .map(|c| c.trim())
            .filter(|c| !c.is_empty())
            .collect();
        let (key, value) = match filled.as_slice() {
            [] => return None,
            [one] => {
                let one = one.trim_start_matches(['#', '%', '*']).trim();
                // A head may separate key and value otherwise than the samples' cells.
                let (key, value) = one
                    .split_once(['=', ':', ';', '\t', ','])
                    .unwrap_or((one, ""));
                (key, value.trim().to_owned())
            }
            [key, rest @ ..] => (*key, rest.join(", ")),
        };
        let key = key.trim_start_matches(['#', '%', '*']).trim();
        let key = key.trim_end_matches([':', '=']).trim();
        (!key.is_empty()).then(|| Self {
            key: key.to_owned(),
            value,
        })
    }
}

/// What the head says.
#[derive(Default)]
pub(super) struct Head {
    pub entries: Vec<Entry>,
    /// Names of the columns; none where there is no head.
    pub names: Vec<String>,
    pub units: Vec<String>,
}

impl Head {
    /// Reads the lines above the samples. `filled` says which columns hold anything,
    /// `stated` that the first line of samples was not found but stated.
    pub(super) fn read(
        text: &[u8],
        dialect: Dialect,
        filled: &[bool],
        beside: &[Vec<String>],
        stated: bool,
    ) -> Result<Self, RecordingError> {
        let lines = split(text).take(dialect.first_line - 1);
        let mut lines: Vec<Vec<String>> = lines
            .map(|line| cells(line, dialect.separator))
            .filter(|cells| cells.iter().any(|cell| !cell.trim().is_empty()))
            .collect();
        let mut head = Self::default();
        let any = !lines.is_empty();
        head.names(&mut lines, dialect, filled);
        let entries = lines
            .iter()
            .chain(beside)
            .filter_map(|cells| Entry::of(cells));
        head.entries.extend(entries);
        let columns = filled.iter().filter(|own| **own).count();
        let named = !head.names.is_empty() || !head.units.is_empty();
        if any && !named && columns > 1 && !stated {
            return Err(RecordingError::NoNames { columns });
        }
        Ok(head)
    }

    /// Takes the line of names and the line of units off the end.
    fn names(&mut self, lines: &mut Vec<Vec<String>>, dialect: Dialect, filled: &[bool]) {
        let at = |cells: &[String]| -> Vec<String> {
            let cell = |k| {
                cells
                    .get(dialect.beside + k)
                    .map_or("", |c: &String| c.trim())
            };
            (0..filled.len()).map(|k| cell(k).to_owned()).collect()
        };
        let columns = filled.iter().filter(|own| **own).count();
        // Names stand above every column but perhaps the first, and are no numbers.
        let names = |cells: &[String]| {
            let own = at(cells);
            let mut above = own.iter().zip(filled).filter(|(_, filled)| **filled);
            let first = above
                .next()
                .is_some_and(|(cell, _)| (columns > 1 || !cell.is_empty()) && !is_number(cell));
            let fit = first && above.all(|(cell, _)| !cell.is_empty() && !is_number(cell));
            let known = Entry::of(cells)
                .is_some_and(|entry| columns <= 2 && !entry.value.is_empty() && is_key(&entry.key));
            let spare = cells.len() <= dialect.cells + 4;
            fit && !known && spare && !(columns == 1 && own[0].contains(['=', ':']))
        };
        let units = |cells: &[String]| {
            let own = at(cells);
            let above = own.iter().zip(filled).filter(|(_, filled)| **filled);
            let filled: Vec<&String> = above
                .map(|(cell, _)| cell)
                .filter(|cell| !cell.is_empty())
                .collect();
            let known = |cell: &&&String| unit_named(cell, "").is_some() || is_index(cell);
            let count = filled.iter().filter(known).count();
            // Under a unit of time one or another unit may be unknown.
            let timed = filled.first().is_some_and(|cell| is_time_unit(cell));
            count > 0 && (count == filled.len() || timed && 2 * count >= filled.len())
        };
        let Some(last) = lines.len().checked_sub(1) else {
            return;
        };
        let under = last > 0 && units(&lines[last]) && names(&lines[last - 1]);
        if !under && columns > 1 && units(&lines[last]) && is_time_unit(&at(&lines[last])[0]) {
            // Units that no names stand above.
            self.units = lines.pop().map(|cells| at(&cells)).unwrap_or_default();
            return;
        }
        if !under && !names(&lines[last]) {
            return;
        }
        let count = |cells: &Vec<String>| cells.iter().filter(|c| !c.trim().is_empty()).count();
        let top = if under { last - 1 } else { last };
        let found = at(&lines[top]);
        // Two columns under keys with values, or one: a key must not pass for a name.
        let pairs = columns == 2 && lines[..last].iter().any(|cells| count(cells) == 2);
        let said = |name: &String| {
            let (bare, unit) = split_unit(name);
            is_time(&bare) || is_index(&bare) || unit.is_some()
        };
        if !under && pairs && !found.iter().any(said) {
            return;
        }
        if !under && columns == 1 && count(&lines[top]) > 1 {
            return;
        }
        let below = if under { lines.pop() } else { None };
        let Some(above) = lines.pop() else { return };
        if let Some(below) = &below {
            self.units = at(below);
            // Beyond the columns: keys above, values below.
            let beyond = above.iter().zip(below).skip(dialect.beside + filled.len());
            let spare = (0..filled.len()).filter(|k| !filled[*k]).filter_map(|k| {
                Some((
                    above.get(dialect.beside + k)?,
                    below.get(dialect.beside + k)?,
                ))
            });
            for (key, value) in spare.chain(beyond) {
                self.entries
                    .extend(Entry::of(&[key.clone(), value.clone()]));
            }
        }
        self.names = found;
    }

    /// The number that the entries of a key state.
    pub(super) fn value(&self, key: Key) -> Result<Option<f64>, RecordingError> {
        let mut found: Option<f64> = None;
        for entry in &self.entries {
            let (name, unit) = split_unit(&entry.key);
            if Key::of(&name) != Some(key) || entry.value.is_empty() {
                continue;
            }
            for text in key.values(&entry.value, unit) {
                if key == Key::Start && is_date(&text) || text.contains(':') {
                    // When it was recorded, not where time counts from.
                    continue;
                }
                let refused = || RecordingError::Head {
                    key: entry.key.clone(),
                    value: entry.value.clone(),
                    expected: key.expected(),
                };
                let value = key.read(&text).ok_or_else(refused)?;
                if let Some(first) = found
                    && (first - value).abs() > 1e-6 * first.abs()
                {
                    return Err(RecordingError::Twice {
                        what: key,
                        first,
                        second: value,
                    });
                }
                found = Some(value);
            }
        }
        Ok(found)
    }

    /// The unit of time of the head, for a column of times without its own.
    pub(super) fn time_unit(&self) -> Option<&str> {
        self.text(&TIME_UNIT).filter(|unit| is_time_unit(unit))
    }

    /// The unit of the samples of the head, for columns without their own.
    pub(super) fn sample_unit(&self) -> Option<&str> {
        self.text(&SAMPLE_UNIT)
            .filter(|unit| unit_named(unit, "").is_some())
    }

    fn text(&self, keys: &[&str]) -> Option<&str> {
        let own = |entry: &&Entry| keys.contains(&letters(&entry.key).as_str());
        self.entries
            .iter()
            .find(own)
            .map(|entry| entry.value.as_str())
    }
}

/// Digits that tell apart what is refused for being two.
const DIGITS: usize = 9;
/// Keys of the unit of time.
const TIME_UNIT: [&str; 6] = [
    "horizontalunits",
    "horizontalunit",
    "xunits",
    "xunit",
    "timeunits",
    "timeunit",
];
/// Keys of the unit of the samples.
const SAMPLE_UNIT: [&str; 4] = ["verticalunits", "verticalunit", "yunits", "yunit"];

/// Whether a key says something that is understood.
fn is_key(key: &str) -> bool {
    let own = letters(key);
    let own = own.as_str();
    Key::of(key).is_some() || TIME_UNIT.contains(&own) || SAMPLE_UNIT.contains(&own)
}

fn is_number(cell: &str) -> bool {
    [Decimal::Point, Decimal::Comma]
        .into_iter()
        .any(|decimal| number(cell.as_bytes(), decimal).is_some())
}

/// Whether a text is a unit of time.
pub(super) fn is_time_unit(text: &str) -> bool {
    unit_named(text, "time").is_some_and(|unit| unit.exponents() == Time::EXPONENTS)
}

/// Whether a text is a date such as 2026-03-01 or 1/3/2026.
fn is_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split(['-', '/', '.', ' ']).collect();
    let figures = |part: &&&str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    parts.iter().filter(figures).count() >= 3
}

/// Letters and figures of a name, in lower case.
fn letters(name: &str) -> String {
    let letters = |c: &char| c.is_alphanumeric();
    name.to_lowercase().chars().filter(letters).collect()
}

/// What a head may state of the samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// The interval between samples, s.
    Interval,
    /// The samples in a second, Hz.
    Rate,
    /// The time of the first sample or of index zero, s.
    Start,
    /// The index, whole or not, at which time is zero.
    ZeroIndex,
    /// The number of samples.
    Length,
}

impl Key {
    /// The key of a name, whatever its spelling.
    fn of(name: &str) -> Option<Self> {
        Some(match letters(name).as_str() {
            "sampleinterval" | "samplinginterval" | "sampleperiod" | "samplingperiod"
            | "increment" | "xincrement" | "xincr" | "xinc" | "timeincrement" | "timestep"
            | "deltat" | "dt" | "tinc" | "timeinterval" | "hresolution" | "interval"
            | "logginginterval" | "loginterval" | "scaninterval" => Self::Interval,
            "samplerate" | "samplingrate" | "samplingfrequency" | "samplefrequency" => Self::Rate,
            "start" | "starttime" | "xorigin" | "xzero" | "t0" | "firstsample" => Self::Start,
            "zeroindex" | "triggerindex" | "triggersample" | "triggerpoint" => Self::ZeroIndex,
            "recordlength" | "samples" | "numberofsamples" | "samplecount" | "points"
            | "numberofpoints" | "datapoints" => Self::Length,
            _ => return None,
        })
    }

    /// What it is, in words.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Interval => "sample interval",
            Self::Rate => "sample rate",
            Self::Start => "time of the first sample",
            Self::ZeroIndex => "index of time zero",
            Self::Length => "number of samples",
        }
    }

    /// A value of it with its unit.
    pub(super) fn shown(self, value: f64) -> String {
        let exponents = match self {
            Self::Interval | Self::Start => Time::EXPONENTS,
            Self::Rate => Frequency::EXPONENTS,
            Self::ZeroIndex | Self::Length => Ratio::EXPONENTS,
        };
        print_value(value, exponents, DIGITS)
    }

    fn expected(self) -> &'static str {
        match self {
            Self::Interval => "a time above zero such as 4e-9 or 4 ns",
            Self::Rate => "a frequency above zero such as 250e6 or 250 MHz",
            Self::Start => "a time such as -1e-3 or -1 ms",
            Self::ZeroIndex => "a number such as 1249.05",
            Self::Length => "a whole number such as 2500",
        }
    }

    /// Texts of numbers with units: one for each channel, or a number and its unit.
    fn values(self, value: &str, unit: Option<String>) -> Vec<String> {
        let parts = value.split(", ").map(str::to_owned);
        let mut texts: Vec<String> = Vec::new();
        for part in parts {
            let numeric = part.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c));
            match texts.last_mut() {
                Some(last) if !numeric => *last = format!("{last} {part}"),
                _ => texts.push(part),
            }
        }
        if let Some(unit) = unit {
            texts
                .iter_mut()
                .for_each(|text| *text = format!("{text} {unit}"));
        }
        texts
    }

    fn read(self, text: &str) -> Option<f64> {
        let text = text.trim();
        let end = text
            .rfind(|c: char| c.is_ascii_digit() || c == '.')
            .map_or(0, |k| k + 1);
        let (figures, unit) = text.split_at(end);
        let decimal = if figures.contains(',') {
            Decimal::Comma
        } else {
            Decimal::Point
        };
        let value = number(figures.as_bytes(), decimal).filter(|value| value.is_finite())?;
        let value = match (self, unit.trim()) {
            (_, "") => value,
            (Self::Length, unit) => {
                let own = letters(unit);
                let word = matches!(own.as_str(), "points" | "pts" | "samples" | "sa");
                word.then_some(value)?
            }
            (Self::ZeroIndex, _) => return None,
            (Self::Rate, unit) => {
                let unit = unit.replace("Sa/s", "Hz").replace("S/s", "Hz");
                let unit = unit_named(&unit, "")?;
                (unit.exponents() == Frequency::EXPONENTS).then(|| unit.apply(value))?
            }
            (_, unit) => {
                let unit = unit_named(unit, "time")?;
                (unit.exponents() == Time::EXPONENTS).then(|| unit.apply(value))?
            }
        };
        let sound = match self {
            Self::Interval | Self::Rate => value > 0.0,
            Self::Length => value >= 0.0 && value.fract() == 0.0,
            Self::Start | Self::ZeroIndex => true,
        };
        sound.then_some(value)
    }
}

/// A name without its unit, and the unit: `Time (s)`, `CH1 [mV]`, `t/µs`, `U in V`,
/// `node_voltage_V`.
pub(super) fn split_unit(name: &str) -> (String, Option<String>) {
    let name = name.trim();
    let bracket = [('(', ')'), ('[', ']')]
        .into_iter()
        .find_map(|(open, close)| name.strip_suffix(close)?.rsplit_once(open));
    let split = |before: &str, unit: &str| (before.trim().to_owned(), Some(unit.trim().to_owned()));
    if let Some((before, unit)) = bracket
        && !before.trim().is_empty()
    {
        return split(before, unit);
    }
    for between in [" in ", "/"] {
        if let Some((before, unit)) = name.split_once(between)
            && !before.trim().is_empty()
            && unit_named(unit, before).is_some_and(|unit| unit.known())
        {
            return split(before, unit);
        }
    }
    // The A of `channel_A` is none: the name has to say what is measured.
    if let Some((before, unit)) = name.rsplit_once('_')
        && let Some(exponents) = unit_named(unit, before).map(|unit| unit.exponents())
        && (is_time(before) && exponents == Time::EXPONENTS
            || before.ends_with("voltage") && exponents == Voltage::EXPONENTS
            || before.ends_with("current") && exponents == Current::EXPONENTS)
    {
        return split(before, unit);
    }
    (name.to_owned(), None)
}

/// Whether a column's name without unit says that it holds time.
pub(super) fn is_time(name: &str) -> bool {
    matches!(
        letters(name).as_str(),
        "time"
            | "t"
            | "x"
            | "zeit"
            | "temps"
            | "seconds"
            | "second"
            | "timestamp"
            | "elapsed"
            | "elapsedtime"
            | "relativetime"
            | "timerel"
    )
}

/// Whether a column's name, or the place of its unit, says that it counts samples.
pub(super) fn is_index(name: &str) -> bool {
    matches!(
        letters(name).as_str(),
        "sequence" | "index" | "sample" | "samples" | "no" | "nr" | "n" | "point" | "number"
    )
}

/// A column's name without unit, the unit's text where there is one (that of the line
/// of units, else of the name), and the unit where it is known.
pub(super) fn unit_of(
    name: &str,
    units: Option<&String>,
) -> (String, Option<String>, Option<Unit>) {
    let (bare, inside) = split_unit(name);
    let below = units.filter(|unit| !unit.is_empty() && !is_index(unit));
    let text = below.cloned().or(inside);
    let unit = text.as_ref().and_then(|text| unit_named(text, &bare));
    (bare, text, unit)
}
