//! Which correlation coefficients can hold together, and how correlated inputs
//! are drawn jointly.
//!
//! A coefficient does not say all about a joint distribution unless both inputs
//! are normal (JCGM 101:2008, 6.4.8). Rectangular ones are drawn as the
//! probabilities of correlated normal deviates, whose coefficient is chosen so
//! that the inputs have the stated one.

use super::distribution::Shape;

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
