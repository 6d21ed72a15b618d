//! Uncertainty from observations (JCGM 100:2008, 4.2 and 5.2.3) and from a
//! straight line fitted to them (annex H.3).

use super::distribution::Distribution;
use super::error::UncertaintyError;
use super::inputs::Uncertainties;
use crate::equation::{Point, Symbol};
use crate::quantity::Dimensioned;

/// Repeated observations of one quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Observations {
    values: Vec<f64>,
    mean: f64,
}

impl Observations {
    /// Two or more independent observations, in the coherent unit.
    ///
    /// # Errors
    /// Fewer than two; one that is not finite.
    ///
    /// ```
    /// use slewbook::uncertainty::Observations;
    /// let observed = Observations::new(&[1.0, 2.0, 3.0]).unwrap();
    /// assert_eq!(observed.mean(), 2.0);
    /// assert!((observed.standard_uncertainty() - 1.0 / 3f64.sqrt()).abs() < 1e-15);
    /// assert!(Observations::new(&[1.0]).is_err());
    /// ```
    pub fn new(values: &[f64]) -> Result<Self, UncertaintyError> {
        if values.len() < 2 {
            return Err(UncertaintyError::Observations {
                problem: format!(
                    "there are {} observation(s); a standard uncertainty needs two or more",
                    values.len()
                ),
            });
        }
        if let Some(bad) = values.iter().find(|v| !v.is_finite()) {
            return Err(UncertaintyError::Range {
                what: "an observation",
                value: *bad,
                expected: "a finite value",
            });
        }
        let first = values[0];
        let mean = first + values.iter().map(|v| v - first).sum::<f64>() / count(values);
        Ok(Self {
            values: values.to_vec(),
            mean,
        })
    }

    /// The mean.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// The standard deviation of a single observation.
    #[must_use]
    pub fn standard_deviation(&self) -> f64 {
        (self.products(self) / self.degrees_of_freedom()).sqrt()
    }

    /// The standard uncertainty of the mean (JCGM 100:2008, 4.2.3).
    #[must_use]
    pub fn standard_uncertainty(&self) -> f64 {
        self.standard_deviation() / count(&self.values).sqrt()
    }

    /// One less than the number of observations.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> f64 {
        count(&self.values) - 1.0
    }

    /// The distribution of the mean, for a quantity of type `Q`.
    ///
    /// # Errors
    /// None for observations that could be made: their spread is finite.
    pub fn distribution<Q: Dimensioned>(&self) -> Result<Distribution, UncertaintyError> {
        Distribution::normal(Q::from_coherent(self.standard_uncertainty()))?
            .with_degrees_of_freedom(self.degrees_of_freedom())
    }

    /// The correlation coefficient of the means of two quantities observed
    /// together (JCGM 100:2008, 5.2.3); zero where one does not vary.
    ///
    /// # Errors
    /// Different numbers of observations.
    pub fn correlation(&self, other: &Self) -> Result<f64, UncertaintyError> {
        same_length(self.values.len(), other.values.len())?;
        let scale = (self.products(self) * other.products(other)).sqrt();
        Ok(if scale > 0.0 {
            (self.products(other) / scale).clamp(-1.0, 1.0)
        } else {
            0.0
        })
    }

    fn products(&self, other: &Self) -> f64 {
        let pairs = self.values.iter().zip(&other.values);
        pairs.map(|(a, b)| (a - self.mean) * (b - other.mean)).sum()
    }
}

impl Uncertainties {
    /// The same with quantities that were observed together: the point at which
    /// each has its mean, and their uncertainties with all correlations. Values
    /// in the coherent unit.
    ///
    /// # Errors
    /// Fewer than two observations, or different numbers of them.
    pub fn observed(
        mut self,
        mut point: Point,
        together: &[(&'static Symbol, &[f64])],
    ) -> Result<(Point, Self), UncertaintyError> {
        let mut earlier: Vec<(&'static Symbol, Observations)> = Vec::new();
        for (symbol, values) in together {
            let observed = Observations::new(values)?;
            point = point.with(symbol, observed.mean());
            let distribution = Distribution::from_coherent(
                observed.standard_uncertainty(),
                observed.degrees_of_freedom(),
                symbol.exponents(),
            );
            self = self.with(symbol, distribution)?;
            for (other, values) in &earlier {
                self = self.correlated(symbol, other, observed.correlation(values)?)?;
            }
            earlier.push((symbol, observed));
        }
        Ok((point, self))
    }
}

/// A straight line `y = y_1 + y_2 (x - x_0)` fitted by least squares to points
/// whose ordinates scatter alike (JCGM 100:2008, H.3).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StraightLine {
    /// The reference abscissa.
    pub reference: f64,
    /// The ordinate at the reference.
    pub intercept: f64,
    /// The slope.
    pub slope: f64,
    /// Standard uncertainty of the intercept.
    pub intercept_uncertainty: f64,
    /// Standard uncertainty of the slope.
    pub slope_uncertainty: f64,
    /// Their correlation coefficient.
    pub correlation: f64,
    /// Standard deviation of an ordinate from the line.
    pub residual: f64,
    /// Two less than the number of points.
    pub degrees_of_freedom: f64,
}

impl StraightLine {
    /// Fits the line.
    ///
    /// # Errors
    /// Fewer than three points, lists of different lengths, all points at one
    /// abscissa.
    ///
    /// ```
    /// use slewbook::uncertainty::StraightLine;
    /// let line = StraightLine::fit(&[0.0, 1.0, 2.0], &[1.0, 3.0, 5.0], 1.0).unwrap();
    /// assert_eq!((line.intercept, line.slope), (3.0, 2.0));
    /// ```
    pub fn fit(
        abscissae: &[f64],
        ordinates: &[f64],
        reference: f64,
    ) -> Result<Self, UncertaintyError> {
        same_length(abscissae.len(), ordinates.len())?;
        if abscissae.len() < 3 {
            return Err(UncertaintyError::Observations {
                problem: format!(
                    "there are {} point(s); a straight line with its uncertainty needs three or \
                     more",
                    abscissae.len()
                ),
            });
        }
        let (x, y) = (Observations::new(abscissae)?, Observations::new(ordinates)?);
        let spread = x.products(&x);
        if spread <= 0.0 {
            return Err(UncertaintyError::Observations {
                problem: "all points lie at one abscissa; a slope needs two or more".to_owned(),
            });
        }
        let slope = x.products(&y) / spread;
        let offset = reference - x.mean;
        let degrees_of_freedom = count(abscissae) - 2.0;
        let squares: f64 = abscissae
            .iter()
            .zip(ordinates)
            .map(|(x_k, y_k)| (y_k - y.mean - slope * (x_k - x.mean)).powi(2))
            .sum();
        let residual = (squares / degrees_of_freedom).sqrt();
        let per_point = 1.0 / count(abscissae) + offset * offset / spread;
        Ok(Self {
            reference,
            intercept: y.mean + slope * offset,
            slope,
            intercept_uncertainty: residual * per_point.sqrt(),
            slope_uncertainty: residual / spread.sqrt(),
            correlation: offset / (spread * per_point).sqrt(),
            residual,
            degrees_of_freedom,
        })
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts far below 2⁵³")]
fn count(values: &[f64]) -> f64 {
    values.len() as f64
}

fn same_length(one: usize, other: usize) -> Result<(), UncertaintyError> {
    if one == other {
        return Ok(());
    }
    Err(UncertaintyError::Observations {
        problem: format!(
            "the lists have {one} and {other} values; quantities observed together have one each \
             at every observation"
        ),
    })
}
