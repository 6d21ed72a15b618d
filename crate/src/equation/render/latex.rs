//! LaTeX, without delimiters.
//!
//! Every product is the one token `\,` and every function has its argument in
//! parentheses, so that a formula can be read back by a program.

use super::layout::{Layout, Sign};
use crate::equation::node::{Expression, Relation};
use crate::quantity::{decimal, engineering, symbol::name_of};

/// How many significant digits constants and values are shown with.
const DIGITS: usize = 5;

pub(crate) fn line(node: Expression) -> String {
    write(&super::definition(node))
}

/// Writes a layout.
pub(crate) fn write(layout: &Layout) -> String {
    match layout {
        Layout::Row(items) => items.iter().map(write).collect(),
        Layout::Glyph(glyph) => glyph.latex(),
        Layout::Number(value) => plain_number(*value, DIGITS),
        Layout::Quantity(value, exponents) => quantity(*value, *exponents, DIGITS),
        Layout::Sign(sign) => match sign {
            Sign::Plus => " + ".to_owned(),
            Sign::Minus => " - ".to_owned(),
            Sign::Product => r"\,".to_owned(),
            Sign::Times => r" \cdot ".to_owned(),
            Sign::Equals => " = ".to_owned(),
            Sign::Relation(relation) => match relation {
                Relation::Above => " > ".to_owned(),
                Relation::AtLeast => r" \ge ".to_owned(),
                Relation::Below => " < ".to_owned(),
                Relation::AtMost => r" \le ".to_owned(),
            },
        },
        Layout::Fraction(over, under) => format!(r"\frac{{{}}}{{{}}}", write(over), write(under)),
        Layout::Root(inner) => format!(r"\sqrt{{{}}}", write(inner)),
        Layout::Power(base, exponent) => format!("{}^{{{}}}", write(base), write(exponent)),
        Layout::Group(inner) => format!(r"\left({}\right)", write(inner)),
        Layout::Magnitude(inner) => format!(r"\left|{}\right|", write(inner)),
        Layout::Call(glyph, arguments) => {
            format!(r"{}\left({}\right)", glyph.latex(), list(arguments))
        }
        Layout::Function("floor", arguments) => {
            format!(r"\left\lfloor {}\right\rfloor", list(arguments))
        }
        Layout::Function(name, arguments) => format!(r"\{name}\left({}\right)", list(arguments)),
        Layout::Integral {
            lower,
            upper,
            body,
            variable,
        } => format!(
            r"\int_{{{}}}^{{{}}} {}\,\mathrm{{d}}{}",
            write(lower),
            write(upper),
            write(body),
            variable.latex()
        ),
        Layout::Cases {
            then,
            condition,
            otherwise,
        } => format!(
            r"\begin{{cases}}{} & {}\\{} & \text{{otherwise}}\end{{cases}}",
            write(then),
            write(condition),
            write(otherwise)
        ),
    }
}

fn list(arguments: &[Layout]) -> String {
    arguments.iter().map(write).collect::<Vec<_>>().join(", ")
}

fn plain_number(value: f64, digits: usize) -> String {
    let (mantissa, exponent) = decimal(value, digits);
    match exponent {
        None => mantissa,
        Some(power) => format!(r"{mantissa} \times 10^{{{power}}}"),
    }
}

/// A value with its unit, upright, after a thin space.
pub(crate) fn quantity(value: f64, exponents: crate::quantity::Exponents, digits: usize) -> String {
    let (scaled, prefix) = engineering(value, exponents, digits);
    let number = plain_number(scaled, digits);
    let unit = name_of(exponents).latex;
    if unit.is_empty() {
        number
    } else {
        format!(r"{number}\,\mathrm{{{}{unit}}}", prefix.latex)
    }
}
