//! What stands above the samples, or beside them: keys with values, names of
//! columns, units.

use super::RecordingError;
use super::body::{cells, number, split};
use super::dialect::{Decimal, Dialect, Separator};
use super::key::{Key, letters, values};
use super::name::{is_index, is_time, split_unit};
use super::unit::named as unit_named;
use crate::quantity::{Dimensioned, Time};

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
                // A head may separate key and value otherwise than the samples' cells.
                let (key, value) = unmarked(one)
                    .split_once(['=', ':', ';', '\t', ','])
                    .unwrap_or((unmarked(one), ""));
                (key, value.trim().to_owned())
            }
            [key, rest @ ..] => (*key, rest.join(", ")),
        };
        let key = unmarked(key).trim_end_matches([':', '=']).trim();
        (!key.is_empty()).then(|| Self {
            key: key.to_owned(),
            value,
        })
    }
}

/// A cell without what marks its line as no sample.
fn unmarked(cell: &str) -> &str {
    cell.trim_start_matches(['#', '%', '*', ';', '!', '/'])
        .trim()
}

/// A line above the samples.
struct Row {
    /// The line, from 1.
    line: usize,
    cells: Vec<String>,
}

impl Row {
    /// The row of a line; none where it says nothing.
    fn read(line: usize, text: &[u8], dialect: Dialect) -> Option<Self> {
        let mut cells = cells(text, dialect.separator);
        if dialect.separator == Separator::Space {
            cells = with_units(cells);
        }
        let ruled = |cell: &String| cell.chars().all(|c| "-=_+| ".contains(c));
        if cells.iter().all(ruled) {
            return None;
        }
        let first = unmarked(&cells[0]).to_owned();
        if !first.is_empty() {
            cells[0] = first;
        } else if cells.len() > dialect.cells && !cells[0].trim().is_empty() {
            // The mark stands apart from the first name.
            cells.remove(0);
        }
        Some(Self { line, cells })
    }

    /// Why samples below this row have no names: it is a damaged sample, or no names.
    fn unnamed(&self, dialect: Dialect, filled: &[bool]) -> RecordingError {
        let line = self.line;
        let number = |cell: &String| number(cell.as_bytes(), dialect.decimal).is_some();
        let wrong = |cell: &String| !cell.trim().is_empty() && !number(cell);
        match self.cells.iter().position(wrong) {
            Some(column) if self.cells.len() == dialect.cells && number(&self.cells[0]) => {
                RecordingError::Cell {
                    line,
                    column: column + 1,
                    cell: self.cells[column].clone(),
                }
            }
            _ => RecordingError::NoNames {
                line,
                text: self.cells.join(" ").trim().to_owned(),
                columns: filled.iter().filter(|own| **own).count(),
            },
        }
    }

    fn filled(&self) -> usize {
        self.cells.iter().filter(|c| !c.trim().is_empty()).count()
    }

    /// The cells above the columns.
    fn above(&self, columns: usize, dialect: Dialect) -> Vec<String> {
        let cell = |k| {
            self.cells
                .get(dialect.beside + k)
                .map_or("", |c: &String| c.trim())
        };
        (0..columns).map(|k| cell(k).to_owned()).collect()
    }
}

/// Words with the brackets that follow them, unless all are brackets.
fn with_units(words: Vec<String>) -> Vec<String> {
    let bracket = |word: &String| word.starts_with(['(', '[']);
    let word = words.iter().find(|word| !unmarked(word).is_empty());
    if word.is_none_or(bracket) {
        return words;
    }
    let mut joined: Vec<String> = Vec::new();
    for word in words {
        match joined.last_mut() {
            Some(last) if bracket(&word) => *last = format!("{last} {word}"),
            _ => joined.push(word),
        }
    }
    joined
}

/// What the head says.
#[derive(Default)]
pub(super) struct Head {
    pub entries: Vec<Entry>,
    /// Names of the columns; none where there is no head.
    pub names: Vec<String>,
    pub units: Vec<String>,
    /// Names of columns that hold nothing.
    pub empty: Vec<String>,
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
        let lines = split(text).take(dialect.first_line - 1).enumerate();
        let mut rows: Vec<Row> = lines
            .filter_map(|(k, line)| Row::read(k + 1, line, dialect))
            .collect();
        let unnamed = rows.last().map(|row| row.unnamed(dialect, filled));
        let mut head = Self::default();
        head.names(&mut rows, dialect, filled)?;
        let entries = rows.iter().map(|row| &row.cells).chain(beside);
        head.entries
            .extend(entries.filter_map(|cells| Entry::of(cells)));
        let columns = filled.iter().filter(|own| **own).count();
        let named = !head.names.is_empty() || !head.units.is_empty();
        match unnamed {
            Some(refused) if !named && columns > 1 && !stated => Err(refused),
            _ => Ok(head),
        }
    }

    /// Takes the line of names and the line of units off the end.
    fn names(
        &mut self,
        rows: &mut Vec<Row>,
        dialect: Dialect,
        filled: &[bool],
    ) -> Result<(), RecordingError> {
        let Some(last) = rows.len().checked_sub(1) else {
            return Ok(());
        };
        let above = |row: &Row| row.above(filled.len(), dialect);
        let columns = filled.iter().filter(|own| **own).count();
        let units = are_units(&above(&rows[last]), filled);
        let under = last > 0 && units && are_names(&rows[last - 1], dialect, filled);
        if !under && columns > 1 && units && is_time_unit(&above(&rows[last])[0]) {
            // Units that no names stand above.
            self.units = rows.pop().map(|row| above(&row)).unwrap_or_default();
            return Ok(());
        }
        if !under && !are_names(&rows[last], dialect, filled) {
            return Ok(());
        }
        let top = if under { last - 1 } else { last };
        let found = above(&rows[top]);
        // Units may stand above the names as well.
        let over = !under && last > 0 && columns > 1;
        let over = over.then(|| above(&rows[last - 1]));
        let over = over.filter(|cells| {
            let all = cells
                .iter()
                .zip(filled)
                .all(|(cell, own)| !own || !cell.is_empty());
            all && are_units(cells, filled) && is_time_unit(&cells[0])
        });
        // Two columns under keys with values, or one: a key must not pass for a name.
        let pairs = columns == 2 && rows[..last].iter().any(|row| row.filled() == 2);
        let said = |name: &String| {
            let (bare, unit) = split_unit(name);
            is_time(&bare) || is_index(&bare) || unit.is_some()
        };
        if !under && pairs && !found.iter().any(said) && !are_alike(&found[0], &found[1]) {
            return Ok(());
        }
        let own = &rows[top].cells[dialect.beside.min(rows[top].cells.len())..];
        if !under && columns == 1 && own.iter().filter(|c| !c.trim().is_empty()).count() > 1 {
            return Ok(());
        }
        let below = if under { rows.pop() } else { None };
        let Some(row) = rows.pop() else {
            return Ok(());
        };
        self.spare(&row, below.as_ref(), dialect, filled)?;
        if let Some(below) = &below {
            self.units = above(below);
        } else if let Some(over) = over {
            self.units = over;
            rows.pop();
        }
        self.names = found;
        Ok(())
    }

    /// What stands beside and beyond the names of the columns: keys above their values,
    /// and names of columns that hold nothing.
    fn spare(
        &mut self,
        row: &Row,
        below: Option<&Row>,
        dialect: Dialect,
        filled: &[bool],
    ) -> Result<(), RecordingError> {
        for row in [Some(row), below].into_iter().flatten() {
            let beside = row.cells.iter().take(dialect.beside).cloned();
            self.entries
                .extend(Entry::of(&beside.collect::<Vec<String>>()));
        }
        for (k, key) in row.cells.iter().enumerate().skip(dialect.beside) {
            let own = filled.get(k - dialect.beside);
            if own == Some(&true) || key.trim().is_empty() {
                continue;
            }
            let value = below.and_then(|below| below.cells.get(k));
            let value = value.map_or("", |value| value.trim());
            if is_key(key) || !value.is_empty() && unit_named(value, key).is_none() {
                self.entries
                    .extend(Entry::of(&[key.clone(), value.to_owned()]));
            } else if own.is_some() {
                self.empty.push(key.trim().to_owned());
            } else {
                return Err(RecordingError::Names {
                    line: row.line,
                    names: row.filled(),
                    columns: filled.iter().filter(|own| **own).count(),
                });
            }
        }
        Ok(())
    }

    /// The number that the entries of a key state.
    pub(super) fn value(&self, key: Key) -> Result<Option<f64>, RecordingError> {
        let mut found: Option<f64> = None;
        let foreign = matches!(key, Key::Interval | Key::Start)
            && self
                .time_unit()
                .and_then(|text| unit_named(text, "time"))
                .is_some_and(|unit| unit.apply(1.0) != 1.0);
        for entry in &self.entries {
            let (name, unit) = split_unit(&entry.key);
            if Key::of(&name) != Some(key) || entry.value.is_empty() {
                continue;
            }
            for text in values(&entry.value, unit) {
                if key == Key::Start && is_date(&text) || text.contains(':') {
                    // When it was recorded, not where time counts from.
                    continue;
                }
                let refused = |expected| RecordingError::Head {
                    key: entry.key.clone(),
                    value: entry.value.clone(),
                    expected,
                };
                if foreign && text.ends_with(|c: char| c.is_ascii_digit() || c == '.') {
                    return Err(refused(
                        "a value with its unit, since the unit of time of the head is not the second",
                    ));
                }
                let value = key.read(&text).ok_or_else(|| refused(key.expected()))?;
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

    /// The unit of time of the head, for a column of times without its own: one, or the
    /// same for every channel.
    pub(super) fn time_unit(&self) -> Option<&str> {
        let units = self.texts(&TIME_UNIT);
        let first = units.first().copied();
        first.filter(|first| units.iter().all(|unit| unit == first))
    }

    /// The unit of the samples of the head, for a column without its own: one for all, or
    /// one for each column; `timed` says that the first of so many is no samples.
    pub(super) fn sample_unit(
        &self,
        place: usize,
        columns: usize,
        timed: bool,
    ) -> Result<Option<&str>, RecordingError> {
        let units = self.texts(&SAMPLE_UNIT);
        let skipped = usize::from(timed);
        match units.as_slice() {
            [] => Ok(None),
            [one] => Ok(Some(one)),
            [first, ..] if timed && units.len() == columns && is_time_unit(first) => {
                Ok(Some(units[place]))
            }
            many if many.len() + skipped == columns => Ok(Some(many[place - skipped])),
            many => Err(RecordingError::Head {
                key: "unit of the samples".to_owned(),
                value: many.join(", "),
                expected: "one unit, or one for each column of samples",
            }),
        }
    }

    /// What the first entry of some keys says, value by value.
    fn texts(&self, keys: &[&str]) -> Vec<&str> {
        let own = |entry: &&Entry| keys.contains(&letters(&entry.key).as_str());
        let entry = self.entries.iter().find(own);
        let texts = entry.into_iter().flat_map(|entry| entry.value.split(", "));
        texts.filter(|text| !text.is_empty()).collect()
    }
}

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

/// Whether a row names every column but perhaps the first, and holds no numbers there.
fn are_names(row: &Row, dialect: Dialect, filled: &[bool]) -> bool {
    let columns = filled.iter().filter(|own| **own).count();
    let own = row.above(filled.len(), dialect);
    let mut above = own.iter().zip(filled).filter(|(_, filled)| **filled);
    let first = above
        .next()
        .is_some_and(|(cell, _)| (columns > 1 || !cell.is_empty()) && !is_number(cell));
    let fit = first && above.all(|(cell, _)| !cell.is_empty() && !is_number(cell));
    let known = Entry::of(&own)
        .is_some_and(|entry| columns <= 2 && !entry.value.is_empty() && is_key(&entry.key));
    // Words of a sentence are cells where spaces separate.
    let spare = match dialect.separator {
        Separator::Space => row.cells.len() == dialect.cells,
        Separator::Comma | Separator::Semicolon | Separator::Tab => {
            row.cells.len() <= dialect.cells + 4
        }
    };
    fit && !known && spare && !(columns == 1 && own[0].contains(['=', ':']))
}

/// Whether cells above the columns are their units.
fn are_units(cells: &[String], filled: &[bool]) -> bool {
    let above = cells.iter().zip(filled).filter(|(_, filled)| **filled);
    let filled: Vec<&String> = above
        .map(|(cell, _)| cell)
        .filter(|cell| !cell.is_empty())
        .collect();
    let known = |cell: &&&String| unit_named(cell, "").is_some() || is_index(cell);
    let count = filled.iter().filter(known).count();
    // Under a unit of time one or another unit may be unknown.
    let timed = filled.first().is_some_and(|cell| is_time_unit(cell));
    count > 0 && (count == filled.len() || timed && 2 * count >= filled.len())
}

/// Whether two names differ in what counts them alone, as those of channels do.
fn are_alike(first: &str, second: &str) -> bool {
    let common = first.chars().zip(second.chars());
    let common = common.take_while(|(a, b)| a == b).count();
    let rest = |name: &str| name.chars().count() - common;
    first != second && common > 0 && rest(first) <= 2 && rest(second) <= 2
}

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
