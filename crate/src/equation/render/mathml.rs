//! Presentation MathML (MathML Core), the content of a `math` element.

use super::layout::{DIGITS, Layout, Sign};
use super::text::relation_sign;
use crate::equation::node::Expression;
use crate::quantity::{decimal, engineering, symbol::name_of};

pub(crate) fn line(node: Expression) -> String {
    display(&super::definition(node))
}

/// A `math` element set on a line of its own.
pub(crate) fn display(layout: &Layout) -> String {
    element(layout, " display=\"block\" displaystyle=\"true\"")
}

/// A `math` element within a line of text.
pub(crate) fn inline(layout: &Layout) -> String {
    element(layout, "")
}

/// A `math` element of one symbol.
#[cfg(feature = "program")]
pub(crate) fn symbol(glyph: &crate::equation::Glyph) -> String {
    inline(&Layout::Glyph(glyph.clone()))
}

fn element(layout: &Layout, attributes: &str) -> String {
    let alternative = super::text::write(layout)
        .replace('&', "&amp;")
        .replace('"', "&quot;")
        .replace('<', "&lt;");
    format!(
        "<math xmlns=\"http://www.w3.org/1998/Math/MathML\"{attributes} alttext=\"{alternative}\">\
         {}</math>",
        write(layout)
    )
}

/// Writes a layout.
pub(crate) fn write(layout: &Layout) -> String {
    match layout {
        Layout::Row(items) => {
            format!(
                "<mrow>{}</mrow>",
                items.iter().map(write).collect::<String>()
            )
        }
        Layout::Glyph(glyph) => glyph.mathml(),
        Layout::Number(value) => plain_number(*value, DIGITS),
        Layout::Quantity(value, exponents) => {
            let (scaled, prefix) = engineering(*value, *exponents, DIGITS);
            let number = plain_number(scaled, DIGITS);
            let unit = name_of(*exponents).plain;
            if unit.is_empty() {
                number
            } else {
                format!(
                    "<mrow>{number}<mspace width=\"0.17em\"/>\
                     <mi mathvariant=\"normal\">{}{unit}</mi></mrow>",
                    prefix.plain
                )
            }
        }
        Layout::Sign(sign) => match sign {
            Sign::Plus => "<mo>+</mo>".to_owned(),
            Sign::Minus => "<mo>−</mo>".to_owned(),
            Sign::Negative => "<mo form=\"prefix\">−</mo>".to_owned(),
            Sign::Product => "<mspace width=\"0.17em\"/>".to_owned(),
            Sign::Times => "<mo>·</mo>".to_owned(),
            Sign::Equals => "<mo>=</mo>".to_owned(),
            Sign::Relation(relation) => {
                format!("<mo>{}</mo>", relation_sign(*relation).replace('<', "&lt;"))
            }
        },
        Layout::Fraction(over, under) => {
            format!("<mfrac>{}{}</mfrac>", write(over), write(under))
        }
        Layout::Root(inner) => format!("<msqrt>{}</msqrt>", write(inner)),
        Layout::Power(base, exponent) => {
            format!("<msup>{}{}</msup>", write(base), write(exponent))
        }
        Layout::Group(inner) => format!("<mrow><mo>(</mo>{}<mo>)</mo></mrow>", write(inner)),
        Layout::Magnitude(inner) => format!(
            "<mrow><mo stretchy=\"true\">|</mo>{}<mo stretchy=\"true\">|</mo></mrow>",
            write(inner)
        ),
        Layout::Call(glyph, arguments) => call(&glyph.mathml(), arguments),
        Layout::Function(name, arguments) => call(&format!("<mi>{name}</mi>"), arguments),
        Layout::Integral {
            lower,
            upper,
            body,
            variable,
        } => format!(
            "<mrow><msubsup><mo>∫</mo>{}{}</msubsup>{}<mspace width=\"0.17em\"/>\
             <mi mathvariant=\"normal\">d</mi>{}</mrow>",
            write(lower),
            write(upper),
            write(body),
            variable.mathml()
        ),
        Layout::Cases {
            then,
            condition,
            otherwise,
        } => format!(
            "<mrow><mo stretchy=\"true\">{{</mo><mtable columnalign=\"left\">\
             <mtr><mtd>{}</mtd><mtd>{}</mtd></mtr>\
             <mtr><mtd>{}</mtd><mtd><mtext>otherwise</mtext></mtd></mtr></mtable></mrow>",
            write(then),
            write(condition),
            write(otherwise)
        ),
    }
}

fn call(head: &str, arguments: &[Layout]) -> String {
    let arguments: Vec<_> = arguments.iter().map(write).collect();
    format!(
        "<mrow>{head}<mo>(</mo>{}<mo>)</mo></mrow>",
        arguments.join("<mo separator=\"true\">,</mo>")
    )
}

fn plain_number(value: f64, digits: usize) -> String {
    let (mantissa, exponent) = decimal(value.abs(), digits);
    let sign = if value < 0.0 { "<mo>−</mo>" } else { "" };
    match exponent {
        None if sign.is_empty() => format!("<mn>{mantissa}</mn>"),
        None => format!("<mrow>{sign}<mn>{mantissa}</mn></mrow>"),
        Some(power) => format!(
            "<mrow>{sign}<mn>{mantissa}</mn><mo>×</mo><msup><mn>10</mn><mn>{}</mn></msup></mrow>",
            power.to_string().replace('-', "−")
        ),
    }
}
