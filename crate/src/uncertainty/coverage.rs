//! The interval that covers a result, and where its width comes from.

use super::budget::{Budget, COVERAGE};
use super::error::UncertaintyError;
use super::inputs::{Input, Uncertainties};
use super::monte_carlo::Draw;
use super::samples::{Interval, Samples};
use crate::equation::Symbol;
use crate::quantity::number;

/// Samples of a linear form: they settle the third digit of a coverage factor.
const SAMPLES: usize = 200_000;
/// Those of them that the interval covers.
const COVERED: usize = SAMPLES / 100 * 95;

/// Variance from inputs that are not normal, as a part of the whole, below which
/// the result counts as normal: one rectangular input of this part changes the
/// factor for 95 % by less than 0.5 %.
const NORMAL_WITHIN: f64 = 0.25;

/// An interval that covers a result with a probability.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Coverage {
    /// The interval with its probability.
    #[serde(flatten)]
    pub interval: Interval,
    /// Half the interval's width over the standard uncertainty, where the
    /// interval lies evenly about the estimate.
    pub factor: Option<f64>,
    /// Where the width comes from.
    pub basis: Basis,
}

/// Where the width of a coverage interval comes from.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// The normal distribution (JCGM 100:2008, G.2).
    Normal,
    /// Student's distribution with the effective degrees of freedom (JCGM
    /// 100:2008, G.4).
    Student,
    /// The inputs' own distributions, sampled and combined by their
    /// sensitivities: the result is near linear, and not normal, since inputs
    /// that are not normal contribute much of it (JCGM 101:2008, 5.3).
    Distributions,
    /// Samples of the formula itself (JCGM 101:2008, 7.7).
    Samples {
        /// How many.
        count: usize,
    },
}

impl Coverage {
    /// The interval of samples with as many below it as above.
    pub(crate) fn of_samples(interval: Interval, samples: &Samples) -> Self {
        Self {
            interval,
            factor: None,
            basis: Basis::Samples {
                count: samples.drawn(),
            },
        }
    }

    fn about(estimate: f64, factor: f64, standard: f64, basis: Basis) -> Self {
        Self {
            interval: Interval {
                probability: COVERAGE,
                low: estimate - factor * standard,
                high: estimate + factor * standard,
            },
            factor: Some(factor),
            basis,
        }
    }

    /// The basis in words, with the factor where there is one.
    #[must_use]
    pub fn words(&self) -> String {
        let factor = self
            .factor
            .map_or_else(String::new, |factor| format!("k = {}, ", number(factor, 3)));
        match self.basis {
            Basis::Normal => format!("{factor}normal distribution"),
            Basis::Student => format!("{factor}Student's distribution"),
            Basis::Distributions => {
                format!("{factor}from the inputs' own distributions, which are not normal")
            }
            Basis::Samples { count } => format!("{count} Monte Carlo samples"),
        }
    }
}

/// The interval of a result that is near linear.
pub(crate) fn near_linear(
    budget: &Budget,
    inputs: &[Input],
    uncertainties: &Uncertainties,
    sensitivities: &[f64],
) -> Result<Coverage, UncertaintyError> {
    let not_normal = |symbol: &'static Symbol| {
        let distribution = uncertainties.get(symbol);
        distribution.is_some_and(|d| d.half_width().is_some())
    };
    let part: f64 = inputs
        .iter()
        .zip(&budget.rows)
        .filter(|(input, _)| not_normal(input.symbol))
        .map(|(_, row)| row.variance_share.abs())
        .sum();
    let about = |factor, basis| Coverage::about(budget.estimate, factor, budget.propagated, basis);
    if part > NORMAL_WITHIN {
        let draw = Draw {
            samples: SAMPLES,
            ..Draw::default()
        };
        // Without a joint form there is nothing to draw: the normal factor is the
        // wider one.
        if let Ok(mut deviations) = draw.linear(inputs, sensitivities, uncertainties) {
            let (_, end, _) = deviations.select_nth_unstable_by(COVERED, f64::total_cmp);
            return Ok(about(*end / budget.propagated, Basis::Distributions));
        }
    }
    let expanded = budget.expanded(COVERAGE)?;
    let basis = if budget.degrees_of_freedom.is_finite() {
        Basis::Student
    } else {
        Basis::Normal
    };
    Ok(about(expanded.factor, basis))
}
