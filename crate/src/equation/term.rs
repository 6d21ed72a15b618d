//! Typed terms: expressions whose dimension the compiler checks.

use std::marker::PhantomData;
use std::ops::Mul;

use uom::typenum::{Integer, P2, PartialDiv, PartialQuot};

use super::curve::Curve;
use super::error::EquationError;
use super::glyph::Glyph;
use super::gradient::Gradient;
use super::node::{
    Binary, Comparison, Equation, Expression, Name, Op, Relation, Symbol, Unary, UnknownData, leak,
};
use super::program::Program;
use super::render;
use crate::quantity::system::{Dimension, Q, Quantity};
use crate::quantity::{BaseUnits, Capacitance, Dimensioned, Ratio, Voltage};

/// An expression that computes a quantity of type `Q`.
///
/// A term is `Copy`: it is a reference into a graph that lives as long as the
/// program. The same term is shown as an equation and computed.
///
/// ```
/// use slewbook::equation::Term;
/// use slewbook::quantity::{print, unit::{pF, uH, volt}, Current};
///
/// let L = Term::input("L", "inductance", 0.68 * uH);
/// let C = Term::input("C", "node capacitance", 600.0 * pF);
/// let a = Term::input("a", "step", 16.0 * volt);
/// let Z = (L / C).sqrt().named("Z", "characteristic impedance");
/// let floor: Term<Current> = (a / Z).named("I_min", "freewheel floor");
/// assert_eq!(floor.text(), "I_min = a/Z");
/// assert_eq!(print(floor.value().unwrap()), "475.3 mA");
/// ```
pub struct Term<Q> {
    pub(super) node: Expression,
    quantity: PhantomData<fn() -> Q>,
}

impl<Q> Clone for Term<Q> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<Q> Copy for Term<Q> {}

impl<Q> std::fmt::Debug for Term<Q> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&render::text::line(self.node))
    }
}

impl<Q> Term<Q> {
    pub(crate) fn new(node: Expression) -> Self {
        Self {
            node,
            quantity: PhantomData,
        }
    }

    /// The expression without its type.
    #[must_use]
    pub fn expression(self) -> Expression {
        self.node
    }

    pub(super) fn unary(self, op: Unary) -> Self {
        Self::new(leak(Op::Unary(op, self.node), self.node.exponents))
    }

    pub(super) fn binary(self, op: Binary, other: Self) -> Self {
        Self::new(leak(
            Op::Binary(op, self.node, other.node),
            self.node.exponents,
        ))
    }

    /// The same expression under a symbol of its own: formulas that use it show
    /// the symbol.
    #[must_use]
    pub fn named(self, name: &str, words: &str) -> Self {
        self.function(name, words, &[])
    }

    /// The same expression as a function of `arguments`: formulas that use it
    /// show `name(arguments)`.
    #[must_use]
    pub fn function(self, name: &str, words: &str, arguments: &[Expression]) -> Self {
        let name: &'static Name = Box::leak(Box::new(Name {
            glyph: Glyph::new(name),
            words: words.to_owned(),
            arguments: arguments.to_vec(),
        }));
        Self::new(leak(Op::Named(name, self.node), self.node.exponents))
    }

    /// The lesser of two.
    #[must_use]
    pub fn min(self, other: Self) -> Self {
        self.binary(Binary::Min, other)
    }

    /// The greater of two.
    #[must_use]
    pub fn max(self, other: Self) -> Self {
        self.binary(Binary::Max, other)
    }

    /// The magnitude.
    #[must_use]
    pub fn abs(self) -> Self {
        self.unary(Unary::Abs)
    }

    /// The comparison `self > other`.
    #[must_use]
    pub fn above(self, other: Self) -> Comparison {
        Comparison {
            relation: Relation::Above,
            left: self.node,
            right: other.node,
        }
    }

    /// The comparison `self ≥ other`.
    #[must_use]
    pub fn at_least(self, other: Self) -> Comparison {
        Comparison {
            relation: Relation::AtLeast,
            left: self.node,
            right: other.node,
        }
    }

    /// The comparison `self < other`.
    #[must_use]
    pub fn below(self, other: Self) -> Comparison {
        Comparison {
            relation: Relation::Below,
            left: self.node,
            right: other.node,
        }
    }

    /// The comparison `self ≤ other`.
    #[must_use]
    pub fn at_most(self, other: Self) -> Comparison {
        Comparison {
            relation: Relation::AtMost,
            left: self.node,
            right: other.node,
        }
    }

    /// `then` where the comparison holds, else `otherwise`.
    #[must_use]
    pub fn choose(comparison: Comparison, then: Self, otherwise: Self) -> Self {
        Self::new(leak(
            Op::Select(comparison, then.node, otherwise.node),
            then.node.exponents,
        ))
    }

    /// The equation in plain Unicode text.
    #[must_use]
    pub fn text(self) -> String {
        render::text::line(self.node)
    }

    /// The equation in LaTeX, without delimiters.
    #[must_use]
    pub fn latex(self) -> String {
        render::latex::line(self.node)
    }

    /// The equation in MathML.
    #[must_use]
    pub fn mathml(self) -> String {
        render::mathml::line(self.node)
    }
}

impl<Q: Dimensioned> Term<Q> {
    /// An input: a symbol with words and a value. Create each once.
    #[must_use]
    pub fn input(name: &str, words: &str, value: Q) -> Self {
        Self::input_from(name, words, value, "")
    }

    /// As [`Term::input`], saying where the value was set.
    #[must_use]
    pub fn input_from(name: &str, words: &str, value: Q, origin: &str) -> Self {
        Self::with_symbol(name, words, value, origin).0
    }

    /// As [`Term::input_from`], with the symbol by which an operating point sets
    /// the input to another value.
    #[must_use]
    pub fn with_symbol(name: &str, words: &str, value: Q, origin: &str) -> (Self, &'static Symbol) {
        let symbol: &'static Symbol = Box::leak(Box::new(Symbol {
            glyph: Glyph::new(name),
            words: words.to_owned(),
            origin: origin.to_owned(),
            value: value.coherent(),
            exponents: Q::EXPONENTS,
        }));
        (Self::new(leak(Op::Symbol(symbol), Q::EXPONENTS)), symbol)
    }

    /// A constant quantity.
    #[must_use]
    pub fn constant(value: Q) -> Self {
        Self::new(leak(Op::Constant(value.coherent()), Q::EXPONENTS))
    }

    /// The value at the inputs' own values.
    ///
    /// # Errors
    /// An operation outside its domain, an equation without a solution, two
    /// symbols of one name.
    pub fn value(self) -> Result<Q, EquationError> {
        let program = Program::compile(&[self.node])?;
        Ok(Q::from_coherent(program.evaluate(&program.defaults())?[0]))
    }

    /// The exact derivative by each input, in the coherent unit of the result
    /// over that of the input.
    ///
    /// # Errors
    /// As [`Term::value`].
    pub fn gradient(self) -> Result<Vec<(&'static Symbol, f64)>, EquationError> {
        let program = Program::compile(&[self.node])?;
        let defaults = program.defaults();
        program.evaluate(&defaults)?;
        let gradient = &program.run(&Gradient::inputs(&program, &defaults))[0];
        Ok(program
            .inputs()
            .iter()
            .enumerate()
            .map(|(k, s)| (*s, gradient.partial(k)))
            .collect())
    }

    /// The symbol, where this term is an input.
    #[must_use]
    pub fn symbol(self) -> Option<&'static Symbol> {
        match self.node.op {
            Op::Symbol(symbol) => Some(symbol),
            _ => None,
        }
    }

    /// The square.
    #[must_use]
    pub fn squared(self) -> Term<<Q as Mul>::Output>
    where
        Q: Mul,
    {
        Term::new(leak(Op::Power(self.node, 2), Q::EXPONENTS.raised_to(2)))
    }

    /// The integral of `integrand` over a variable of this quantity.
    ///
    /// ```
    /// use slewbook::equation::{Curve, Term};
    /// use slewbook::quantity::{print, unit::{pF, volt}, Capacitance, Charge, Voltage};
    /// let V = Term::input("V", "voltage", 20.0 * volt);
    /// let curve = Curve::constant("C_oss", 300.0 * pF).unwrap().shared();
    /// let charge: Term<Charge> =
    ///     Term::integral("u", Term::constant(0.0 * volt), V, |u| u.capacitance(curve));
    /// assert_eq!(print(charge.value().unwrap()), "6 nC");
    /// ```
    #[must_use]
    pub fn integral<R>(
        variable: &str,
        lower: Self,
        upper: Self,
        integrand: impl FnOnce(Self) -> Term<R>,
    ) -> Term<<R as Mul<Q>>::Output>
    where
        R: Mul<Q>,
    {
        let glyph: &'static Glyph = Box::leak(Box::new(Glyph::new(variable)));
        let variable = Self::new(leak(Op::Variable(glyph), Q::EXPONENTS));
        let body = integrand(variable).node;
        Term::new(leak(
            Op::Integral {
                variable: variable.node,
                lower: lower.node,
                upper: upper.node,
                body,
            },
            body.exponents.times(Q::EXPONENTS),
        ))
    }

    /// The solution of an equation between two bounds.
    ///
    /// ```
    /// use slewbook::equation::Term;
    /// use slewbook::quantity::Ratio;
    /// let x = Term::<Ratio>::solve("x", "solution", 0.0.into(), 2.0.into(), |x| (x * x, 2.0.into()));
    /// assert!((x.value().unwrap().value - 2.0_f64.sqrt()).abs() < 1e-15);
    /// ```
    #[must_use]
    pub fn solve<R>(
        name: &str,
        words: &str,
        lower: Self,
        upper: Self,
        sides: impl FnOnce(Self) -> (Term<R>, Term<R>),
    ) -> Self {
        let unknown = Unknown::new(name, words);
        let (left, right) = sides(unknown.term());
        unknown.solves(left, right, lower, upper)
    }
}

/// An unknown before its equation is given, for equations whose parts are used
/// elsewhere too: there the unknown stands for its solution.
#[derive(Debug)]
pub struct Unknown<Q> {
    data: &'static UnknownData,
    term: Term<Q>,
}

impl<Q: Dimensioned> Unknown<Q> {
    /// A new unknown.
    #[must_use]
    pub fn new(name: &str, words: &str) -> Self {
        let data: &'static UnknownData = Box::leak(Box::new(UnknownData {
            glyph: Glyph::new(name),
            words: words.to_owned(),
            equation: std::sync::OnceLock::new(),
        }));
        Self {
            data,
            term: Term::new(leak(Op::Unknown(data), Q::EXPONENTS)),
        }
    }

    /// The unknown as a term.
    #[must_use]
    pub fn term(&self) -> Term<Q> {
        self.term
    }

    /// Gives the equation `left = right` and the bracket of its solution.
    #[must_use]
    pub fn solves<R>(
        self,
        left: Term<R>,
        right: Term<R>,
        lower: Term<Q>,
        upper: Term<Q>,
    ) -> Term<Q> {
        self.data.equation.get_or_init(|| Equation {
            left: left.node,
            right: right.node,
            lower: lower.node,
            upper: upper.node,
        });
        self.term
    }
}

impl Curve {
    /// The curve as expressions hold it: for the life of the program.
    #[must_use]
    pub fn shared(self) -> &'static Self {
        Box::leak(Box::new(self))
    }
}

impl Term<Voltage> {
    /// The capacitance of a curve at this voltage.
    #[must_use]
    pub fn capacitance(self, curve: &'static Curve) -> Term<Capacitance> {
        Term::new(leak(Op::Curve(curve, self.node), Capacitance::EXPONENTS))
    }
}

impl<D> Term<Quantity<D, BaseUnits, f64>>
where
    D: Dimension + ?Sized + 'static,
{
    /// The square root; the exponents of the dimension must be even.
    #[must_use]
    pub fn sqrt(self) -> Term<Root<D>>
    where
        D::L: PartialDiv<P2>,
        D::M: PartialDiv<P2>,
        D::T: PartialDiv<P2>,
        D::I: PartialDiv<P2>,
        D::Th: PartialDiv<P2>,
        PartialQuot<D::L, P2>: Integer,
        PartialQuot<D::M, P2>: Integer,
        PartialQuot<D::T, P2>: Integer,
        PartialQuot<D::I, P2>: Integer,
        PartialQuot<D::Th, P2>: Integer,
    {
        Term::new(leak(
            Op::Unary(Unary::Sqrt, self.node),
            self.node.exponents.halved(),
        ))
    }
}

/// The quantity whose square has dimension `D`.
pub type Root<D> = Quantity<
    Q<
        PartialQuot<<D as Dimension>::L, P2>,
        PartialQuot<<D as Dimension>::M, P2>,
        PartialQuot<<D as Dimension>::T, P2>,
        PartialQuot<<D as Dimension>::I, P2>,
        PartialQuot<<D as Dimension>::Th, P2>,
    >,
    BaseUnits,
    f64,
>;

macro_rules! functions {
    ($($(#[$doc:meta])* $name:ident $op:ident;)+) => {
        impl Term<Ratio> {
            $($(#[$doc])*
            #[must_use]
            pub fn $name(self) -> Self {
                self.unary(Unary::$op)
            })+
        }
    };
}

functions! {
    /// The exponential function.
    exp Exp;
    /// The natural logarithm.
    ln Ln;
    /// The sine of an angle in radian.
    sin Sin;
    /// The cosine of an angle in radian.
    cos Cos;
    /// The arc sine, in radian.
    asin Asin;
    /// The arc cosine, in radian.
    acos Acos;
    /// The greatest whole number not above; its derivative counts as zero.
    floor Floor;
}

impl Term<Ratio> {
    /// This number to a power that is itself an expression.
    #[must_use]
    pub fn power(self, exponent: Self) -> Self {
        self.binary(Binary::Power, exponent)
    }
}
