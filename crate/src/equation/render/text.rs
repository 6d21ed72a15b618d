//! Plain Unicode text.

use super::layout::{Layout, Sign};
use crate::equation::node::{Expression, Relation};
use crate::quantity::{number, print_value};

/// How many significant digits constants and values are shown with.
const DIGITS: usize = 5;

pub(crate) fn line(node: Expression) -> String {
    write(&super::definition(node))
}

pub(crate) fn expression(node: Expression) -> String {
    write(&super::expression(node))
}

/// Writes a layout on one line.
pub(crate) fn write(layout: &Layout) -> String {
    match layout {
        Layout::Row(items) => items.iter().map(write).collect(),
        Layout::Glyph(glyph) => glyph.to_string(),
        Layout::Number(value) => number(*value, DIGITS),
        Layout::Quantity(value, exponents) => print_value(*value, *exponents, DIGITS),
        Layout::Sign(sign) => match sign {
            Sign::Plus => " + ".to_owned(),
            Sign::Minus => " − ".to_owned(),
            Sign::Product | Sign::Times => "·".to_owned(),
            Sign::Equals => " = ".to_owned(),
            Sign::Relation(relation) => format!(" {} ", relation_sign(*relation)),
        },
        Layout::Fraction(over, under) => {
            format!("{}/{}", operand(over, false), operand(under, true))
        }
        Layout::Root(inner) => format!("√({})", write(inner)),
        Layout::Power(base, exponent) => match exponent.as_ref() {
            Layout::Number(n) if n.fract() == 0.0 && n.abs() < 100.0 => {
                #[expect(clippy::cast_possible_truncation, reason = "checked: whole and small")]
                let power = crate::quantity::symbol::superscript(*n as i64);
                format!("{}{power}", write(base))
            }
            other => format!("{}^({})", write(base), write(other)),
        },
        Layout::Group(inner) => format!("({})", write(inner)),
        Layout::Magnitude(inner) => format!("|{}|", write(inner)),
        Layout::Call(glyph, arguments) => format!("{glyph}({})", list(arguments)),
        Layout::Function(name, arguments) => format!("{name}({})", list(arguments)),
        Layout::Integral {
            lower,
            upper,
            body,
            variable,
        } => format!(
            "∫[{} to {}] {} d{variable}",
            write(lower),
            write(upper),
            write(body)
        ),
        Layout::Cases {
            then,
            condition,
            otherwise,
        } => format!(
            "{} if {}, else {}",
            write(then),
            write(condition),
            write(otherwise)
        ),
    }
}

pub(crate) fn relation_sign(relation: Relation) -> &'static str {
    match relation {
        Relation::Above => ">",
        Relation::AtLeast => "≥",
        Relation::Below => "<",
        Relation::AtMost => "≤",
    }
}

fn list(arguments: &[Layout]) -> String {
    arguments.iter().map(write).collect::<Vec<_>>().join(", ")
}

/// An operand of a slash: in parentheses where it would read otherwise.
fn operand(layout: &Layout, below: bool) -> String {
    let text = write(layout);
    let loose = match layout {
        Layout::Row(items) => {
            below
                || items
                    .iter()
                    .any(|i| matches!(i, Layout::Sign(Sign::Plus | Sign::Minus)))
        }
        Layout::Fraction(..) | Layout::Quantity(..) => below,
        Layout::Integral { .. } | Layout::Cases { .. } => true,
        Layout::Glyph(_)
        | Layout::Number(_)
        | Layout::Sign(_)
        | Layout::Root(_)
        | Layout::Power(..)
        | Layout::Group(_)
        | Layout::Magnitude(_)
        | Layout::Call(..)
        | Layout::Function(..) => false,
    };
    if loose { format!("({text})") } else { text }
}
