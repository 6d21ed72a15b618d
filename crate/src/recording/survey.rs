//! What a column of samples looks like: range, steps of its converter, clipping.

use std::collections::HashMap;

use super::axis::count;

/// More levels than any converter of 16 bits has.
const MOST_LEVELS: usize = 1 << 16;
/// With fewer levels an end of the range is held by the signal itself.
const FEWEST_LEVELS: usize = 16;
/// So many times the samples of the two next levels pile up at a clipped end.
const PILED: usize = 5;
/// Fewer samples do not tell whether several channels stand in one column.
const FEWEST_IN_TURN: usize = 32;
/// Samples in a row at a clipped end.
const HELD: usize = 3;

/// What a column of samples looks like, in the column's coherent unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Survey {
    /// The smallest value.
    pub minimum: f64,
    /// The largest value.
    pub maximum: f64,
    /// Samples without value.
    pub without_value: usize,
    /// Only zeros and ones.
    pub digital: bool,
    /// The smallest step between values that occur; none where every value differs.
    pub quantisation: Option<f64>,
    /// Samples at the upper end where they pile up there as in clipping.
    pub clipped_high: usize,
    /// Samples at the lower end where they pile up there as in clipping.
    pub clipped_low: usize,
}

/// Looks at a column; none where it has no value at all.
pub(super) fn survey(values: &[f64]) -> Option<Survey> {
    let finite = || values.iter().copied().filter(|value| value.is_finite());
    let minimum = finite().fold(f64::INFINITY, f64::min);
    let maximum = finite().fold(f64::NEG_INFINITY, f64::max);
    if minimum > maximum {
        return None;
    }
    let levels = levels(values);
    let steps = levels.as_ref().map(|levels| {
        let steps = levels.windows(2).map(|pair| pair[1].0 - pair[0].0);
        steps.fold(f64::INFINITY, f64::min)
    });
    let digital = levels.as_ref().is_some_and(|levels| {
        levels
            .iter()
            .all(|(value, _)| *value == 0.0 || *value == 1.0)
    });
    let (mut low, mut high) = (0, 0);
    if let Some(levels) = &levels
        && levels.len() >= FEWEST_LEVELS
    {
        let counts: Vec<usize> = levels.iter().map(|(_, count)| *count).collect();
        let turned: Vec<usize> = counts.iter().rev().copied().collect();
        low = clipped(&counts, run(values, minimum));
        high = clipped(&turned, run(values, maximum));
    }
    Some(Survey {
        minimum,
        maximum,
        without_value: values.len() - finite().count(),
        digital,
        quantisation: steps.filter(|step| step.is_finite()),
        clipped_high: high,
        clipped_low: low,
    })
}

/// Values that occur, in order, each with its count; none where they are too many
/// or hardly one occurs twice.
fn levels(values: &[f64]) -> Option<Vec<(f64, usize)>> {
    let mut counts: HashMap<u64, usize> = HashMap::new();
    let mut total = 0;
    for value in values.iter().filter(|value| value.is_finite()) {
        // Adding zero makes the two zeros one.
        *counts.entry((value + 0.0).to_bits()).or_default() += 1;
        total += 1;
        if counts.len() > MOST_LEVELS {
            return None;
        }
    }
    if 2 * counts.len() > total + 1 {
        return None;
    }
    let levels = counts
        .into_iter()
        .map(|(bits, count)| (f64::from_bits(bits), count));
    let mut levels: Vec<_> = levels.collect();
    levels.sort_by(|a, b| a.0.total_cmp(&b.0));
    Some(levels)
}

/// The count at an end where it is a pile: counts from that end inwards.
fn clipped(counts: &[usize], run: usize) -> usize {
    let next = counts[1].max(counts[2]);
    if counts[0] >= PILED * next && run >= HELD {
        counts[0]
    } else {
        0
    }
}

/// The longest run of a value.
fn run(values: &[f64], level: f64) -> usize {
    let (mut longest, mut now) = (0, 0);
    for value in values {
        now = if *value == level { now + 1 } else { 0 };
        longest = longest.max(now);
    }
    longest
}

/// Whether every second sample is nearer to a sample than its neighbour is: samples
/// of several channels in turn.
pub(super) fn looks_interleaved(values: &[f64]) -> bool {
    let mean = |apart: usize| -> f64 {
        let pairs = values.iter().zip(values.iter().skip(apart));
        let sum: f64 = pairs
            .map(|(a, b)| (a - b).abs())
            .filter(|d| d.is_finite())
            .sum();
        sum / count(values.len().saturating_sub(apart).max(1))
    };
    values.len() >= FEWEST_IN_TURN && (2..=4).any(|apart| 2.0 * mean(apart) < mean(1))
}
