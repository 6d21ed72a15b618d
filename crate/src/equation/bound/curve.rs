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
        Shape::Table(knots) => {
            let above = knots.partition_point(|k| k.voltage <= v);
            match (above.checked_sub(1), knots.get(above)) {
                (Some(below), Some(to)) => line(&knots[below], to, v),
                (Some(last), None) => point(knots[last].capacitance),
                (None, _) => point(knots[0].capacitance),
            }
        }
    }
}

/// The knots of a table strictly within a range.
fn within(knots: &[Knot], v: Interval) -> impl Iterator<Item = &Knot> {
    knots
        .iter()
        .filter(move |k| v.low() < k.voltage && k.voltage < v.high())
}

/// The capacitances over a range of voltage: extremes lie at its ends or knots.
pub(super) fn capacitance(curve: &Curve, v: Interval) -> Interval {
    let mut hull = at(curve, v.low()).hull(at(curve, v.high()));
    if let Shape::Table(knots) = &curve.shape {
        for knot in within(knots, v) {
            hull = hull.hull(point(knot.capacitance));
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
        Shape::Table(knots) => {
            let first = knots[0].voltage.max(0.0);
            let last = knots[knots.len() - 1].voltage;
            let mut hull = (v.low() <= first || v.high() >= last).then_some(Interval::ZERO);
            for pair in knots.windows(2) {
                if pair[0].voltage <= v.high() && v.low() <= pair[1].voltage {
                    let slope = (point(pair[1].capacitance) - point(pair[0].capacitance))
                        / (point(pair[1].voltage) - point(pair[0].voltage));
                    hull = Some(hull.map_or(slope, |hull| hull.hull(slope)));
                }
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
        Shape::Table(knots) => {
            // Constant up to the first point, then line by line.
            let (mut charge, mut energy) =
                flat(point(knots[0].capacitance), v.min(knots[0].voltage));
            let mut add = |v0: f64, v1: f64, c0: Interval, c1: Interval| {
                let step = point(v1) - point(v0);
                let mean = (c0 + c1) * point(0.5);
                charge = charge + mean * step;
                // The line's moment about v0 is step²·(c0/6 + c1/3).
                energy =
                    energy + step * point(v0) * mean + step.power(2) * (c0 + c1 + c1) / point(6.0);
            };
            for pair in knots.windows(2) {
                if v <= pair[0].voltage {
                    break;
                }
                let end = v.min(pair[1].voltage);
                add(
                    pair[0].voltage,
                    end,
                    point(pair[0].capacitance),
                    line(&pair[0], &pair[1], end),
                );
            }
            let last = knots[knots.len() - 1];
            if v > last.voltage {
                let c = point(last.capacitance);
                add(last.voltage, v, c, c);
            }
            (charge, energy)
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
