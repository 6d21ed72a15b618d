//! Recognising integrals of a capacitance curve against a straight line.
//!
//! `∫ C(u) (u - V_out) du`, with `C` a sum of curves of shifted or mirrored
//! voltage, has a closed form in each curve's charge and energy. The renderer
//! shows the integral; the program evaluates the closed form.

use super::curve::Curve;
use super::node::{Binary, Expression, Op, Unary};

/// `slope · u + Σ plus - Σ minus`, the slope being -1, 0 or 1 and the terms
/// free of the variable.
#[derive(Clone, Debug, Default)]
pub(crate) struct Line {
    pub slope: f64,
    pub plus: Vec<Expression>,
    pub minus: Vec<Expression>,
}

/// A curve of a line in the variable, or of the line's magnitude, times a factor
/// where it has one.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    pub factor: Option<Expression>,
    pub curve: &'static Curve,
    pub line: Line,
    pub magnitude: bool,
}

/// A sum of curves and constants times a line.
#[derive(Clone, Debug)]
pub(crate) struct Moment {
    pub pieces: Vec<Piece>,
    pub constants: Vec<Expression>,
    /// The line, where the integrand has one.
    pub weight: Option<Line>,
}

/// Whether an expression depends on the variable.
pub(crate) type Depends<'d> = dyn Fn(Expression) -> bool + 'd;

/// The moment form of an integrand, if it has one.
pub(crate) fn moment(body: Expression, depends: &Depends) -> Option<Moment> {
    let mut factors = Vec::new();
    flatten_product(body, &mut factors);
    let (with_curve, lines): (Vec<_>, Vec<_>) = factors
        .into_iter()
        .partition(|f| depends(f) && line(f, depends).is_none());
    let [curve] = with_curve.as_slice() else {
        return None;
    };
    let weight = match lines.as_slice() {
        [] => None,
        [one] => Some(line(one, depends)?),
        _ => return None,
    };
    let mut moment = Moment {
        pieces: vec![],
        constants: vec![],
        weight,
    };
    collect(curve, depends, &mut moment)?;
    Some(moment)
}

/// The capacitance by which an integrand counts that has no moment form: a dividend
/// that is a sum of curves, some of them tables, and constants.
pub(crate) fn density(body: Expression, depends: &Depends) -> Option<Moment> {
    let Op::Binary(Binary::Divide, dividend, _) = body.op else {
        return None;
    };
    moment(dividend, depends).filter(|found| {
        let tables = found.pieces.iter().any(|p| p.curve.table_ends().is_some());
        found.weight.is_none() && tables
    })
}

/// Every curve below `node` whose argument is a line, for the kinks of an
/// integrand that has no moment form.
pub(crate) fn pieces(body: Expression, depends: &Depends) -> Vec<Piece> {
    super::node::post_order(&[body])
        .into_iter()
        .filter_map(|node| match node.op {
            Op::Curve(curve, argument) if depends(argument) => piece(curve, argument, depends),
            _ => None,
        })
        .collect()
}

fn flatten_product(node: Expression, factors: &mut Vec<Expression>) {
    match node.op {
        Op::Binary(Binary::Multiply, x, y) => {
            flatten_product(x, factors);
            flatten_product(y, factors);
        }
        _ => factors.push(node),
    }
}

fn collect(node: Expression, depends: &Depends, moment: &mut Moment) -> Option<()> {
    if !depends(node) {
        moment.constants.push(node);
        return Some(());
    }
    match node.op {
        Op::Named(_, body) => collect(body, depends, moment),
        Op::Binary(Binary::Add, x, y) => {
            collect(x, depends, moment)?;
            collect(y, depends, moment)
        }
        Op::Curve(curve, argument) => {
            moment.pieces.push(piece(curve, argument, depends)?);
            Some(())
        }
        Op::Binary(Binary::Multiply, factor, scaled) if !depends(factor) => match scaled.op {
            Op::Curve(curve, argument) => {
                let mut piece = piece(curve, argument, depends)?;
                piece.factor = Some(factor);
                moment.pieces.push(piece);
                Some(())
            }
            _ => None,
        },
        _ => None,
    }
}

fn piece(curve: &'static Curve, argument: Expression, depends: &Depends) -> Option<Piece> {
    match argument.op {
        Op::Unary(Unary::Abs, inner) => Some(Piece {
            factor: None,
            curve,
            line: line(inner, depends)?,
            magnitude: true,
        }),
        _ => Some(Piece {
            factor: None,
            curve,
            line: line(argument, depends)?,
            magnitude: false,
        }),
    }
    .filter(|piece| piece.line.slope != 0.0)
}

/// The line that an expression is in the variable, if it is one of unit slope.
fn line(node: Expression, depends: &Depends) -> Option<Line> {
    if !depends(node) {
        return Some(Line {
            slope: 0.0,
            plus: vec![node],
            minus: vec![],
        });
    }
    match node.op {
        Op::Variable(_) => Some(Line {
            slope: 1.0,
            ..Line::default()
        }),
        Op::Binary(Binary::Add, x, y) => join(line(x, depends)?, line(y, depends)?, false),
        Op::Binary(Binary::Subtract, x, y) => join(line(x, depends)?, line(y, depends)?, true),
        _ => None,
    }
}

fn join(mut left: Line, mut right: Line, subtract: bool) -> Option<Line> {
    if subtract {
        right.slope = -right.slope;
        std::mem::swap(&mut right.plus, &mut right.minus);
    }
    left.slope += right.slope;
    left.plus.extend(right.plus);
    left.minus.extend(right.minus);
    (left.slope.abs() <= 1.0).then_some(left)
}
