//! Integrals over a box: closed form in the curves' charge and energy, or a sum
//! over parts.

use super::curve;
use super::enclosure::Enclosure;
use super::interval::Interval;
use super::work;
use crate::equation::node::Binary;
use crate::equation::program::{Integral, Moment, Offset, Piece};
use crate::equation::scalar::sealed::Operations as _;

/// Least and greatest number of parts of an integral without closed form. The
/// error of each is of second order in its length. Powers of two, so that the
/// parts' ends and middles are exact.
const PARTS: [u32; 2] = [16, 64];

/// More parts for a smaller box, so that the error falls with it.
fn part_count<'e>(entering: impl Iterator<Item = &'e Enclosure>) -> u32 {
    let width = entering
        .map(|e| e.range.width() / e.range.magnitude())
        .filter(|width| width.is_finite())
        .fold(0.0, f64::max);
    let [least, greatest] = PARTS;
    let mut count = least;
    while count < greatest && f64::from(count) * width < 2.0 {
        count *= 2;
    }
    count
}

fn add(x: &Enclosure, y: &Enclosure) -> Enclosure {
    Enclosure::binary(Binary::Add, x, y)
}

fn subtract(x: &Enclosure, y: &Enclosure) -> Enclosure {
    Enclosure::binary(Binary::Subtract, x, y)
}

fn multiply(x: &Enclosure, y: &Enclosure) -> Enclosure {
    Enclosure::binary(Binary::Multiply, x, y)
}

impl Offset {
    /// The line's value where its variable is zero.
    fn enclosed(&self, registers: &[Enclosure]) -> Enclosure {
        let mut total = Enclosure::point(0.0);
        for register in &self.plus {
            total = add(&total, &registers[*register]);
        }
        for register in &self.minus {
            total = subtract(&total, &registers[*register]);
        }
        total
    }
}

/// `intercept + slope·x`.
fn on_line(intercept: &Enclosure, slope: f64, x: &Enclosure) -> Enclosure {
    add(intercept, &multiply(&Enclosure::point(slope), x))
}

/// The integral of curves and constants against a line.
pub(super) fn moment(integral: &Integral, moment: &Moment, registers: &[Enclosure]) -> Enclosure {
    let (lower, upper) = (&registers[integral.lower], &registers[integral.upper]);
    let (intercept, slope) = moment.weight.as_ref().map_or_else(
        || (Enclosure::point(1.0), 0.0),
        |line| (line.enclosed(registers), line.slope),
    );
    let weights = Weights {
        at_lower: on_line(&intercept, slope, lower),
        at_upper: on_line(&intercept, slope, upper),
        intercept,
        slope,
    };
    let mut total = Enclosure::point(0.0);
    for piece in &integral.pieces {
        let part = piece.enclosed(registers, lower, upper, &weights);
        let scaled = piece
            .factor
            .map(|factor| multiply(&registers[factor], &part));
        total = add(&total, scaled.as_ref().unwrap_or(&part));
    }
    if !moment.constants.is_empty() {
        let length = subtract(upper, lower);
        let mean = multiply(
            &Enclosure::point(0.5),
            &add(&weights.at_lower, &weights.at_upper),
        );
        let line = multiply(&length, &mean);
        for constant in &moment.constants {
            total = add(&total, &multiply(&registers[*constant], &line));
        }
    }
    total
}

/// The line against which curves are integrated.
struct Weights {
    intercept: Enclosure,
    slope: f64,
    at_lower: Enclosure,
    at_upper: Enclosure,
}

impl Piece {
    /// `∫ C(s·u + c)·(p + w·u) du`, by `v = s·u + c`:
    /// `(p − s·w·c)·s·[Q(v)] + w·[E(v)]`; its slopes by the Leibniz rule, in
    /// which the terms are small where the integral is.
    fn enclosed(
        &self,
        registers: &[Enclosure],
        lower: &Enclosure,
        upper: &Enclosure,
        weights: &Weights,
    ) -> Enclosure {
        let (curve, sign, magnitude) = (self.curve, self.line.slope, self.magnitude);
        let c = self.line.enclosed(registers);
        let (from, to) = (on_line(&c, sign, lower), on_line(&c, sign, upper));
        let signed = Interval::point(sign);
        let capacitance = |v: &Enclosure| {
            let v = if magnitude { v.range.abs() } else { v.range };
            curve::capacitance(curve, v)
        };
        let (at_from, at_to) = (capacitance(&from), capacitance(&to));
        let count = [&from, &to, lower, upper, &weights.intercept, &c]
            .iter()
            .map(|e| e.partials.len())
            .max()
            .unwrap_or(0);
        let doubt = from
            .doubt
            .or(to.doubt)
            .or(weights.at_lower.doubt)
            .or(weights.at_upper.doubt);
        let charges = |from: Interval, to: Interval| {
            signed * (curve::charge(curve, to, magnitude) - curve::charge(curve, from, magnitude))
        };
        let area = Enclosure {
            centre: charges(from.centre, to.centre),
            range: charges(from.range, to.range),
            partials: (0..count)
                .map(|k| signed * (at_to * to.partial(k) - at_from * from.partial(k)))
                .collect(),
            doubt,
        }
        .tightened();
        let lever = on_line(&weights.intercept, -sign * weights.slope, &c);
        let slope = Interval::point(weights.slope);
        let value = |lever: Interval, area: Interval, from: Interval, to: Interval| {
            let energy =
                curve::energy(curve, to, magnitude) - curve::energy(curve, from, magnitude);
            lever * area + slope * energy
        };
        let partials = (0..count)
            .map(|k| {
                signed * at_to * weights.at_upper.range * to.partial(k)
                    - signed * at_from * weights.at_lower.range * from.partial(k)
                    + area.range * lever.partial(k)
            })
            .collect();
        Enclosure {
            centre: value(lever.centre, area.centre, from.centre, to.centre),
            range: value(lever.range, area.range, from.range, to.range),
            partials,
            doubt,
        }
        .tightened()
    }
}

/// Where the parts of the unit interval end: crowded at both ends, where
/// junction capacitances and small currents change fastest.
fn parts(count: u32) -> impl Iterator<Item = (f64, f64)> {
    let end = move |k: u32| {
        let t = f64::from(k) / f64::from(count);
        t * t * (3.0 - 2.0 * t)
    };
    (0..count).map(move |k| (end(k), end(k + 1)))
}

/// Any other integral, `(upper − lower)·∫ f(lower + s·(upper − lower)) ds`, over
/// parts of `s`. In a part of length `h` with `f = f(0) + f_s·t`, the mean of
/// `f` differs from its middle by a quarter of the width of `f_s` at most.
pub(super) fn general(integral: &Integral, registers: &[Enclosure]) -> Enclosure {
    let (lower, upper) = (&registers[integral.lower], &registers[integral.upper]);
    let captured = integral.body.captured(registers);
    let slot = captured
        .iter()
        .chain([lower, upper])
        .map(|e| e.partials.len())
        .max()
        .unwrap_or(0);
    let length = subtract(upper, lower);
    let mut mean = Enclosure::still(Interval::ZERO);
    mean.partials = vec![Interval::ZERO; slot];
    let mut scratch = Vec::new();
    let count = part_count(captured.iter().chain([lower, upper]));
    for (from, to) in parts(count) {
        let s = Enclosure::variable(Interval::new(from, to), slot);
        let u = add(lower, &multiply(&s, &length));
        work::run(&integral.body, &captured, &u, &mut scratch);
        let f = &scratch[integral.body.results[0]];
        let h = Interval::point(to) - Interval::point(from);
        let uneven = f.partial(slot).width() / 4.0;
        let middle = if f.doubt.is_none() && uneven.is_finite() {
            (f.centre + Interval::around_zero(uneven)).meet(f.range)
        } else {
            f.range
        };
        mean.centre = mean.centre + h * middle;
        mean.range = mean.range + h * f.range;
        for (k, sum) in mean.partials.iter_mut().enumerate() {
            *sum = *sum + h * f.partial(k);
        }
        mean.doubt = mean.doubt.or(f.doubt);
    }
    multiply(&length, &mean.tightened())
}
