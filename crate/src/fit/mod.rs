//! Weighted least squares of models that are not linear in their parameters.
//!
//! Levenberg and Marquardt's method with the columns scaled as Moré does (Levenberg, 1944;
//! Marquardt, 1963; Moré, 1978): every step comes from the singular values of the matrix of
//! derivatives, which say as well what the data cannot tell apart. Near the answer full
//! steps of Gauss and Newton go on to where rounding ends them.

mod error;
mod linear;

use nalgebra::{DMatrix, DVector};

pub use error::FitError;

use linear::{Linear, Residuals, derivatives};

/// Steps at most.
const MOST_STEPS: usize = 2000;
/// A full step below this part of every parameter ends the search.
const WITHIN: f64 = 1e-10;
/// Residuals in the plane of the derivatives below this part of their scatter end it too:
/// the full step is then that small a part of a standard uncertainty.
const NEAR: f64 = 1e-4;
/// What remains is done by full steps as long as each is below this part of the one before.
const SHORTER: f64 = 0.9;
/// The least part of the predicted decrease that makes a step worth its while.
const WORTH: f64 = 1e-4;
/// Damping at the start, as a part of the largest squared singular value.
const DAMPED: f64 = 1e-3;
/// Steps tried from one place, each with more damping: the last with 10^57 times as much.
const MOST_TRIES: usize = 20;

/// A parameter to be fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameter {
    /// What messages call it.
    pub name: &'static str,
    /// Where the search starts.
    pub start: f64,
}

/// What a fit found.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The parameters, in the order of the start.
    pub parameters: Vec<f64>,
    /// The sum of the squared residuals, each over its standard uncertainty: chi-square
    /// where these are known.
    pub chi_square: f64,
    /// Residuals beyond the number of parameters.
    pub degrees: usize,
    /// Singular values of the derivatives, each column to length one, from the largest: a
    /// small one is a combination of parameters that the data hardly tell.
    pub singular_values: Vec<f64>,
    covariance: DMatrix<f64>,
}

impl Fit {
    /// Fits parameters to residuals, each `(model − measured)/u` with the standard
    /// uncertainty `u` of what was measured, or one where it is not known. Residuals that are
    /// not finite say that the model has no value there.
    ///
    /// # Errors
    /// Fewer residuals than needed, no value at the start, parameters that the data do not
    /// tell apart, a search without end.
    ///
    /// # Example
    /// ```
    /// use slewbook::fit::{Fit, Parameter};
    /// let [x, y] = [[0.0, 1.0, 2.0, 3.0], [2.0, 1.21, 0.74, 0.445]];
    /// let start = [("amplitude", 1.0), ("rate", 1.0)];
    /// let start = start.map(|(name, start)| Parameter { name, start });
    /// let residuals = |p: &[f64]| {
    ///     let each = x.iter().zip(y).map(|(x, y)| (p[0] * (-p[1] * x).exp() - y) / 0.01);
    ///     each.collect()
    /// };
    /// let fit = Fit::new(&start, &residuals).unwrap();
    /// assert!((fit.parameters[1] - 0.5).abs() < 2.0 * fit.uncertainty(1));
    /// assert_eq!(fit.degrees, 2);
    /// ```
    pub fn new(
        start: &[Parameter],
        residuals: &dyn Fn(&[f64]) -> Vec<f64>,
    ) -> Result<Self, FitError> {
        let at = |parameters: &DVector<f64>| -> Option<DVector<f64>> {
            let found = residuals(parameters.as_slice());
            let finite = found.iter().all(|value| value.is_finite());
            finite.then(|| DVector::from_vec(found))
        };
        let search = Search { start, at: &at };
        let near = search.approach()?;
        search.finish(near)
    }

    /// The covariance of two parameters where the residuals' standard uncertainties are
    /// known: an element of the inverse of `JᵀJ`, `J` the residuals' derivatives.
    ///
    /// # Panics
    /// Where there is no such parameter.
    #[must_use]
    pub fn covariance(&self, i: usize, j: usize) -> f64 {
        self.covariance[(i, j)]
    }

    /// The standard uncertainty of a parameter where those of the residuals are known.
    ///
    /// # Panics
    /// Where there is no such parameter.
    #[must_use]
    pub fn uncertainty(&self, i: usize) -> f64 {
        self.covariance(i, i).sqrt()
    }

    /// The standard uncertainty of a parameter where that of the residuals is not known,
    /// the same for all, and estimated from their scatter.
    ///
    /// # Panics
    /// Where there is no such parameter.
    #[must_use]
    pub fn deviation(&self, i: usize) -> f64 {
        self.uncertainty(i) * self.scatter()
    }

    /// The standard deviation of the residuals, `√(χ²/ν)`.
    #[must_use]
    pub fn scatter(&self) -> f64 {
        (self.chi_square / count(self.degrees)).sqrt()
    }

    /// The coefficient of correlation of two parameters.
    ///
    /// # Panics
    /// Where there is no such parameter.
    #[must_use]
    pub fn correlation(&self, i: usize, j: usize) -> f64 {
        self.covariance(i, j) / (self.uncertainty(i) * self.uncertainty(j))
    }
}

/// A search for the smallest sum of squares.
struct Search<'s> {
    start: &'s [Parameter],
    at: &'s Residuals<'s>,
}

impl Search<'_> {
    /// Damped steps from the start to next to the answer.
    fn approach(&self) -> Result<DVector<f64>, FitError> {
        let starts = self.start.iter().map(|parameter| parameter.start);
        let mut p = DVector::from_iterator(self.start.len(), starts);
        let mut r = (self.at)(&p).ok_or_else(|| self.no_value(&p))?;
        if r.len() <= p.len() {
            return Err(FitError::FewResiduals {
                residuals: r.len(),
                parameters: p.len(),
            });
        }
        let mut scale = DVector::zeros(p.len());
        let mut damping: Option<f64> = None;
        for _ in 0..MOST_STEPS {
            let derivatives = derivatives(&p, self.at).ok_or_else(|| self.no_value(&p))?;
            for (k, column) in derivatives.column_iter().enumerate() {
                scale[k] = column.norm().max(scale[k]);
            }
            let linear = Linear::new(derivatives, &scale, &r).ok_or_else(|| self.no_end(&p))?;
            let determined = linear.lost().is_empty();
            if determined && is_near(&linear, &scale, &p, &r) {
                return Ok(p);
            }
            let start = DAMPED * linear.values[0] * linear.values[0];
            let lambda = damping.unwrap_or(start);
            let Some(better) = self.better(&linear, &scale, &p, &r, lambda) else {
                self.determined(&linear)?;
                break;
            };
            (p, r) = (better.parameters, better.residuals);
            damping = Some(better.damping);
        }
        Err(self.no_end(&p))
    }

    /// A damped step that lowers the sum of squares; none where not even a short one does.
    fn better(
        &self,
        linear: &Linear,
        scale: &DVector<f64>,
        p: &DVector<f64>,
        r: &DVector<f64>,
        mut damping: f64,
    ) -> Option<Better> {
        let mut growth = 2.0;
        for _ in 0..MOST_TRIES {
            let parameters = p + linear.step(damping, scale);
            let expected = linear.decrease(damping);
            if let Some(residuals) = (self.at)(&parameters) {
                let decrease = r.norm_squared() - residuals.norm_squared();
                if decrease > WORTH * expected && decrease > 0.0 {
                    let agreement: f64 = 2.0 * decrease / expected - 1.0;
                    return Some(Better {
                        parameters,
                        residuals,
                        damping: damping * (1.0 - agreement.powi(3)).max(1.0 / 3.0),
                    });
                }
            }
            damping *= growth;
            growth *= 2.0;
        }
        None
    }

    /// Full steps to the answer as far as they become shorter: the sum of squares itself is
    /// too flat there to tell. Then covariance and singular values.
    fn finish(&self, mut p: DVector<f64>) -> Result<Fit, FitError> {
        let mut last = f64::INFINITY;
        let (r, linear, scale) = loop {
            let r = (self.at)(&p).ok_or_else(|| self.no_value(&p))?;
            let derivatives = derivatives(&p, self.at).ok_or_else(|| self.no_value(&p))?;
            let norms = derivatives.column_iter().map(|column| column.norm());
            let scale = DVector::from_iterator(p.len(), norms);
            let linear = Linear::new(derivatives, &scale, &r).ok_or_else(|| self.no_end(&p))?;
            let full = linear.step(0.0, &scale);
            let length = full.component_mul(&scale).norm();
            if length.is_nan() || length >= SHORTER * last {
                break (r, linear, scale);
            }
            last = length;
            p += full;
        };
        self.determined(&linear)?;
        let inverse = DMatrix::from_fn(p.len(), p.len(), |k, i| {
            linear.turned[(k, i)] / (linear.values[k] * scale[i])
        });
        Ok(Fit {
            chi_square: r.norm_squared(),
            degrees: r.len() - p.len(),
            singular_values: linear.values.as_slice().to_vec(),
            covariance: inverse.transpose() * inverse,
            parameters: p.as_slice().to_vec(),
        })
    }

    fn determined(&self, linear: &Linear) -> Result<(), FitError> {
        let lost = linear.lost();
        if lost.is_empty() {
            return Ok(());
        }
        let together = lost.into_iter().map(|k| self.start[k].name).collect();
        Err(FitError::Undetermined { together })
    }

    /// The parameters with their names.
    fn named(&self, p: &DVector<f64>) -> Vec<(&'static str, f64)> {
        let names = self.start.iter().map(|parameter| parameter.name);
        names.zip(p.iter().copied()).collect()
    }

    fn no_value(&self, p: &DVector<f64>) -> FitError {
        FitError::NoValue { at: self.named(p) }
    }

    fn no_end(&self, p: &DVector<f64>) -> FitError {
        FitError::NoEnd { at: self.named(p) }
    }
}

/// A step that lowers the sum of squares, and the damping for the next.
struct Better {
    parameters: DVector<f64>,
    residuals: DVector<f64>,
    damping: f64,
}

/// Whether the answer is so near that the sum of squares hardly tells it from here.
fn is_near(linear: &Linear, scale: &DVector<f64>, p: &DVector<f64>, r: &DVector<f64>) -> bool {
    let scatter = (r.norm_squared() / count(r.len() - p.len())).sqrt();
    let full = linear.step(0.0, scale);
    let within = |(step, own): (&f64, &f64)| step.abs() <= WITHIN * own.abs();
    linear.inside.norm() <= NEAR * scatter || full.iter().zip(p.iter()).all(within)
}

#[expect(clippy::cast_precision_loss, reason = "fewer points than 2^53")]
fn count(number: usize) -> f64 {
    number as f64
}
