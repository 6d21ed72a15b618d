//! The Gauss rule on -1 to 1.

/// Abscissae and weights of a rule with so many points: the roots of the Legendre
/// polynomial by Newton's method from their asymptotic places (Abramowitz and
/// Stegun, 25.4.29 and 22.16.6).
pub(super) fn gauss(points: usize) -> Vec<(f64, f64)> {
    let n = points as f64;
    (0..points)
        .map(|k| {
            let mut x = (std::f64::consts::PI * (k as f64 + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..50 {
                let (mut before, mut value) = (1.0, x);
                for j in 2..=points {
                    let j = j as f64;
                    (before, value) = (
                        value,
                        ((2.0 * j - 1.0) * x * value - (j - 1.0) * before) / j,
                    );
                }
                slope = n * (x * value - before) / (x * x - 1.0);
                let step = value / slope;
                x -= step;
                if step.abs() <= f64::EPSILON {
                    break;
                }
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn its_highest_power_is_exact() {
        let sum: f64 = gauss(12).iter().map(|(x, w)| w * (1.0 + x).powi(23)).sum();
        assert_relative_eq!(sum, 2f64.powi(24) / 24.0, max_relative = 1e-13);
    }
}
