//! When the samples were taken, and whether everything that is said of it agrees.

use super::head::Head;
use super::key::Key;
use super::{Options, RecordingError};

/// Steps that differ by less than this share are one interval.
const SAME: f64 = 1e-3;
/// A step longer than this many intervals has samples missing in it.
const GAP: f64 = 1.5;

/// Where the times come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeSource {
    /// A column of times.
    Column,
    /// A column that counts samples, with start and interval.
    Index,
    /// Start and interval alone.
    Interval,
}

/// The times of a record, in seconds.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Where the times come from.
    pub source: TimeSource,
    /// The mean interval between samples outside gaps, s.
    pub interval: f64,
    /// The shortest interval, s.
    pub shortest: f64,
    /// The longest interval, s.
    pub longest: f64,
    /// Steps in which samples are missing.
    pub gaps: usize,
    /// The line above the first gap, from 1.
    pub first_gap: Option<usize>,
    /// Whether nothing states the start, so that time counts from zero.
    pub(super) assumed_start: bool,
}

impl Axis {
    /// Whether all steps are one interval, within a thousandth of it.
    #[must_use]
    pub fn is_even(&self) -> bool {
        self.longest - self.shortest <= 2.0 * SAME * self.interval
    }
}

/// What head and options state of time.
struct Stated {
    interval: Option<f64>,
    start: Option<f64>,
    zero: Option<f64>,
}

impl Stated {
    fn read(head: &Head, options: &Options) -> Result<Self, RecordingError> {
        let interval = head.value(Key::Interval)?;
        let rate = head.value(Key::Rate)?.map(|rate| 1.0 / rate);
        if let (Some(first), Some(second)) = (interval, rate)
            && (first - second).abs() > SAME * first
        {
            return Err(RecordingError::Twice {
                what: Key::Interval,
                first,
                second,
            });
        }
        let stated = Self {
            interval: options.interval.or(interval).or(rate),
            start: options.start.or(head.value(Key::Start)?),
            zero: head.value(Key::ZeroIndex)?,
        };
        if let (Some(first), Some(zero), Some(interval)) =
            (stated.start, stated.zero, stated.interval)
            && options.start.is_none()
            && (first + zero * interval).abs() > interval
        {
            return Err(RecordingError::Twice {
                what: Key::Start,
                first,
                second: -zero * interval,
            });
        }
        Ok(stated)
    }

    /// The time of index zero.
    fn origin(&self, interval: f64) -> Option<f64> {
        self.start.or(self.zero.map(|zero| -zero * interval))
    }
}

/// A column that may tell the time.
pub(super) enum Told {
    Times(Vec<f64>),
    Indices(Vec<f64>),
    Nothing,
}

/// The times of all samples, and what there is to say of them.
pub(super) fn times(
    told: Told,
    rows: usize,
    first_line: usize,
    head: &Head,
    options: &Options,
) -> Result<(Vec<f64>, Axis), RecordingError> {
    if let Some(length) = head.value(Key::Length)? {
        agree(Key::Length, length, count(rows), 0.0)?;
    }
    let stated = Stated::read(head, options)?;
    let counted = |place: &dyn Fn(usize) -> f64| -> Result<_, RecordingError> {
        let interval = stated.interval.ok_or(RecordingError::NoTime)?;
        let origin = stated.origin(interval).unwrap_or(0.0);
        Ok((0..rows)
            .map(|k| origin + place(k) * interval)
            .collect::<Vec<f64>>())
    };
    let source = match told {
        Told::Times(_) => TimeSource::Column,
        Told::Indices(_) => TimeSource::Index,
        Told::Nothing => TimeSource::Interval,
    };
    let times = match told {
        Told::Times(times) => times,
        Told::Indices(indices) => {
            increasing(&indices, true, first_line)?;
            let odd = indices.iter().position(|index| index.fract() != 0.0);
            if let Some(row) = odd {
                return Err(RecordingError::Index {
                    line: first_line + row,
                    index: indices[row],
                });
            }
            counted(&|k| indices[k])?
        }
        Told::Nothing => counted(&count)?,
    };
    let mut axis = steps(&times, source, first_line, stated.interval)?;
    axis.assumed_start = source != TimeSource::Column && stated.start.or(stated.zero).is_none();
    if source == TimeSource::Column {
        if let Some(interval) = stated.interval {
            agree(Key::Interval, interval, axis.interval, SAME * interval)?;
        }
        if let Some(origin) = stated.origin(axis.interval) {
            // An index counts from the first or from the second half of its interval.
            agree(Key::Start, origin, times[0], axis.interval)?;
        }
    }
    Ok((times, axis))
}

fn agree(what: Key, stated: f64, found: f64, tolerance: f64) -> Result<(), RecordingError> {
    if (stated - found).abs() <= tolerance {
        return Ok(());
    }
    Err(RecordingError::Contradiction {
        what,
        stated,
        found,
    })
}

/// That every value is there and above the one before.
fn increasing(values: &[f64], index: bool, first_line: usize) -> Result<(), RecordingError> {
    if let Some(row) = values.iter().position(|value| !value.is_finite()) {
        let line = first_line + row;
        return Err(RecordingError::WithoutTime { line });
    }
    match values.windows(2).position(|pair| pair[1] <= pair[0]) {
        None => Ok(()),
        Some(row) => Err(RecordingError::Order {
            line: first_line + row + 1,
            before: values[row],
            after: values[row + 1],
            index,
        }),
    }
}

fn steps(
    times: &[f64],
    source: TimeSource,
    first_line: usize,
    stated: Option<f64>,
) -> Result<Axis, RecordingError> {
    increasing(times, false, first_line)?;
    let mut steps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    if steps.is_empty() {
        let interval = stated.ok_or(RecordingError::NoTime)?;
        return Ok(Axis {
            source,
            interval,
            shortest: interval,
            longest: interval,
            gaps: 0,
            first_gap: None,
            assumed_start: false,
        });
    }
    let middle = steps.len() / 2;
    let median = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
    let gap = |pair: &[f64]| pair[1] - pair[0] > GAP * median;
    let gaps = times.windows(2).filter(|pair| gap(pair)).count();
    let first_gap = times.windows(2).position(gap).map(|row| first_line + row);
    let within = || steps.iter().filter(|step| **step <= GAP * median);
    let span = if gaps == 0 {
        times[times.len() - 1] - times[0]
    } else {
        within().sum()
    };
    Ok(Axis {
        source,
        interval: span / count(within().count()),
        shortest: steps.iter().copied().fold(f64::INFINITY, f64::min),
        longest: within().copied().fold(0.0, f64::max),
        gaps,
        first_gap,
        assumed_start: false,
    })
}

#[expect(clippy::cast_precision_loss, reason = "fewer samples than 2^53")]
pub(super) fn count(number: usize) -> f64 {
    number as f64
}

/// Whether a column without a name may tell the time: it increases in even steps.
pub(super) fn is_even(values: &[f64]) -> bool {
    values.len() > ALONE
        && steps(values, TimeSource::Column, 1, None)
            .is_ok_and(|axis| axis.gaps == 0 && axis.is_even())
}

/// Two or three values may increase evenly by chance.
const ALONE: usize = 3;
