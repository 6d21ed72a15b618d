//! The loops: one action over the lanes of a block.
//!
//! Each takes its meaning from the algebra of plain numbers that programs run
//! in, so that a column holds bit for bit what a program gives at each point.

use super::action::Action;
use super::schedule::Source;
use crate::equation::curve::Curve;
use crate::equation::node::{Binary, Unary};
use crate::equation::scalar::{self, sealed::Operations};

/// An operand: one number for every lane, or a number for each.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Operand<'a> {
    Number(f64),
    Lanes(&'a [f64]),
}

impl Operand<'_> {
    pub fn at(&self, lane: usize) -> f64 {
        match self {
            Self::Number(value) => *value,
            Self::Lanes(values) => values[lane],
        }
    }

    pub fn copy_to(&self, out: &mut [f64]) {
        map(*self, out, |x| x);
    }
}

/// Charge and energy of a curve, or of the curve of a voltage's magnitude.
pub(crate) fn moments_at(curve: &Curve, magnitude: bool, voltage: f64) -> (f64, f64) {
    scalar::moments(curve, magnitude, voltage)
}

/// An action with one result over plain numbers; not a number for a body.
pub(crate) fn single(action: &Action<Source>) -> f64 {
    let operand = |source: Source| match source {
        Source::Number(value) => Operand::Number(value),
        Source::Uniform(_) | Source::Column(_) | Source::Slot(_) => Operand::Number(f64::NAN),
    };
    let mut out = [f64::NAN];
    apply(&action.map(operand), &mut out);
    out[0]
}

/// Applies an action with one result and no body.
pub(crate) fn apply(action: &Action<Operand>, out: &mut [f64]) {
    match action {
        Action::Unary(op, x) => unary(*op, *x, out),
        Action::Binary(op, x, y) => binary(*op, *x, *y, out),
        Action::Power(x, power) => raise(*x, *power, out),
        Action::Select {
            relation,
            left,
            right,
            then,
            otherwise,
        } => {
            for (lane, out) in out.iter_mut().enumerate() {
                let [left, right, then, otherwise] =
                    [left, right, then, otherwise].map(|operand| operand.at(lane));
                *out = f64::select(*relation, &left, &right, &then, &otherwise);
            }
        }
        Action::Curve(curve, x) => map(*x, out, |x| f64::curve(curve, &x)),
        Action::Moments { .. } | Action::Integral { .. } | Action::Solve { .. } => {}
    }
}

/// Charge and energy of a curve over the lanes.
pub(crate) fn moments(
    curve: &Curve,
    magnitude: bool,
    at: Operand,
    charge: &mut [f64],
    energy: &mut [f64],
) {
    for (lane, (charge, energy)) in charge.iter_mut().zip(energy).enumerate() {
        (*charge, *energy) = scalar::moments(curve, magnitude, at.at(lane));
    }
}

fn unary(op: Unary, x: Operand, out: &mut [f64]) {
    macro_rules! run {
        ($case:expr) => {
            map(x, out, |x| f64::unary($case, &x))
        };
    }
    match op {
        Unary::Negate => run!(Unary::Negate),
        Unary::Sqrt => run!(Unary::Sqrt),
        Unary::Abs => run!(Unary::Abs),
        Unary::Floor => run!(Unary::Floor),
        // These call the mathematics library: no loop of their own is faster.
        Unary::Exp | Unary::Ln | Unary::Sin | Unary::Cos | Unary::Asin | Unary::Acos => {
            map(x, out, |x| f64::unary(op, &x));
        }
    }
}

fn binary(op: Binary, x: Operand, y: Operand, out: &mut [f64]) {
    macro_rules! run {
        ($case:expr) => {
            zip(x, y, out, |x, y| f64::binary($case, &x, &y))
        };
    }
    match op {
        Binary::Add => run!(Binary::Add),
        Binary::Subtract => run!(Binary::Subtract),
        Binary::Multiply => run!(Binary::Multiply),
        Binary::Divide => match y {
            Operand::Number(y) if is_power_of_two(y) => {
                binary(Binary::Multiply, x, Operand::Number(1.0 / y), out);
            }
            _ => run!(Binary::Divide),
        },
        Binary::Power => run!(Binary::Power),
        Binary::Min => run!(Binary::Min),
        Binary::Max => run!(Binary::Max),
    }
}

/// Whether dividing by a number is, to the last bit, multiplying by its inverse,
/// which is several times faster.
fn is_power_of_two(value: f64) -> bool {
    let fraction = value.to_bits() & ((1 << (f64::MANTISSA_DIGITS - 1)) - 1);
    fraction == 0 && value.is_normal() && (1.0 / value).is_normal()
}

fn raise(x: Operand, power: i32, out: &mut [f64]) {
    match power {
        // What raising by repeated squaring comes to, as a loop without calls.
        2 => map(x, out, |x| x * x),
        -1 => map(x, out, |x| 1.0 / x),
        _ => map(x, out, |x| f64::power(&x, power)),
    }
}

#[inline]
fn map(x: Operand, out: &mut [f64], f: impl Fn(f64) -> f64) {
    match x {
        Operand::Number(x) => out.fill(f(x)),
        Operand::Lanes(x) => over(x, out, f),
    }
}

#[inline]
fn zip(x: Operand, y: Operand, out: &mut [f64], f: impl Fn(f64, f64) -> f64) {
    match (x, y) {
        (Operand::Number(x), Operand::Number(y)) => out.fill(f(x, y)),
        (Operand::Number(x), Operand::Lanes(y)) => over(y, out, |y| f(x, y)),
        (Operand::Lanes(x), Operand::Number(y)) => over(x, out, |x| f(x, y)),
        (Operand::Lanes(x), Operand::Lanes(y)) => pair(x, y, out, f),
    }
}

#[inline]
fn over(x: &[f64], out: &mut [f64], f: impl Fn(f64) -> f64) {
    for (out, x) in out.iter_mut().zip(x) {
        *out = f(*x);
    }
}

#[inline]
fn pair(x: &[f64], y: &[f64], out: &mut [f64], f: impl Fn(f64, f64) -> f64) {
    for ((out, x), y) in out.iter_mut().zip(x).zip(y) {
        *out = f(*x, *y);
    }
}
