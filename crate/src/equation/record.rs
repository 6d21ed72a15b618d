//! A derivation without its type: its lines and conditions, evaluated at points.

use std::collections::HashMap;
use std::sync::OnceLock;

use super::error::EquationError;
use super::extreme::{self, Extreme, Sense, Span};
use super::gradient::Gradient;
use super::line::{Line, Numbers};
use super::node::{Comparison, Expression, Op, Symbol, post_order};
use super::point::Point;
use super::program::Program;
use super::render;
use super::scalar::Quick;
use crate::quantity::print_value;

/// A condition under which a derivation holds.
#[derive(Clone, Debug)]
pub struct Condition {
    /// The comparison that must hold.
    pub comparison: Comparison,
    /// What it means.
    pub words: String,
    /// What to do where it does not hold.
    pub remedy: String,
}

/// A condition at a point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConditionState {
    /// Whether it holds.
    pub holds: bool,
    /// The left side's value.
    pub left: f64,
    /// The right side's value.
    pub right: f64,
}

/// A derivation without its type: what documents and lists work on.
#[derive(Debug)]
pub struct Record {
    pub(super) name: String,
    pub(super) question: String,
    pub(super) result: Expression,
    pub(super) conditions: Vec<Condition>,
    pub(super) sources: Vec<&'static str>,
    pub(super) assumptions: Vec<String>,
    pub(super) unsolved: Option<String>,
    pub(super) compiled: OnceLock<Result<Compiled, EquationError>>,
}

/// The programs of a record, compiled at first use.
#[derive(Debug)]
pub(super) struct Compiled {
    /// Result first, then both sides of each condition.
    search: Program,
    /// The same with the value of the one unknown given; none where there is none.
    given: Option<Program>,
    /// The lines, and for each that has a value its place among the outputs of `all`.
    lines: Vec<(Line, Option<usize>)>,
    /// The line that shows a node, by the node's address.
    places: HashMap<usize, usize>,
    /// As `search`, then the lines that have values.
    all: Program,
}

/// How a result depends on one input.
#[derive(Clone, Copy, Debug)]
pub struct Sensitivity {
    /// The input.
    pub symbol: &'static Symbol,
    /// The derivative, in coherent units.
    pub derivative: f64,
    /// The relative change of the result per relative change of the input,
    /// where both are other than zero.
    pub relative: Option<f64>,
}

/// What a derivation gives at a point.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The result in the coherent unit; none where a condition is violated or
    /// the formula has no value.
    pub value: Option<f64>,
    /// The lines' values, where they have one.
    pub lines: Vec<Option<f64>>,
    /// The conditions, in order.
    pub conditions: Vec<ConditionState>,
    /// Why there is no value, in words.
    pub reasons: Vec<String>,
}

/// Inputs of a program of which some move over ranges.
struct Moving<S> {
    inputs: Vec<S>,
    places: Vec<Option<usize>>,
    as_scalar: fn(f64) -> S,
}

impl<S> Moving<S> {
    fn new(program: &Program, point: &Point, spans: &[Span], as_scalar: fn(f64) -> S) -> Self {
        Self {
            inputs: point.inputs(program).into_iter().map(as_scalar).collect(),
            places: spans
                .iter()
                .map(|span| program.position(span.symbol))
                .collect(),
            as_scalar,
        }
    }

    /// The inputs at values of the ranges.
    fn at(&mut self, values: &[f64]) -> &[S] {
        for (value, place) in values.iter().zip(&self.places) {
            if let Some(place) = place {
                self.inputs[*place] = (self.as_scalar)(*value);
            }
        }
        &self.inputs
    }
}

impl Record {
    /// The name by which programs and texts refer to the result.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The question it answers.
    #[must_use]
    pub fn question(&self) -> &str {
        &self.question
    }

    /// The result's expression.
    #[must_use]
    pub fn result(&self) -> Expression {
        self.result
    }

    /// The result's symbol, as plain text.
    #[must_use]
    pub fn symbol(&self) -> String {
        render::text::expression(self.result)
    }

    /// The conditions.
    #[must_use]
    pub fn conditions(&self) -> &[Condition] {
        &self.conditions
    }

    /// Keys of the sources in the bibliography.
    #[must_use]
    pub fn sources(&self) -> &[&'static str] {
        &self.sources
    }

    /// What is assumed, in words.
    #[must_use]
    pub fn assumptions(&self) -> &[String] {
        &self.assumptions
    }

    /// The formulas in order, each before the ones that use it.
    ///
    /// # Errors
    /// Two symbols of one name, an unknown without an equation.
    pub fn lines(&self) -> Result<Vec<Line>, EquationError> {
        Ok(self
            .compiled()?
            .lines
            .iter()
            .map(|(line, _)| line.clone())
            .collect())
    }

    /// The inputs, in order of first appearance.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub fn inputs(&self) -> Result<&[&'static Symbol], EquationError> {
        Ok(self.compiled()?.all.inputs())
    }

    fn compiled(&self) -> Result<&Compiled, EquationError> {
        self.compiled
            .get_or_init(|| self.compile())
            .as_ref()
            .map_err(Clone::clone)
    }

    /// The program of the result, followed by both sides of each condition.
    pub(crate) fn program(&self) -> Result<&Program, EquationError> {
        Ok(&self.compiled()?.search)
    }

    fn compile(&self) -> Result<Compiled, EquationError> {
        let mut outputs = vec![self.result];
        for condition in &self.conditions {
            outputs.extend([condition.comparison.left, condition.comparison.right]);
        }
        let search = Program::compile(&outputs)?;
        let given = Program::with_unknown_given(&outputs)?;
        let mut lines: Vec<(Line, Option<usize>)> = Vec::new();
        let mut shown: HashMap<String, usize> = HashMap::new();
        let mut places = HashMap::new();
        for node in post_order(&outputs) {
            if !matches!(node.op, Op::Named(..) | Op::Unknown(_)) {
                continue;
            }
            let line = Line { node };
            let next = lines.len();
            let own = *shown.entry(line.key()).or_insert(next);
            places.insert(node.key() as usize, own);
            if own < next {
                continue;
            }
            // A function of an integral's variable has no value of its own.
            let place = Program::compile(&[node]).is_ok().then_some(outputs.len());
            if place.is_some() {
                outputs.push(node);
            }
            lines.push((line, place));
        }
        let all = Program::compile(&outputs)?;
        Ok(Compiled {
            search,
            given,
            lines,
            places,
            all,
        })
    }

    /// The result, its lines and its conditions at a point.
    ///
    /// # Errors
    /// As [`Record::lines`]; a formula without a value at this point is no error
    /// but an outcome without a value.
    pub fn evaluate(&self, point: &Point) -> Result<Outcome, EquationError> {
        let compiled = self.compiled()?;
        let inputs = point.inputs(&compiled.all);
        let values: Vec<f64> = compiled.all.run(&inputs);
        let finite = |value: f64| value.is_finite().then_some(value);
        let mut reasons = Vec::new();
        let mut conditions = Vec::new();
        for (index, condition) in self.conditions.iter().enumerate() {
            let (left, right) = (values[1 + 2 * index], values[2 + 2 * index]);
            let holds = condition.comparison.relation.holds(left, right);
            if !holds && left.is_finite() && right.is_finite() {
                let exponents = condition.comparison.left.exponents();
                reasons.push(format!(
                    "{} does not hold: {} ({} against {}). {}",
                    render::text::write(&render::layout::comparison(&condition.comparison)),
                    condition.words,
                    print_value(left, exponents, 4),
                    print_value(right, exponents, 4),
                    condition.remedy
                ));
            }
            conditions.push(ConditionState { holds, left, right });
        }
        if !values[0].is_finite() {
            let program = Program::compile(&[self.result])?;
            if let Err(error) = program.evaluate(&point.inputs(&program)) {
                reasons.push(format!("{error}."));
                if let (EquationError::NoSolution { .. }, Some(meaning)) = (error, &self.unsolved) {
                    reasons.push(meaning.clone());
                }
            }
        }
        let valid = conditions.iter().all(|c| c.holds);
        let lines = compiled
            .lines
            .iter()
            .map(|(_, place)| finite(values[(*place)?]))
            .collect();
        let value = finite(values[0]).filter(|_| valid);
        Ok(Outcome {
            value,
            lines,
            conditions,
            reasons,
        })
    }

    /// The result alone at a point, where it has one: cheaper than
    /// [`Record::evaluate`] for many points.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub fn value_at(&self, point: &Point) -> Result<Option<f64>, EquationError> {
        let program = self.program()?;
        let value = self.search(program, &point.inputs(program));
        Ok(value.is_finite().then_some(value))
    }

    /// The result, or not-a-number where a condition is violated.
    pub(crate) fn search(&self, program: &Program, inputs: &[f64]) -> f64 {
        let outputs: Vec<f64> = program.run(inputs);
        let valid = self
            .conditions
            .iter()
            .zip(outputs[1..].chunks(2))
            .all(|(c, sides)| c.comparison.relation.holds(sides[0], sides[1]));
        if valid { outputs[0] } else { f64::NAN }
    }

    /// As [`Record::search`], to about [`Quick::WITHIN`]: what one of many samples needs.
    pub(crate) fn sample(&self, program: &Program, inputs: &[f64]) -> f64 {
        if !program.iterates() {
            return self.search(program, inputs);
        }
        let quick: Vec<Quick> = inputs.iter().copied().map(Quick).collect();
        self.quick(&program.run(&quick))
            .unwrap_or_else(|| self.search(program, inputs))
    }

    /// The extreme over ranges of inputs, the others at `point`.
    ///
    /// A point at which the formula has no value, or a condition is violated,
    /// counts as a point without value.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub fn extreme(
        &self,
        point: &Point,
        spans: &[Span],
        sense: Sense,
    ) -> Result<Extreme, EquationError> {
        self.extreme_with(point, spans, sense, |_| None)
    }

    /// The same, where `unknown` knows what solves the derivation's one equation at values
    /// of the ranges, or that it does not: what the search then looks at costs no
    /// iteration. The place found is the one that the derivation alone leads to.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub(crate) fn extreme_with(
        &self,
        point: &Point,
        spans: &[Span],
        sense: Sense,
        mut unknown: impl FnMut(&[f64]) -> Option<f64>,
    ) -> Result<Extreme, EquationError> {
        let compiled = self.compiled()?;
        let program = &compiled.search;
        // A range that the result does not depend on is one value.
        let box_: Vec<_> = spans
            .iter()
            .map(|span| {
                let moves = program.position(span.symbol).is_some();
                (span.low, if moves { span.high } else { span.low })
            })
            .collect();
        let mut full = Moving::new(program, point, spans, |value| value);
        let exact = |values: &[f64]| self.search(program, full.at(values));
        if !program.iterates() {
            return Ok(extreme::find(&box_, sense, exact));
        }
        let mut solving = Moving::new(program, point, spans, Quick);
        let mut given = compiled
            .given
            .as_ref()
            .map(|given| (given, Moving::new(given, point, spans, Quick)));
        let quick = |values: &[f64]| {
            let outputs = match (&mut given, unknown(values)) {
                (Some((given, inputs)), Some(root)) => {
                    given.run_given(inputs.at(values), &Quick(root))
                }
                _ => program.run(solving.at(values)),
            };
            self.quick(&outputs)
        };
        Ok(extreme::find_quick(
            &box_,
            sense,
            Quick::WITHIN,
            quick,
            exact,
        ))
    }

    /// The result to about [`Quick::WITHIN`]; none where it has no value, or where that
    /// is not sharp enough to tell whether a condition is met.
    fn quick(&self, outputs: &[Quick]) -> Option<f64> {
        let plain = self
            .conditions
            .iter()
            .zip(outputs[1..].chunks(2))
            .all(|(c, sides)| {
                let (left, right) = (sides[0].0, sides[1].0);
                let clear = (left - right).abs() > Quick::WITHIN * left.abs().max(right.abs());
                clear && c.comparison.relation.holds(left, right)
            });
        Some(outputs[0].0).filter(|value| plain && value.is_finite())
    }

    /// The exact derivatives at a point.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub fn sensitivities(&self, point: &Point) -> Result<Vec<Sensitivity>, EquationError> {
        let program = Program::compile(&[self.result])?;
        let inputs = point.inputs(&program);
        let gradient = &program.run(&Gradient::inputs(&program, &inputs))[0];
        let list = program.inputs().iter().enumerate().map(|(k, symbol)| {
            let partial = gradient.partial(k);
            let relative = partial * inputs[k] / gradient.value;
            Sensitivity {
                symbol,
                derivative: partial,
                relative: relative.is_finite().then_some(relative),
            }
        });
        Ok(list
            .filter(|sensitivity| sensitivity.derivative.is_finite())
            .collect())
    }

    /// A line with the numbers of `outcome` put in.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub fn numbers(
        &self,
        line: &Line,
        point: &Point,
        outcome: &Outcome,
    ) -> Result<Numbers, EquationError> {
        let compiled = self.compiled()?;
        let values = |node: Expression| match &node.op {
            Op::Symbol(symbol) => Some(point.value_of(symbol)),
            Op::Named(..) | Op::Unknown(_) => {
                outcome.lines[*compiled.places.get(&(node.key() as usize))?]
            }
            _ => None,
        };
        Ok(Numbers(render::with_numbers(line.node, &values)))
    }
}
