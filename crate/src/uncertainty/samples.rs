//! Samples of a result, summarised (JCGM 101:2008, 7.5 to 7.7).

use super::error::UncertaintyError;
use super::student::check_probability;

/// Samples of a result, in rising order, with the number of those that have no
/// value.
#[derive(Clone, Debug, PartialEq)]
pub struct Samples {
    sorted: Vec<f64>,
    without_value: usize,
    mean: Option<f64>,
    standard_uncertainty: Option<f64>,
    notes: Vec<String>,
}

/// An interval that covers a part of the samples.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Interval {
    /// The part.
    pub probability: f64,
    /// The lower end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

/// Counts of samples in bins of equal width.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Histogram {
    /// The lower edge of the first bin.
    pub low: f64,
    /// The upper edge of the last bin.
    pub high: f64,
    /// The samples in each bin.
    pub counts: Vec<usize>,
}

impl Samples {
    /// From samples in the order in which they were drawn.
    pub(crate) fn new(values: Vec<f64>, mut notes: Vec<String>) -> Self {
        let drawn = values.len();
        let mut sorted: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
        let without_value = drawn - sorted.len();
        sorted.sort_unstable_by(f64::total_cmp);
        if without_value > 0 {
            notes.push(format!(
                "{without_value} of {drawn} samples have no value, or violate a condition: mean, \
                 uncertainty and intervals describe the others only."
            ));
        }
        let mean = mean(&sorted);
        let standard_uncertainty = mean.and_then(|mean| deviation(&sorted, mean));
        Self {
            sorted,
            without_value,
            mean,
            standard_uncertainty,
            notes,
        }
    }

    /// The samples that have a value, in rising order.
    #[must_use]
    pub fn sorted(&self) -> &[f64] {
        &self.sorted
    }

    /// How many samples were drawn.
    #[must_use]
    pub fn drawn(&self) -> usize {
        self.sorted.len() + self.without_value
    }

    /// How many samples have no value, or violate a condition.
    #[must_use]
    pub fn without_value(&self) -> usize {
        self.without_value
    }

    /// What the reader of a summary must know.
    #[must_use]
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// The mean of the samples that have a value; none where none has.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        self.mean
    }

    /// Their standard deviation: the standard uncertainty of the result. None
    /// below two samples.
    #[must_use]
    pub fn standard_uncertainty(&self) -> Option<f64> {
        self.standard_uncertainty
    }

    /// The interval with as many samples below it as above (JCGM 101:2008, 7.7).
    ///
    /// # Errors
    /// A probability not between 0 and 1, or too few samples for it.
    pub fn symmetric_interval(&self, probability: f64) -> Result<Interval, UncertaintyError> {
        let covered = self.covered(probability)?;
        let first = (self.sorted.len() - covered) / 2;
        Ok(self.interval(probability, first, covered))
    }

    /// The shortest interval that covers the probability (JCGM 101:2008, 5.3.4).
    ///
    /// # Errors
    /// As [`Samples::symmetric_interval`].
    pub fn shortest_interval(&self, probability: f64) -> Result<Interval, UncertaintyError> {
        let covered = self.covered(probability)?;
        let width = |first: &usize| self.sorted[first + covered] - self.sorted[*first];
        let first = (0..self.sorted.len() - covered)
            .min_by(|a, b| width(a).total_cmp(&width(b)))
            .unwrap_or(0);
        Ok(self.interval(probability, first, covered))
    }

    fn interval(&self, probability: f64, first: usize, covered: usize) -> Interval {
        Interval {
            probability,
            low: self.sorted[first],
            high: self.sorted[first + covered],
        }
    }

    /// How many samples an interval covers.
    fn covered(&self, probability: f64) -> Result<usize, UncertaintyError> {
        check_probability(probability)?;
        let count = self.sorted.len();
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a count of samples, rounded to the nearest"
        )]
        let covered = (probability * count as f64).round() as usize;
        if covered == 0 || covered >= count {
            return Err(UncertaintyError::Observations {
                problem: format!(
                    "{count} samples with a value are too few for an interval of probability \
                     {probability}; draw more"
                ),
            });
        }
        Ok(covered)
    }

    /// The samples counted in `bins` bins of equal width; none without samples
    /// or bins. Samples of one value give one full bin.
    #[must_use]
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "indices of bins"
    )]
    pub fn histogram(&self, bins: usize) -> Option<Histogram> {
        let (low, high) = (*self.sorted.first()?, *self.sorted.last()?);
        if bins == 0 {
            return None;
        }
        let bins = if high > low { bins } else { 1 };
        let mut counts = vec![0; bins];
        for value in &self.sorted {
            let place = (value - low) / (high - low) * bins as f64;
            counts[(place as usize).min(bins - 1)] += 1;
        }
        Some(Histogram { low, high, counts })
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts far below 2⁵³")]
fn mean(values: &[f64]) -> Option<f64> {
    // About the middle value, so that large estimates lose no digits.
    let middle = *values.get(values.len() / 2)?;
    let sum: f64 = values.iter().map(|v| v - middle).sum();
    Some(middle + sum / values.len() as f64)
}

#[expect(clippy::cast_precision_loss, reason = "counts far below 2⁵³")]
fn deviation(values: &[f64], mean: f64) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let sum: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    Some((sum / (values.len() - 1) as f64).sqrt())
}
