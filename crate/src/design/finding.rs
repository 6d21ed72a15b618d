//! A derivation evaluated where it matters.

use std::sync::Arc;

use super::guarantee::Guarantee;
use crate::cycle::HoldTimes;
use crate::equation::bound::Effort;
use crate::equation::{EquationError, Extreme, Outcome, Point, Record, Sense, Span};
use crate::quantity::{Current, Dimensioned as _, Exponents, number, print_value, symbol::name_of};
use crate::stage::{OperatingPoint, Stage};
use crate::uncertainty::{self, Budget, Draw, Interval, Uncertainties};

/// Samples drawn of a closed form where propagation is not good enough: they
/// settle the second digit of a 95 % interval (JCGM 101:2008, 7.2).
const CLOSED: usize = 200_000;
/// Samples drawn of a formula that iterates, each of which costs a thousand times
/// as much: they settle the first digit (3.5 % of the standard uncertainty).
const ITERATED: usize = 400;

/// Where on the line and load range a result was taken, in coherent units; a
/// coordinate that the result does not depend on is absent.
#[derive(Clone, Copy, Debug, Default, PartialEq, serde::Serialize)]
pub struct At {
    /// Input voltage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub input_voltage: Option<f64>,
    /// Output voltage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub output_voltage: Option<f64>,
    /// Output current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub output_current: Option<f64>,
}

impl At {
    /// A point of operation.
    #[must_use]
    pub fn of(at: &OperatingPoint) -> Self {
        Self {
            input_voltage: Some(at.input_voltage.coherent()),
            output_voltage: Some(at.output_voltage.coherent()),
            output_current: Some(at.output_current.coherent()),
        }
    }
}

/// A result: a derivation, the point at which it was taken, and what came out.
#[derive(Clone, Debug)]
pub struct Finding {
    /// The derivation.
    pub record: Arc<Record>,
    /// The point.
    pub point: Point,
    /// The point's coordinates on the line and load range.
    pub at: At,
    /// How the point was chosen, in words.
    pub chosen: String,
    /// What came out.
    pub outcome: Outcome,
    /// What the reader should know.
    pub notes: Vec<String>,
    /// The uncertainty budget at the point; none where no uncertain input has a
    /// say in the result, or where there is no result.
    pub uncertainty: Option<Budget>,
    /// Between which values the result lies, guaranteed.
    pub guarantee: Guarantee,
}

impl Finding {
    /// A derivation at a given point.
    ///
    /// # Errors
    /// A derivation that cannot be compiled.
    pub fn at(
        stage: &Stage,
        record: &Arc<Record>,
        point: Point,
        chosen: &str,
    ) -> Result<Self, EquationError> {
        let outcome = record.evaluate(&point)?;
        let inputs = record.inputs()?;
        let coordinate = |symbol: &'static crate::equation::Symbol| {
            inputs
                .iter()
                .any(|own| std::ptr::eq(*own, symbol))
                .then(|| point.value_of(symbol))
        };
        let at = At {
            input_voltage: coordinate(stage.axes.input_voltage),
            output_voltage: coordinate(stage.axes.output_voltage),
            output_current: coordinate(stage.axes.output_current),
        };
        let notes = outcome.reasons.clone();
        let record = Arc::clone(record);
        Ok(Self {
            record,
            point,
            at,
            chosen: chosen.to_owned(),
            outcome,
            notes,
            uncertainty: None,
            guarantee: Guarantee::NotAsked,
        })
    }

    /// Evaluates the uncertainty. An input that the point sets is an operating
    /// value, or an end of a tolerance taken on purpose: it counts as known.
    ///
    /// # Errors
    /// A derivation that cannot be compiled.
    pub(crate) fn with_uncertainty(
        mut self,
        stated: &Uncertainties,
    ) -> Result<Self, EquationError> {
        let draw = Draw {
            samples: if self.record.program()?.iterates() {
                ITERATED
            } else {
                CLOSED
            },
            ..Draw::default()
        };
        let uncertain = stated.inputs().iter().map(|input| input.symbol);
        let uncertainties = uncertain
            .filter(|symbol| self.point.get(symbol).is_some())
            .fold(stated.clone(), Uncertainties::without);
        match uncertainty::of(&self.record, &self.point, &uncertainties, Some(&draw)) {
            Ok(budget) => self.uncertainty = budget,
            Err(error) => self
                .notes
                .push(format!("No standard uncertainty: {error}.")),
        }
        Ok(self)
    }

    /// Works out the guaranteed bound of a formula that does not iterate: that
    /// takes no time worth mentioning.
    ///
    /// # Errors
    /// A derivation that cannot be compiled.
    pub(crate) fn with_quick_guarantee(
        mut self,
        stage: &Stage,
        stated: &Uncertainties,
    ) -> Result<Self, EquationError> {
        if !self.record.program()?.iterates() {
            self.guarantee = Guarantee::of(stage, &self, stated, Effort::default())?;
        }
        Ok(self)
    }

    /// The standard uncertainty in the coherent unit, where there is one.
    #[must_use]
    pub fn standard_uncertainty(&self) -> Option<f64> {
        self.uncertainty.as_ref()?.standard_uncertainty()
    }

    /// Standard uncertainty and coverage interval in a sentence, where there are
    /// any.
    #[must_use]
    pub fn uncertainty_sentence(&self) -> Option<String> {
        let standard = self.standard_uncertainty()?;
        let coverage = self.uncertainty.as_ref()?.coverage.as_ref()?;
        let shown = |value: f64, digits| print_value(value, self.exponents(), digits);
        let Interval {
            probability,
            low,
            high,
        } = coverage.interval;
        let interval = if coverage.factor.is_some() {
            format!("±{}", shown((high - low) / 2.0, 2))
        } else {
            format!("between {} and {}", shown(low, 3), shown(high, 3))
        };
        Some(format!(
            "standard uncertainty {}; {interval} at a level of confidence of {} % ({})",
            shown(standard, 2),
            number(probability * 100.0, 3),
            coverage.words()
        ))
    }

    /// A derivation at the worst point over the ranges of input and output
    /// voltage, the other inputs at `base`; at a point without value where the
    /// search met one, since the result then does not hold for the whole range.
    ///
    /// # Errors
    /// A derivation that cannot be compiled.
    pub fn over_range(
        stage: &Stage,
        record: &Arc<Record>,
        base: &Point,
        sense: Sense,
    ) -> Result<Self, EquationError> {
        Self::worst(stage, record, base, &stage.spans(), sense, None)
    }

    /// A derivation at the worst point over ranges; with a trip threshold where its
    /// equation is that of the cell.
    pub(super) fn worst(
        stage: &Stage,
        record: &Arc<Record>,
        base: &Point,
        spans: &[Span],
        sense: Sense,
        trip: Option<Current>,
    ) -> Result<Self, EquationError> {
        let mut holds = trip.and_then(|trip| HoldTimes::new(stage, trip, base, spans));
        let Extreme {
            best,
            without_value,
        } = record.extreme_with(base, spans, sense, |values| holds.as_mut()?.at(values))?;
        let point = |values: &[f64]| {
            spans
                .iter()
                .zip(values)
                .fold(base.clone(), |point, (span, value)| {
                    point.with(span.symbol, *value)
                })
        };
        let word = match sense {
            Sense::Greatest => "maximum over the range",
            Sense::Least => "minimum over the range",
        };
        match (without_value, best) {
            (Some(values), _) => Self::at(
                stage,
                record,
                point(&values),
                "a point of the range without value",
            ),
            (None, Some((values, _))) => Self::at(stage, record, point(&values), word),
            (None, None) => Self::at(stage, record, base.clone(), word),
        }
    }

    /// The name.
    #[must_use]
    pub fn name(&self) -> &str {
        self.record.name()
    }

    /// The value in the coherent unit, where there is one.
    #[must_use]
    pub fn value(&self) -> Option<f64> {
        self.outcome.value
    }

    /// The dimension.
    #[must_use]
    pub fn exponents(&self) -> Exponents {
        self.record.result().exponents()
    }

    /// The coherent unit.
    #[must_use]
    pub fn unit(&self) -> String {
        name_of(self.exponents()).plain
    }

    /// The value with its unit as text, or that there is none.
    #[must_use]
    pub fn shown(&self) -> String {
        self.value().map_or_else(
            || "no value".to_owned(),
            |value| print_value(value, self.exponents(), 4),
        )
    }

    /// The point as text: "44 V in, 6 V out, 6 A".
    #[must_use]
    pub fn place(&self) -> String {
        self.at.text()
    }
}

impl At {
    /// As text: "44 V in, 6 V out, 6 A".
    #[must_use]
    pub fn text(&self) -> String {
        use crate::quantity::{Current, Dimensioned, Voltage};
        let volts = |v| print_value(v, Voltage::EXPONENTS, 4);
        let parts = [
            self.input_voltage.map(|v| format!("{} in", volts(v))),
            self.output_voltage.map(|v| format!("{} out", volts(v))),
            self.output_current
                .map(|i| print_value(i, Current::EXPONENTS, 4)),
        ];
        let parts: Vec<_> = parts.into_iter().flatten().collect();
        if parts.is_empty() {
            "everywhere".to_owned()
        } else {
            parts.join(", ")
        }
    }
}
