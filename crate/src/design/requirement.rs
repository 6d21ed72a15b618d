//! Requirements: a result against its limit, with a verdict in words.

use super::finding::{At, Finding};
use crate::quantity::{Exponents, print_value};

/// The verdict on a requirement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The requirement is met.
    Met,
    /// It is not.
    NotMet,
    /// The specification does not state the limit.
    NotStated,
    /// The result has no value: its formula does not hold here.
    NoValue,
}

impl Verdict {
    /// The verdict in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::NotMet => "not met",
            Self::NotStated => "not stated",
            Self::NoValue => "no value",
        }
    }
}

/// Whether the value must stay below or above its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// At most the limit.
    AtMost,
    /// At least the limit.
    AtLeast,
}

/// A requirement.
#[derive(Clone, Debug)]
pub struct Requirement {
    /// What is required, in words.
    pub words: String,
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
    /// Whether the specification states what the requirement needs.
    pub stated: bool,
    /// The name of the result that decides it.
    pub decides: String,
}

impl Requirement {
    /// A requirement that a result decides, still without its two sides.
    #[must_use]
    pub fn on(decides: &str, finding: Option<&Finding>, words: &str) -> Self {
        Self {
            words: words.to_owned(),
            value: None,
            limit: None,
            direction: Direction::AtMost,
            exponents: Exponents::NONE,
            at: finding.map(|f| f.at).unwrap_or_default(),
            note: String::new(),
            stated: true,
            decides: decides.to_owned(),
        }
    }

    /// The value must be at most the limit, both in the coherent unit.
    #[must_use]
    pub fn at_most(self, value: Option<f64>, limit: Option<f64>, exponents: Exponents) -> Self {
        Self {
            value,
            limit,
            direction: Direction::AtMost,
            exponents,
            ..self
        }
    }

    /// The value must be at least the limit, both in the coherent unit.
    #[must_use]
    pub fn at_least(self, value: Option<f64>, limit: Option<f64>, exponents: Exponents) -> Self {
        Self {
            value,
            limit,
            direction: Direction::AtLeast,
            exponents,
            ..self
        }
    }

    /// Adds a note.
    #[must_use]
    pub fn note(mut self, note: &str) -> Self {
        note.clone_into(&mut self.note);
        self
    }

    /// Says whether the specification states what is needed.
    #[must_use]
    pub fn stated(mut self, stated: bool) -> Self {
        self.stated = stated;
        self
    }

    /// The verdict.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        if !self.stated {
            return Verdict::NotStated;
        }
        let (Some(value), Some(limit)) = (self.value, self.limit) else {
            return Verdict::NoValue;
        };
        let met = match self.direction {
            Direction::AtMost => value <= limit,
            Direction::AtLeast => value >= limit,
        };
        if met { Verdict::Met } else { Verdict::NotMet }
    }

    /// How far the value is on the good side, as a part of the limit.
    #[must_use]
    pub fn margin(&self) -> Option<f64> {
        let (value, limit) = (self.value?, self.limit.filter(|l| *l != 0.0)?);
        let distance = match self.direction {
            Direction::AtMost => limit - value,
            Direction::AtLeast => value - limit,
        };
        self.stated.then_some(distance / limit)
    }

    /// Value, relation and limit as text.
    #[must_use]
    pub fn comparison(&self) -> (String, String) {
        let show = |v: Option<f64>| {
            v.map_or_else(
                || "no value".to_owned(),
                |v| print_value(v, self.exponents, 4),
            )
        };
        let sign = match self.direction {
            Direction::AtMost => "at most",
            Direction::AtLeast => "at least",
        };
        let limit = if self.stated {
            format!("{sign} {}", show(self.limit))
        } else {
            "not stated".to_owned()
        };
        (show(self.value), limit)
    }
}
