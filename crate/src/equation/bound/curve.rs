//! Enclosures of a capacitance curve, its slope, charge and energy.

use super::interval::Interval;
use crate::equation::curve::{Curve, Knot, Shape};

fn point(value: f64) -> Interval {
    Interval::point(value)
}

/// `1 + v/V_j` of a junction.
fn base(v: Interval, built_in: f64) -> Interval {
    Interval::ONE + v / point(built_in)
}

/// One, less and more by so many units of the last digit.
fn relative(units: f64) -> Interval {
    let part = units * f64::EPSILON;
    Interval::new(1.0 - part, 1.0 + part)
}

/// The line between two points of a table, at `v`.
fn line(from: &Knot, to: &Knot, v: f64) -> Interval {
    let rise = point(to.capacitance) - point(from.capacitance);
    let run = point(to.voltage) - point(from.voltage);
    point(from.capacitance) + rise * (point(v) - point(from.voltage)) / run
}

/// The capacitance at one voltage.
fn at(curve: &Curve, v: f64) -> Interval {
    let v = v.max(0.0);
    match &curve.shape {
        Shape::Constant(c) => point(*c),
        Shape::Law {
            zero_bias,
            built_in,
            grading,
            floor,
        } => point(*zero_bias) / base(point(v), *built_in).powf(point(*grading)) + point(*floor),
        Shape::Table(knots, _) => {
            let above = knots.partition_point(|k| k.voltage <= v);
            match (above.checked_sub(1), knots.get(above)) {
                (Some(below), Some(to)) => line(&knots[below], to, v),
                (Some(last), None) => point(knots[last].capacitance),
                (None, _) => point(knots[0].capacitance),
            }
        }
    }
}

/// The capacitances over a range of voltage: extremes lie at its ends or knots.
pub(super) fn capacitance(curve: &Curve, v: Interval) -> Interval {
    let mut hull = at(curve, v.low()).hull(at(curve, v.high()));
    if let Shape::Table(knots, hulls) = &curve.shape {
        let first = knots.partition_point(|k| k.voltage <= v.low());
        let end = knots.partition_point(|k| k.voltage < v.high());
        if let Some((least, greatest)) = hulls.capacitance.over(first, end) {
            hull = hull.hull(Interval::new(least, greatest));
        }
    }
    hull
}

/// The slopes of the capacitance over a range of voltage.
pub(super) fn slope(curve: &Curve, v: Interval) -> Interval {
    match &curve.shape {
        Shape::Constant(_) => Interval::ZERO,
        Shape::Law {
            zero_bias,
            built_in,
            grading,
            ..
        } => {
            let flat = (v.low() <= 0.0).then_some(Interval::ZERO);
            let falling = (v.high() >= 0.0).then(|| {
                let factor = -(point(*grading) * point(*zero_bias) / point(*built_in));
                factor
                    / base(v.max(Interval::ZERO), *built_in).powf(point(*grading) + Interval::ONE)
            });
            match (flat, falling) {
                (Some(flat), Some(falling)) => flat.hull(falling),
                (one, other) => one.or(other).unwrap_or(Interval::ENTIRE),
            }
        }
        Shape::Table(knots, hulls) => {
            let first = knots[0].voltage.max(0.0);
            let last = knots[knots.len() - 1].voltage;
            let mut hull = (v.low() <= first || v.high() >= last).then_some(Interval::ZERO);
            let below = knots.partition_point(|k| k.voltage < v.low());
            let end = knots.partition_point(|k| k.voltage <= v.high());
            let run = (below.saturating_sub(1), end.min(knots.len() - 1));
            if let Some((least, greatest)) = hulls.slope.over(run.0, run.1) {
                // Each is right to two units of its last digit.
                let slopes = Interval::new(least, greatest) * relative(2.0);
                hull = Some(hull.map_or(slopes, |hull| hull.hull(slopes)));
            }
            hull.unwrap_or(Interval::ENTIRE)
        }
    }
}

/// Charge and energy from 0 V to one voltage.
fn moments(curve: &Curve, v: f64) -> (Interval, Interval) {
    let flat = |c: Interval, v: f64| (c * point(v), c * point(v).power(2) * point(0.5));
    if v < 0.0 {
        return flat(at(curve, 0.0), v);
    }
    match &curve.shape {
        Shape::Constant(c) => flat(point(*c), v),
        Shape::Law {
            zero_bias,
            built_in,
            grading,
            floor,
        } => {
            let one = Interval::ONE;
            let y = base(point(v), *built_in);
            let first = one - point(*grading);
            let power = y.powf(first);
            let by_power = (power - one) / first;
            let scale = point(*zero_bias) * point(*built_in);
            let (charge, energy) = flat(point(*floor), v);
            (
                charge + scale * by_power,
                energy + scale * point(*built_in) * ((power * y - one) / (first + one) - by_power),
            )
        }
        Shape::Table(knots, _) => {
            // Constant up to the first point, then line by line.
            let passed = knots.partition_point(|k| k.voltage <= v);
            let Some(last) = passed.checked_sub(1) else {
                return flat(point(knots[0].capacitance), v);
            };
            // Sums of terms that are not negative: each term adds less than a unit of
            // the last digit to the relative error, and has eight of its own.
            #[expect(clippy::cast_precision_loss, reason = "a number of points")]
            let error = relative(16.0 + passed as f64);
            let from = &knots[last];
            let c0 = point(from.capacitance);
            let c1 = knots.get(passed).map_or(c0, |to| line(from, to, v));
            let step = point(v) - point(from.voltage);
            let mean = (c0 + c1) * point(0.5);
            // The line's moment about its start is step²·(c0/6 + c1/3).
            (
                point(from.charge) * error + mean * step,
                point(from.energy) * error
                    + step * point(from.voltage) * mean
                    + step.power(2) * (c0 + c1 + c1) / point(6.0),
            )
        }
    }
}

/// The charge up to a voltage, which rises with it; an odd function of the
/// voltage where only its magnitude counts.
pub(super) fn charge(curve: &Curve, v: Interval, magnitude: bool) -> Interval {
    let one = |v: f64| {
        if magnitude && v < 0.0 {
            -moments(curve, -v).0
        } else {
            moments(curve, v).0
        }
    };
    one(v.low()).hull(one(v.high()))
}

/// The energy up to a voltage: least, and zero, at zero.
pub(super) fn energy(curve: &Curve, v: Interval, magnitude: bool) -> Interval {
    let one = |v: f64| moments(curve, if magnitude { v.abs() } else { v }).1;
    let ends = one(v.low()).hull(one(v.high()));
    if v.contains(0.0) {
        ends.hull(Interval::ZERO)
    } else {
        ends
    }
}
