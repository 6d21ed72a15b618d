//! Names of columns: the units in them, and what they say that a column is.

use super::RecordingError;
use super::key::letters;
use super::unit::{Unit, named as unit_named};
use crate::quantity::{Current, Dimensioned, Time, Voltage};

/// A name without its unit, and the unit: `Time (s)`, `CH1 [mV]`, `t/µs`, `U in V`,
/// `node_voltage_V`.
pub(super) fn split_unit(name: &str) -> (String, Option<String>) {
    let name = name.trim();
    let split = |before: &str, unit: &str| (before.trim().to_owned(), Some(unit.trim().to_owned()));
    if let Some((bare, unit)) = bracketed(name) {
        return (bare, Some(unit));
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

/// A name without the unit in its brackets: the last known one, else what stands in
/// brackets at the end.
fn bracketed(name: &str) -> Option<(String, String)> {
    let pairs = [('(', ')'), ('[', ']')];
    let close = |c: char| pairs.iter().find(|(_, close)| *close == c);
    let found: Vec<(String, String)> = name
        .char_indices()
        .rev()
        .filter_map(|(end, c)| {
            let (open, _) = close(c)?;
            let start = name[..end].rfind(*open)?;
            let after = &name[end + c.len_utf8()..];
            let bare = format!("{}{after}", name[..start].trim_end());
            let unit = name[start + 1..end].trim().to_owned();
            (!name[..start].trim().is_empty()).then_some((bare, unit))
        })
        .collect();
    let known = |(bare, unit): &&(String, String)| {
        !is_channel(bare, unit) && unit_named(unit, bare).is_some_and(|unit| unit.known())
    };
    let last = || found.first().filter(|_| name.ends_with([')', ']']));
    let found = found.iter().find(known).or_else(last);
    found
        .filter(|(bare, unit)| !is_channel(bare, unit))
        .cloned()
}

/// Whether what looks like a unit is the letter of a channel: the A of `channel (A)`.
fn is_channel(bare: &str, unit: &str) -> bool {
    let named = matches!(
        letters(bare).as_str(),
        "channel" | "ch" | "input" | "probe" | "trace" | "kanal"
    );
    named && unit.chars().count() == 1
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

/// A column's name without unit, and what it is in.
pub(super) struct Named {
    pub bare: String,
    /// The unit's text: that of the line of units, else of the name.
    pub text: Option<String>,
    /// The unit where it is known.
    pub unit: Option<Unit>,
    /// What stands in brackets in the name, and is no unit that is known.
    pub aside: Option<String>,
}

impl Named {
    /// Reads a name with the unit that stands below it.
    ///
    /// # Errors
    /// Two units that differ.
    pub(super) fn read(name: &str, below: Option<&String>) -> Result<Self, RecordingError> {
        let (mut bare, mut inside) = split_unit(name);
        let mut aside = None;
        let below = below.filter(|unit| !unit.is_empty() && !is_index(unit));
        let known = |text: &String| unit_named(text, &bare).filter(Unit::known);
        let own = inside.as_ref().and_then(known);
        let under = below.and_then(known);
        if let (Some(own), Some(under)) = (&own, &under)
            && !own.is_same(under)
        {
            return Err(RecordingError::TwoUnits {
                column: bare,
                first: inside.unwrap_or_default(),
                second: below.cloned().unwrap_or_default(),
            });
        }
        let unit = inside.as_ref().and_then(|text| unit_named(text, &bare));
        if unit.is_none() && (below.is_some() || !is_time(&bare)) {
            // What stands in brackets is part of the name.
            name.trim().clone_into(&mut bare);
            aside = inside.take().filter(|_| below.is_none());
        }
        let text = below.cloned().or(inside);
        let unit = text.as_ref().and_then(|text| unit_named(text, &bare));
        Ok(Self {
            bare,
            text,
            unit,
            aside,
        })
    }
}
