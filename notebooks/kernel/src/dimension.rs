//! Dimensions read back from the compiler's type names.

use slewbook::quantity::{self as q, Dimensioned, Exponents};

/// What a type name says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A quantity of this dimension.
    Quantity(Exponents),
    /// An absolute temperature.
    Temperature,
}

/// The dimension of a quantity's type, as the compiler writes it.
pub fn of(kind: &str) -> Option<Kind> {
    let start = kind.find("Dimension<")?;
    let inside = &kind[start + "Dimension<".len()..];
    let mut exponents = [0; 5];
    for (place, name) in ["L", "M", "T", "I", "Th"].iter().enumerate() {
        exponents[place] = integer(argument(inside, name)?)?;
    }
    if inside.contains("AbsoluteTemperature") {
        return Some(Kind::Temperature);
    }
    Some(Kind::Quantity(Exponents(exponents)))
}

/// The text of `name = ...` in a list of associated types.
fn argument<'t>(list: &'t str, name: &str) -> Option<&'t str> {
    let mut from = 0;
    loop {
        let at = from + list[from..].find(name)?;
        from = at + name.len();
        let whole = list[..at]
            .chars()
            .next_back()
            .is_none_or(|c| !c.is_alphanumeric());
        if let Some(value) = list[from..].trim_start().strip_prefix('=')
            && whole
        {
            return Some(value.trim_start());
        }
    }
}

/// A type-level integer: `Z0`, `PInt<UInt<UTerm, B1>>`, `NInt<...>`.
fn integer(text: &str) -> Option<i8> {
    let end = text.find(['<', ',', '>']).unwrap_or(text.len());
    let (path, rest) = text.split_at(end);
    let sign = match path.trim().rsplit("::").next()? {
        "Z0" => return Some(0),
        "PInt" => 1,
        "NInt" => -1,
        _ => return None,
    };
    // The binary digits stand in order, the most significant first.
    let mut depth = 0_usize;
    let mut value = 0_i8;
    let mut rest = rest;
    while let Some(at) = rest.find(['<', '>', 'B']) {
        match rest.as_bytes()[at] {
            b'<' => depth += 1,
            b'>' => {
                depth = depth.checked_sub(1)?;
                if depth == 0 {
                    break;
                }
            }
            _ => match rest.as_bytes().get(at + 1) {
                Some(b'0') => value = value.checked_mul(2)?,
                Some(b'1') => value = value.checked_mul(2)?.checked_add(1)?,
                _ => {}
            },
        }
        rest = &rest[at + 1..];
    }
    Some(sign * value)
}

macro_rules! names {
    ($($name:ident)+) => {
        &[$((q::$name::EXPONENTS, stringify!($name))),+]
    };
}

/// The library's name of a quantity.
pub fn name(exponents: Exponents) -> Option<&'static str> {
    let names: &[(Exponents, &str)] = names! {
        Voltage Current Resistance Charge Capacitance Inductance Energy Power Time Frequency Ratio
        Length Area Volume Mass TemperatureInterval ElectricalConductance ElectricalResistivity
        VolumetricPowerDensity MagneticFlux MagneticFluxDensity MagneticFieldStrength
        MagneticPermeability ThermalResistance TemperatureCoefficient CurrentSlope VoltageSlope
    };
    // Quantities that share a dimension: the one met first is the common one.
    names
        .iter()
        .find(|(own, _)| *own == exponents)
        .map(|(_, name)| *name)
}

/// A dimension in words: `voltage (V)`.
pub fn in_words(exponents: Exponents) -> String {
    let unit = exponents.to_string();
    let unit = if unit.is_empty() {
        "1".to_owned()
    } else {
        unit
    };
    let Some(name) = name(exponents) else {
        return format!("a quantity in {unit}");
    };
    let mut words = String::new();
    for letter in name.chars() {
        if letter.is_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.extend(letter.to_lowercase());
    }
    format!("{words} ({unit})")
}

#[cfg(test)]
mod tests {
    use super::*;

    const VOLTAGE: &str = "Quantity<dyn Dimension<L = PInt<UInt<UInt<UTerm, B1>, B0>>, M = PInt<UInt<UTerm, B1>>, \
        T = NInt<UInt<UInt<UTerm, B1>, B1>>, I = NInt<UInt<UTerm, B1>>, Th = Z0, Kind = dyn Kind + 'static>, f64>";

    #[test]
    fn a_type_is_read_back() {
        assert_eq!(of(VOLTAGE), Some(Kind::Quantity(q::Voltage::EXPONENTS)));
        assert_eq!(name(q::Voltage::EXPONENTS), Some("Voltage"));
        assert_eq!(in_words(q::Voltage::EXPONENTS), "voltage (V)");
    }

    #[test]
    fn another_type_is_none() {
        assert_eq!(of("Vec<f64>"), None);
    }
}
