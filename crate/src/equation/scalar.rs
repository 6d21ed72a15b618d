//! The algebras a program can be run in: plain numbers here, gradients in
//! [`super::gradient`]; each gives its own meaning to the same instructions.

use super::curve::Curve;
use super::node::{Binary, Relation, Unary};
use super::program::{Integral, Moment, Offset, Piece, Solve};
use super::{quadrature, root};

/// What a program's registers hold.
pub trait Scalar: Clone + sealed::Operations {}

impl<S: Clone + sealed::Operations> Scalar for S {}

pub(crate) mod sealed {
    use super::{Binary, Curve, Integral, Relation, Solve, Unary};

    /// The meaning of each instruction.
    pub trait Operations: Sized {
        fn constant(value: f64) -> Self;
        fn unary(op: Unary, x: &Self) -> Self;
        fn binary(op: Binary, x: &Self, y: &Self) -> Self;
        fn power(x: &Self, power: i32) -> Self;
        fn select(
            relation: Relation,
            left: &Self,
            right: &Self,
            then: &Self,
            otherwise: &Self,
        ) -> Self;
        fn curve(curve: &Curve, x: &Self) -> Self;
        fn integral(integral: &Integral, registers: &[Self]) -> Self;
        fn solve(solve: &Solve, registers: &[Self]) -> Self;
    }
}

impl sealed::Operations for f64 {
    fn constant(value: f64) -> Self {
        value
    }

    #[inline]
    fn unary(op: Unary, x: &Self) -> Self {
        match op {
            Unary::Negate => -x,
            Unary::Sqrt => x.sqrt(),
            Unary::Exp => x.exp(),
            Unary::Ln => x.ln(),
            Unary::Sin => x.sin(),
            Unary::Cos => x.cos(),
            Unary::Asin => x.asin(),
            Unary::Acos => x.acos(),
            Unary::Abs => x.abs(),
            Unary::Floor => x.floor(),
        }
    }

    #[inline]
    fn binary(op: Binary, x: &Self, y: &Self) -> Self {
        match op {
            Binary::Add => x + y,
            Binary::Subtract => x - y,
            Binary::Multiply => x * y,
            Binary::Divide => x / y,
            Binary::Power => x.powf(*y),
            // Unlike f64::min and max, an operand without a value is not dropped.
            Binary::Min => {
                if x.is_nan() || x < y {
                    *x
                } else {
                    *y
                }
            }
            Binary::Max => {
                if x.is_nan() || x > y {
                    *x
                } else {
                    *y
                }
            }
        }
    }

    #[inline]
    fn power(x: &Self, power: i32) -> Self {
        x.powi(power)
    }

    #[inline]
    fn select(
        relation: Relation,
        left: &Self,
        right: &Self,
        then: &Self,
        otherwise: &Self,
    ) -> Self {
        if left.is_nan() || right.is_nan() {
            Self::NAN
        } else if relation.holds(*left, *right) {
            *then
        } else {
            *otherwise
        }
    }

    #[inline]
    fn curve(curve: &Curve, x: &Self) -> Self {
        if x.is_nan() { *x } else { curve.at(*x) }
    }

    fn integral(integral: &Integral, registers: &[Self]) -> Self {
        let (lower, upper) = (registers[integral.lower], registers[integral.upper]);
        if let Some(moment) = &integral.moment {
            let (intercept, slope) = moment.line(registers);
            let mut total = 0.0;
            for piece in &integral.pieces {
                total += piece.moment(registers, lower, upper, intercept, slope);
            }
            let line =
                intercept * (upper - lower) + slope * (upper - lower) * (upper + lower) / 2.0;
            for constant in &moment.constants {
                total += registers[*constant] * line;
            }
            return total;
        }
        let captured = integral.body.captured(registers);
        let result = integral.body.results[0];
        let mut scratch = Vec::new();
        quadrature::integrate(
            lower,
            upper,
            &integral.breaks(registers),
            &[0.0],
            |u, out| {
                integral.body.run(&captured, &u, &mut scratch);
                out[0] = scratch[result];
            },
        )[0]
    }

    fn solve(solve: &Solve, registers: &[Self]) -> Self {
        let captured = solve.body.captured(registers);
        let (left, right) = (solve.body.results[0], solve.body.results[1]);
        let mut scratch = Vec::new();
        root::find(registers[solve.lower], registers[solve.upper], |x| {
            solve.body.run(&captured, &x, &mut scratch);
            scratch[left] - scratch[right]
        })
        .unwrap_or(Self::NAN)
    }
}

impl Offset {
    /// The line's value where its variable is zero.
    fn intercept(&self, registers: &[f64]) -> f64 {
        let sum = |list: &[usize]| list.iter().map(|r| registers[*r]).sum::<f64>();
        sum(&self.plus) - sum(&self.minus)
    }
}

impl Moment {
    /// Intercept and slope of the line by which the curves are weighted.
    pub fn line(&self, registers: &[f64]) -> (f64, f64) {
        self.weight
            .as_ref()
            .map_or((1.0, 0.0), |line| (line.intercept(registers), line.slope))
    }
}

impl Piece {
    /// The piece's capacitance at a value of the variable.
    pub fn capacitance(&self, registers: &[f64], u: f64) -> f64 {
        let v = self.line.slope * u + self.line.intercept(registers);
        self.factor(registers) * self.curve.at(if self.magnitude { v.abs() } else { v })
    }

    /// The factor on the curve.
    fn factor(&self, registers: &[f64]) -> f64 {
        self.factor.map_or(1.0, |factor| registers[factor])
    }

    /// `∫ k·C(slope·u + c) (intercept + weight·u) du` with the factor `k`.
    pub fn moment(
        &self,
        registers: &[f64],
        lower: f64,
        upper: f64,
        intercept: f64,
        weight: f64,
    ) -> f64 {
        self.factor(registers) * self.unscaled(registers, lower, upper, intercept, weight)
    }

    /// The same without the factor, from the curve's charge and energy, by
    /// `v = slope·u + c`.
    pub fn unscaled(
        &self,
        registers: &[f64],
        lower: f64,
        upper: f64,
        intercept: f64,
        weight: f64,
    ) -> f64 {
        let c = self.line.intercept(registers);
        let sign = self.line.slope;
        let (charge_low, energy_low) = self.moments(sign * lower + c);
        let (charge_high, energy_high) = self.moments(sign * upper + c);
        sign * (intercept - weight * sign * c) * (charge_high - charge_low)
            + weight * (energy_high - energy_low)
    }

    fn moments(&self, v: f64) -> (f64, f64) {
        moments(self.curve, self.magnitude, v)
    }
}

/// Charge and energy of a curve at a voltage, or of the curve of its magnitude.
#[inline]
pub(crate) fn moments(curve: &Curve, magnitude: bool, v: f64) -> (f64, f64) {
    if magnitude && v < 0.0 {
        let (charge, energy) = curve.moments(-v);
        (-charge, energy)
    } else {
        curve.moments(v)
    }
}

impl Integral {
    /// Where the integrand has kinks: at the curves' own, and where a magnitude turns.
    pub fn breaks(&self, registers: &[f64]) -> Vec<f64> {
        let mut breaks = Vec::new();
        for piece in &self.pieces {
            let c = piece.line.intercept(registers);
            let mut at = |v: f64| breaks.push((v - c) / piece.line.slope);
            for kink in piece.curve.kinks() {
                at(kink);
                if piece.magnitude {
                    at(-kink);
                }
            }
            if piece.magnitude {
                at(0.0);
            }
        }
        breaks
    }
}
