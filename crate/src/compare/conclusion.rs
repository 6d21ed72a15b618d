//! What follows from a comparison, in sentences computed from its numbers.

mod load;
mod optimum;
mod verdict;

use super::Comparison;
use crate::loss::{Losses, Outcome};
use crate::quantity::{Dimensioned as _, Power, print};
use crate::scheme::Scheme;

/// Watts in words, three digits.
fn watts(value: f64) -> String {
    crate::quantity::print_value(value, Power::EXPONENTS, 3)
}

/// A scheme in words where a sentence goes on.
fn words(scheme: Scheme) -> &'static str {
    scheme.words()
}

pub(super) fn sentences(c: &Comparison) -> Vec<String> {
    let Some((soft, others)) = c.sides() else {
        return vec![];
    };
    let mut list = vec![match &soft.losses {
        Some(losses) => with(soft, losses),
        None => without(soft),
    }];
    for (index, other) in others.iter().enumerate() {
        match (&soft.losses, &other.losses) {
            (_, None) => list.push(without(other)),
            (Some(one), Some(two)) => {
                list.extend(verdict::sentences(c, index, soft, other, one, two));
            }
            (None, Some(_)) => {}
        }
    }
    list.extend(optimum::sentences(c));
    list.extend(left_out(c));
    list
}

/// The losses of an outcome. What gate drive and control take is told where it is
/// known.
fn with(outcome: &Outcome, losses: &Losses) -> String {
    let taken = (losses.total() - losses.stage()).coherent();
    let (drive, total) = if taken > 0.0 {
        let percent = 100.0 * losses.efficiency_total().coherent();
        (
            format!(", of which {} in gate drive and control", watts(taken)),
            format!(", in total {percent:.2} %"),
        )
    } else {
        Default::default()
    };
    format!(
        "At {} in and {} out the {} loses {}{drive}; the efficiency of the power \
         stage is {:.2} %{total}.",
        print(outcome.at.input_voltage),
        print(outcome.at.output_current),
        words(outcome.scheme),
        watts(losses.total().coherent()),
        100.0 * losses.efficiency_stage().coherent(),
    )
}

/// What no verdict above counts.
fn left_out(c: &Comparison) -> Option<String> {
    let names: Vec<&str> = c
        .left_out
        .iter()
        .filter_map(|words| words.split(':').next())
        .collect();
    (!names.is_empty()).then(|| {
        format!(
            "These verdicts are incomplete: the specification has no data for {}.",
            names.join(", ")
        )
    })
}

/// Why an outcome has no losses.
fn without(outcome: &Outcome) -> String {
    let because = if outcome.findings.is_empty() {
        outcome.words.to_owned()
    } else {
        let all: Vec<_> = outcome.findings.iter().map(ToString::to_string).collect();
        format!("{}.", all.join("; "))
    };
    format!(
        "No losses to compare at {1} in and {2} out for {0}: {because}",
        words(outcome.scheme),
        print(outcome.at.input_voltage),
        print(outcome.at.output_current),
    )
}
