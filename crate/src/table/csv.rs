//! Comma-separated values as RFC 4180 describes them: a header line, lines
//! ended by carriage return and line feed, quotation marks where needed.
//!
//! Numbers are written with the fewest digits that read back as the same
//! double, so that a table survives the round trip to the last bit.

use std::borrow::Cow;
use std::io::{Read, Write};

use super::{Column, Table, TableError, named};
use crate::quantity::{
    Dimensioned as _, Exponents, Factor, ThermodynamicTemperature, is_celsius, read_unit,
};

/// Bytes collected before they are written.
const BUFFER: usize = 1 << 16;
/// Room for the longest number and its separator.
const CELL: usize = 32;

impl Table {
    /// Writes the table as comma-separated values, row by row.
    ///
    /// # Errors
    /// What the writer reports.
    pub fn write_csv(&self, mut writer: impl Write) -> std::io::Result<()> {
        if self.columns().is_empty() {
            return Ok(());
        }
        let mut buffer: Vec<u8> = Vec::with_capacity(BUFFER + CELL);
        for (k, column) in self.columns().iter().enumerate() {
            if k > 0 {
                buffer.push(b',');
            }
            buffer.extend(quoted(&column.csv_header()).as_bytes());
        }
        buffer.extend(b"\r\n");
        let values: Vec<&[f64]> = self.columns().iter().map(Column::values).collect();
        let names: Vec<Vec<String>> = self.columns().iter().map(quoted_names).collect();
        let mut digits = zmij::Buffer::new();
        for row in 0..self.rows() {
            for (k, column) in values.iter().enumerate() {
                if k > 0 {
                    buffer.push(b',');
                }
                let value = column[row];
                let words = !names[k].is_empty();
                if let Some(name) = words.then(|| named(&names[k], value)).flatten() {
                    buffer.extend(name.as_bytes());
                } else if value.is_finite() {
                    let text = digits.format_finite(value);
                    buffer.extend(text.strip_suffix(".0").unwrap_or(text).as_bytes());
                } else if values.len() == 1 {
                    // Else the row would be a blank line, which readers skip.
                    buffer.extend(b"\"\"");
                }
                if buffer.len() >= BUFFER {
                    writer.write_all(&buffer)?;
                    buffer.clear();
                }
            }
            buffer.extend(b"\r\n");
        }
        writer.write_all(&buffer)?;
        writer.flush()
    }

    /// The table as comma-separated values.
    #[must_use]
    pub fn to_csv(&self) -> String {
        let mut bytes = Vec::new();
        // Writing to memory does not fail, and only text is written.
        let _ = self.write_csv(&mut bytes);
        String::from_utf8(bytes).unwrap_or_default()
    }

    /// Reads comma-separated values with headers such as `input_voltage_V`. A
    /// header's unit may have an SI prefix; values come in the coherent unit, temperatures
    /// under `_degC` in degrees Celsius. A column
    /// of plain numbers or of words has a header without unit.
    ///
    /// # Errors
    /// An empty header, a cell that is no number, a row of another length,
    /// each with its line; what the reader reports.
    ///
    /// ```
    /// use slewbook::table::Table;
    /// let table = Table::read_csv("time_ns,current_A\n20,0.5\n40,\n".as_bytes()).unwrap();
    /// assert_eq!(table.column("time").unwrap().get(0), Some(20e-9));
    /// assert_eq!(table.without_value(), 1);
    /// ```
    pub fn read_csv(mut reader: impl Read) -> Result<Self, TableError> {
        let mut text = String::new();
        reader.read_to_string(&mut text)?;
        let mut records = Records {
            rest: text.strip_prefix('\u{feff}').unwrap_or(&text),
            line: 1,
        };
        let mut cells = Vec::new();
        if records.next(&mut cells)?.is_none() {
            return Ok(Self::default());
        }
        let headers: Vec<String> = cells.iter().map(|cell| cell.clone().into_owned()).collect();
        let heads = headers
            .iter()
            .map(|h| head(h))
            .collect::<Result<Vec<_>, _>>()?;
        // A header without unit may head plain numbers, or words: not both.
        let mut words: Vec<Option<TableError>> = heads.iter().map(|_| None).collect();
        let mut names: Vec<Vec<String>> = vec![Vec::new(); heads.len()];
        let mut values = vec![Vec::new(); heads.len()];
        let mut counted = vec![false; heads.len()];
        while let Some(line) = records.next(&mut cells)? {
            if cells.len() != heads.len() {
                return Err(TableError::Cells {
                    line,
                    found: cells.len(),
                    expected: heads.len(),
                });
            }
            for (k, cell) in cells.iter().enumerate() {
                let own = number(cell).map(|value| heads[k].unit.apply(value));
                let wrong = || TableError::Cell {
                    line,
                    header: headers[k].clone(),
                    cell: cell.to_string(),
                };
                values[k].push(match own {
                    Some(value) => value,
                    None if heads[k].exponents == Exponents::NONE => {
                        words[k].get_or_insert_with(wrong);
                        place(&mut names[k], cell)
                    }
                    None => return Err(wrong()),
                });
                counted[k] |= own.is_some_and(f64::is_finite);
            }
        }
        let columns = heads.into_iter().zip(words).zip(names).zip(values);
        let mut table = Self::default();
        for ((((head, words), names), values), counted) in columns.zip(counted) {
            if let Some(error) = words.filter(|_| counted) {
                return Err(error);
            }
            let column = head.column(values)?;
            table = table.with(if names.is_empty() {
                column
            } else {
                column.with_names(names)
            })?;
        }
        Ok(table)
    }
}

/// The place of a cell's name among those met so far, this one included; not a number
/// for an empty cell.
fn place(names: &mut Vec<String>, cell: &str) -> f64 {
    let cell = cell.trim();
    if cell.is_empty() {
        return f64::NAN;
    }
    let known = names.iter().position(|name| name == cell);
    let place = known.unwrap_or_else(|| {
        names.push(cell.to_owned());
        names.len() - 1
    });
    #[expect(clippy::cast_precision_loss, reason = "a short list")]
    let place = place as f64;
    place
}

/// The names of a column's values as they are written.
fn quoted_names(column: &Column) -> Vec<String> {
    let names = column.names.iter();
    names.map(|name| quoted(name).into_owned()).collect()
}

/// A header, read.
pub(super) struct Head<'h> {
    pub name: &'h str,
    pub unit: Factor,
    pub exponents: Exponents,
    /// Whether the unit is the degree Celsius.
    celsius: bool,
}

impl Head<'_> {
    /// The column under the header, its values in the unit that they are kept in.
    pub(super) fn column(&self, values: Vec<f64>) -> Result<Column, TableError> {
        if self.celsius {
            Column::celsius(self.name, "", values)
        } else {
            Column::new(self.name, "", self.exponents, values)
        }
    }
}

/// Reads a header: a name and, after its last low line, a unit; a name alone heads plain
/// numbers, or words.
pub(super) fn head(header: &str) -> Result<Head<'_>, TableError> {
    let header = header.trim();
    if header.is_empty() {
        return Err(TableError::Header {
            header: header.to_owned(),
        });
    }
    let parts = header.rsplit_once('_');
    let parts = parts.filter(|(name, unit)| !name.is_empty() && !unit.is_empty());
    let with_unit = parts.and_then(|(name, unit)| {
        if is_celsius(unit) {
            return Some(Head {
                name,
                unit: Factor::ONE,
                exponents: ThermodynamicTemperature::EXPONENTS,
                celsius: true,
            });
        }
        let (unit, exponents) = read_unit(unit).filter(|_| unit != "1")?;
        Some(Head {
            name,
            unit,
            exponents,
            celsius: false,
        })
    });
    Ok(with_unit.unwrap_or(Head {
        name: unmarked(header),
        unit: Factor::ONE,
        exponents: Exponents::NONE,
        celsius: false,
    }))
}

/// What follows the name of plain numbers that would else be read as name and unit.
const PLAIN: &str = "_1";

/// The name that a header without unit stands for.
fn unmarked(header: &str) -> &str {
    match header.strip_suffix(PLAIN) {
        Some(name) if needs_mark(name) => name,
        _ => header,
    }
}

/// Whether a name by itself would be read as another one.
fn needs_mark(name: &str) -> bool {
    head(name).is_ok_and(|head| head.name != name)
}

/// The header of plain numbers.
pub(super) fn plain_header(name: &str) -> String {
    if needs_mark(name) {
        format!("{name}{PLAIN}")
    } else {
        name.to_owned()
    }
}

/// A cell's number; not a number for an empty cell, `None` for any other text.
fn number(cell: &str) -> Option<f64> {
    let cell = cell.trim();
    if cell.is_empty() {
        return Some(f64::NAN);
    }
    cell.parse().ok().filter(|value: &f64| value.is_finite())
}

fn quoted(text: &str) -> Cow<'_, str> {
    if text.contains([',', '"', '\r', '\n']) {
        Cow::Owned(format!("\"{}\"", text.replace('"', "\"\"")))
    } else {
        Cow::Borrowed(text)
    }
}

/// The records of a text.
struct Records<'t> {
    rest: &'t str,
    line: usize,
}

impl<'t> Records<'t> {
    /// The next record's cells and the line it starts on; blank lines are skipped.
    fn next(&mut self, cells: &mut Vec<Cow<'t, str>>) -> Result<Option<usize>, TableError> {
        cells.clear();
        while let Some(rest) = self.rest.strip_prefix(['\r', '\n']) {
            self.line += usize::from(self.rest.starts_with('\n'));
            self.rest = rest;
        }
        let line = self.line;
        if self.rest.is_empty() {
            return Ok(None);
        }
        loop {
            cells.push(self.cell(line)?);
            let Some(rest) = self.rest.strip_prefix(',') else {
                break;
            };
            self.rest = rest;
        }
        Ok(Some(line))
    }

    /// A cell, up to the comma or line end after it.
    fn cell(&mut self, line: usize) -> Result<Cow<'t, str>, TableError> {
        let wrong = TableError::Quotation { line };
        let Some(mut inside) = self.rest.strip_prefix('"') else {
            let end = self.rest.find([',', '\r', '\n']).unwrap_or(self.rest.len());
            let (cell, rest) = self.rest.split_at(end);
            self.rest = rest;
            return if cell.contains('"') {
                Err(wrong)
            } else {
                Ok(Cow::Borrowed(cell))
            };
        };
        let mut cell = String::new();
        loop {
            let Some((part, rest)) = inside.split_once('"') else {
                return Err(wrong);
            };
            cell.push_str(part);
            self.line += part.matches('\n').count();
            if let Some(rest) = rest.strip_prefix('"') {
                cell.push('"');
                inside = rest;
            } else {
                self.rest = rest;
                break;
            }
        }
        if self.rest.is_empty() || self.rest.starts_with([',', '\r', '\n']) {
            Ok(Cow::Owned(cell))
        } else {
            Err(wrong)
        }
    }
}
