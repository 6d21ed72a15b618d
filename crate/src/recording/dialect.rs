//! How a record is written: encoding, separator, decimal marker, and where the
//! samples begin. Found by reading the first lines in every way there is.

use std::borrow::Cow;

use super::body::{cells, number, split};
use super::{Options, RecordingError};

/// Lines in which samples must begin.
const HEAD: usize = 1000;
/// Lines of samples that are looked at to tell the ways of reading apart.
const PROBE: usize = 200;
/// Lines alike that make samples, unless the file ends before.
const ALIKE: usize = 3;

/// How the bytes stand for characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, ASCII included.
    Utf8,
    /// UTF-8 after a byte-order mark.
    Utf8Marked,
    /// UTF-16 after a byte-order mark.
    Utf16,
    /// Latin-1 (ISO 8859-1): the head is not UTF-8.
    Latin1,
}

/// What stands between cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Separator {
    /// A comma.
    Comma,
    /// A semicolon.
    Semicolon,
    /// A tab.
    Tab,
    /// One or more spaces.
    Space,
}

impl Separator {
    const ALL: [Self; 4] = [Self::Comma, Self::Semicolon, Self::Tab, Self::Space];

    /// In words, as an option names it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Comma => "comma",
            Self::Semicolon => "semicolon",
            Self::Tab => "tab",
            Self::Space => "space",
        }
    }

    /// The separator of a name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|own| own.name() == name)
    }

    pub(super) fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
            Self::Space => b' ',
        }
    }
}

/// The decimal marker.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decimal {
    /// A point.
    Point,
    /// A comma.
    Comma,
}

impl Decimal {
    const ALL: [Self; 2] = [Self::Point, Self::Comma];

    /// In words, as an option names it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Point => "point",
            Self::Comma => "comma",
        }
    }

    /// The marker of a name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|own| own.name() == name)
    }
}

/// How a record is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dialect {
    /// How bytes stand for characters.
    pub encoding: Encoding,
    /// What stands between cells.
    pub separator: Separator,
    /// The decimal marker.
    pub decimal: Decimal,
    /// The line of the first sample, from 1.
    pub first_line: usize,
    /// Cells of a line of samples, empty ones included.
    pub(super) cells: usize,
    /// Empty cells at the start of every line, beside which the head stands.
    pub(super) beside: usize,
}

/// The text without mark and with line feeds, and its encoding.
pub(super) fn decode(bytes: &[u8]) -> Result<(Cow<'_, [u8]>, Encoding), RecordingError> {
    let (text, encoding) = match bytes {
        [0xef, 0xbb, 0xbf, rest @ ..] => (Cow::Borrowed(rest), Encoding::Utf8Marked),
        [0xff, 0xfe, rest @ ..] => (wide(rest, u16::from_le_bytes)?, Encoding::Utf16),
        [0xfe, 0xff, rest @ ..] => (wide(rest, u16::from_be_bytes)?, Encoding::Utf16),
        _ if std::str::from_utf8(bytes).is_ok() => (Cow::Borrowed(bytes), Encoding::Utf8),
        _ => (Cow::Borrowed(bytes), Encoding::Latin1),
    };
    if let Some(place) = text.iter().position(|byte| *byte == 0) {
        let line = split(&text[..place]).count();
        return Err(RecordingError::Binary { line });
    }
    if text.contains(&b'\n') || !text.contains(&b'\r') {
        // A reader of cells takes it for the end of the line, and the rest is lost.
        let inside = |pair: &[u8]| pair[0] == b'\r' && !matches!(pair[1], b'\r' | b'\n');
        return match text.windows(2).position(inside) {
            None => Ok((text, encoding)),
            Some(place) => Err(RecordingError::Return {
                line: split(&text[..place]).count(),
            }),
        };
    }
    let lines = text.iter().map(|b| if *b == b'\r' { b'\n' } else { *b });
    Ok((Cow::Owned(lines.collect()), encoding))
}

fn wide(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Result<Cow<'_, [u8]>, RecordingError> {
    let (pairs, rest) = bytes.as_chunks::<2>();
    let units = pairs.iter().map(|pair| unit(*pair));
    let text: Result<String, _> = char::decode_utf16(units).collect();
    match text {
        Ok(text) if rest.is_empty() => Ok(Cow::Owned(text.into_bytes())),
        _ => Err(RecordingError::Reader(
            "the file begins as UTF-16, but is not; export it as UTF-8".to_owned(),
        )),
    }
}

/// One way of reading, and how many lines of samples it finds.
struct Reading {
    dialect: Dialect,
    lines: usize,
    numbers: usize,
}

/// Finds how the text is written, as far as options do not state it.
pub(super) fn find(
    text: &[u8],
    encoding: Encoding,
    options: &Options,
) -> Result<Dialect, RecordingError> {
    let lines: Vec<&[u8]> = split(text).take(HEAD + PROBE).collect();
    let last = text.trim_ascii_end().rsplit(|b| *b == b'\n').next();
    let mut readings = Vec::new();
    for separator in Separator::ALL {
        for decimal in Decimal::ALL {
            let stated = options.separator.is_none_or(|own| own == separator)
                && options.decimal.is_none_or(|own| own == decimal);
            let beside = beside(last.unwrap_or_default(), separator);
            let reading = stated.then(|| {
                let dialect = Dialect {
                    encoding,
                    separator,
                    decimal,
                    first_line: options.first_line.unwrap_or(0),
                    cells: 0,
                    beside,
                };
                read(&lines, dialect)
            });
            readings.extend(reading.flatten());
        }
    }
    // The first of equals: a comma before a semicolon, a point before a comma.
    let best = readings
        .iter()
        .enumerate()
        .max_by_key(|(k, reading)| (reading.lines, reading.numbers, usize::MAX - k));
    let Some((_, best)) = best else {
        return Err(RecordingError::NoSamples);
    };
    let stated = options.separator.is_some() || options.decimal.is_some();
    let dialect = if stated {
        best.dialect
    } else {
        decided(&lines, best, &readings).or_else(|doubt| {
            // Damage above explains more than a comma does.
            unbroken(&lines[..best.dialect.first_line - 1], best.dialect)?;
            Err(doubt)
        })?
    };
    if options.first_line.is_none() {
        unbroken(&lines[..dialect.first_line - 1], dialect)?;
    }
    Ok(dialect)
}

/// Refuses samples above the first line of samples: what stands between is damaged.
fn unbroken(head: &[&[u8]], dialect: Dialect) -> Result<(), RecordingError> {
    let Some(above) = head.len().checked_sub(1) else {
        return Ok(());
    };
    if let Some((found, _)) = numbers(head[above], dialect) {
        return Err(RecordingError::Cells {
            line: above + 1,
            found,
            expected: dialect.cells,
        });
    }
    let sample =
        |line: &&[u8]| numbers(line, dialect).is_some_and(|(found, _)| found == dialect.cells);
    let Some(place) = head.iter().rposition(sample) else {
        return Ok(());
    };
    // The line below it is in the head too, and is no line of numbers.
    let (line, below) = (place + 2, cells(head[place + 1], dialect.separator));
    if below.len() != dialect.cells {
        let (found, expected) = (below.len(), dialect.cells);
        return Err(RecordingError::Cells {
            line,
            found,
            expected,
        });
    }
    let wrong = |cell: &String| {
        !cell.trim().is_empty() && number(cell.as_bytes(), dialect.decimal).is_none()
    };
    let column = below.iter().position(wrong).unwrap_or(0);
    Err(RecordingError::Cell {
        line,
        column: column + 1,
        cell: below[column].clone(),
    })
}

/// Empty cells at the start of a line, where something follows them.
fn beside(line: &[u8], separator: Separator) -> usize {
    let cells = cells(line, separator);
    let empty = |cell: &String| cell.trim().is_empty();
    if separator == Separator::Space || cells.iter().all(empty) {
        0
    } else {
        cells.iter().take_while(|cell| empty(cell)).count()
    }
}

/// Cells and numbers of a line of samples; none for any other line.
fn numbers(line: &[u8], dialect: Dialect) -> Option<(usize, usize)> {
    let cells = cells(line, dialect.separator);
    let mut count = 0;
    for cell in cells.iter().skip(dialect.beside) {
        if !cell.trim().is_empty() {
            number(cell.as_bytes(), dialect.decimal)?;
            count += 1;
        }
    }
    (count > 0).then_some((cells.len(), count))
}

fn read(lines: &[&[u8]], mut dialect: Dialect) -> Option<Reading> {
    let found: Vec<_> = lines.iter().map(|line| numbers(line, dialect)).collect();
    let length = |from: usize| -> usize {
        let same = |next: &&Option<(usize, usize)>| {
            next.map(|(cells, _)| cells) == found[from].map(|(cells, _)| cells)
        };
        found[from..].iter().take_while(same).count()
    };
    let filled = lines
        .iter()
        .rposition(|line| !line.trim_ascii().is_empty())?;
    let start = if dialect.first_line > 0 {
        let start = dialect.first_line - 1;
        found.get(start)?.as_ref()?;
        start
    } else {
        (0..found.len().min(HEAD)).find(|k| {
            let most = filled.saturating_sub(*k) + 1;
            found[*k].is_some() && length(*k) >= ALIKE.min(most)
        })?
    };
    let (count, numbers) = found[start]?;
    dialect.first_line = start + 1;
    dialect.cells = count;
    let length = length(start);
    // Commas both between cells and in them need quotation marks; without any, the
    // numbers are whole, and the decimal marker is not seen.
    let marked = |line: &&[u8]| {
        let cells = cells(line, dialect.separator);
        cells.iter().any(|cell| cell.contains(','))
    };
    let commas = dialect.separator == Separator::Comma && dialect.decimal == Decimal::Comma;
    if commas && !lines[start..start + length].iter().any(marked) {
        return None;
    }
    Some(Reading {
        dialect,
        lines: length,
        numbers,
    })
}

/// Whether decimal commas in the first samples may divide thousands as well: each has one to
/// three figures before it, no zero first, and three after it.
pub(super) fn may_be_grouped(text: &[u8], dialect: Dialect) -> bool {
    if dialect.decimal != Decimal::Comma {
        return false;
    }
    let lines = split(text).skip(dialect.first_line - 1).take(PROBE);
    let cells = lines.flat_map(|line| cells(line, dialect.separator));
    let mut marked = cells.filter(|cell| cell.contains(',')).peekable();
    let figures = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let grouped = |cell: String| {
        let cell = cell.trim().trim_start_matches(['+', '-']);
        cell.split_once(',').is_some_and(|(before, after)| {
            let whole = figures(before) && before.len() <= 3 && !before.starts_with('0');
            whole && figures(after) && after.len() == 3
        })
    };
    marked.peek().is_some() && marked.all(grouped)
}

/// The best way of reading, or its rival: a comma may separate two columns or be the
/// decimal marker of one, and the names above tell which. Refused where nothing does.
fn decided(
    lines: &[&[u8]],
    best: &Reading,
    readings: &[Reading],
) -> Result<Dialect, RecordingError> {
    let two = |own: &Reading| own.dialect.separator == Separator::Comma && own.numbers == 2;
    let one = |own: &Reading| own.dialect.decimal == Decimal::Comma && own.numbers == 1;
    let rival = match (two(best), one(best)) {
        (true, _) => readings.iter().find(|own| one(own)),
        (_, true) => readings.iter().find(|own| two(own)),
        _ => None,
    };
    let Some(rival) = rival else {
        return Ok(best.dialect);
    };
    let first = best.dialect.first_line;
    let above = lines[..first - 1].iter().rev().map(|line| {
        let filled = |cell: &String| !cell.trim().is_empty();
        let cells = cells(line, Separator::Comma);
        cells.iter().rposition(filled).map_or(0, |last| last + 1)
    });
    let names = above.into_iter().find(|names| *names > 0);
    let fewer = rival.lines < best.lines || rival.dialect.first_line != first;
    match (names.unwrap_or(0), two(best)) {
        (2.., true) | (1, false) => Ok(best.dialect),
        // Fewer lines can be read in the way that the names tell: some are damaged.
        (2.., false) => Ok(rival.dialect),
        (_, true) if fewer => Ok(best.dialect),
        _ => Err(RecordingError::Ambiguous {
            line: first,
            text: String::from_utf8_lossy(lines[first - 1]).into_owned(),
        }),
    }
}
