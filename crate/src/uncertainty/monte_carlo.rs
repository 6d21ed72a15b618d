//! Propagation of distributions by a Monte Carlo method (JCGM 101:2008), seeded:
//! the samples are the same whatever the number of threads.

use super::distribution::Shape;
use super::error::UncertaintyError;
use super::inputs::{Input, Uncertainties};
use super::joint::Joint;
use super::random::Stream;
use super::samples::Samples;
use crate::equation::{Point, Program, Record};

/// Samples of one random stream.
const BLOCK: usize = 1024;

/// How many samples are drawn, and from which seed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Draw {
    /// Number of samples.
    pub samples: usize,
    /// Seed of the random streams.
    pub seed: u64,
    /// Threads to draw on; none for one per core. Never changes a sample.
    pub threads: Option<usize>,
}

impl Default for Draw {
    /// A million samples (JCGM 101:2008, 7.2.2), one thread per core.
    fn default() -> Self {
        Self {
            samples: 1_000_000,
            seed: 1,
            threads: None,
        }
    }
}

impl Draw {
    /// Samples of every output of a program at a point. A sample at which an
    /// output is not finite counts as one without value.
    ///
    /// # Errors
    /// Fewer than two samples; correlation coefficients that cannot hold
    /// together, or between inputs that are not normal.
    ///
    /// ```
    /// use slewbook::equation::{Point, Program, Term};
    /// use slewbook::quantity::unit::volt;
    /// use slewbook::uncertainty::{Distribution, Draw, Uncertainties};
    /// let V = Term::input("V", "voltage", 5.0 * volt);
    /// let program = Program::compile(&[(2.0 * V).expression()]).unwrap();
    /// let uncertainties = Uncertainties::none()
    ///     .with(V.symbol().unwrap(), Distribution::rectangular(3.0 * volt).unwrap()).unwrap();
    /// let draw = Draw { samples: 20_000, ..Draw::default() };
    /// let outputs = draw.outputs(&program, &Point::own(), &uncertainties).unwrap();
    /// assert!((outputs[0].standard_uncertainty().unwrap() - 12f64.sqrt()).abs() < 0.05);
    /// ```
    pub fn outputs(
        &self,
        program: &Program,
        point: &Point,
        uncertainties: &Uncertainties,
    ) -> Result<Vec<Samples>, UncertaintyError> {
        let sampler = Sampler::new(program, point, uncertainties)?;
        let count = program.run(&sampler.estimates).len();
        let rows = self.rows(&sampler, count, &|values, row| {
            row.copy_from_slice(&program.run(values));
        })?;
        Ok((0..count)
            .map(|k| {
                let column = rows.iter().skip(k).step_by(count).copied().collect();
                Samples::new(column, sampler.notes.clone())
            })
            .collect())
    }

    /// Magnitudes of the deviation of a linear form of inputs from its estimate.
    ///
    /// # Errors
    /// As [`Draw::outputs`].
    pub(crate) fn linear(
        &self,
        inputs: &[Input],
        sensitivities: &[f64],
        uncertainties: &Uncertainties,
    ) -> Result<Vec<f64>, UncertaintyError> {
        let uncertain: Vec<(usize, Input)> = inputs.iter().copied().enumerate().collect();
        let estimates = vec![0.0; inputs.len()];
        let sampler = Sampler::over(&uncertain, estimates, uncertainties)?;
        self.rows(&sampler, 1, &|deviations, row| {
            let sum: f64 = deviations
                .iter()
                .zip(sensitivities)
                .map(|(d, c)| c * d)
                .sum();
            row[0] = sum.abs();
        })
    }

    /// Samples of a derivation's result at a point. A sample at which the result
    /// has no value, or a condition is violated, counts as one without value.
    ///
    /// # Errors
    /// As [`Draw::outputs`]; a derivation that cannot be compiled.
    pub fn record(
        &self,
        record: &Record,
        point: &Point,
        uncertainties: &Uncertainties,
    ) -> Result<Samples, UncertaintyError> {
        let program = record.program()?;
        let sampler = Sampler::new(program, point, uncertainties)?;
        let values = self.rows(&sampler, 1, &|values, row| {
            row[0] = record.sample(program, values);
        })?;
        Ok(Samples::new(values, sampler.notes))
    }

    /// The rows that `evaluate` fills, one per sample, in order.
    fn rows(
        &self,
        sampler: &Sampler,
        width: usize,
        evaluate: &(impl Fn(&[f64], &mut [f64]) + Sync),
    ) -> Result<Vec<f64>, UncertaintyError> {
        if self.samples < 2 {
            return Err(UncertaintyError::Range {
                what: "the number of samples",
                #[expect(clippy::cast_precision_loss, reason = "zero or one")]
                value: self.samples as f64,
                expected: "two or more; 200000 for a 95 % interval of two digits",
            });
        }
        let mut rows = vec![f64::NAN; self.samples * width];
        let cores = || std::thread::available_parallelism().map_or(1, usize::from);
        let blocks = self.samples.div_ceil(BLOCK);
        let threads = self.threads.unwrap_or_else(cores).clamp(1, blocks);
        let share = blocks.div_ceil(threads);
        std::thread::scope(|scope| {
            for (thread, part) in rows.chunks_mut(share * BLOCK * width).enumerate() {
                scope.spawn(move || {
                    for (index, block) in part.chunks_mut(BLOCK * width).enumerate() {
                        let number = (thread * share + index) as u64;
                        let mut stream = Stream::new(self.seed, number);
                        let mut deviates = Vec::new();
                        let mut values = sampler.estimates.clone();
                        for row in block.chunks_mut(width) {
                            sampler.draw(&mut stream, &mut deviates, &mut values);
                            evaluate(&values, row);
                        }
                    }
                });
            }
        });
        Ok(rows)
    }
}

/// Draws the inputs of a program.
struct Sampler {
    estimates: Vec<f64>,
    /// Where the values of the uncertain inputs stand.
    places: Vec<usize>,
    joint: Joint,
    notes: Vec<String>,
}

impl Sampler {
    fn new(
        program: &Program,
        point: &Point,
        uncertainties: &Uncertainties,
    ) -> Result<Self, UncertaintyError> {
        let uncertain = uncertainties.among(program.inputs());
        Self::over(&uncertain, point.inputs(program), uncertainties)
    }

    /// Of inputs with their places among the values, the values at `estimates`.
    fn over(
        uncertain: &[(usize, Input)],
        estimates: Vec<f64>,
        uncertainties: &Uncertainties,
    ) -> Result<Self, UncertaintyError> {
        let inputs: Vec<Input> = uncertain.iter().map(|(_, input)| *input).collect();
        let joint = uncertainties.joint(&inputs)?;
        let mut notes = Vec::new();
        for (place, input) in inputs.iter().enumerate() {
            let name = input.symbol.glyph();
            let shape = input.distribution.shape();
            let count = input.distribution.degrees_of_freedom();
            let correlated = joint.correlated(place);
            if correlated && count.is_finite() {
                notes.push(format!(
                    "{name} is drawn jointly with what it is correlated with: its finite degrees \
                     of freedom do not widen the samples."
                ));
            } else if shape != Shape::Normal && count.is_finite() {
                notes.push(format!(
                    "The half-width of {name} is drawn as exactly known: its finite degrees of \
                     freedom do not widen the samples."
                ));
            } else if count <= 2.0 {
                notes.push(format!(
                    "With two degrees of freedom or fewer {name} has no standard deviation: \
                     coverage intervals hold, the samples' standard uncertainty does not settle."
                ));
            }
        }
        Ok(Self {
            estimates,
            places: uncertain.iter().map(|(place, _)| *place).collect(),
            joint,
            notes,
        })
    }

    /// One sample of the inputs.
    fn draw(&self, stream: &mut Stream, deviates: &mut Vec<f64>, values: &mut [f64]) {
        self.joint.draw(stream, deviates, |k, deviation| {
            let place = self.places[k];
            values[place] = self.estimates[place] + deviation;
        });
    }
}
