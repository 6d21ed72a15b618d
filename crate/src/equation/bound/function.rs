//! Exponential, logarithm and the circular functions of one double, enclosed.
//!
//! The functions of the standard library have no stated error, so none is used
//! here: each function is a Taylor series in interval arithmetic with a bound
//! of its remainder, after a reduction of the argument that is itself enclosed.
//! What is widened is thereby proven, on every platform; a result is a few units
//! of its last digit wide.

use std::f64::consts::{FRAC_PI_2, LN_2};

use super::interval::Interval;

/// `π/2`, between the double below it and the next.
pub(super) fn half_pi() -> Interval {
    Interval::new(FRAC_PI_2, FRAC_PI_2.next_up())
}

/// `ln 2`, between the double below it and the next.
fn ln_two() -> Interval {
    Interval::new(LN_2, LN_2.next_up())
}

fn whole(number: i32) -> Interval {
    Interval::point(f64::from(number))
}

/// `2^power`, exact.
fn two_to(power: i32) -> Interval {
    Interval::point(2.0_f64.powi(power))
}

/// `e^x`: with `x = k·ln 2 + r`, `2^k` times the series of `e^r`.
pub(super) fn exp(x: f64) -> Interval {
    if x == 0.0 {
        return Interval::ONE;
    }
    if x > 709.0 {
        return Interval::new(f64::MAX / 4.0, f64::INFINITY);
    }
    if x < -700.0 {
        return Interval::new(0.0, 1e-300);
    }
    let k = (x / LN_2).round();
    let r = Interval::point(x) - Interval::point(k) * ln_two();
    // |r| is below 0.36: what follows the term of the 17th power is below 0.03
    // times that term.
    let mut total = Interval::ONE + Interval::around_zero(0.03);
    for n in (1..=17).rev() {
        total = Interval::ONE + total * r / whole(n);
    }
    #[expect(clippy::cast_possible_truncation, reason = "between -1010 and 1023")]
    let k = k as i32;
    total * two_to(k / 2) * two_to(k - k / 2)
}

/// `ln x`: with `x = m·2^k`, `k·ln 2` and twice the series of the area tangent
/// of `(m − 1)/(m + 1)`.
pub(super) fn ln(x: f64) -> Interval {
    if x == 1.0 {
        return Interval::ZERO;
    }
    if x <= 0.0 {
        return Interval::new(f64::NEG_INFINITY, f64::MIN);
    }
    if x == f64::INFINITY {
        return Interval::new(709.0, f64::INFINITY);
    }
    // Doubled or halved exactly; a subnormal number first times 2^60.
    let (mut m, mut k) = if x < f64::MIN_POSITIVE {
        (x * 2.0_f64.powi(60), -60)
    } else {
        (x, 0)
    };
    while m > 1e8 {
        (m, k) = (m / 2.0_f64.powi(26), k + 26);
    }
    while m < 1e-8 {
        (m, k) = (m * 2.0_f64.powi(26), k - 26);
    }
    while m > std::f64::consts::SQRT_2 {
        (m, k) = (m / 2.0, k + 1);
    }
    while m < std::f64::consts::FRAC_1_SQRT_2 {
        (m, k) = (m * 2.0, k - 1);
    }
    let m = Interval::point(m);
    let z = (m - Interval::ONE) / (m + Interval::ONE);
    // |z| is below 0.172: what follows the last term kept is z^26 times less
    // than 1/27 over 1 - z².
    let mut total = Interval::new(0.0, 0.039);
    for n in (0..=12).rev() {
        total = total * z.power(2) + Interval::ONE / whole(2 * n + 1);
    }
    whole(k) * ln_two() + whole(2) * z * total
}

/// `atan x` of a number from -1 to 1, halved twice first.
fn arc_tangent(x: Interval) -> Interval {
    let halved = |x: Interval| x / (Interval::ONE + (Interval::ONE + x.power(2)).sqrt());
    let y = halved(halved(x));
    // The series alternates: what follows the last term kept is y^28 times less
    // than 1/29.
    let mut total = Interval::new(0.0, 0.04);
    for n in (0..=13).rev() {
        let term = Interval::ONE / whole(2 * n + 1);
        total = term - total * y.power(2);
    }
    whole(4) * y * total
}

/// `asin x`, an argument beyond one counting as one.
pub(super) fn asin(x: f64) -> Interval {
    if x == 0.0 {
        return Interval::ZERO;
    }
    if x.is_nan() {
        return Interval::ENTIRE;
    }
    if x < 0.0 {
        return -asin(-x);
    }
    if x >= 1.0 {
        return half_pi();
    }
    let x = Interval::point(x);
    let other = ((Interval::ONE - x) * (Interval::ONE + x)).sqrt();
    if x.high() <= other.low() {
        arc_tangent(x / other)
    } else {
        half_pi() - arc_tangent(other / x)
    }
}

/// `sin x`: reduced by quarter turns, then the series of sine or cosine.
pub(super) fn sin(x: f64) -> Interval {
    let everywhere = Interval::new(-1.0, 1.0);
    if x == 0.0 {
        return Interval::ZERO;
    }
    if !x.is_finite() || x.abs() > 1e6 {
        return everywhere;
    }
    let quarters = (x / FRAC_PI_2).round();
    let r = Interval::point(x) - Interval::point(quarters) * half_pi();
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a millionth of the largest"
    )]
    let quarter = (quarters as i64).rem_euclid(4);
    // |r| is below 0.79 and the series alternate: what follows the last term kept
    // is less than r²/(21·22) times that term.
    let mut total = Interval::ONE + Interval::around_zero(0.002);
    let odd = i32::from(quarter % 2 == 0);
    for n in (1..=10).rev() {
        let divisor = whole(2 * n * (2 * n - 1 + 2 * odd));
        total = Interval::ONE - total * r.power(2) / divisor;
    }
    let value = if odd == 1 { total * r } else { total };
    let value = if quarter >= 2 { -value } else { value };
    value.meet(everywhere)
}
