//! Lines, cells and numbers; the block of samples.

use super::dialect::{Decimal, Dialect, Separator};
use super::{MOST_SAMPLES, RecordingError};

/// What instruments write for a value out of range or not measured: 9.9e37 and
/// 9.91e37 of SCPI-1999 (from memory).
const OVERLOAD: f64 = 9.9e37;

/// What meters write in its place.
const NO_VALUE: [&[u8]; 7] = [b"OL", b"-OL", b"OVLD", b"-OVLD", b"N/A", b"--", b"---"];

/// The lines of a text, without their ends.
pub(super) fn split(text: &[u8]) -> impl Iterator<Item = &[u8]> {
    text.split(|byte| *byte == b'\n')
        .map(|line| line.strip_suffix(b"\r").unwrap_or(line))
}

/// Text in UTF-8, else in Latin-1.
fn characters(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
    }
}

fn reader(text: &[u8], separator: Separator) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator.byte())
        .from_reader(text)
}

/// The cells of one line.
pub(super) fn cells(line: &[u8], separator: Separator) -> Vec<String> {
    if separator == Separator::Space {
        let words = line.split(|b| *b == b' ');
        return words.filter(|w| !w.is_empty()).map(characters).collect();
    }
    let mut record = csv::ByteRecord::new();
    // A line in memory that does not end inside: no error can occur.
    match reader(line, separator).read_byte_record(&mut record) {
        Ok(true) => record.iter().map(characters).collect(),
        _ => Vec::new(),
    }
}

/// The number in a cell; not a number for what says that there is no value.
pub(super) fn number(cell: &[u8], decimal: Decimal) -> Option<f64> {
    let cell = cell.trim_ascii();
    if NO_VALUE.contains(&cell) {
        return Some(f64::NAN);
    }
    let text = std::str::from_utf8(cell).ok()?;
    let value: f64 = match decimal {
        Decimal::Point => text.parse().ok()?,
        Decimal::Comma if text.contains('.') => return None,
        Decimal::Comma => text.replacen(',', ".", 1).parse().ok()?,
    };
    let digits = cell.iter().any(u8::is_ascii_digit);
    if value.is_finite() {
        Some(if value.abs() >= OVERLOAD {
            f64::NAN
        } else {
            value
        })
    } else {
        // Words that say so, not a number too large to be one.
        (!digits).then_some(f64::NAN)
    }
}

/// The samples, column by column; cells beside which the head stands.
pub(super) struct Body {
    pub columns: Vec<Vec<f64>>,
    /// Whether any cell of the column was filled.
    pub filled: Vec<bool>,
    pub beside: Vec<Vec<String>>,
    pub rows: usize,
}

impl Body {
    pub(super) fn read(text: &[u8], dialect: Dialect) -> Result<Self, RecordingError> {
        let skipped: usize = text
            .split_inclusive(|b| *b == b'\n')
            .take(dialect.first_line - 1)
            .map(<[u8]>::len)
            .sum();
        let samples = text[skipped..].trim_ascii_end_lines();
        let room = split(samples).count();
        let columns = dialect.cells - dialect.beside;
        if room.saturating_mul(dialect.cells) > MOST_SAMPLES {
            return Err(RecordingError::TooMany {
                lines: room,
                cells: dialect.cells,
            });
        }
        let mut body = Self {
            columns: (0..columns).map(|_| Vec::with_capacity(room)).collect(),
            filled: vec![false; columns],
            beside: Vec::new(),
            rows: 0,
        };
        if dialect.separator == Separator::Space {
            for (k, line) in split(samples).enumerate() {
                let words = line.split(|b| *b == b' ');
                let words: Vec<&[u8]> = words.filter(|word| !word.is_empty()).collect();
                let line = dialect.first_line + k;
                body.push(words.into_iter(), line, dialect)?;
            }
            return Ok(body);
        }
        // The reader would pass over blank lines, and count them out.
        if let Some(blank) = split(samples).position(<[u8]>::is_empty) {
            let line = dialect.first_line + blank;
            return Err(RecordingError::Break { line });
        }
        let mut reader = reader(samples, dialect.separator);
        let mut record = csv::ByteRecord::new();
        loop {
            let more = reader.read_byte_record(&mut record);
            if !more.map_err(|error| RecordingError::Reader(error.to_string()))? {
                break;
            }
            let line = dialect.first_line + body.rows;
            body.push(record.iter(), line, dialect)?;
        }
        if room != body.rows {
            let quote = split(samples).position(|line| line.contains(&b'"'));
            let line = dialect.first_line + quote.unwrap_or(0);
            return Err(RecordingError::Break { line });
        }
        Ok(body)
    }

    fn push<'c>(
        &mut self,
        cells: impl ExactSizeIterator<Item = &'c [u8]>,
        line: usize,
        dialect: Dialect,
    ) -> Result<(), RecordingError> {
        let found = cells.len();
        if found == 0 {
            return Err(RecordingError::Break { line });
        }
        if found != dialect.cells {
            return Err(RecordingError::Cells {
                line,
                found,
                expected: dialect.cells,
            });
        }
        let mut entry = Vec::new();
        for (k, cell) in cells.enumerate() {
            let Some(column) = k.checked_sub(dialect.beside) else {
                entry.push(characters(cell));
                continue;
            };
            let value = if cell.trim_ascii().is_empty() {
                f64::NAN
            } else {
                self.filled[column] = true;
                number(cell, dialect.decimal).ok_or_else(|| RecordingError::Cell {
                    line,
                    column: k + 1,
                    cell: characters(cell),
                })?
            };
            self.columns[column].push(value);
        }
        if entry.iter().any(|cell| !cell.trim().is_empty()) {
            self.beside.push(entry);
        }
        self.rows += 1;
        Ok(())
    }
}

trait Ends {
    fn trim_ascii_end_lines(&self) -> &[u8];
}

impl Ends for [u8] {
    /// Without line ends at its end; a tab there may be an empty cell.
    fn trim_ascii_end_lines(&self) -> &[u8] {
        let end = self.iter().rposition(|b| !matches!(b, b'\n' | b'\r'));
        end.map_or(&[][..], |end| &self[..=end])
    }
}
