//! Requirements: what a result or a cell must keep, with a verdict in words.

use super::finding::At;
use crate::quantity::{Exponents, print_value};
use crate::verdict::{Check, Direction, Judgement, Verdict, Witness};

/// A requirement with its verdict, where it is worst.
#[derive(Clone, Debug)]
pub struct Requirement {
    /// What it checks.
    pub check: Check,
    /// What is required, in words.
    pub words: &'static str,
    /// Its name in data.
    pub name: &'static str,
    /// The value.
    pub value: Option<f64>,
    /// The limit.
    pub limit: Option<f64>,
    /// Which way.
    pub direction: Direction,
    /// Their dimension.
    pub exponents: Exponents,
    /// Where it was taken.
    pub at: At,
    /// What else the reader should know.
    pub note: String,
    /// The command for a shell that shows what does not hold, or is not decided.
    pub command: Option<String>,
    /// The verdict.
    pub verdict: Verdict,
    /// The name of the result that explains it.
    pub decides: &'static str,
    /// The unit and the point at which it is worst, or undecided.
    pub witness: Witness,
    /// Where no setting serves the box: the place that allows less than the witness asks
    /// for.
    pub against: Option<Witness>,
    /// What the cell there says, where there is no number.
    pub reason: Option<String>,
}

impl Requirement {
    /// A requirement from its judgement, for flying capacitors that are charged at a start
    /// or not.
    #[must_use]
    pub fn new(judgement: &Judgement, starts_charged: bool) -> Self {
        let own = judgement;
        let at = &own.witness.at;
        Self {
            check: own.check,
            words: own.check.words(),
            name: own.check.name(),
            value: own.value,
            limit: own.limit,
            direction: own.check.direction(),
            exponents: own.check.exponents(),
            at: At::of(at),
            note: note(own),
            command: command(own),
            verdict: own.verdict,
            decides: own.check.explained_by(starts_charged),
            witness: own.witness.clone(),
            against: own.against.clone(),
            reason: own.reason.clone(),
        }
    }

    /// How far the value is on the good side, as a part of the limit.
    #[must_use]
    pub fn margin(&self) -> Option<f64> {
        let (value, limit) = (self.value?, self.limit.filter(|l| *l != 0.0)?);
        let distance = match self.direction {
            Direction::AtMost => limit - value,
            Direction::AtLeast => value - limit,
        };
        Some(distance / limit)
    }

    /// Value, relation and limit as text.
    #[must_use]
    pub fn comparison(&self) -> (String, String) {
        let show = |v: f64| print_value(v, self.exponents, 4);
        let silent = if self.verdict == Verdict::NotStated {
            "not stated"
        } else {
            "no value"
        };
        let sign = self.direction.words();
        (
            self.value.map_or_else(|| silent.to_owned(), show),
            self.limit.map_or_else(
                || silent.to_owned(),
                |limit| format!("{sign} {}", show(limit)),
            ),
        )
    }

    /// Where it is worst, in words: the point, and what of the unit differs from the
    /// specification.
    #[must_use]
    pub fn place(&self) -> String {
        let parts = self.witness.parts();
        if parts.is_empty() {
            self.at.text()
        } else {
            format!("{}; {parts}", self.at.text())
        }
    }
}

/// What a verdict rests on, in a sentence or two.
fn note(own: &Judgement) -> String {
    let against = own.against.as_ref();
    let other =
        against.map(|own| format!("No setting serves both this place and {}.", own.place()));
    let sentences = [own.reason.clone(), other];
    sentences
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(" ")
}

/// What shows a verdict other than met. Where no setting serves two places, none of them
/// shows it alone.
fn command(own: &Judgement) -> Option<String> {
    let shows = match own.verdict {
        Verdict::Met | Verdict::NotStated => false,
        Verdict::NotMet | Verdict::NotDecided => true,
        Verdict::NoSetting => own.against.is_none(),
    };
    shows.then(|| own.witness.command())
}
