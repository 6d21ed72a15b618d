//! What one step of a column program does, over operands of any kind.

use std::sync::Arc;

use super::schedule::Block;
use crate::equation::Relation;
use crate::equation::curve::Curve;
use crate::equation::node::{Binary, Unary};

/// One step's action; `O` is what its operands are.
#[derive(Clone, Debug)]
pub(crate) enum Action<O> {
    Unary(Unary, O),
    Binary(Binary, O, O),
    Power(O, i32),
    Select {
        relation: Relation,
        left: O,
        right: O,
        then: O,
        otherwise: O,
    },
    Curve(&'static Curve, O),
    /// Charge and energy of a curve: the only action with two results.
    Moments {
        curve: &'static Curve,
        magnitude: bool,
        at: O,
    },
    /// An integral without closed form.
    Integral {
        lower: O,
        upper: O,
        breaks: Vec<O>,
        /// The capacitance over whose charge it is taken, where it has tables.
        density: Option<Density<O>>,
        captures: Vec<O>,
        body: Arc<Block>,
    },
    /// The root of `left - right`, the two outputs of the body.
    Solve {
        lower: O,
        upper: O,
        captures: Vec<O>,
        body: Arc<Block>,
    },
}

/// A sum of curves and constants.
#[derive(Clone, Debug)]
pub(crate) struct Density<O> {
    pub curves: Vec<Shifted<O>>,
    pub constants: Vec<O>,
}

/// A curve of a line in the variable, or of the line's magnitude, with its factor.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shifted<O> {
    pub curve: &'static Curve,
    pub magnitude: bool,
    pub slope: f64,
    pub shift: O,
    pub factor: O,
}

impl<O: Copy> Density<O> {
    fn map<P>(&self, f: &mut impl FnMut(O) -> P) -> Density<P> {
        Density {
            curves: self
                .curves
                .iter()
                .map(|own| Shifted {
                    curve: own.curve,
                    magnitude: own.magnitude,
                    slope: own.slope,
                    shift: f(own.shift),
                    factor: f(own.factor),
                })
                .collect(),
            constants: self.constants.iter().map(|x| f(*x)).collect(),
        }
    }
}

/// What tells two actions apart, operands aside.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Kind {
    Operation(&'static str, i32),
    Curve(*const Curve, bool, bool),
}

impl<O: Copy> Action<O> {
    /// The same action over other operands.
    pub fn map<P>(&self, mut f: impl FnMut(O) -> P) -> Action<P> {
        match self {
            Self::Unary(op, x) => Action::Unary(*op, f(*x)),
            Self::Binary(op, x, y) => Action::Binary(*op, f(*x), f(*y)),
            Self::Power(x, power) => Action::Power(f(*x), *power),
            Self::Select {
                relation,
                left,
                right,
                then,
                otherwise,
            } => Action::Select {
                relation: *relation,
                left: f(*left),
                right: f(*right),
                then: f(*then),
                otherwise: f(*otherwise),
            },
            Self::Curve(curve, x) => Action::Curve(curve, f(*x)),
            Self::Moments {
                curve,
                magnitude,
                at,
            } => Action::Moments {
                curve,
                magnitude: *magnitude,
                at: f(*at),
            },
            Self::Integral {
                lower,
                upper,
                breaks,
                density,
                captures,
                body,
            } => Action::Integral {
                lower: f(*lower),
                upper: f(*upper),
                breaks: breaks.iter().map(|x| f(*x)).collect(),
                density: density.as_ref().map(|density| density.map(&mut f)),
                captures: captures.iter().map(|x| f(*x)).collect(),
                body: Arc::clone(body),
            },
            Self::Solve {
                lower,
                upper,
                captures,
                body,
            } => Action::Solve {
                lower: f(*lower),
                upper: f(*upper),
                captures: captures.iter().map(|x| f(*x)).collect(),
                body: Arc::clone(body),
            },
        }
    }

    /// The operands, in order.
    pub fn operands(&self) -> Vec<O> {
        let mut operands = Vec::new();
        self.map(|operand| operands.push(operand));
        operands
    }

    /// How many results it has.
    pub fn results(&self) -> usize {
        if matches!(self, Self::Moments { .. }) {
            2
        } else {
            1
        }
    }

    /// The body of an integral or an equation.
    pub fn body(&self) -> Option<&Arc<Block>> {
        match self {
            Self::Integral { body, .. } | Self::Solve { body, .. } => Some(body),
            _ => None,
        }
    }

    /// What tells it apart; two actions alike in this and in their operands have
    /// the same results. `None` for a body, which is never looked for twice.
    pub fn kind(&self) -> Option<Kind> {
        Some(match self {
            Self::Unary(op, _) => Kind::Operation("unary", *op as i32),
            Self::Binary(op, ..) => Kind::Operation("binary", *op as i32),
            Self::Power(_, power) => Kind::Operation("power", *power),
            Self::Select { relation, .. } => Kind::Operation("select", *relation as i32),
            Self::Curve(curve, _) => Kind::Curve(std::ptr::from_ref(*curve), false, false),
            Self::Moments {
                curve, magnitude, ..
            } => Kind::Curve(std::ptr::from_ref(*curve), true, *magnitude),
            Self::Integral { .. } | Self::Solve { .. } => return None,
        })
    }
}
