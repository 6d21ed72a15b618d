//! The expression graph behind a [`super::Term`]: untyped, immutable, leaked.
//!
//! Nodes are leaked so that terms are `Copy` and outlive a notebook cell; their
//! address is their identity. Building leaks a little, evaluating never does.

use std::sync::OnceLock;

use super::curve::Curve;
use super::glyph::Glyph;
use crate::quantity::Exponents;

/// A node of the graph.
#[derive(Debug)]
pub struct Node {
    pub(crate) op: Op,
    pub(crate) exponents: Exponents,
}

/// A reference to a node: the untyped form of a term.
pub type Expression = &'static Node;

/// What a node computes.
#[derive(Debug)]
pub(crate) enum Op {
    /// An input, with its value.
    Symbol(&'static Symbol),
    /// The variable of an integral.
    Variable(&'static Glyph),
    /// The solution of an equation; within that equation, its unknown.
    Unknown(&'static UnknownData),
    /// A constant.
    Constant(f64),
    Unary(Unary, Expression),
    Binary(Binary, Expression, Expression),
    Power(Expression, i32),
    /// One of two values, by a comparison.
    Select(Comparison, Expression, Expression),
    /// A capacitance curve at a voltage.
    Curve(&'static Curve, Expression),
    /// An expression with a symbol of its own, or a function of its arguments.
    Named(&'static Name, Expression),
    Integral {
        variable: Expression,
        lower: Expression,
        upper: Expression,
        body: Expression,
    },
}

/// Operations on one operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unary {
    Negate,
    Sqrt,
    Exp,
    Ln,
    Sin,
    Cos,
    Asin,
    Acos,
    Abs,
    Floor,
}

/// Operations on two operands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Binary {
    Add,
    Subtract,
    Multiply,
    Divide,
    Power,
    Min,
    Max,
}

/// The relation of a comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relation {
    /// Greater than.
    Above,
    /// Greater than or equal to.
    AtLeast,
    /// Less than.
    Below,
    /// Less than or equal to.
    AtMost,
}

impl Relation {
    /// Whether `left` stands in this relation to `right`.
    #[must_use]
    pub fn holds(self, left: f64, right: f64) -> bool {
        match self {
            Self::Above => left > right,
            Self::AtLeast => left >= right,
            Self::Below => left < right,
            Self::AtMost => left <= right,
        }
    }
}

/// A comparison of two like quantities.
#[derive(Clone, Copy, Debug)]
pub struct Comparison {
    /// The relation.
    pub relation: Relation,
    /// The left side.
    pub left: Expression,
    /// The right side.
    pub right: Expression,
}

/// An input of an expression: a symbol with words, value and origin.
///
/// Its address is its identity: two symbols of one name in one expression are an
/// error, since sums and uncertainties would count them twice.
#[derive(Debug)]
pub struct Symbol {
    pub(crate) glyph: Glyph,
    pub(crate) words: String,
    pub(crate) origin: String,
    pub(crate) value: f64,
    pub(crate) exponents: Exponents,
}

impl Symbol {
    /// How it is written.
    #[must_use]
    pub fn glyph(&self) -> &Glyph {
        &self.glyph
    }

    /// What it is, in words.
    #[must_use]
    pub fn words(&self) -> &str {
        &self.words
    }

    /// Where its value was set.
    #[must_use]
    pub fn origin(&self) -> &str {
        &self.origin
    }

    /// Its value in the coherent unit.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// Its dimension.
    #[must_use]
    pub fn exponents(&self) -> Exponents {
        self.exponents
    }
}

/// The name of an intermediate result, or of a function of `arguments`.
#[derive(Debug)]
pub struct Name {
    pub(crate) glyph: Glyph,
    pub(crate) words: String,
    pub(crate) arguments: Vec<Expression>,
}

/// An unknown and the equation that fixes it.
#[derive(Debug)]
pub struct UnknownData {
    pub(crate) glyph: Glyph,
    pub(crate) words: String,
    pub(crate) equation: OnceLock<Equation>,
}

/// `left = right`, to be solved between `lower` and `upper`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Equation {
    pub left: Expression,
    pub right: Expression,
    pub lower: Expression,
    pub upper: Expression,
}

/// Leaks a node: see the module's first paragraph for why.
pub(crate) fn leak(op: Op, exponents: Exponents) -> Expression {
    Box::leak(Box::new(Node { op, exponents }))
}

impl Node {
    /// The dimension of the result.
    #[must_use]
    pub fn exponents(&self) -> Exponents {
        self.exponents
    }

    /// The key by which maps find a node; never an order.
    pub(crate) fn key(&self) -> *const Node {
        std::ptr::from_ref(self)
    }

    /// The operands, in the order in which they are written.
    pub(crate) fn operands(&self) -> Vec<Expression> {
        match &self.op {
            Op::Symbol(_) | Op::Variable(_) | Op::Constant(_) => vec![],
            Op::Unknown(unknown) => unknown.equation.get().map_or_else(Vec::new, |equation| {
                vec![
                    equation.lower,
                    equation.upper,
                    equation.left,
                    equation.right,
                ]
            }),
            Op::Unary(_, x) | Op::Power(x, _) | Op::Curve(_, x) | Op::Named(_, x) => vec![x],
            Op::Binary(_, x, y) => vec![x, y],
            Op::Select(comparison, x, y) => vec![comparison.left, comparison.right, x, y],
            Op::Integral {
                lower, upper, body, ..
            } => vec![lower, upper, body],
        }
    }
}

/// The distinct nodes below `roots`, operands before what uses them, in order of
/// first appearance.
pub(crate) fn post_order(roots: &[Expression]) -> Vec<Expression> {
    fn visit(
        node: Expression,
        seen: &mut std::collections::HashSet<*const Node>,
        order: &mut Vec<Expression>,
    ) {
        if !seen.insert(node.key()) {
            return;
        }
        for operand in node.operands() {
            visit(operand, seen, order);
        }
        order.push(node);
    }
    let mut order = Vec::new();
    let mut seen = std::collections::HashSet::new();
    for root in roots {
        visit(root, &mut seen, &mut order);
    }
    order
}
