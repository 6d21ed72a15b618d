//! Printing in engineering form.

use super::Dimensioned;
use super::dimension::Exponents;
use super::symbol::{PREFIXES, Prefix, name_of, superscript};

/// How many significant digits a result is shown with unless asked otherwise.
const DIGITS: usize = 4;

/// A quantity in engineering form: a number from 1 to 1000 and a unit with an
/// SI prefix, a space between (SI Brochure, 5.4.3).
///
/// ```
/// use slewbook::quantity::{print, unit::{nH, volt}};
/// assert_eq!(print(1023.456 * nH), "1.023 µH");
/// assert_eq!(print(-0.022 * volt), "−22 mV");
/// ```
#[must_use]
pub fn print<Q: Dimensioned>(quantity: Q) -> String {
    print_value(quantity.coherent(), Q::EXPONENTS, DIGITS)
}

/// As [`print`], for a value in the coherent unit of `exponents` and a chosen
/// number of significant digits.
///
/// ```
/// use slewbook::quantity::{Dimensioned, Time, print_value};
/// assert_eq!(print_value(24.399_208e-9, Time::EXPONENTS, 6), "24.3992 ns");
/// ```
#[must_use]
pub fn print_value(value: f64, exponents: Exponents, digits: usize) -> String {
    let (number, prefix) = engineering(value, exponents, digits);
    let unit = name_of(exponents).plain;
    match (unit.is_empty(), prefix) {
        (true, _) => number,
        (false, prefix) => format!("{number} {}{unit}", prefix.plain),
    }
}

/// The number and the prefix of the engineering form.
#[must_use]
pub fn engineering(value: f64, exponents: Exponents, digits: usize) -> (String, Prefix) {
    let printed = || PREFIXES.iter().filter(|p| p.power % 3 == 0);
    let none = Prefix {
        plain: "",
        latex: "",
        also: &[],
        power: 0,
    };
    if !name_of(exponents).prefixes || value == 0.0 || !value.is_finite() {
        return (number(value, digits), none);
    }
    // The prefix follows the rounded number, so that 999.96 nH prints as 1 µH.
    let rounded = significant(value.abs(), digits);
    let prefix = printed()
        .rev()
        .find(|p| rounded >= 10f64.powi(p.power) * (1.0 - 1e-12))
        .or_else(|| printed().next())
        .copied()
        .unwrap_or(none);
    (number(value / 10f64.powi(prefix.power), digits), prefix)
}

/// A number rounded to `digits` significant digits.
#[must_use]
pub fn significant(value: f64, digits: usize) -> f64 {
    format!("{value:.*e}", digits.saturating_sub(1))
        .parse()
        .unwrap_or(value)
}

/// A plain number with `digits` significant digits, trailing zeros removed, a
/// true minus sign, and powers of ten where it is far from one.
///
/// ```
/// use slewbook::quantity::number;
/// assert_eq!(number(0.680_34, 4), "0.6803");
/// assert_eq!(number(-2.5e-7, 4), "−2.5×10⁻⁷");
/// ```
#[must_use]
pub fn number(value: f64, digits: usize) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let scientific = format!("{:.*e}", digits.saturating_sub(1), value.abs());
    let (mantissa, exponent) = scientific.split_once('e').unwrap_or((&scientific, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let body = if (-4..6).contains(&exponent) {
        let decimals = usize::try_from(digits as i64 - 1 - i64::from(exponent)).unwrap_or(0);
        trimmed(&format!("{:.decimals$}", significant(value.abs(), digits)))
    } else {
        format!("{}×10{}", trimmed(mantissa), superscript(exponent))
    };
    format!("{}{body}", if value < 0.0 { "−" } else { "" })
}

fn trimmed(decimal: &str) -> String {
    if decimal.contains('.') {
        decimal
            .trim_end_matches('0')
            .trim_end_matches('.')
            .to_owned()
    } else {
        decimal.to_owned()
    }
}
