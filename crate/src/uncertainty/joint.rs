//! Which correlation coefficients can hold together, and how correlated inputs
//! are drawn jointly.
//!
//! A coefficient does not say all about a joint distribution unless both inputs
//! are normal (JCGM 101:2008, 6.4.8). Rectangular ones are drawn as the
//! probabilities of correlated normal deviates, whose coefficient is chosen so
//! that the inputs have the stated one.

use super::distribution::{Distribution, Shape};
use super::random::Stream;

/// Coefficients are stated to a few digits, and full correlation leaves a pivot
/// of rounding errors.
const ZERO: f64 = 1e-9;

/// Why two inputs are not drawn jointly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Apart {
    /// One is triangular: no joint form is defined for it here.
    Triangular,
    /// A normal and a rectangular input cannot be correlated this much.
    Beyond(f64),
}

/// The Cholesky factor of a correlation matrix, row by row: it makes independent
/// deviations into correlated ones.
///
/// # Errors
/// The row at which the matrix proves not to be positive semi-definite.
pub(crate) fn factor(
    count: usize,
    coefficient: impl Fn(usize, usize) -> f64,
) -> Result<Vec<Vec<f64>>, usize> {
    let mut rows: Vec<Vec<f64>> = Vec::with_capacity(count);
    for i in 0..count {
        let mut row = vec![0.0; count];
        for j in 0..=i {
            let product = |other: &[f64]| -> f64 { (0..j).map(|k| row[k] * other[k]).sum() };
            if i == j {
                let pivot = 1.0 - product(&row);
                if pivot < -ZERO {
                    return Err(i);
                }
                row[i] = if pivot > ZERO { pivot.sqrt() } else { 0.0 };
            } else {
                let rest = coefficient(i, j) - product(&rows[j]);
                if rows[j][j] > 0.0 {
                    row[j] = rest / rows[j][j];
                } else if rest.abs() > ZERO.sqrt() {
                    return Err(i);
                }
            }
        }
        rows.push(row);
    }
    Ok(rows)
}

/// The coefficient of the normal deviates from which two inputs of a coefficient
/// are drawn.
///
/// For a pair of normal deviates of coefficient `r`, their probabilities have
/// the coefficient `(6/π)·asin(r/2)`, and a probability with the other deviate
/// has `r·√(3/π)`.
///
/// # Errors
/// Why they are not drawn jointly.
pub(crate) fn deviates(one: Shape, other: Shape, coefficient: f64) -> Result<f64, Apart> {
    use std::f64::consts::{FRAC_PI_3, FRAC_PI_6};
    match (one, other) {
        (Shape::Triangular, _) | (_, Shape::Triangular) => Err(Apart::Triangular),
        (Shape::Normal, Shape::Normal) => Ok(coefficient),
        (Shape::Rectangular, Shape::Rectangular) => Ok(2.0 * (coefficient * FRAC_PI_6).sin()),
        (Shape::Normal, Shape::Rectangular) | (Shape::Rectangular, Shape::Normal) => {
            let most = 1.0 / FRAC_PI_3.sqrt();
            if coefficient.abs() <= most {
                Ok(coefficient / most)
            } else {
                Err(Apart::Beyond(most))
            }
        }
    }
}

/// Why inputs are not drawn jointly, by their places.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Refused {
    /// A pair that is not drawn jointly, with its coefficient.
    Pair([usize; 2], Apart, f64),
    /// The coefficients up to this input cannot hold together.
    Inconsistent(usize),
}

/// Inputs that are drawn together: the one place where deviations of correlated
/// inputs come from.
#[derive(Clone, Debug)]
pub(crate) struct Joint {
    distributions: Vec<Distribution>,
    /// The Cholesky factor of the inputs' correlation matrix.
    inputs: Vec<Vec<f64>>,
    /// The Cholesky factor of the deviates of correlated inputs.
    factor: Vec<Vec<f64>>,
    correlated: Vec<bool>,
}

impl Joint {
    /// From the inputs' distributions and correlation coefficients.
    ///
    /// # Errors
    /// Why they are not drawn jointly.
    pub fn new(
        distributions: Vec<Distribution>,
        coefficient: impl Fn(usize, usize) -> f64,
    ) -> Result<Self, Refused> {
        let count = distributions.len();
        // What propagation refuses is not drawn either.
        let inputs = factor(count, &coefficient).map_err(Refused::Inconsistent)?;
        let mut entries = vec![vec![0.0; count]; count];
        let mut correlated = vec![false; count];
        for i in 0..count {
            for j in (0..count).filter(|j| *j != i) {
                let stated = coefficient(i, j);
                if stated == 0.0 {
                    continue;
                }
                correlated[i] = true;
                let shapes = [i, j].map(|k| distributions[k].shape());
                entries[i][j] = deviates(shapes[0], shapes[1], stated)
                    .map_err(|apart| Refused::Pair([i, j], apart, stated))?;
            }
        }
        Ok(Self {
            factor: factor(count, |i, j| entries[i][j]).map_err(Refused::Inconsistent)?,
            inputs,
            distributions,
            correlated,
        })
    }

    /// The distributions, in order.
    pub fn distributions(&self) -> &[Distribution] {
        &self.distributions
    }

    /// The standard uncertainty of a result that one standard uncertainty of each input
    /// moves by so much: JCGM 100:2008, equation (16).
    pub fn combined(&self, contributions: &[f64]) -> f64 {
        let column = |k: usize| {
            let parts = self.inputs.iter().zip(contributions);
            parts.map(|(row, part)| row[k] * part).sum::<f64>()
        };
        let square = (0..contributions.len()).map(|k| column(k).powi(2));
        square.sum::<f64>().sqrt()
    }

    /// Whether an input is correlated with another.
    pub fn correlated(&self, place: usize) -> bool {
        self.correlated[place]
    }

    /// One draw: `put` gets the deviation of the input at each place. `deviates` is
    /// room for the work.
    pub fn draw(
        &self,
        stream: &mut Stream,
        deviates: &mut Vec<f64>,
        mut put: impl FnMut(usize, f64),
    ) {
        deviates.clear();
        for (place, distribution) in self.distributions.iter().enumerate() {
            if self.correlated[place] {
                deviates.push(stream.normal(f64::INFINITY));
            } else {
                put(place, stream.deviation(distribution));
                deviates.push(0.0);
            }
        }
        for (place, (distribution, row)) in self.distributions.iter().zip(&self.factor).enumerate()
        {
            if self.correlated[place] {
                let deviate: f64 = row.iter().zip(&*deviates).map(|(l, z)| l * z).sum();
                put(place, distribution.deviation(deviate));
            }
        }
    }
}
