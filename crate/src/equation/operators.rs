//! Arithmetic of typed terms.

use std::ops::{Add, Div, Mul, Neg, Sub};

use super::node::{Binary, Op, Unary, leak};
use super::term::Term;
use crate::quantity::{Dimensioned, Exponents, Ratio};

impl From<f64> for Term<Ratio> {
    fn from(value: f64) -> Self {
        number(value)
    }
}

fn number<Q>(value: f64) -> Term<Q> {
    Term::new(leak(Op::Constant(value), Exponents::NONE))
}

/// Quantities of one dimension: only like quantities add, subtract or compare.
#[diagnostic::on_unimplemented(
    message = "only like quantities add: these two terms have different dimensions",
    label = "this sum mixes different quantities",
    note = "voltages add to voltages, currents to currents; check for a missing factor such as a \
            resistance or a time"
)]
pub trait SameDimension<Other> {}

impl<Q: Dimensioned> SameDimension<Q> for Q {}

/// Exists so that the sentence above is shown: with one implementation only, the
/// compiler would unify the types and report their internals instead.
#[derive(Debug)]
pub enum NoQuantity {}

impl<Q: Dimensioned> SameDimension<NoQuantity> for Q {}

impl<Q: SameDimension<R>, R> Add<Term<R>> for Term<Q> {
    type Output = Self;

    fn add(self, other: Term<R>) -> Self {
        self.binary(Binary::Add, Self::new(other.node))
    }
}

impl<Q: SameDimension<R>, R> Sub<Term<R>> for Term<Q> {
    type Output = Self;

    fn sub(self, other: Term<R>) -> Self {
        self.binary(Binary::Subtract, Self::new(other.node))
    }
}

impl<Q: Mul<R>, R> Mul<Term<R>> for Term<Q> {
    type Output = Term<Q::Output>;

    fn mul(self, other: Term<R>) -> Self::Output {
        let exponents = self.node.exponents.times(other.node.exponents);
        Term::new(leak(
            Op::Binary(Binary::Multiply, self.node, other.node),
            exponents,
        ))
    }
}

impl<Q: Div<R>, R> Div<Term<R>> for Term<Q> {
    type Output = Term<Q::Output>;

    fn div(self, other: Term<R>) -> Self::Output {
        let exponents = self.node.exponents.divided_by(other.node.exponents);
        Term::new(leak(
            Op::Binary(Binary::Divide, self.node, other.node),
            exponents,
        ))
    }
}

impl<Q> Neg for Term<Q> {
    type Output = Self;

    fn neg(self) -> Self {
        self.unary(Unary::Negate)
    }
}

impl<Q> Mul<Term<Q>> for f64 {
    type Output = Term<Q>;

    fn mul(self, term: Term<Q>) -> Term<Q> {
        Term::new(leak(
            Op::Binary(Binary::Multiply, number::<Q>(self).node, term.node),
            term.node.exponents,
        ))
    }
}

impl<Q> Div<f64> for Term<Q> {
    type Output = Self;

    fn div(self, divisor: f64) -> Self {
        Self::new(leak(
            Op::Binary(Binary::Divide, self.node, number::<Q>(divisor).node),
            self.node.exponents,
        ))
    }
}

impl Add<f64> for Term<Ratio> {
    type Output = Self;

    fn add(self, other: f64) -> Self {
        self + Self::from(other)
    }
}

impl Add<Term<Ratio>> for f64 {
    type Output = Term<Ratio>;

    fn add(self, other: Term<Ratio>) -> Term<Ratio> {
        Term::from(self) + other
    }
}

impl Sub<f64> for Term<Ratio> {
    type Output = Self;

    fn sub(self, other: f64) -> Self {
        self - Self::from(other)
    }
}

impl Sub<Term<Ratio>> for f64 {
    type Output = Term<Ratio>;

    fn sub(self, other: Term<Ratio>) -> Term<Ratio> {
        Term::from(self) - other
    }
}

impl<Q> Div<Term<Q>> for f64
where
    Ratio: Div<Q>,
{
    type Output = Term<<Ratio as Div<Q>>::Output>;

    fn div(self, divisor: Term<Q>) -> Self::Output {
        let exponents = Exponents::NONE.divided_by(divisor.node.exponents);
        let numerator = number::<Ratio>(self).node;
        Term::new(leak(
            Op::Binary(Binary::Divide, numerator, divisor.node),
            exponents,
        ))
    }
}
