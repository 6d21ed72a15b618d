//! Reading quantities: a number, then a unit.

use std::borrow::Cow;
use std::fmt;

use super::dimension::{Dimensioned, Exponents};
use super::symbol::{PREFIXES, UNITS, lowered, name_of};
use super::{TemperatureInterval, ThermodynamicTemperature};

/// Why a text is not the quantity that was expected. Its message says what was
/// found, what was expected, and gives an example.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ParseQuantityError {
    /// No number at the start.
    MissingNumber {
        /// The text.
        text: String,
        /// An example of what was expected.
        expected: String,
    },
    /// A number with no unit where a unit is needed.
    MissingUnit {
        /// The text.
        text: String,
        /// An example of what was expected.
        expected: String,
    },
    /// A unit nobody knows.
    UnknownUnit {
        /// The unit as written.
        unit: String,
        /// An example of what was expected.
        expected: String,
    },
    /// A unit of another quantity.
    WrongDimension {
        /// The unit as written.
        unit: String,
        /// The unit's dimension, named by its coherent unit.
        found: String,
        /// An example of what was expected.
        expected: String,
    },
    /// Infinite, not a number, or out of range of a 64-bit number.
    NotFinite {
        /// The text.
        text: String,
    },
    /// A comma where the decimal point should be.
    DecimalComma {
        /// The text.
        text: String,
    },
    /// A temperature below absolute zero.
    BelowAbsoluteZero {
        /// The text.
        text: String,
    },
    /// °C in place of K for a temperature difference.
    CelsiusInterval {
        /// The text.
        text: String,
    },
}

impl fmt::Display for ParseQuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::MissingNumber { text, expected } => {
                write!(
                    f,
                    "no number at the start of \"{text}\"; expected {expected}"
                )
            }
            Self::MissingUnit { text, expected } => {
                write!(f, "\"{text}\" has no unit; expected {expected}")
            }
            Self::UnknownUnit { unit, expected } => {
                write!(f, "unknown unit \"{unit}\"; expected {expected}")
            }
            Self::WrongDimension {
                unit,
                found,
                expected,
            } => write!(
                f,
                "\"{unit}\" is a unit of another quantity (measured in {found}); expected {expected}"
            ),
            Self::NotFinite { text } => {
                write!(
                    f,
                    "\"{text}\" is not a finite number; expected an ordinary number"
                )
            }
            Self::DecimalComma { text } => {
                write!(
                    f,
                    "\"{text}\" has a comma; write the decimal marker as a point"
                )
            }
            Self::BelowAbsoluteZero { text } => {
                write!(
                    f,
                    "\"{text}\" lies below absolute zero; expected −273.15 °C or more"
                )
            }
            Self::CelsiusInterval { text } => {
                write!(
                    f,
                    "\"{text}\" is a temperature difference; state it in K, such as \"40 K\""
                )
            }
        }
    }
}

impl std::error::Error for ParseQuantityError {}

/// Reads a quantity of type `Q`.
///
/// Accepted: an optional sign, a number with a decimal point and an optional
/// power of ten (`1e-7` or `1×10⁻⁷`), optional space, a unit with an optional SI prefix (`u`, `µ` or
/// `μ` for micro; `ohm` or `Ω`), or a product or quotient of units (`W/m^3`).
/// A plain number is read as a [`super::Ratio`], with `%` too.
///
/// # Errors
/// Wrong dimension, unknown or missing unit, missing number, not finite: each
/// with what was expected.
///
/// ```
/// use slewbook::quantity::{parse, Frequency, Inductance, unit::{kHz, uH}};
/// assert_eq!(parse::<Frequency>("140kHz").unwrap(), 140.0 * kHz);
/// let error = parse::<Inductance>("0.68 uF").unwrap_err();
/// assert_eq!(
///     error.to_string(),
///     "\"uF\" is a unit of another quantity (measured in F); expected an inductance such as \"0.68 uH\""
/// );
/// # let _ = uH;
/// ```
pub fn parse<Q: Dimensioned>(text: &str) -> Result<Q, ParseQuantityError> {
    parse_in(text, Q::EXPONENTS).map(Q::from_coherent)
}

/// As [`parse`], for a dimension known at run time; the value comes in the
/// coherent unit.
///
/// # Errors
/// As [`parse`].
pub fn parse_in(text: &str, exponents: Exponents) -> Result<f64, ParseQuantityError> {
    let expected = example(exponents);
    let (value, unit) = split(text, &expected)?;
    if unit.is_empty() {
        if exponents == Exponents::NONE {
            return Ok(value);
        }
        return Err(ParseQuantityError::MissingUnit {
            text: text.trim().to_owned(),
            expected,
        });
    }
    if is_celsius(unit) && exponents == TemperatureInterval::EXPONENTS {
        return Err(ParseQuantityError::CelsiusInterval {
            text: text.trim().to_owned(),
        });
    }
    let Some((factor, found)) = read_unit(unit) else {
        return Err(ParseQuantityError::UnknownUnit {
            unit: unit.to_owned(),
            expected,
        });
    };
    if found != exponents {
        let found = name_of(found).plain;
        let found = if found.is_empty() {
            "1".to_owned()
        } else {
            found
        };
        return Err(ParseQuantityError::WrongDimension {
            unit: unit.to_owned(),
            found,
            expected,
        });
    }
    finite(factor.apply(value), text)
}

/// Reads an absolute temperature in °C or K.
///
/// # Errors
/// As [`parse`]; below absolute zero too.
///
/// ```
/// use slewbook::quantity::parse_temperature;
/// assert!((parse_temperature("40 °C").unwrap().celsius() - 40.0).abs() < 1e-9);
/// ```
pub fn parse_temperature(text: &str) -> Result<ThermodynamicTemperature, ParseQuantityError> {
    let expected = "a temperature such as \"40 °C\" or \"313 K\"".to_owned();
    let (value, unit) = split(text, &expected)?;
    let temperature = if is_celsius(unit) {
        ThermodynamicTemperature::from_celsius(value)
    } else if unit == "K" {
        ThermodynamicTemperature::from_coherent(value)
    } else if unit.is_empty() {
        return Err(ParseQuantityError::MissingUnit {
            text: text.trim().to_owned(),
            expected,
        });
    } else {
        return Err(match read_unit(unit) {
            Some((_, found)) => ParseQuantityError::WrongDimension {
                unit: unit.to_owned(),
                found: name_of(found).plain,
                expected,
            },
            None => ParseQuantityError::UnknownUnit {
                unit: unit.to_owned(),
                expected,
            },
        });
    };
    if temperature.coherent() < 0.0 {
        return Err(ParseQuantityError::BelowAbsoluteZero {
            text: text.trim().to_owned(),
        });
    }
    Ok(temperature)
}

/// Whether a unit is the degree Celsius.
pub(crate) fn is_celsius(unit: &str) -> bool {
    matches!(unit, "°C" | "degC" | "\u{2103}")
}

fn split<'t>(text: &'t str, expected: &str) -> Result<(f64, &'t str), ParseQuantityError> {
    let trimmed = text.trim();
    let normal = trimmed
        .strip_prefix('\u{2212}')
        .map(|rest| format!("-{rest}"));
    let source = normal.as_deref().unwrap_or(trimmed);
    let length = number_length(source);
    let missing = || {
        let head = source.trim_start_matches(['+', '-']).to_ascii_lowercase();
        if head.starts_with("inf") || head.starts_with("nan") {
            ParseQuantityError::NotFinite {
                text: trimmed.to_owned(),
            }
        } else {
            ParseQuantityError::MissingNumber {
                text: trimmed.to_owned(),
                expected: expected.to_owned(),
            }
        }
    };
    if length == 0 {
        return Err(missing());
    }
    let (power, rest) = power_of_ten(&source[length..]);
    let value = format!("{}{power}", &source[..length]);
    let value: f64 = value.parse().map_err(|_| missing())?;
    if rest.starts_with(',') {
        return Err(ParseQuantityError::DecimalComma {
            text: trimmed.to_owned(),
        });
    }
    // The unit as a part of the original text: it is the same bytes at the end.
    let unit = trimmed[trimmed.len() - rest.len()..].trim();
    Ok((finite(value, text)?, unit))
}

/// The power of ten after a number, as printed (`×10⁻⁷`), in the spelling that is parsed,
/// and what follows it.
fn power_of_ten(text: &str) -> (String, &str) {
    let none = (String::new(), text);
    let Some(raised) = text.strip_prefix("×10") else {
        return none;
    };
    let rest = raised.trim_start_matches(|own| lowered(own).is_some());
    let power: String = raised[..raised.len() - rest.len()]
        .chars()
        .filter_map(lowered)
        .collect();
    if power.parse::<i16>().is_err() {
        return none;
    }
    (format!("e{power}"), rest)
}

fn finite(value: f64, text: &str) -> Result<f64, ParseQuantityError> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(ParseQuantityError::NotFinite {
            text: text.trim().to_owned(),
        })
    }
}

/// Length of the number at the start: sign, digits, point, digits, exponent.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |from: usize| {
        bytes[from..]
            .iter()
            .take_while(|b| b.is_ascii_digit())
            .count()
    };
    let sign = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let whole = digits(sign);
    let mut end = sign + whole;
    let mut decimals = 0;
    if bytes.get(end) == Some(&b'.') {
        decimals = digits(end + 1);
        end += 1 + decimals;
    }
    if whole + decimals == 0 {
        return 0;
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let signed = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits((end + 1 + signed).min(bytes.len()));
        if exponent > 0 {
            end += 1 + signed + exponent;
        }
    }
    end
}

/// A unit's factor, as a power of ten apart so that one rounding at most
/// separates `0.68 uH` from the double nearest to 0.68e-6.
pub(crate) struct Factor {
    plain: f64,
    power: i32,
}

impl Factor {
    /// Of plain numbers.
    pub(crate) const ONE: Self = Self {
        plain: 1.0,
        power: 0,
    };

    /// A value in this unit, in the coherent one.
    pub(crate) fn apply(&self, value: f64) -> f64 {
        let scaled = value * self.plain;
        if self.power < 0 {
            scaled / 10f64.powi(-self.power)
        } else {
            scaled * 10f64.powi(self.power)
        }
    }
}

/// The largest exponent of a base quantity that a unit may have: far beyond any
/// unit in use, and small enough that products do not overflow.
const LARGEST_EXPONENT: i32 = 12;

/// Reads `W/m^3`, `nC`, `Ω·m`, `m⁶/(V³·A³)`: factors joined by `·`, `*` or `/`, and products
/// of factors in brackets.
pub(crate) fn read_unit(unit: &str) -> Option<(Factor, Exponents)> {
    let mut total = (Factor::ONE, Exponents::NONE);
    let mut sign = 1;
    let mut rest = unit;
    loop {
        // Brackets within brackets are no usual spelling; the end of a group ends a factor.
        let group = rest.trim_start().strip_prefix('(');
        let (inside, after) = match group {
            Some(group) => group.split_once(')')?,
            None => rest.split_at(rest.find(JOINTS).unwrap_or(rest.len())),
        };
        total = if group.is_some() {
            product(total, inside, sign)?
        } else {
            factor(total, inside, sign)?
        };
        let after = after.trim_start();
        let Some(joint) = after.chars().next() else {
            return Some(total);
        };
        rest = after.strip_prefix(JOINTS)?;
        sign = if joint == '/' { -1 } else { 1 };
    }
}

/// What joins factors.
const JOINTS: [char; 3] = ['/', '·', '*'];

/// A unit times a product of factors, as `V³·A³`, to the power of `sign`.
fn product(total: (Factor, Exponents), factors: &str, sign: i8) -> Option<(Factor, Exponents)> {
    let mut all = factors.split(['·', '*']);
    all.try_fold(total, |total, own| factor(total, own, sign))
}

/// A unit times a factor to the power of `sign`.
fn factor(
    (total, exponents): (Factor, Exponents),
    text: &str,
    sign: i8,
) -> Option<(Factor, Exponents)> {
    let (factor, dimension, power) = read_factor(text.trim())?;
    let power = power * sign;
    let within = |(own, new): (&i8, &i8)| {
        (i32::from(*own) + i32::from(*new) * i32::from(power)).abs() <= LARGEST_EXPONENT
    };
    if !exponents.0.iter().zip(&dimension.0).all(within) {
        return None;
    }
    let total = Factor {
        plain: total.plain * factor.plain.powi(i32::from(power)),
        power: total.power + factor.power * i32::from(power),
    };
    Some((total, exponents.times(dimension.raised_to(power))))
}

/// A factor without its power, and the power: `m^3`, `m³`, `m⁻³`, or none.
fn with_power(text: &str) -> Option<(&str, i8)> {
    let base = text.trim_end_matches(|own| lowered(own).is_some());
    let (base, power) = if base.len() < text.len() {
        let raised = text[base.len()..].chars();
        (base, raised.filter_map(lowered).collect())
    } else if let Some((base, power)) = text.split_once('^') {
        (base, Cow::Borrowed(power))
    } else {
        return Some((text, 1));
    };
    let power = power.parse::<i8>().ok()?;
    (power.abs() <= 9).then_some((base, power))
}

/// Reads one factor with an optional power: `m^3`, `m³`, `kHz`, `1`.
fn read_factor(text: &str) -> Option<(Factor, Exponents, i8)> {
    let (base, power) = with_power(text)?;
    if base == "1" {
        return Some((Factor::ONE, Exponents::NONE, 1));
    }
    if is_celsius(base) {
        // In a quotient such as °C/W the degree Celsius is an interval.
        return Some((Factor::ONE, TemperatureInterval::EXPONENTS, power));
    }
    for unit in UNITS {
        for symbol in std::iter::once(&unit.plain).chain(unit.also) {
            let Some(head) = base.strip_suffix(symbol) else {
                continue;
            };
            if head.is_empty() {
                return Some((
                    Factor {
                        plain: unit.factor,
                        power: 0,
                    },
                    unit.exponents,
                    power,
                ));
            }
            if !unit.prefixes {
                continue;
            }
            if let Some(prefix) = PREFIXES
                .iter()
                .find(|p| p.plain == head || p.also.contains(&head))
            {
                let factor = Factor {
                    plain: unit.factor,
                    power: prefix.power,
                };
                return Some((factor, unit.exponents, power));
            }
        }
    }
    None
}

/// What is expected of a dimension, with an example from this field.
pub(crate) fn example(exponents: Exponents) -> String {
    use super::system::values as q;
    let known: &[(Exponents, &str)] = &[
        (
            q::ElectricPotential::EXPONENTS,
            "a voltage such as \"36 V\"",
        ),
        (q::ElectricCurrent::EXPONENTS, "a current such as \"6 A\""),
        (
            q::ElectricalResistance::EXPONENTS,
            "a resistance such as \"12 mohm\"",
        ),
        (
            q::Inductance::EXPONENTS,
            "an inductance such as \"0.68 uH\"",
        ),
        (
            q::Capacitance::EXPONENTS,
            "a capacitance such as \"600 pF\"",
        ),
        (q::ElectricCharge::EXPONENTS, "a charge such as \"20 nC\""),
        (q::Energy::EXPONENTS, "an energy such as \"85 nJ\""),
        (q::Power::EXPONENTS, "a power such as \"120 mW\""),
        (q::Frequency::EXPONENTS, "a frequency such as \"140 kHz\""),
        (q::Time::EXPONENTS, "a time such as \"35 ns\""),
        (q::Length::EXPONENTS, "a length such as \"12 mm\""),
        (
            q::TemperatureInterval::EXPONENTS,
            "a temperature difference such as \"40 K\"",
        ),
        (
            Exponents::NONE,
            "a plain number such as \"0.5\" or a percentage such as \"20 %\"",
        ),
    ];
    known.iter().find(|(e, _)| *e == exponents).map_or_else(
        || format!("a value in {}", name_of(exponents).plain),
        |(_, text)| (*text).to_owned(),
    )
}
