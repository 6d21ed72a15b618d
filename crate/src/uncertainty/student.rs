//! Student's distribution: the coverage factor for a probability and a number of
//! degrees of freedom.

use super::error::UncertaintyError;

/// The factor `t_p(ν)`: the part `probability` of Student's distribution with
/// `degrees_of_freedom` lies within `±t` (JCGM 100:2008, annex G.3). For infinite
/// degrees of freedom that of the normal distribution.
///
/// # Errors
/// A probability not between 0 and 1, degrees of freedom not above zero.
///
/// ```
/// use slewbook::uncertainty::coverage_factor;
/// assert_eq!(format!("{:.2}", coverage_factor(0.95, 10.0).unwrap()), "2.23");
/// assert_eq!(format!("{:.3}", coverage_factor(0.95, f64::INFINITY).unwrap()), "1.960");
/// ```
pub fn coverage_factor(probability: f64, degrees_of_freedom: f64) -> Result<f64, UncertaintyError> {
    check_probability(probability)?;
    if degrees_of_freedom.is_nan() || degrees_of_freedom <= 0.0 {
        return Err(UncertaintyError::Range {
            what: "the number of degrees of freedom",
            value: degrees_of_freedom,
            expected: "a value above zero",
        });
    }
    let outside = 1.0 - probability;
    let beyond = |t: f64| tails(t, degrees_of_freedom) > outside;
    let mut high = 1.0;
    while beyond(high) && high < f64::MAX / 2.0 {
        high *= 2.0;
    }
    let mut low = 0.0;
    // Bisection to the last digit: the tail falls steadily.
    loop {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            return Ok(middle);
        }
        if beyond(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
}

/// A probability lies between 0 and 1, the ends excluded.
pub(crate) fn check_probability(probability: f64) -> Result<(), UncertaintyError> {
    if probability > 0.0 && probability < 1.0 {
        return Ok(());
    }
    Err(UncertaintyError::Range {
        what: "the coverage probability",
        value: probability,
        expected: "a value between 0 and 1, such as 0.95",
    })
}

/// The part of Student's distribution outside `±t`.
fn tails(t: f64, degrees_of_freedom: f64) -> f64 {
    if degrees_of_freedom.is_infinite() {
        return libm::erfc(t / std::f64::consts::SQRT_2);
    }
    let square = t * t;
    incomplete_beta(
        degrees_of_freedom / 2.0,
        0.5,
        degrees_of_freedom / (degrees_of_freedom + square),
        square / (degrees_of_freedom + square),
    )
}

/// The regularised incomplete beta function at `x`, with `y = 1 - x` given apart
/// so that neither loses digits (Abramowitz and Stegun 1964, 26.5.2 and 26.5.8).
fn incomplete_beta(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if y <= 0.0 {
        return 1.0;
    }
    let front = libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b) + a * x.ln() + b * y.ln();
    if x < (a + 1.0) / (a + b + 2.0) {
        front.exp() * continued_fraction(a, b, x) / a
    } else {
        1.0 - front.exp() * continued_fraction(b, a, y) / b
    }
}

/// The continued fraction of the incomplete beta function, by Lentz's method.
fn continued_fraction(a: f64, b: f64, x: f64) -> f64 {
    /// It converges in tens of steps; the bound only ends a loop that does not.
    const STEPS: u32 = 10_000;
    const TINY: f64 = 1e-300;
    let guard = |value: f64| if value.abs() < TINY { TINY } else { value };
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for step in 1..STEPS {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for numerator in [even, odd] {
            d = 1.0 / guard(1.0 + numerator * d);
            c = guard(1.0 + numerator / c);
            change = c * d;
            fraction *= change;
        }
        if (change - 1.0).abs() < 1e-16 {
            break;
        }
    }
    fraction
}
