//! What a head may state of the samples, and how it is read.

use super::body::number;
use super::dialect::Decimal;
use super::unit::named as unit_named;
use crate::quantity::{Dimensioned, Frequency, Ratio, Time, print_value};

/// Digits that tell apart what is refused for being two.
const DIGITS: usize = 9;

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
    pub(super) fn of(name: &str) -> Option<Self> {
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

    pub(super) fn expected(self) -> &'static str {
        match self {
            Self::Interval => "a time above zero such as 4e-9 or 4 ns",
            Self::Rate => "a frequency above zero such as 250e6 or 250 MHz",
            Self::Start => "a time such as -1e-3 or -1 ms",
            Self::ZeroIndex => "a number such as 1249.05",
            Self::Length => "a whole number such as 2500",
        }
    }

    pub(super) fn read(self, text: &str) -> Option<f64> {
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

/// Texts of numbers with units: one for each channel, or a number and its unit.
pub(super) fn values(value: &str, unit: Option<String>) -> Vec<String> {
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
        for text in &mut texts {
            *text = format!("{text} {unit}");
        }
    }
    texts
}

/// Letters and figures of a name, in lower case.
pub(super) fn letters(name: &str) -> String {
    let letters = |c: &char| c.is_alphanumeric();
    name.to_lowercase().chars().filter(letters).collect()
}
