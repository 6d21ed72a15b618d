//! Exact first derivatives: a value with its partial derivatives.

use super::curve::Curve;
use super::node::{Binary, Relation, Unary};
use super::program::{Density, Integral, Moment, Piece, Program, Solve};
use super::scalar::sealed::Operations;
use super::{quadrature, scalar};

/// A value and its partial derivatives; an empty list stands for zeros.
#[derive(Clone, Debug, PartialEq)]
pub struct Gradient {
    /// The value.
    pub value: f64,
    /// The derivative by each input.
    pub partials: Vec<f64>,
}

impl Gradient {
    /// The inputs of a program as gradients: each has derivative one by itself.
    #[must_use]
    pub fn inputs(program: &Program, values: &[f64]) -> Vec<Self> {
        let count = program.inputs().len();
        values
            .iter()
            .enumerate()
            .map(|(index, value)| Self::variable(*value, index, count))
            .collect()
    }

    fn variable(value: f64, index: usize, count: usize) -> Self {
        let mut partials = vec![0.0; count];
        partials[index] = 1.0;
        Self { value, partials }
    }

    /// The derivative by the input at `index`.
    #[must_use]
    pub fn partial(&self, index: usize) -> f64 {
        self.partials.get(index).copied().unwrap_or(0.0)
    }

    /// The relative change by the input at `index`, of a value that is not zero.
    fn relative(&self, index: usize) -> f64 {
        if self.value == 0.0 {
            0.0
        } else {
            (self.partial(index) / self.value).abs()
        }
    }

    fn chain(&self, value: f64, slope: f64) -> Self {
        Self {
            value,
            partials: self.partials.iter().map(|p| scaled(*p, slope)).collect(),
        }
    }

    fn combine(value: f64, (x, by_x): (&Self, f64), (y, by_y): (&Self, f64)) -> Self {
        let count = x.partials.len().max(y.partials.len());
        let partials = (0..count)
            .map(|k| scaled(x.partial(k), by_x) + scaled(y.partial(k), by_y))
            .collect();
        Self { value, partials }
    }
}

/// An integrand at a limit that moves, over its mean: beyond this it is infinite
/// there but for rounding.
const SINGULAR: f64 = 1e6;

/// A derivative of an integral below this part of what it would be, were the
/// integral proportional to all that it depends on, is worked out no more sharply.
const LEAST: f64 = 1e-4;

/// A product in which a zero derivative stays zero where the slope is infinite:
/// what an expression does not depend on has no say in it.
fn scaled(partial: f64, slope: f64) -> f64 {
    if partial == 0.0 { 0.0 } else { partial * slope }
}

impl Operations for Gradient {
    fn constant(value: f64) -> Self {
        Self {
            value,
            partials: vec![],
        }
    }

    fn unary(op: Unary, x: &Self) -> Self {
        let value = f64::unary(op, &x.value);
        let slope = match op {
            Unary::Negate => -1.0,
            Unary::Sqrt => 0.5 / value,
            Unary::Exp => value,
            Unary::Ln => 1.0 / x.value,
            Unary::Sin => x.value.cos(),
            Unary::Cos => -x.value.sin(),
            Unary::Asin => 1.0 / ((1.0 - x.value) * (1.0 + x.value)).sqrt(),
            Unary::Acos => -1.0 / ((1.0 - x.value) * (1.0 + x.value)).sqrt(),
            Unary::Abs => x.value.signum(),
            Unary::Floor => 0.0,
        };
        x.chain(value, slope)
    }

    fn binary(op: Binary, x: &Self, y: &Self) -> Self {
        let value = f64::binary(op, &x.value, &y.value);
        let (by_x, by_y) = match op {
            Binary::Add => (1.0, 1.0),
            Binary::Subtract => (1.0, -1.0),
            Binary::Multiply => (y.value, x.value),
            Binary::Divide => (1.0 / y.value, -value / y.value),
            Binary::Power => (y.value * x.value.powf(y.value - 1.0), value * x.value.ln()),
            Binary::Min => {
                if x.value < y.value {
                    (1.0, 0.0)
                } else {
                    (0.0, 1.0)
                }
            }
            Binary::Max => {
                if x.value > y.value {
                    (1.0, 0.0)
                } else {
                    (0.0, 1.0)
                }
            }
        };
        Self::combine(value, (x, by_x), (y, by_y))
    }

    fn power(x: &Self, power: i32) -> Self {
        x.chain(
            x.value.powi(power),
            f64::from(power) * x.value.powi(power - 1),
        )
    }

    fn select(
        relation: Relation,
        left: &Self,
        right: &Self,
        then: &Self,
        otherwise: &Self,
    ) -> Self {
        let chosen = if relation.holds(left.value, right.value) {
            then
        } else {
            otherwise
        };
        let value = f64::select(
            relation,
            &left.value,
            &right.value,
            &then.value,
            &otherwise.value,
        );
        Self {
            value,
            partials: chosen.partials.clone(),
        }
    }

    fn curve(curve: &Curve, x: &Self) -> Self {
        x.chain(f64::curve(curve, &x.value), curve.slope(x.value))
    }

    /// The Leibniz rule: the limits' derivatives times the integrand there, plus
    /// the integral of the integrand's derivative.
    fn integral(integral: &Integral, registers: &[Self]) -> Self {
        let values: Vec<f64> = registers.iter().map(|r| r.value).collect();
        if let Some(density) = &integral.density {
            return charged(integral, density, registers, &values);
        }
        let value = f64::integral(integral, &values);
        if let Some(moment) = &integral.moment {
            return Self {
                value,
                partials: moment_partials(integral, moment, registers, &values),
            };
        }
        let (lower, upper) = (&registers[integral.lower], &registers[integral.upper]);
        let captured = integral.body.captured(registers);
        let result = integral.body.results[0];
        let given = || captured.iter().chain([lower, upper]);
        let floor: Vec<f64> = (0..width(given()))
            .map(|k| value.abs() * LEAST * given().map(|own| own.relative(k)).sum::<f64>())
            .collect();
        let mut scratch = Vec::new();
        let mut partials = quadrature::integrate(
            lower.value,
            upper.value,
            &integral.breaks(&values),
            &floor,
            quadrature::TOLERANCE,
            |u, out| {
                integral
                    .body
                    .run(&captured, &Self::constant(u), &mut scratch);
                for (k, slot) in out.iter_mut().enumerate() {
                    *slot = scratch[result].partial(k);
                }
            },
        );
        for (limit, sign) in [(lower, -1.0), (upper, 1.0)] {
            if limit.partials.iter().all(|p| *p == 0.0) {
                continue;
            }
            let (there, singular) = at_limit(integral, &values, limit.value, value);
            for (k, slot) in partials.iter_mut().enumerate() {
                let partial = limit.partial(k);
                *slot += if singular && partial != 0.0 {
                    f64::NAN
                } else {
                    scaled(partial, sign * there)
                };
            }
        }
        Self { value, partials }
    }

    /// The implicit function theorem: `dx/dp = -(∂F/∂p) / (∂F/∂x)`.
    fn solve(solve: &Solve, registers: &[Self]) -> Self {
        let values: Vec<f64> = registers.iter().map(|r| r.value).collect();
        let value = f64::solve(solve, &values);
        let captured = solve.body.captured(registers);
        let count = width(captured.iter());
        let (left, right) = (solve.body.results[0], solve.body.results[1]);
        let mut scratch = Vec::new();
        solve
            .body
            .run(&captured, &Self::constant(value), &mut scratch);
        let by_inputs: Vec<f64> = (0..count)
            .map(|k| scratch[left].partial(k) - scratch[right].partial(k))
            .collect();
        let plain: Vec<Self> = captured.iter().map(|c| Self::constant(c.value)).collect();
        solve
            .body
            .run(&plain, &Self::variable(value, 0, 1), &mut scratch);
        let by_unknown = scratch[left].partial(0) - scratch[right].partial(0);
        Self {
            value,
            partials: by_inputs
                .iter()
                .map(|p| scaled(-p, 1.0 / by_unknown))
                .collect(),
        }
    }
}

/// The integrand at a limit, and whether it is infinite there but for rounding: the
/// parts of the derivative of an integral of this value then cancel from infinity, and
/// none is given.
fn at_limit(integral: &Integral, values: &[f64], limit: f64, value: f64) -> (f64, bool) {
    let captured = integral.body.captured(values);
    let mut numbers = Vec::new();
    integral.body.run(&captured, &limit, &mut numbers);
    let there = numbers[integral.body.results[0]];
    let weight = (there * (values[integral.upper] - values[integral.lower])).abs();
    (there, weight.is_nan() || weight > SINGULAR * value.abs())
}

/// The integral over a charge: the points of the rule stay where they are as parts of
/// the charge, and what the charge depends on moves them.
fn charged(
    integral: &Integral,
    density: &Density,
    registers: &[Gradient],
    values: &[f64],
) -> Gradient {
    let taken = scalar::charged(integral, density, values);
    let (lower, upper) = (&registers[integral.lower], &registers[integral.upper]);
    let charges = Charges { density, registers };
    let from = charges.charge(lower);
    let whole = Gradient::binary(Binary::Subtract, &charges.charge(upper), &from);
    let captured = integral.body.captured(registers);
    let result = integral.body.results[0];
    let mut scratch = Vec::new();
    let mut mean = Gradient::constant(0.0);
    for node in &taken.nodes {
        let at = Gradient::constant(node.at);
        let reached = Gradient::combine(0.0, (&from, 1.0), (&whole, node.part));
        let moved = Gradient::combine(0.0, (&reached, 1.0), (&charges.charge(&at), -1.0));
        let u = moved.chain(node.at, 1.0 / charges.capacitance(&at).value);
        integral.body.run(&captured, &u, &mut scratch);
        let share = Gradient::binary(Binary::Divide, &scratch[result], &charges.capacitance(&u));
        mean = Gradient::combine(
            mean.value + node.weight * share.value,
            (&mean, 1.0),
            (&share, node.weight),
        );
    }
    let mut product = Gradient::binary(Binary::Multiply, &whole, &mean);
    product.value = taken.value;
    for limit in [lower, upper] {
        if limit.partials.iter().all(|p| *p == 0.0) {
            continue;
        }
        let (_, singular) = at_limit(integral, values, limit.value, taken.value);
        for (slot, partial) in product.partials.iter_mut().zip(&limit.partials) {
            if singular && *partial != 0.0 {
                *slot = f64::NAN;
            }
        }
    }
    product
}

/// A capacitance with the derivatives of its charge.
struct Charges<'r> {
    density: &'r Density,
    registers: &'r [Gradient],
}

impl Charges<'_> {
    /// The sum over the curves, each by a function of its voltage, and the constants
    /// times `by`.
    fn sum(
        &self,
        u: &Gradient,
        by: &Gradient,
        each: impl Fn(&Piece, &Gradient) -> Gradient,
    ) -> Gradient {
        let mut sum = Gradient::constant(0.0);
        let mut add = |part: &Gradient| sum = Gradient::binary(Binary::Add, &sum, part);
        for piece in &self.density.pieces {
            let mut v = u.chain(piece.line.slope * u.value, piece.line.slope);
            for (list, op) in [
                (&piece.line.plus, Binary::Add),
                (&piece.line.minus, Binary::Subtract),
            ] {
                for register in list {
                    v = Gradient::binary(op, &v, &self.registers[*register]);
                }
            }
            let part = each(piece, &v);
            match piece.factor {
                None => add(&part),
                Some(factor) => {
                    add(&Gradient::binary(
                        Binary::Multiply,
                        &self.registers[factor],
                        &part,
                    ));
                }
            }
        }
        for constant in &self.density.constants {
            add(&Gradient::binary(
                Binary::Multiply,
                &self.registers[*constant],
                by,
            ));
        }
        sum
    }

    fn charge(&self, u: &Gradient) -> Gradient {
        self.sum(u, u, |piece, v| {
            let (charge, _) = scalar::moments(piece.curve, piece.magnitude, v.value);
            let across = if piece.magnitude {
                v.value.abs()
            } else {
                v.value
            };
            let slope = piece.line.slope;
            v.chain(slope * charge, slope * piece.curve.at(across))
        })
    }

    fn capacitance(&self, u: &Gradient) -> Gradient {
        self.sum(u, &Gradient::constant(1.0), |piece, v| {
            let across = if piece.magnitude {
                Gradient::unary(Unary::Abs, v)
            } else {
                v.clone()
            };
            Gradient::curve(piece.curve, &across)
        })
    }
}

/// The number of partial derivatives that any of the values has.
fn width<'g>(gradients: impl Iterator<Item = &'g Gradient>) -> usize {
    gradients
        .map(|gradient| gradient.partials.len())
        .max()
        .unwrap_or(0)
}

/// The partial derivatives of `∫ (Σ C(s·u + c) + Σ k)·(α + β·u) du`, in closed
/// form: that by a shift `c` by parts, `∫ C'(s·u + c)·w du = ([C·w] − β ∫ C du)/s`.
fn moment_partials(
    integral: &Integral,
    moment: &Moment,
    registers: &[Gradient],
    values: &[f64],
) -> Vec<f64> {
    let mut partials = vec![0.0; width(registers.iter())];
    let mut add = |gradient: &Gradient, factor: f64| {
        for (slot, partial) in partials.iter_mut().zip(&gradient.partials) {
            *slot += scaled(*partial, factor);
        }
    };
    let (lower, upper) = (values[integral.lower], values[integral.upper]);
    let (intercept, slope) = moment.line(values);
    let weight = |u: f64| intercept + slope * u;
    let line = (upper - lower) * weight(f64::midpoint(lower, upper));
    let (mut at_lower, mut at_upper, mut area) = (0.0, 0.0, 0.0);
    for piece in &integral.pieces {
        let (low, high) = (
            piece.capacitance(values, lower),
            piece.capacitance(values, upper),
        );
        let charge = piece.moment(values, lower, upper, 1.0, 0.0);
        if let Some(factor) = piece.factor {
            let unscaled = piece.unscaled(values, lower, upper, intercept, slope);
            add(&registers[factor], unscaled);
        }
        let by_shift =
            (high * weight(upper) - low * weight(lower) - slope * charge) / piece.line.slope;
        piece
            .line
            .plus
            .iter()
            .for_each(|r| add(&registers[*r], by_shift));
        piece
            .line
            .minus
            .iter()
            .for_each(|r| add(&registers[*r], -by_shift));
        at_lower += low;
        at_upper += high;
        area += charge;
    }
    for constant in &moment.constants {
        add(&registers[*constant], line);
        at_lower += values[*constant];
        at_upper += values[*constant];
        area += values[*constant] * (upper - lower);
    }
    if let Some(weight) = &moment.weight {
        weight.plus.iter().for_each(|r| add(&registers[*r], area));
        weight.minus.iter().for_each(|r| add(&registers[*r], -area));
    }
    add(&registers[integral.lower], -at_lower * weight(lower));
    add(&registers[integral.upper], at_upper * weight(upper));
    partials
}
