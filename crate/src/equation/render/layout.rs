//! The layout of a formula: what is written, without saying in which notation.

use crate::equation::glyph::Glyph;
use crate::equation::node::{Binary, Comparison, Expression, Op, Relation, Unary};
use crate::quantity::{Exponents, decimal};

/// How many significant digits constants and values are shown with.
pub(crate) const DIGITS: usize = 5;

/// A piece of a formula.
#[derive(Clone, Debug)]
pub(crate) enum Layout {
    Row(Vec<Layout>),
    Glyph(Glyph),
    Number(f64),
    /// A number with its unit.
    Quantity(f64, Exponents),
    Sign(Sign),
    Fraction(Box<Layout>, Box<Layout>),
    Root(Box<Layout>),
    Power(Box<Layout>, Box<Layout>),
    Group(Box<Layout>),
    Magnitude(Box<Layout>),
    /// A function of the formula's own, written by its symbol.
    Call(Glyph, Vec<Layout>),
    /// A function of mathematics, written by its upright name.
    Function(&'static str, Vec<Layout>),
    Integral {
        lower: Box<Layout>,
        upper: Box<Layout>,
        body: Box<Layout>,
        variable: Glyph,
    },
    /// One of two by a condition.
    Cases {
        then: Box<Layout>,
        condition: Box<Layout>,
        otherwise: Box<Layout>,
    },
}

/// A sign between two operands, or before one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sign {
    Plus,
    Minus,
    /// The minus before a single operand.
    Negative,
    /// The one token for every product of symbols.
    Product,
    /// The product sign between numbers.
    Times,
    Equals,
    Relation(Relation),
}

impl Layout {
    /// The same with some glyphs in another's place: the k-th by its number.
    pub fn renamed(self, glyphs: &[&Glyph]) -> Self {
        let place = |glyph: Glyph| match glyphs.iter().position(|own| **own == glyph) {
            Some(place) => Glyph::new(&format!("#{place}")),
            None => glyph,
        };
        let one = |piece: Box<Self>| Box::new(piece.renamed(glyphs));
        let all = |pieces: Vec<Self>| pieces.into_iter().map(|p| p.renamed(glyphs)).collect();
        match self {
            Self::Row(pieces) => Self::Row(all(pieces)),
            Self::Glyph(glyph) => Self::Glyph(place(glyph)),
            Self::Fraction(over, under) => Self::Fraction(one(over), one(under)),
            Self::Root(body) => Self::Root(one(body)),
            Self::Power(base, exponent) => Self::Power(one(base), one(exponent)),
            Self::Group(body) => Self::Group(one(body)),
            Self::Magnitude(body) => Self::Magnitude(one(body)),
            Self::Call(glyph, arguments) => Self::Call(glyph, all(arguments)),
            Self::Function(name, arguments) => Self::Function(name, all(arguments)),
            Self::Integral {
                lower,
                upper,
                body,
                variable,
            } => Self::Integral {
                lower: one(lower),
                upper: one(upper),
                body: one(body),
                variable: place(variable),
            },
            Self::Cases {
                then,
                condition,
                otherwise,
            } => Self::Cases {
                then: one(then),
                condition: one(condition),
                otherwise: one(otherwise),
            },
            Self::Number(_) | Self::Quantity(..) | Self::Sign(_) => self,
        }
    }
}

/// How tightly a piece holds together; the only precedence table.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Binding {
    /// One of two: nothing may follow it without parentheses.
    Cases,
    Sum,
    Product,
    Atom,
}

/// Number values that stand in place of symbols.
pub(crate) type Values<'v> = dyn Fn(Expression) -> Option<f64> + 'v;

/// `symbol = formula`, or the equation of an unknown; a bare formula as it is.
pub(crate) fn definition(node: Expression) -> Layout {
    match &node.op {
        Op::Named(name, body) => {
            let head = head(&name.glyph, &name.arguments);
            Layout::Row(vec![head, Layout::Sign(Sign::Equals), expression(body)])
        }
        Op::Unknown(unknown) => unknown.equation.get().map_or_else(
            || Layout::Glyph(unknown.glyph.clone()),
            |equation| {
                Layout::Row(vec![
                    expression(equation.left),
                    Layout::Sign(Sign::Equals),
                    expression(equation.right),
                ])
            },
        ),
        _ => expression(node),
    }
}

/// The formula in symbols.
pub(crate) fn expression(node: Expression) -> Layout {
    Walk { values: None }.piece(node).0
}

/// The formula of a named step with numbers in place of its symbols.
pub(crate) fn with_numbers(node: Expression, values: &Values) -> Layout {
    let walk = Walk {
        values: Some(values),
    };
    match &node.op {
        Op::Named(_, body) => walk.piece(body).0,
        Op::Unknown(unknown) => match unknown.equation.get() {
            Some(equation) => Layout::Row(vec![
                walk.piece(equation.left).0,
                Layout::Sign(Sign::Equals),
                walk.piece(equation.right).0,
            ]),
            None => expression(node),
        },
        _ => walk.piece(node).0,
    }
}

/// A comparison in symbols.
pub(crate) fn comparison(comparison: &Comparison) -> Layout {
    Walk { values: None }.comparison(comparison)
}

fn head(glyph: &Glyph, arguments: &[Expression]) -> Layout {
    if arguments.is_empty() {
        Layout::Glyph(glyph.clone())
    } else {
        Layout::Call(
            glyph.clone(),
            arguments.iter().map(|a| expression(a)).collect(),
        )
    }
}

struct Walk<'v> {
    values: Option<&'v Values<'v>>,
}

impl Walk<'_> {
    fn piece(&self, node: Expression) -> (Layout, Binding) {
        if let Some(value) = self.values.and_then(|values| values(node)) {
            let binding = if value < 0.0 {
                Binding::Sum
            } else {
                Binding::Atom
            };
            return (Layout::Quantity(value, node.exponents), binding);
        }
        match &node.op {
            Op::Symbol(symbol) => (Layout::Glyph(symbol.glyph.clone()), Binding::Atom),
            Op::Variable(glyph) => (Layout::Glyph((*glyph).clone()), Binding::Atom),
            Op::Unknown(unknown) => (Layout::Glyph(unknown.glyph.clone()), Binding::Atom),
            Op::Constant(value) => {
                let binding = if *value < 0.0 {
                    Binding::Sum
                } else if decimal(*value, DIGITS).1.is_some() {
                    // A power of ten is a product.
                    Binding::Product
                } else {
                    Binding::Atom
                };
                if node.exponents == Exponents::NONE || *value == 0.0 {
                    (Layout::Number(*value), binding)
                } else {
                    (Layout::Quantity(*value, node.exponents), binding)
                }
            }
            Op::Unary(op, x) => self.unary(*op, x),
            Op::Binary(op, x, y) => self.binary(*op, x, y),
            Op::Power(x, power) => {
                let exponent = Layout::Number(f64::from(*power));
                (self.raised(x, exponent), Binding::Product)
            }
            Op::Select(comparison, then, otherwise) => (
                Layout::Cases {
                    then: Box::new(self.piece(then).0),
                    condition: Box::new(self.comparison(comparison)),
                    otherwise: Box::new(self.piece(otherwise).0),
                },
                Binding::Cases,
            ),
            Op::Curve(curve, x) => (
                Layout::Call(curve.glyph().clone(), vec![self.piece(x).0]),
                Binding::Atom,
            ),
            Op::Named(name, _) if name.arguments.is_empty() => {
                (Layout::Glyph(name.glyph.clone()), Binding::Atom)
            }
            Op::Named(name, _) => {
                let arguments = name.arguments.iter().map(|a| self.piece(a).0).collect();
                (Layout::Call(name.glyph.clone(), arguments), Binding::Atom)
            }
            Op::Integral {
                variable,
                lower,
                upper,
                body,
            } => {
                let variable = match variable.op {
                    Op::Variable(glyph) => glyph.clone(),
                    _ => Glyph::new("u"),
                };
                let integral = Layout::Integral {
                    lower: Box::new(self.piece(lower).0),
                    upper: Box::new(self.piece(upper).0),
                    body: Box::new(self.at(body, Binding::Product)),
                    variable,
                };
                (integral, Binding::Sum)
            }
        }
    }

    /// The piece, in parentheses where it holds together less than `least`.
    fn at(&self, node: Expression, least: Binding) -> Layout {
        let (layout, binding) = self.piece(node);
        if binding < least {
            Layout::Group(Box::new(layout))
        } else {
            layout
        }
    }

    fn unary(&self, op: Unary, x: Expression) -> (Layout, Binding) {
        let name = match op {
            Unary::Negate => {
                let operand = self.at(x, Binding::Product);
                return (
                    Layout::Row(vec![Layout::Sign(Sign::Negative), operand]),
                    Binding::Sum,
                );
            }
            Unary::Sqrt => return (Layout::Root(Box::new(self.piece(x).0)), Binding::Atom),
            Unary::Abs => return (Layout::Magnitude(Box::new(self.piece(x).0)), Binding::Atom),
            Unary::Exp => "exp",
            Unary::Ln => "ln",
            Unary::Sin => "sin",
            Unary::Cos => "cos",
            Unary::Asin => "arcsin",
            Unary::Acos => "arccos",
            Unary::Floor => "floor",
        };
        (
            Layout::Function(name, vec![self.piece(x).0]),
            Binding::Product,
        )
    }

    fn binary(&self, op: Binary, x: Expression, y: Expression) -> (Layout, Binding) {
        match op {
            Binary::Add => (
                self.row(x, Binding::Sum, Sign::Plus, y, Binding::Product),
                Binding::Sum,
            ),
            Binary::Subtract => (
                self.row(x, Binding::Sum, Sign::Minus, y, Binding::Product),
                Binding::Sum,
            ),
            Binary::Multiply => {
                let sign = if self.values.is_some() {
                    Sign::Times
                } else {
                    Sign::Product
                };
                (
                    self.row(x, Binding::Product, sign, y, Binding::Product),
                    Binding::Product,
                )
            }
            Binary::Divide => {
                let (over, under) = (self.piece(x).0, self.piece(y).0);
                (
                    Layout::Fraction(Box::new(over), Box::new(under)),
                    Binding::Product,
                )
            }
            Binary::Power => (self.raised(x, self.piece(y).0), Binding::Product),
            Binary::Min => (
                Layout::Function("min", vec![self.piece(x).0, self.piece(y).0]),
                Binding::Product,
            ),
            Binary::Max => (
                Layout::Function("max", vec![self.piece(x).0, self.piece(y).0]),
                Binding::Product,
            ),
        }
    }

    fn row(
        &self,
        x: Expression,
        least_x: Binding,
        sign: Sign,
        y: Expression,
        least_y: Binding,
    ) -> Layout {
        Layout::Row(vec![
            self.at(x, least_x),
            Layout::Sign(sign),
            self.at(y, least_y),
        ])
    }

    /// A power; a base of more than one symbol stands in parentheses.
    fn raised(&self, x: Expression, exponent: Layout) -> Layout {
        let base = match self.piece(x) {
            (base @ (Layout::Glyph(_) | Layout::Number(_)), Binding::Atom) => base,
            (base, _) => Layout::Group(Box::new(base)),
        };
        Layout::Power(Box::new(base), Box::new(exponent))
    }

    fn comparison(&self, comparison: &Comparison) -> Layout {
        Layout::Row(vec![
            self.piece(comparison.left).0,
            Layout::Sign(Sign::Relation(comparison.relation)),
            self.piece(comparison.right).0,
        ])
    }
}
