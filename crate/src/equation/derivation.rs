//! A derivation: a question, the formulas that answer it in order, and the
//! conditions under which they hold.

use std::marker::PhantomData;
use std::sync::OnceLock;

use super::error::EquationError;
use super::extreme::{self, Extreme, Sense, Span};
use super::gradient::Gradient;
use super::node::{Comparison, Expression, Op, Symbol, post_order};
use super::program::Program;
use super::render;
use super::term::Term;
use crate::quantity::{Dimensioned, print_value};

/// Values of inputs that differ from the inputs' own: an operating point.
#[derive(Clone, Debug, Default)]
pub struct Point(Vec<(&'static Symbol, f64)>);

impl Point {
    /// The point at which every input has its own value.
    #[must_use]
    pub fn own() -> Self {
        Self::default()
    }

    /// The same point with one input set, in the coherent unit.
    #[must_use]
    pub fn with(mut self, symbol: &'static Symbol, value: f64) -> Self {
        self.0.retain(|(own, _)| !std::ptr::eq(*own, symbol));
        self.0.push((symbol, value));
        self
    }

    /// The value of an input at this point.
    #[must_use]
    pub fn value_of(&self, symbol: &Symbol) -> f64 {
        self.get(symbol).unwrap_or(symbol.value)
    }

    /// The value that this point sets an input to, if it does.
    #[must_use]
    pub fn get(&self, symbol: &Symbol) -> Option<f64> {
        self.0
            .iter()
            .find(|(own, _)| std::ptr::eq(*own, symbol))
            .map(|(_, value)| *value)
    }

    /// The values of a program's inputs at this point.
    #[must_use]
    pub fn inputs(&self, program: &Program) -> Vec<f64> {
        program
            .inputs()
            .iter()
            .map(|symbol| self.value_of(symbol))
            .collect()
    }
}

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

/// One formula of a derivation.
#[derive(Clone, Debug)]
pub struct Line {
    node: Expression,
}

impl Line {
    /// The formula's expression.
    #[must_use]
    pub fn expression(&self) -> Expression {
        self.node
    }

    /// The symbol it defines, as plain text.
    #[must_use]
    pub fn symbol(&self) -> String {
        render::text::expression(self.node)
    }

    /// The symbol it defines, as MathML.
    #[must_use]
    pub fn symbol_mathml(&self) -> String {
        render::mathml::inline(&render::expression(self.node))
    }

    /// What it computes, in words.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match &self.node.op {
            Op::Named(name, _) => &name.words,
            Op::Unknown(unknown) => &unknown.words,
            _ => "",
        }
    }

    /// For a solved equation the symbol sought and its bracket, as plain text.
    #[must_use]
    pub fn solved(&self) -> Option<(String, [String; 2])> {
        let Op::Unknown(unknown) = &self.node.op else {
            return None;
        };
        let equation = unknown.equation.get()?;
        let bracket = [equation.lower, equation.upper].map(render::text::expression);
        Some((unknown.glyph.to_string(), bracket))
    }

    /// The formula in plain text.
    #[must_use]
    pub fn text(&self) -> String {
        render::text::line(self.node)
    }

    /// The formula in LaTeX, without delimiters.
    #[must_use]
    pub fn latex(&self) -> String {
        render::latex::line(self.node)
    }

    /// The formula in MathML.
    #[must_use]
    pub fn mathml(&self) -> String {
        render::mathml::line(self.node)
    }
}

/// A derivation without its type: what documents and lists work on.
#[derive(Debug)]
pub struct Record {
    name: String,
    question: String,
    result: Expression,
    conditions: Vec<Condition>,
    sources: Vec<&'static str>,
    assumptions: Vec<String>,
    unsolved: Option<String>,
    compiled: OnceLock<Result<Compiled, EquationError>>,
}

/// The programs of a record, compiled at first use.
#[derive(Debug)]
struct Compiled {
    /// Result first, then both sides of each condition.
    search: Program,
    /// The lines, and for each that has a value its place among the outputs of `all`.
    lines: Vec<(Line, Option<usize>)>,
    /// As `search`, then the lines that have values.
    all: Program,
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

    fn compile(&self) -> Result<Compiled, EquationError> {
        let mut outputs = vec![self.result];
        for condition in &self.conditions {
            outputs.extend([condition.comparison.left, condition.comparison.right]);
        }
        let search = Program::compile(&outputs)?;
        let mut lines: Vec<(Line, Option<usize>)> = Vec::new();
        let mut shown = std::collections::HashSet::new();
        for node in post_order(&outputs) {
            if !matches!(node.op, Op::Named(..) | Op::Unknown(_)) {
                continue;
            }
            let line = Line { node };
            if !shown.insert(line.text()) {
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
        Ok(Compiled { search, lines, all })
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
        let program = &self.compiled()?.search;
        let value = self.search(program, &point.inputs(program));
        Ok(value.is_finite().then_some(value))
    }

    /// The result, or not-a-number where a condition is violated.
    fn search(&self, program: &Program, inputs: &[f64]) -> f64 {
        let outputs: Vec<f64> = program.run(inputs);
        let valid = self
            .conditions
            .iter()
            .zip(outputs[1..].chunks(2))
            .all(|(c, sides)| c.comparison.relation.holds(sides[0], sides[1]));
        if valid { outputs[0] } else { f64::NAN }
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
        let program = &self.compiled()?.search;
        let mut inputs = point.inputs(program);
        let places: Vec<_> = spans
            .iter()
            .map(|span| program.position(span.symbol))
            .collect();
        // A range that the result does not depend on is one value.
        let box_: Vec<_> = spans
            .iter()
            .zip(&places)
            .map(|(span, place)| (span.low, if place.is_some() { span.high } else { span.low }))
            .collect();
        Ok(extreme::find(&box_, sense, |values| {
            for (value, place) in values.iter().zip(&places) {
                if let Some(place) = place {
                    inputs[*place] = *value;
                }
            }
            self.search(program, &inputs)
        }))
    }

    /// The exact derivatives at a point: input, derivative, and the relative
    /// change of the result per relative change of the input.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub fn sensitivities(
        &self,
        point: &Point,
    ) -> Result<Vec<(&'static Symbol, f64, Option<f64>)>, EquationError> {
        let program = Program::compile(&[self.result])?;
        let inputs = point.inputs(&program);
        let gradient = &program.run(&Gradient::inputs(&program, &inputs))[0];
        let list = program.inputs().iter().enumerate().map(|(k, symbol)| {
            let partial = gradient.partial(k);
            let relative = partial * inputs[k] / gradient.value;
            (*symbol, partial, relative.is_finite().then_some(relative))
        });
        Ok(list.filter(|(_, partial, _)| partial.is_finite()).collect())
    }

    /// A line with the numbers of `outcome` put in, as MathML.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub fn numbers_mathml(
        &self,
        line: &Line,
        point: &Point,
        outcome: &Outcome,
    ) -> Result<String, EquationError> {
        self.with_numbers(line, point, outcome)
            .map(|layout| render::mathml::display(&layout))
    }

    /// A line with the numbers of `outcome` put in, as LaTeX.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub fn numbers_latex(
        &self,
        line: &Line,
        point: &Point,
        outcome: &Outcome,
    ) -> Result<String, EquationError> {
        self.with_numbers(line, point, outcome)
            .map(|layout| render::latex::write(&layout))
    }

    /// A line with the numbers of `outcome` put in, as plain text.
    ///
    /// # Errors
    /// As [`Record::lines`].
    pub fn numbers_text(
        &self,
        line: &Line,
        point: &Point,
        outcome: &Outcome,
    ) -> Result<String, EquationError> {
        self.with_numbers(line, point, outcome)
            .map(|layout| render::text::write(&layout))
    }

    fn with_numbers(
        &self,
        line: &Line,
        point: &Point,
        outcome: &Outcome,
    ) -> Result<render::Layout, EquationError> {
        let compiled = self.compiled()?;
        let values = |node: Expression| match &node.op {
            Op::Symbol(symbol) => Some(point.value_of(symbol)),
            Op::Named(..) | Op::Unknown(_) => {
                let text = Line { node }.text();
                let index = compiled
                    .lines
                    .iter()
                    .position(|(own, _)| own.text() == text)?;
                outcome.lines[index]
            }
            _ => None,
        };
        Ok(render::with_numbers(line.node, &values))
    }
}

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
