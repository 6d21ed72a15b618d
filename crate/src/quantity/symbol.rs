//! The symbols of units: one table from which parsing and printing draw.

use super::dimension::Exponents;
use super::{Dimensioned, system::values as q};

/// A unit as it is written.
#[derive(Clone, Copy, Debug)]
pub struct UnitSymbol {
    /// As printed in plain Unicode text (`Ω`).
    pub plain: &'static str,
    /// As LaTeX, without delimiters (`\Omega`).
    pub latex: &'static str,
    /// Other spellings that are read (`ohm`, the ohm sign).
    pub also: &'static [&'static str],
    /// The dimension.
    pub exponents: Exponents,
    /// One unit in the coherent unit of its dimension.
    pub factor: f64,
    /// Whether SI prefixes may stand before it.
    pub prefixes: bool,
    /// Whether numbers are printed in it (with a prefix if `prefixes`).
    pub printed: bool,
}

const fn si(
    plain: &'static str,
    latex: &'static str,
    also: &'static [&'static str],
    exponents: Exponents,
) -> UnitSymbol {
    UnitSymbol {
        plain,
        latex,
        also,
        exponents,
        factor: 1.0,
        prefixes: true,
        printed: true,
    }
}

/// Every unit that is read or printed.
pub const UNITS: &[UnitSymbol] = &[
    si("V", "V", &[], q::ElectricPotential::EXPONENTS),
    si("A", "A", &[], q::ElectricCurrent::EXPONENTS),
    si(
        "Ω",
        r"\Omega",
        &["ohm", "Ohm", "ohms", "\u{2126}"],
        q::ElectricalResistance::EXPONENTS,
    ),
    si("S", "S", &[], q::ElectricalConductance::EXPONENTS),
    si("H", "H", &[], q::Inductance::EXPONENTS),
    si("F", "F", &[], q::Capacitance::EXPONENTS),
    si("C", "C", &[], q::ElectricCharge::EXPONENTS),
    si("J", "J", &[], q::Energy::EXPONENTS),
    si("W", "W", &[], q::Power::EXPONENTS),
    si("Hz", "Hz", &[], q::Frequency::EXPONENTS),
    si("s", "s", &[], q::Time::EXPONENTS),
    si("m", "m", &[], q::Length::EXPONENTS),
    si("K", "K", &[], q::TemperatureInterval::EXPONENTS),
    si("T", "T", &[], q::MagneticFluxDensity::EXPONENTS),
    si("Wb", "Wb", &[], q::MagneticFlux::EXPONENTS),
    UnitSymbol {
        factor: 1e-3,
        printed: false,
        ..si("g", "g", &[], q::Mass::EXPONENTS)
    },
    UnitSymbol {
        factor: 1e-2,
        prefixes: false,
        printed: false,
        ..si("%", r"\%", &["percent"], Exponents::NONE)
    },
    UnitSymbol {
        factor: 1e-6,
        prefixes: false,
        printed: false,
        ..si("ppm", "ppm", &[], Exponents::NONE)
    },
];

/// An SI prefix.
#[derive(Clone, Copy, Debug)]
pub struct Prefix {
    /// As printed (`µ`).
    pub plain: &'static str,
    /// As LaTeX (`\mu`).
    pub latex: &'static str,
    /// Other spellings that are read (`u` and the Greek letter).
    pub also: &'static [&'static str],
    /// The power of ten.
    pub power: i32,
}

const fn prefix(plain: &'static str, power: i32) -> Prefix {
    Prefix {
        plain,
        latex: plain,
        also: &[],
        power,
    }
}

/// The SI prefixes that are read; those with a power divisible by three are printed.
pub const PREFIXES: &[Prefix] = &[
    prefix("f", -15),
    prefix("p", -12),
    prefix("n", -9),
    Prefix {
        plain: "µ",
        latex: r"\mu{}",
        also: &["u", "\u{3bc}"],
        power: -6,
    },
    prefix("m", -3),
    prefix("c", -2),
    prefix("", 0),
    prefix("k", 3),
    prefix("M", 6),
    prefix("G", 9),
    prefix("T", 12),
];

/// The printed name of a unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitName {
    /// Plain Unicode text.
    pub plain: String,
    /// LaTeX, without delimiters, to be set upright.
    pub latex: String,
    /// Whether an SI prefix may stand before it.
    pub prefixes: bool,
}

/// The coherent unit of a dimension: by its own name (`Ω`) where it has one,
/// else composed from volt, ampere, second, metre and kelvin (`A²`, `V/s`).
#[must_use]
pub fn name_of(exponents: Exponents) -> UnitName {
    if let Some(unit) = UNITS.iter().find(|u| u.printed && u.exponents == exponents) {
        return UnitName {
            plain: unit.plain.to_owned(),
            latex: unit.latex.to_owned(),
            prefixes: unit.prefixes,
        };
    }
    if exponents == Exponents::NONE {
        return UnitName {
            plain: String::new(),
            latex: String::new(),
            prefixes: false,
        };
    }
    if let Some((_, plain, latex)) = COMPOSED.iter().find(|(e, ..)| *e == exponents) {
        return UnitName {
            plain: (*plain).to_owned(),
            latex: (*latex).to_owned(),
            prefixes: !plain.starts_with('m'),
        };
    }
    compose(exponents)
}

/// Composed units whose usual spelling differs from the general rule.
const COMPOSED: &[(Exponents, &str, &str)] = &[
    (q::VolumetricPowerDensity::EXPONENTS, "W/m³", r"W/m^{3}"),
    (q::ThermalResistance::EXPONENTS, "K/W", "K/W"),
    (q::ElectricalResistivity::EXPONENTS, "Ω·m", r"\Omega\,m"),
    (q::MagneticPermeability::EXPONENTS, "H/m", "H/m"),
];

fn compose(exponents: Exponents) -> UnitName {
    let mut sides = [
        (String::new(), String::new()),
        (String::new(), String::new()),
    ];
    for (symbol, exponent) in ["V", "A", "s", "m", "K"]
        .into_iter()
        .zip(exponents.electrical())
    {
        if exponent == 0 {
            continue;
        }
        let (plain, latex) = &mut sides[usize::from(exponent < 0)];
        if !plain.is_empty() {
            plain.push('·');
            latex.push_str(r"\,");
        }
        plain.push_str(symbol);
        latex.push_str(symbol);
        let power = exponent.unsigned_abs();
        if power > 1 {
            plain.push_str(&superscript(power));
            latex.push_str(&format!("^{{{power}}}"));
        }
    }
    // A solidus is not followed by another factor without brackets (SI Brochure, 5.4.1).
    let several = exponents.electrical().iter().filter(|e| **e < 0).count() > 1;
    let [over, under] = sides;
    let bracketed = |own: String| if several { format!("({own})") } else { own };
    let (over, over_latex) = over;
    let (under, under_latex) = (bracketed(under.0), bracketed(under.1));
    let join = |over: &str, under: &str| match (over.is_empty(), under.is_empty()) {
        (false, true) => over.to_owned(),
        (false, false) => format!("{over}/{under}"),
        (true, _) => format!("1/{under}"),
    };
    let prefixes = exponents.electrical()[..2]
        .iter()
        .filter(|e| **e > 0)
        .count()
        == 1
        && exponents.electrical()[..3].iter().all(|e| *e <= 1);
    UnitName {
        plain: join(&over, &under),
        latex: join(&over_latex, &under_latex),
        prefixes: prefixes && !over.is_empty(),
    }
}

/// A whole number as Unicode superscript.
#[must_use]
pub fn superscript(n: impl Into<i64>) -> String {
    let n: i64 = n.into();
    let raised = |own| RAISED.iter().find(|(plain, _)| *plain == own);
    let digits = n.to_string();
    digits
        .chars()
        .filter_map(|own| raised(own).map(|(_, up)| *up))
        .collect()
}

/// The sign or digit that a superscript stands for.
pub(super) fn lowered(own: char) -> Option<char> {
    let found = RAISED.iter().find(|(_, up)| *up == own);
    found.map(|(plain, _)| *plain)
}

/// Signs and digits of whole numbers, and their superscripts.
const RAISED: [(char, char); 11] = [
    ('-', '⁻'),
    ('0', '⁰'),
    ('1', '¹'),
    ('2', '²'),
    ('3', '³'),
    ('4', '⁴'),
    ('5', '⁵'),
    ('6', '⁶'),
    ('7', '⁷'),
    ('8', '⁸'),
    ('9', '⁹'),
];
