//! Linear algebra of a few states: complex numbers, elimination, spectral radius.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// A complex number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Complex {
    pub re: f64,
    pub im: f64,
}

impl Complex {
    pub const ZERO: Self = Self { re: 0.0, im: 0.0 };
    pub const ONE: Self = Self { re: 1.0, im: 0.0 };

    /// The point of the unit circle at an angle.
    pub fn turn(angle: f64) -> Self {
        let (im, re) = angle.sin_cos();
        Self { re, im }
    }

    pub fn abs(self) -> f64 {
        self.re.hypot(self.im)
    }

    /// Its angle, in radians from -π to π.
    pub fn angle(self) -> f64 {
        self.im.atan2(self.re)
    }
}

impl From<f64> for Complex {
    fn from(re: f64) -> Self {
        Self { re, im: 0.0 }
    }
}

impl Add for Complex {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            re: self.re + other.re,
            im: self.im + other.im,
        }
    }
}

impl Sub for Complex {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Neg for Complex {
    type Output = Self;
    fn neg(self) -> Self {
        Self {
            re: -self.re,
            im: -self.im,
        }
    }
}

impl Mul for Complex {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        Self {
            re: self.re * other.re - self.im * other.im,
            im: self.re * other.im + self.im * other.re,
        }
    }
}

impl Div for Complex {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let square = other.re * other.re + other.im * other.im;
        let conjugate = Self {
            re: other.re / square,
            im: -other.im / square,
        };
        self * conjugate
    }
}

/// Solves a system by Gauss's elimination with pivots, the right side as the last
/// column of every row; none where the matrix is singular.
pub(super) fn solve(mut rows: Vec<Vec<Complex>>) -> Option<Vec<Complex>> {
    let n = rows.len();
    for k in 0..n {
        let pivot = (k..n).max_by(|a, b| rows[*a][k].abs().total_cmp(&rows[*b][k].abs()))?;
        rows.swap(k, pivot);
        let row = rows[k].clone();
        if row[k].abs() == 0.0 || !row[k].abs().is_finite() {
            return None;
        }
        for other in rows.iter_mut().skip(k + 1) {
            let factor = other[k] / row[k];
            for (x, y) in other.iter_mut().zip(&row) {
                *x = *x - factor * *y;
            }
        }
    }
    let mut solution = vec![Complex::ZERO; n];
    for k in (0..n).rev() {
        let sum = (k + 1..n).fold(Complex::ZERO, |sum, j| sum + rows[k][j] * solution[j]);
        solution[k] = (rows[k][n] - sum) / rows[k][k];
    }
    Some(solution)
}

/// Squarings after which a matrix's power tells its spectral radius to rounding.
const SQUARINGS: i32 = 48;

/// The largest magnitude of a square matrix's eigenvalues: the limit of the `k`-th root
/// of the norm of its `k`-th power, by squaring.
pub(super) fn spectral_radius(matrix: &[Vec<f64>]) -> f64 {
    let norm = |m: &[Vec<f64>]| {
        m.iter()
            .flatten()
            .fold(0.0, |most: f64, x| most.max(x.abs()))
    };
    let mut power = matrix.to_vec();
    let mut logarithm = 0.0;
    for k in 0..SQUARINGS {
        let scale = norm(&power);
        if scale == 0.0 {
            return 0.0;
        }
        logarithm += scale.ln() / 2f64.powi(k);
        for x in power.iter_mut().flatten() {
            *x /= scale;
        }
        let columns: Vec<Vec<f64>> = (0..power.len())
            .map(|j| power.iter().map(|row| row[j]).collect())
            .collect();
        power = power
            .iter()
            .map(|row| columns.iter().map(|column| dot(row, column)).collect())
            .collect();
    }
    logarithm.exp()
}

/// The sum of products.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_spectral_radius_of_matrices_with_known_eigenvalues() {
        // Companion matrices: of (x - 0.9)(x - 0.5), of x² - x + 0.81 (a pair of
        // magnitude 0.9), of (x + 1.2)(x - 0.7).
        for ([p, q], radius) in [
            ([1.4, -0.45], 0.9),
            ([1.0, -0.81], 0.9),
            ([-0.5, 0.84], 1.2),
        ] {
            let found = spectral_radius(&[vec![p, q], vec![1.0, 0.0]]);
            assert!((found - radius).abs() < 1e-11, "{found}");
        }
        let nilpotent = [vec![0.0, 5.0], vec![0.0, 0.0]];
        assert_eq!(spectral_radius(&nilpotent), 0.0);
    }

    #[test]
    fn a_complex_system_is_solved() {
        let i = Complex { re: 0.0, im: 1.0 };
        // i y = 2 and 2 x + y = i: the first pivot is zero.
        let rows = vec![
            vec![Complex::ZERO, i, Complex::from(2.0)],
            vec![Complex::from(2.0), Complex::ONE, i],
        ];
        let solution = solve(rows).unwrap();
        // y = 2/i = -2 i and x = (i - y)/2 = 1.5 i.
        assert_eq!(solution[1], Complex { re: 0.0, im: -2.0 });
        assert_eq!(solution[0], Complex { re: 0.0, im: 1.5 });
    }
}
