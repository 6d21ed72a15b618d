//! The algebra of enclosures: a value over a box of inputs, with its slopes.
//!
//! Inputs run along `t` from -1 to 1, each in a slot of its own. Every quantity
//! carries its enclosure in the centre of the box, over the whole box, and those
//! of its slopes over the whole box, so that each operation can tighten what it
//! gives over the box by the mean value theorem: `f(t) ∈ f(0) + Σ f_k·t_k`.
//! What enters twice with opposite signs then cancels, as intervals alone do not.
//!
//! A slope stands for every difference quotient along its input; a kink
//! (`min`, a magnitude) has those of both sides, a jump every number.

use super::interval::Interval;
use super::{curve, quadrature, solution};
use crate::equation::curve::Curve;
use crate::equation::node::{Binary, Relation, Unary};
use crate::equation::program::{Integral, Solve};
use crate::equation::scalar::sealed::Operations;

/// Why it is not certain that a quantity has a value everywhere in the box.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// An operation's argument may leave its domain.
    Domain,
    /// A solved equation may have no solution, or several, in its bracket.
    Solution,
}

/// A quantity over a box of inputs.
#[derive(Clone, Debug)]
pub struct Enclosure {
    /// Its value in the centre of the box.
    pub centre: Interval,
    /// Its values over the box, where it has one.
    pub range: Interval,
    /// Its slopes by each slot; an absent one is zero.
    pub partials: Vec<Interval>,
    /// Why it may be without value somewhere, if it may.
    pub doubt: Option<Doubt>,
}

impl Enclosure {
    /// The same value everywhere.
    pub fn point(value: f64) -> Self {
        Self::still(Interval::point(value))
    }

    /// A value that does not depend on the box, known to an interval.
    pub fn still(value: Interval) -> Self {
        Self {
            centre: value,
            range: value,
            partials: vec![],
            doubt: None,
        }
    }

    /// An input in its range.
    pub fn variable(range: Interval, slot: usize) -> Self {
        let middle = Interval::point(range.middle());
        let radius = (Interval::point(range.high()) - middle)
            .high()
            .max((middle - Interval::point(range.low())).high());
        let mut partials = vec![Interval::ZERO; slot];
        partials.push(Interval::point(radius));
        Self {
            centre: middle,
            range,
            partials,
            doubt: None,
        }
    }

    /// A quantity of which nothing is known.
    pub fn doubtful(doubt: Doubt) -> Self {
        Self {
            doubt: Some(doubt),
            ..Self::still(Interval::ENTIRE)
        }
    }

    /// The enclosure in the centre alone.
    pub fn at_centre(&self) -> Self {
        Self {
            doubt: self.doubt,
            ..Self::still(self.centre)
        }
    }

    /// The slope by a slot.
    pub fn partial(&self, slot: usize) -> Interval {
        self.partials.get(slot).copied().unwrap_or(Interval::ZERO)
    }

    /// Tightens the range by the mean value theorem, which holds where there is
    /// a value everywhere.
    pub fn tightened(mut self) -> Self {
        if self.doubt.is_none() {
            let spread = self.partials.iter().fold(Interval::ZERO, |sum, p| {
                sum + Interval::point(p.magnitude())
            });
            if spread.is_finite() {
                let mean = self.centre + Interval::around_zero(spread.high());
                self.range = self.range.meet(mean);
            }
        }
        self
    }

    fn doubted(mut self, doubt: Option<Doubt>) -> Self {
        self.doubt = self.doubt.or(doubt);
        self
    }

    fn chain(&self, function: impl Fn(Interval) -> Interval, slope: Interval) -> Self {
        Self {
            centre: function(self.centre),
            range: function(self.range),
            partials: self.partials.iter().map(|p| *p * slope).collect(),
            doubt: self.doubt,
        }
    }

    fn combine(
        (x, by_x): (&Self, Interval),
        (y, by_y): (&Self, Interval),
        function: impl Fn(Interval, Interval) -> Interval,
    ) -> Self {
        let count = x.partials.len().max(y.partials.len());
        Self {
            centre: function(x.centre, y.centre),
            range: function(x.range, y.range),
            partials: (0..count)
                .map(|k| x.partial(k) * by_x + y.partial(k) * by_y)
                .collect(),
            doubt: x.doubt.or(y.doubt),
        }
    }

    /// A quantity that may be either of two, and jumps between them where
    /// `difference` changes its sign.
    fn either(&self, other: &Self, difference: &Self) -> Self {
        let slots = [self, other, difference].map(|e| e.partials.len());
        Self {
            centre: self.centre.hull(other.centre),
            range: self.range.hull(other.range),
            partials: vec![Interval::ENTIRE; slots.into_iter().max().unwrap_or(0)],
            doubt: self.doubt.or(other.doubt),
        }
    }
}

/// The values of `∂/∂x` of a magnitude, of a minimum or of a maximum where
/// `x − y` lies in `difference`.
fn switch(difference: Interval, below: f64, above: f64) -> Interval {
    if difference.low() > 0.0 {
        Interval::point(above)
    } else if difference.high() < 0.0 {
        Interval::point(below)
    } else {
        Interval::new(below.min(above), below.max(above))
    }
}

/// Whether a relation holds for all, or fails for all, of two ranges.
pub fn decided(relation: Relation, difference: Interval) -> Option<bool> {
    let (low, high) = (difference.low(), difference.high());
    match relation {
        Relation::Above if low > 0.0 => Some(true),
        Relation::Above if high <= 0.0 => Some(false),
        Relation::AtLeast if low >= 0.0 => Some(true),
        Relation::AtLeast if high < 0.0 => Some(false),
        Relation::Below if high < 0.0 => Some(true),
        Relation::Below if low >= 0.0 => Some(false),
        Relation::AtMost if high <= 0.0 => Some(true),
        Relation::AtMost if low > 0.0 => Some(false),
        _ => None,
    }
}

fn domain(inside: bool) -> Option<Doubt> {
    (!inside).then_some(Doubt::Domain)
}

impl Operations for Enclosure {
    fn constant(value: f64) -> Self {
        if value.is_finite() {
            Self::point(value)
        } else {
            Self::doubtful(Doubt::Domain)
        }
    }

    fn unary(op: Unary, x: &Self) -> Self {
        let one = Interval::ONE;
        let r = x.range;
        let from_one = || one / ((one - r) * (one + r)).max(Interval::ZERO).sqrt();
        let unit = r.low() >= -1.0 && r.high() <= 1.0;
        let result = match op {
            Unary::Negate => x.chain(|v| -v, -one),
            Unary::Sqrt => x
                .chain(Interval::sqrt, Interval::point(0.5) / r.sqrt())
                .doubted(domain(r.low() >= 0.0)),
            Unary::Exp => x.chain(Interval::exp, r.exp()),
            Unary::Ln => x
                .chain(Interval::ln, one / r.max(Interval::ZERO))
                .doubted(domain(r.low() > 0.0)),
            Unary::Sin => x.chain(Interval::sin, r.cos()),
            Unary::Cos => x.chain(Interval::cos, -r.sin()),
            Unary::Asin => x.chain(Interval::asin, from_one()).doubted(domain(unit)),
            Unary::Acos => x.chain(Interval::acos, -from_one()).doubted(domain(unit)),
            Unary::Abs => x.chain(Interval::abs, switch(r, -1.0, 1.0)),
            Unary::Floor => {
                let flat = r.low().floor() == r.high().floor();
                let slope = if flat {
                    Interval::ZERO
                } else {
                    Interval::ENTIRE
                };
                x.chain(Interval::floor, slope)
            }
        };
        result.tightened()
    }

    fn binary(op: Binary, x: &Self, y: &Self) -> Self {
        let one = Interval::ONE;
        let result = match op {
            Binary::Add => Self::combine((x, one), (y, one), |a, b| a + b),
            Binary::Subtract => Self::combine((x, one), (y, -one), |a, b| a - b),
            Binary::Multiply => Self::combine((x, y.range), (y, x.range), |a, b| a * b),
            Binary::Divide => Self::combine(
                (x, one / y.range),
                (y, -(x.range / y.range) / y.range),
                |a, b| a / b,
            )
            .doubted(domain(y.range.has_sign())),
            Binary::Power => Self::combine(
                (x, y.range * x.range.powf(y.range - one)),
                (y, x.range.powf(y.range) * x.range.ln()),
                Interval::powf,
            )
            .doubted(domain(x.range.low() > 0.0)),
            Binary::Min | Binary::Max => {
                let difference = Self::binary(Binary::Subtract, x, y).range;
                let (below, above, choose): (_, _, fn(Interval, Interval) -> Interval) =
                    if op == Binary::Min {
                        (1.0, 0.0, Interval::min)
                    } else {
                        (0.0, 1.0, Interval::max)
                    };
                let by_x = switch(difference, below, above);
                let by_y = switch(difference, above, below);
                Self::combine((x, by_x), (y, by_y), choose)
            }
        };
        result.tightened()
    }

    fn power(x: &Self, power: i32) -> Self {
        let slope = Interval::point(f64::from(power)) * x.range.power(power - 1);
        x.chain(|v| v.power(power), slope)
            .doubted(domain(power >= 0 || x.range.has_sign()))
            .tightened()
    }

    fn select(
        relation: Relation,
        left: &Self,
        right: &Self,
        then: &Self,
        otherwise: &Self,
    ) -> Self {
        let difference = Self::binary(Binary::Subtract, left, right);
        match decided(relation, difference.range) {
            Some(true) => then.clone(),
            Some(false) => otherwise.clone(),
            None => then.either(otherwise, &difference),
        }
        .doubted(difference.doubt)
    }

    fn curve(curve: &Curve, x: &Self) -> Self {
        x.chain(
            |v| curve::capacitance(curve, v),
            curve::slope(curve, x.range),
        )
        .tightened()
    }

    fn integral(integral: &Integral, registers: &[Self]) -> Self {
        integral.moment.as_ref().map_or_else(
            || quadrature::general(integral, registers),
            |moment| quadrature::moment(integral, moment, registers),
        )
    }

    fn solve(solve: &Solve, registers: &[Self]) -> Self {
        solution::enclose(solve, registers)
    }
}
