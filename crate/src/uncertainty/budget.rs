//! The uncertainty budget of a result: which input contributes how much, and
//! whether propagation is good enough.

use super::coverage::{self, Coverage};
use super::error::UncertaintyError;
use super::inputs::{Input, Uncertainties};
use super::monte_carlo::Draw;
use super::propagation::{Propagation, SecondOrder};
use super::samples::{Interval, Samples};
use super::student::coverage_factor;
use crate::equation::{Point, Program, Record};
use crate::quantity::{print_value, symbol::name_of};

/// How far the ends of an interval of two standard uncertainties may move, in
/// standard uncertainties, before propagation is called not good enough: a fifth
/// stays within what a stated uncertainty is itself known to (JCGM 100:2008,
/// E.4.3).
const LINEAR_WITHIN: f64 = 0.2;

/// The coverage probability of the intervals that documents show.
pub const COVERAGE: f64 = 0.95;

/// The uncertainty of one result, as plain data for a table. Values are in
/// coherent units.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Budget {
    /// The result at the estimates.
    pub estimate: f64,
    /// Its unit.
    pub unit: String,
    /// The combined standard uncertainty by the law of propagation.
    pub propagated: f64,
    /// Its effective degrees of freedom; infinite (`null` in JSON) where every
    /// input's uncertainty counts as exactly known.
    pub degrees_of_freedom: f64,
    /// The inputs that contribute, in the order of the formula.
    pub rows: Vec<Row>,
    /// The correlations between them.
    pub correlations: Vec<Correlated>,
    /// What propagation leaves out.
    pub second_order: SecondOrder,
    /// Whether propagation is good enough here.
    pub near_linear: bool,
    /// The Monte Carlo evaluation, where there is one.
    pub monte_carlo: Option<MonteCarlo>,
    /// The interval that covers the result with [`COVERAGE`]; none where some
    /// sample has no value, or nothing was sampled and propagation is not good
    /// enough.
    pub coverage: Option<Coverage>,
    /// What the reader must know.
    pub notes: Vec<String>,
}

/// One input of a budget.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Row {
    /// The input's symbol.
    pub symbol: String,
    /// What it is, in words.
    pub words: String,
    /// Its estimate.
    pub value: f64,
    /// Its unit.
    pub unit: String,
    /// The form of its distribution, in words.
    pub distribution: String,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// The derivative of the result by it.
    pub sensitivity: f64,
    /// The magnitude of its contribution to the result's standard uncertainty.
    pub contribution: f64,
    /// The part of the result's variance that goes with it.
    pub variance_share: f64,
}

/// Two inputs of a budget that are correlated.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Correlated {
    /// Their symbols.
    pub between: [String; 2],
    /// The coefficient.
    pub coefficient: f64,
}

/// A summary of samples.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct MonteCarlo {
    /// How many samples were drawn.
    pub samples: usize,
    /// The seed.
    pub seed: u64,
    /// How many have no value, or violate a condition.
    pub without_value: usize,
    /// The mean of the others.
    pub mean: Option<f64>,
    /// Their standard uncertainty.
    pub standard_uncertainty: Option<f64>,
    /// The interval with as many samples below it as above.
    pub symmetric: Option<Interval>,
    /// The shortest interval.
    pub shortest: Option<Interval>,
}

/// An expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Expanded {
    /// The coverage probability.
    pub probability: f64,
    /// The coverage factor.
    pub factor: f64,
    /// The half-width of the interval about the estimate.
    pub uncertainty: f64,
}

impl Budget {
    /// The budget of one output of a program at a point; none where no uncertain
    /// input has a say in it.
    ///
    /// # Errors
    /// As [`Propagation::of`].
    pub fn of_program(
        program: &Program,
        output: usize,
        point: &Point,
        uncertainties: &Uncertainties,
        unit: &str,
    ) -> Result<Option<Self>, UncertaintyError> {
        let propagation = Propagation::of(program, point, uncertainties)?;
        if propagation.inputs().is_empty() {
            return Ok(None);
        }
        let inputs = propagation.inputs();
        let rows: Vec<Row> = inputs
            .iter()
            .enumerate()
            .map(|(k, input)| Row {
                symbol: input.symbol.glyph().to_string(),
                words: input.symbol.words().to_owned(),
                value: point.value_of(input.symbol),
                unit: name_of(input.symbol.exponents()).plain,
                distribution: input.distribution.words(),
                standard_uncertainty: input.distribution.standard_uncertainty(),
                sensitivity: propagation.sensitivity(output, k),
                contribution: propagation.contribution(output, k).abs(),
                variance_share: propagation.variance_share(output, k),
            })
            .collect();
        let propagated = propagation.standard_uncertainty(output);
        let second_order = propagation.second_order(output);
        let mut budget = Self {
            estimate: propagation.estimate(output),
            unit: unit.to_owned(),
            propagated,
            degrees_of_freedom: propagation.degrees_of_freedom(output),
            rows,
            correlations: correlated(inputs, uncertainties),
            second_order,
            near_linear: near_linear(propagated, &second_order),
            monte_carlo: None,
            coverage: None,
            notes: vec![],
        };
        if budget.near_linear && propagated > 0.0 {
            budget.coverage = Some(coverage::near_linear(
                &budget,
                inputs,
                uncertainties,
                propagation.sensitivities(output),
            )?);
        }
        Ok(Some(budget))
    }

    /// The standard uncertainty that may be printed: by propagation where that is
    /// good enough, else from samples, and none where some sample has no value.
    #[must_use]
    pub fn standard_uncertainty(&self) -> Option<f64> {
        if self.near_linear {
            return Some(self.propagated);
        }
        self.monte_carlo
            .as_ref()
            .filter(|m| m.without_value == 0)
            .and_then(|m| m.standard_uncertainty)
    }

    /// The expanded uncertainty for a coverage probability, with the factor from
    /// Student's distribution at the effective degrees of freedom, rounded down
    /// to a whole number (JCGM 100:2008, G.4.1).
    ///
    /// # Errors
    /// A probability not between 0 and 1.
    pub fn expanded(&self, probability: f64) -> Result<Expanded, UncertaintyError> {
        let whole = self.degrees_of_freedom.floor();
        // A result that nothing makes uncertain has no degrees of freedom.
        let count = if whole >= 1.0 { whole } else { f64::INFINITY };
        let factor = coverage_factor(probability, count)?;
        Ok(Expanded {
            probability,
            factor,
            uncertainty: factor * self.propagated,
        })
    }

    /// Puts the summary of samples beside the propagated uncertainty.
    pub(crate) fn set_samples(&mut self, samples: &Samples, seed: u64) {
        let all_valued = samples.without_value() == 0;
        let valued = |interval: Result<Interval, _>| interval.ok().filter(|_| all_valued);
        let symmetric = valued(samples.symmetric_interval(COVERAGE));
        if !self.near_linear {
            self.coverage = symmetric.map(|interval| Coverage::of_samples(interval, samples));
        }
        self.monte_carlo = Some(MonteCarlo {
            samples: samples.drawn(),
            seed,
            without_value: samples.without_value(),
            mean: samples.mean(),
            standard_uncertainty: samples.standard_uncertainty(),
            symmetric,
            shortest: valued(samples.shortest_interval(COVERAGE)),
        });
        self.notes.extend(samples.notes().iter().cloned());
    }

    /// Says that propagation is not good enough, and what stands in its place.
    fn warn(&mut self, record: &Record) {
        let show = |value: f64| print_value(value, record.result().exponents(), 3);
        let found = match (
            self.second_order.standard_uncertainty,
            self.second_order.shift,
        ) {
            (Some(second), Some(shift)) => format!(
                "with terms of second order the standard uncertainty is {} instead of {}, and the \
                 mean moves by {}",
                show(second),
                show(self.propagated),
                show(shift)
            ),
            _ => "within the uncertainty of the inputs the formula loses its value, or a kink \
                  makes the terms of second order meaningless"
                .to_owned(),
        };
        let instead = match (&self.monte_carlo, self.standard_uncertainty()) {
            (Some(drawn), Some(sampled)) => format!(
                "{} Monte Carlo samples give {} where propagation gives {}, and the former is shown",
                drawn.samples,
                show(sampled),
                show(self.propagated)
            ),
            (Some(_), None) => "no standard uncertainty is given".to_owned(),
            (None, _) => "draw Monte Carlo samples".to_owned(),
        };
        self.notes.insert(
            0,
            format!(
                "The formula is not near linear over these uncertainties: {found}. The law of \
                 propagation is not good enough here; {instead}."
            ),
        );
    }
}

fn correlated(inputs: &[Input], uncertainties: &Uncertainties) -> Vec<Correlated> {
    let mut list = Vec::new();
    for (k, other) in inputs.iter().enumerate() {
        for one in &inputs[..k] {
            let coefficient = uncertainties.correlation(one.symbol, other.symbol);
            if coefficient != 0.0 {
                list.push(Correlated {
                    between: [one, other].map(|input| input.symbol.glyph().to_string()),
                    coefficient,
                });
            }
        }
    }
    list
}

fn near_linear(propagated: f64, second_order: &SecondOrder) -> bool {
    match (second_order.standard_uncertainty, second_order.shift) {
        (Some(second), Some(shift)) => {
            shift.abs() + 2.0 * (second - propagated).abs() <= LINEAR_WITHIN * propagated
        }
        _ => false,
    }
}

/// The budget of a derivation's result at a point, by the law of propagation;
/// none where the result has no value there, or no uncertain input has a say in
/// it.
///
/// Where propagation is not good enough the budget says so, and samples are drawn
/// as `draw` says; without `draw` the budget then has no standard uncertainty to
/// print.
///
/// # Errors
/// A derivation that cannot be compiled, a derivative that is not finite where
/// no samples are drawn, correlation coefficients that cannot hold together.
///
/// ```
/// use slewbook::equation::{Derivation, Point, Term};
/// use slewbook::quantity::{unit::{mV, ohm, volt}, Current};
/// use slewbook::uncertainty::{self, Distribution, Uncertainties};
/// let V = Term::input("V", "voltage", 12.0 * volt);
/// let R = Term::input("R", "resistance", 4.0 * ohm);
/// let current =
///     Derivation::<Current>::new("current", "How much?", (V / R).named("I", "current")).into_record();
/// let uncertainties = Uncertainties::none()
///     .with(V.symbol().unwrap(), Distribution::normal(40.0 * mV).unwrap()).unwrap();
/// let budget = uncertainty::of(&current, &Point::own(), &uncertainties, None).unwrap().unwrap();
/// assert_eq!(budget.rows[0].symbol, "V");
/// assert!((budget.standard_uncertainty().unwrap() - 0.01).abs() < 1e-15);
/// ```
pub fn of(
    record: &Record,
    point: &Point,
    uncertainties: &Uncertainties,
    draw: Option<&Draw>,
) -> Result<Option<Budget>, UncertaintyError> {
    if record.value_at(point)?.is_none() {
        return Ok(None);
    }
    let result = Program::compile(&[record.result()])?;
    let unit = name_of(record.result().exponents()).plain;
    let Some(mut budget) = Budget::of_program(&result, 0, point, uncertainties, &unit)? else {
        return Ok(None);
    };
    if !budget.near_linear {
        if let Some(draw) = draw {
            budget.set_samples(&draw.record(record, point, uncertainties)?, draw.seed);
        }
        budget.warn(record);
    }
    Ok(Some(budget))
}
