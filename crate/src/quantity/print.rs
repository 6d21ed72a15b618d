//! Printing in engineering form.

use super::Dimensioned;
use super::dimension::Exponents;
use super::symbol::{PREFIXES, Prefix, name_of, superscript};

/// How many significant digits a result is shown with unless asked otherwise.
pub(crate) const DIGITS: usize = 4;

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

/// As [`print()`], for a value in the coherent unit of `exponents` and a chosen
/// number of significant digits.
///
/// ```
/// use slewbook::quantity::{Dimensioned, Time, print_value};
/// assert_eq!(print_value(24.399_208e-9, Time::EXPONENTS, 6), "24.3992 ns");
/// ```
#[must_use]
pub fn print_value(value: f64, exponents: Exponents, digits: usize) -> String {
    let (scaled, prefix) = engineering(value, exponents, digits);
    let number = number(scaled, digits);
    let unit = name_of(exponents).plain;
    match (unit.is_empty(), prefix) {
        (true, _) => number,
        (false, prefix) => format!("{number} {}{unit}", prefix.plain),
    }
}

/// The number and the prefix of the engineering form, for `digits` significant
/// digits.
#[must_use]
pub fn engineering(value: f64, exponents: Exponents, digits: usize) -> (f64, Prefix) {
    let printed = || PREFIXES.iter().filter(|p| p.power % 3 == 0);
    let none = Prefix {
        plain: "",
        latex: "",
        also: &[],
        power: 0,
    };
    if !name_of(exponents).prefixes || value == 0.0 || !value.is_finite() {
        return (value, none);
    }
    // The prefix follows the rounded number, so that 999.96 nH prints as 1 µH.
    let rounded = significant(value.abs(), digits);
    let prefix = printed()
        .rev()
        .find(|p| rounded >= 10f64.powi(p.power) * (1.0 - 1e-12))
        .or_else(|| printed().next())
        .copied()
        .unwrap_or(none);
    (value / 10f64.powi(prefix.power), prefix)
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
    let (mantissa, exponent) = decimal(value, digits);
    let mantissa = mantissa.replace('-', "−");
    match exponent {
        None => mantissa,
        Some(power) => format!("{mantissa}×10{}", superscript(power)),
    }
}

/// A number with `digits` significant digits as a decimal with an ASCII sign,
/// and a power of ten where it is far from one.
#[must_use]
pub fn decimal(value: f64, digits: usize) -> (String, Option<i32>) {
    if value == 0.0 {
        return ("0".to_owned(), None);
    }
    let scientific = format!("{:.*e}", digits.saturating_sub(1), value);
    let (mantissa, exponent) = scientific.split_once('e').unwrap_or((&scientific, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    if (-4..6).contains(&exponent) {
        let places = i32::try_from(digits).unwrap_or(0) - 1 - exponent;
        let places = usize::try_from(places).unwrap_or(0);
        (
            trimmed(&format!("{:.places$}", significant(value, digits))),
            None,
        )
    } else {
        (trimmed(mantissa), Some(exponent))
    }
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
