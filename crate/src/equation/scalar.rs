//! The algebras a program can be run in: plain numbers here, in full or in quick;
//! gradients in [`super::gradient`]. Each gives its own meaning to the same
//! instructions.

use super::curve::Curve;
use super::node::{Binary, Relation, Unary};
use super::program::{Density, Integral, Moment, Offset, Piece, Solve};
use super::{charge, quadrature, root};

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

/// A plain number, and how sharply what has no closed form is worked out with it.
pub(crate) trait Plain: sealed::Operations + Copy {
    /// The quadrature's tolerance.
    const QUADRATURE: f64;
    /// How sharply an integral over the charge of tables is taken.
    const OVER_CHARGE: charge::Sharpness;
    /// The part of a root to which it is found.
    const ROOT: f64;

    /// The number.
    fn number(self) -> f64;
}

impl Plain for f64 {
    const QUADRATURE: f64 = quadrature::TOLERANCE;
    const OVER_CHARGE: charge::Sharpness = charge::Sharpness::FULL;
    const ROOT: f64 = root::EXACT;

    fn number(self) -> f64 {
        self
    }
}

/// A number for a search: right to about [`Quick::WITHIN`], several times cheaper
/// where a value takes iteration.
#[derive(Clone, Copy, Debug)]
#[repr(transparent)]
pub(crate) struct Quick(pub f64);

impl Quick {
    /// The part of a value within which two of them do not tell which is greater.
    pub const WITHIN: f64 = 2e-8;
}

impl Plain for Quick {
    const QUADRATURE: f64 = 1e-8;
    const OVER_CHARGE: charge::Sharpness = charge::Sharpness {
        tolerance: Self::QUADRATURE,
        breaks: 16,
    };
    const ROOT: f64 = 1e-11;

    fn number(self) -> f64 {
        self.0
    }
}

impl sealed::Operations for Quick {
    fn constant(value: f64) -> Self {
        Self(value)
    }

    #[inline]
    fn unary(op: Unary, x: &Self) -> Self {
        Self(f64::unary(op, &x.0))
    }

    #[inline]
    fn binary(op: Binary, x: &Self, y: &Self) -> Self {
        Self(f64::binary(op, &x.0, &y.0))
    }

    #[inline]
    fn power(x: &Self, power: i32) -> Self {
        Self(f64::power(&x.0, power))
    }

    #[inline]
    fn select(
        relation: Relation,
        left: &Self,
        right: &Self,
        then: &Self,
        otherwise: &Self,
    ) -> Self {
        Self(f64::select(
            relation,
            &left.0,
            &right.0,
            &then.0,
            &otherwise.0,
        ))
    }

    #[inline]
    fn curve(curve: &Curve, x: &Self) -> Self {
        Self(f64::curve(curve, &x.0))
    }

    fn integral(integral: &Integral, registers: &[Self]) -> Self {
        Self(integrated(integral, registers))
    }

    fn solve(solve: &Solve, registers: &[Self]) -> Self {
        Self(solved(solve, registers))
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
        integrated(integral, registers)
    }

    fn solve(solve: &Solve, registers: &[Self]) -> Self {
        solved(solve, registers)
    }
}

/// The value of an integral.
fn integrated<P: Plain>(integral: &Integral, registers: &[P]) -> f64 {
    let (lower, upper) = (
        registers[integral.lower].number(),
        registers[integral.upper].number(),
    );
    if let Some(moment) = &integral.moment {
        let (intercept, slope) = moment.line(registers);
        let mut total = 0.0;
        for piece in &integral.pieces {
            total += piece.moment(registers, lower, upper, intercept, slope);
        }
        let line = intercept * (upper - lower) + slope * (upper - lower) * (upper + lower) / 2.0;
        for constant in &moment.constants {
            total += registers[*constant].number() * line;
        }
        return total;
    }
    if let Some(density) = &integral.density {
        return charged(integral, density, registers).value;
    }
    let captured = integral.body.captured(registers);
    let result = integral.body.results[0];
    let mut scratch = Vec::with_capacity(integral.body.code.len());
    quadrature::integrate(
        lower,
        upper,
        &integral.breaks(registers),
        &[0.0],
        P::QUADRATURE,
        |u, out| {
            integral.body.run(&captured, &P::constant(u), &mut scratch);
            out[0] = scratch[result].number();
        },
    )[0]
}

/// An integral over the charge of the capacitance that its integrand counts by.
pub(crate) fn charged<P: Plain>(
    integral: &Integral,
    density: &Density,
    registers: &[P],
) -> charge::Taken {
    let captured = integral.body.captured(registers);
    let result = integral.body.results[0];
    let mut scratch = Vec::with_capacity(integral.body.code.len());
    let limits = (
        registers[integral.lower].number(),
        registers[integral.upper].number(),
    );
    density
        .measure(registers)
        .integrate(limits, P::OVER_CHARGE, |points, values| {
            for (u, value) in points.iter().zip(values) {
                integral.body.run(&captured, &P::constant(*u), &mut scratch);
                *value = scratch[result].number();
            }
        })
}

/// The root of an equation.
fn solved<P: Plain>(solve: &Solve, registers: &[P]) -> f64 {
    let captured = solve.body.captured(registers);
    let (left, right) = (solve.body.results[0], solve.body.results[1]);
    let mut scratch = Vec::with_capacity(solve.body.code.len());
    let (lower, upper) = (
        registers[solve.lower].number(),
        registers[solve.upper].number(),
    );
    root::find_to(P::ROOT, lower, upper, |x| {
        solve.body.run(&captured, &P::constant(x), &mut scratch);
        scratch[left].number() - scratch[right].number()
    })
    .unwrap_or(f64::NAN)
}

impl Offset {
    /// The line's value where its variable is zero.
    fn intercept<P: Plain>(&self, registers: &[P]) -> f64 {
        let sum = |list: &[usize]| list.iter().map(|r| registers[*r].number()).sum::<f64>();
        sum(&self.plus) - sum(&self.minus)
    }
}

impl Moment {
    /// Intercept and slope of the line by which the curves are weighted.
    pub(crate) fn line<P: Plain>(&self, registers: &[P]) -> (f64, f64) {
        self.weight
            .as_ref()
            .map_or((1.0, 0.0), |line| (line.intercept(registers), line.slope))
    }
}

impl Piece {
    /// The piece's capacitance at a value of the variable.
    pub(crate) fn capacitance<P: Plain>(&self, registers: &[P], u: f64) -> f64 {
        let v = self.line.slope * u + self.line.intercept(registers);
        self.factor(registers) * self.curve.at(if self.magnitude { v.abs() } else { v })
    }

    /// The factor on the curve.
    fn factor<P: Plain>(&self, registers: &[P]) -> f64 {
        self.factor.map_or(1.0, |factor| registers[factor].number())
    }

    /// `∫ k·C(slope·u + c) (intercept + weight·u) du` with the factor `k`.
    pub(crate) fn moment<P: Plain>(
        &self,
        registers: &[P],
        lower: f64,
        upper: f64,
        intercept: f64,
        weight: f64,
    ) -> f64 {
        self.factor(registers) * self.unscaled(registers, lower, upper, intercept, weight)
    }

    /// The same without the factor, from the curve's charge and energy, by
    /// `v = slope·u + c`.
    pub(crate) fn unscaled<P: Plain>(
        &self,
        registers: &[P],
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

impl Density {
    fn measure<P: Plain>(&self, registers: &[P]) -> charge::Measure {
        let curves = self.pieces.iter().map(|piece| charge::Shifted {
            curve: piece.curve,
            magnitude: piece.magnitude,
            slope: piece.line.slope,
            shift: piece.line.intercept(registers),
            factor: piece.factor(registers),
        });
        charge::Measure {
            curves: curves.collect(),
            constant: self.constants.iter().map(|r| registers[*r].number()).sum(),
        }
    }
}

impl Integral {
    /// Where the integrand has kinks: at the curves' own, and where a magnitude turns.
    pub(crate) fn breaks<P: Plain>(&self, registers: &[P]) -> Vec<f64> {
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
