//! What was understood of a record, in words and as JSON.

use serde_json::{Value, json as value};

use super::{Encoding, Recording, Survey, TimeSource};
use crate::identity::Program;
use crate::quantity::{Dimensioned, Exponents, Ratio, Time, print_value};
use crate::table::Column;
use crate::visible::json_document;

const DIGITS: usize = 6;
/// The format of the JSON.
const FORMAT: u32 = 1;

fn shown(value: f64, exponents: Exponents) -> String {
    print_value(value, exponents, DIGITS)
}

impl Encoding {
    fn words(self) -> &'static str {
        match self {
            Self::Utf8 => "UTF-8",
            Self::Utf8Marked => "UTF-8 with byte-order mark",
            Self::Utf16 => "UTF-16 with byte-order mark",
            Self::Latin1 => "Latin-1",
        }
    }
}

impl TimeSource {
    fn words(self) -> &'static str {
        match self {
            Self::Column => "a column of times",
            Self::Index => "a column that counts samples, with start and interval",
            Self::Interval => "start and interval",
        }
    }
}

impl Recording {
    /// The columns of samples, each with what it looks like.
    fn channels(&self) -> impl Iterator<Item = (&Column, Option<&Survey>)> {
        let columns = self.table.columns().iter().skip(1);
        columns.zip(self.surveys.iter().map(Option::as_ref))
    }
}

/// What was understood, in words, for a person.
#[must_use]
pub fn text(recording: &Recording) -> String {
    let Recording { dialect, axis, .. } = recording;
    let time = |seconds| shown(seconds, Time::EXPONENTS);
    let times = recording.table.columns()[0].values();
    let mut lines = vec![
        format!(
            "written as: {}, cells separated by {}, decimal {}, samples from line {}",
            dialect.encoding.words(),
            dialect.separator.name(),
            dialect.decimal.name(),
            dialect.first_line
        ),
        format!(
            "samples: {}, from {} to {}",
            recording.table.rows(),
            time(times[0]),
            time(times[times.len() - 1])
        ),
        format!("time from: {}", axis.source.words()),
    ];
    let mut interval = format!("interval: {}", time(axis.interval));
    if !axis.is_even() {
        interval += &format!(", {} to {}", time(axis.shortest), time(axis.longest));
    }
    lines.push(interval);
    lines.push(match axis.first_gap {
        None => "gaps: none".to_owned(),
        Some(line) => format!("gaps: {}, the first below line {line}", axis.gaps),
    });
    for (column, survey) in recording.channels() {
        lines.push(channel(column, survey));
    }
    lines.extend(recording.notes.iter().map(|note| format!("note: {note}")));
    for entry in &recording.head {
        lines.push(format!("head: {} = {}", entry.key, entry.value));
    }
    lines.join("\n") + "\n"
}

fn channel(column: &Column, survey: Option<&Survey>) -> String {
    let name = column.name();
    let Some(survey) = survey else {
        return format!("column {name}: without any value");
    };
    let unit = |value| {
        if column.is_celsius() {
            format!("{} °C", shown(value, Exponents::NONE))
        } else {
            shown(value, column.exponents())
        }
    };
    let kind = match (column.words(), column.exponents() == Ratio::EXPONENTS) {
        ("", true) if survey.digital => "digital".to_owned(),
        ("", true) => "no unit".to_owned(),
        ("", false) => column.unit(),
        (words, _) => words.to_owned(),
    };
    let mut line = format!(
        "column {name} ({kind}): {} to {}",
        unit(survey.minimum),
        unit(survey.maximum)
    );
    if let Some(step) = survey.quantisation.filter(|_| !survey.digital) {
        line += &format!(", in steps of {}", shown(step, column.exponents()));
    }
    for (samples, end) in [
        (survey.clipped_low, "lower"),
        (survey.clipped_high, "upper"),
    ] {
        if samples > 0 {
            line += &format!(", {samples} samples look clipped at the {end} end");
        }
    }
    if survey.without_value > 0 {
        line += &format!(", {} samples without value", survey.without_value);
    }
    line
}

/// What was understood, for machines; values in coherent units.
#[must_use]
pub fn json(recording: &Recording) -> String {
    let Recording { dialect, axis, .. } = recording;
    let times = recording.table.columns()[0].values();
    let channels: Vec<Value> = recording
        .channels()
        .map(|(column, survey)| {
            let survey = survey.map(|survey| {
                value!({
                    "minimum": survey.minimum,
                    "maximum": survey.maximum,
                    "step": survey.quantisation,
                    "digital": survey.digital,
                    "clipped_low": survey.clipped_low,
                    "clipped_high": survey.clipped_high,
                    "without_value": survey.without_value,
                })
            });
            value!({
                "name": column.name(),
                "unit": column.unit(),
                "words": column.words(),
                "first": column.get(0),
                "last": column.get(times.len() - 1),
                "survey": survey,
            })
        })
        .collect();
    let head = recording.head.iter();
    let head: Vec<Value> = head
        .map(|entry| value!({ "key": entry.key, "value": entry.value }))
        .collect();
    let document = value!({
        "format": FORMAT,
        "program": Program::own(),
        "dialect": {
            "encoding": dialect.encoding.words(),
            "separator": dialect.separator.name(),
            "decimal": dialect.decimal.name(),
            "first_line": dialect.first_line,
        },
        "samples": times.len(),
        "time": {
            "from": axis.source.words(),
            "first_s": times[0],
            "last_s": times[times.len() - 1],
            "interval_s": axis.interval,
            "shortest_s": axis.shortest,
            "longest_s": axis.longest,
            "even": axis.is_even(),
            "gaps": axis.gaps,
            "first_gap_below_line": axis.first_gap,
        },
        "columns": channels,
        "head": head,
        "notes": recording.notes,
    });
    json_document(&document) + "\n"
}
