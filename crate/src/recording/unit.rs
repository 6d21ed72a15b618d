//! Units as instruments write them: symbols, and words for them.

use crate::quantity::{
    Dimensioned as _, Exponents, Factor, ThermodynamicTemperature, is_celsius, read_unit,
};

/// Words of units, each with the symbol of a unit and how many of it the word is.
const WORDS: [(&str, f64, &str); 23] = [
    ("second", 1.0, "s"),
    ("sec", 1.0, "s"),
    ("millisecond", 1.0, "ms"),
    ("msec", 1.0, "ms"),
    ("microsecond", 1.0, "us"),
    ("usec", 1.0, "us"),
    ("nanosecond", 1.0, "ns"),
    ("nsec", 1.0, "ns"),
    ("minute", 60.0, "s"),
    ("min", 60.0, "s"),
    ("hour", 3600.0, "s"),
    ("hr", 3600.0, "s"),
    ("volt", 1.0, "V"),
    ("vdc", 1.0, "V"),
    ("millivolt", 1.0, "mV"),
    ("ampere", 1.0, "A"),
    ("amp", 1.0, "A"),
    ("adc", 1.0, "A"),
    ("milliampere", 1.0, "mA"),
    ("watt", 1.0, "W"),
    ("ohm", 1.0, "ohm"),
    ("hertz", 1.0, "Hz"),
    ("kelvin", 1.0, "K"),
];
/// Units that are kept as they are written: none has a factor that is known.
const KEPT: [&str; 8] = ["°F", "dB", "dBm", "dBV", "U", "bit", "count", "div"];

/// A unit of a column.
pub(super) enum Unit {
    /// One that values are converted from.
    Known {
        /// The symbol's factor.
        factor: Factor,
        /// How many of it the unit is.
        times: f64,
        /// The dimension.
        exponents: Exponents,
    },
    /// The degree Celsius, in which tables keep temperatures.
    Celsius,
    /// One in which values are kept as they are written.
    Kept,
}

impl Unit {
    /// Whether values are in a unit of tables when it is applied.
    pub(super) fn known(&self) -> bool {
        !matches!(self, Self::Kept)
    }

    /// Whether both convert alike.
    pub(super) fn is_same(&self, other: &Self) -> bool {
        self.exponents() == other.exponents() && self.apply(1.0) == other.apply(1.0)
    }

    pub(super) fn exponents(&self) -> Exponents {
        match self {
            Self::Known { exponents, .. } => *exponents,
            Self::Celsius => ThermodynamicTemperature::EXPONENTS,
            Self::Kept => Exponents::NONE,
        }
    }

    pub(super) fn apply(&self, value: f64) -> f64 {
        match self {
            Self::Known { factor, times, .. } => times * factor.apply(value),
            Self::Celsius | Self::Kept => value,
        }
    }
}

/// The unit of a text that stands in a unit's place; none for what is no unit.
/// The column's name tells seconds from siemens and degrees from coulombs.
pub(super) fn named(text: &str, name: &str) -> Option<Unit> {
    let text = text.trim();
    let inside = text
        .strip_prefix(['(', '['])
        .and_then(|t| t.strip_suffix([')', ']']));
    let text = inside.unwrap_or(text).trim();
    let hot = text == "C" && name.to_lowercase().contains("temp");
    if hot || is_celsius(text) {
        return Some(Unit::Celsius);
    }
    if KEPT.contains(&text) {
        return Some(Unit::Kept);
    }
    let lower = text.to_lowercase();
    let word = WORDS.iter().find(|(word, _, _)| {
        lower == *word || lower.strip_suffix('s').is_some_and(|one| one == *word)
    });
    let seconds;
    let (times, symbol) = match (word, text) {
        (Some((_, times, symbol)), _) => (*times, *symbol),
        (None, "h") => (3600.0, "s"),
        (None, text) if super::name::is_time(name) => {
            // The S of a time is no siemens.
            seconds = text
                .strip_suffix('S')
                .map_or(text.to_owned(), |prefix| format!("{prefix}s"));
            (1.0, seconds.as_str())
        }
        (None, text) => (1.0, text),
    };
    // A bare one or a pure number is no unit that an instrument writes.
    let (factor, exponents) = read_unit(symbol).filter(|_| symbol != "1")?;
    Some(Unit::Known {
        factor,
        times,
        exponents,
    })
}
