//! A derivation: a question, the formulas that answer it in order, and the
//! conditions under which they hold.

use std::marker::PhantomData;
use std::sync::OnceLock;

use super::node::Comparison;
use super::point::Point;
use super::record::{Condition, Record};
use super::term::Term;
use crate::quantity::Dimensioned;

/// A derivation of a quantity of type `Q`.
///
/// ```
/// use slewbook::equation::{Derivation, Point, Term};
/// use slewbook::quantity::{print, unit::{mohm, ohm, volt}, Current};
///
/// let V = Term::input("V", "voltage", 12.0 * volt);
/// let R = Term::input("R", "resistance", 4.0 * ohm);
/// let current = Derivation::<Current>::new("current", "How much current flows?", (V / R).named("I", "current"))
///     .requires(R.above(Term::constant(0.0 * mohm)), "the resistance is above zero", "Give one.");
/// assert_eq!(current.lines().unwrap()[0].text(), "I = V/R");
/// assert_eq!(print(current.value().unwrap()), "3 A");
/// ```
#[derive(Debug)]
pub struct Derivation<Q> {
    record: Record,
    quantity: PhantomData<fn() -> Q>,
}

impl<Q> std::ops::Deref for Derivation<Q> {
    type Target = Record;

    fn deref(&self) -> &Record {
        &self.record
    }
}

impl<Q: Dimensioned> Derivation<Q> {
    /// A derivation of a named term.
    #[must_use]
    pub fn new(name: &str, question: &str, result: Term<Q>) -> Self {
        let record = Record {
            name: name.to_owned(),
            question: question.to_owned(),
            result: result.expression(),
            conditions: vec![],
            sources: vec![],
            assumptions: vec![],
            unsolved: None,
            compiled: OnceLock::new(),
        };
        Self {
            record,
            quantity: PhantomData,
        }
    }

    /// Adds a condition, what it means, and what to do where it does not hold.
    #[must_use]
    pub fn requires(mut self, comparison: Comparison, words: &str, remedy: &str) -> Self {
        self.record.conditions.push(Condition {
            comparison,
            words: words.to_owned(),
            remedy: remedy.to_owned(),
        });
        self
    }

    /// Says what it means where an equation of the derivation has no solution.
    #[must_use]
    pub fn unsolved(mut self, words: &str) -> Self {
        self.record.unsolved = Some(words.to_owned());
        self
    }

    /// Adds the key of a source in the bibliography.
    #[must_use]
    pub fn source(mut self, key: &'static str) -> Self {
        self.record.sources.push(key);
        self
    }

    /// Adds an assumption.
    #[must_use]
    pub fn assumes(mut self, words: &str) -> Self {
        self.record.assumptions.push(words.to_owned());
        self
    }

    /// The result as a term, for use in further formulas.
    #[must_use]
    pub fn term(&self) -> Term<Q> {
        Term::new(self.record.result)
    }

    /// The result at the inputs' own values.
    ///
    /// # Errors
    /// A violated condition or a formula without a value, with the reason.
    pub fn value(&self) -> Result<Q, DerivationError> {
        self.at(&Point::own())
    }

    /// The result at a point.
    ///
    /// # Errors
    /// As [`Derivation::value`].
    pub fn at(&self, point: &Point) -> Result<Q, DerivationError> {
        let outcome = self
            .record
            .evaluate(point)
            .map_err(|error| DerivationError {
                name: self.record.name.clone(),
                reasons: vec![error.to_string()],
            })?;
        outcome
            .value
            .map(Q::from_coherent)
            .ok_or_else(|| DerivationError {
                name: self.record.name.clone(),
                reasons: outcome.reasons,
            })
    }

    /// The derivation without its type.
    #[must_use]
    pub fn into_record(self) -> Record {
        self.record
    }

    /// As [`Derivation::into_record`], under another name: the same formula for
    /// another use.
    #[must_use]
    pub fn renamed(mut self, name: &str) -> Record {
        name.clone_into(&mut self.record.name);
        self.record
    }
}

/// Why a derivation has no result at a point.
#[derive(Clone, Debug, PartialEq)]
pub struct DerivationError {
    /// The derivation's name.
    pub name: String,
    /// The reasons, in words.
    pub reasons: Vec<String>,
}

impl std::fmt::Display for DerivationError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{} has no value here: {}",
            self.name,
            self.reasons.join(" ")
        )
    }
}

impl std::error::Error for DerivationError {}
