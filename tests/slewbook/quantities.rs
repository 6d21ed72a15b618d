//! Reading and printing quantities, after the SI Brochure (9th edition, 2019):
//! prefixes (section 3, Table 7), a space between number and unit and the
//! degree Celsius (section 5.4.3), unit symbols (section 2.3, Tables 2 and 4).
//! Section and table numbers from memory.

use proptest::prelude::*;

use slewbook::quantity::symbol::{PREFIXES, UNITS};
use slewbook::quantity::unit::*;
use slewbook::quantity::{
    Capacitance, Charge, Dimensioned, Energy, Exponents, Frequency, Inductance, Length,
    MagneticFluxDensity, ParseQuantityError, Power, Ratio, Resistance, TemperatureInterval,
    ThermalResistance, ThermodynamicTemperature, Time, Voltage, VolumetricPowerDensity, decimal,
    number, parse, parse_in, parse_temperature, print, print_value,
};

/// Texts and the values they must give, to one rounding more than the double
/// nearest to the decimal number in the coherent unit.
#[test]
fn texts_are_read_to_the_last_place() {
    fn check<Q: Dimensioned>(rows: &[(&str, f64)]) {
        for (text, value) in rows {
            let found = parse::<Q>(text).unwrap_or_else(|error| panic!("{error}"));
            let error = (found.coherent() - value).abs();
            assert!(error <= 2.0 * f64::EPSILON * value.abs(), "{text}: {error}");
        }
    }
    check::<Inductance>(&[
        ("0.68 uH", 0.68e-6),
        ("0.68 µH", 0.68e-6),
        ("0.68 \u{3bc}H", 0.68e-6),
        ("680nH", 680e-9),
        ("  +0.68   uH  ", 0.68e-6),
        ("6.8E-7 H", 6.8e-7),
        (".68 uH", 0.68e-6),
        ("1. mH", 1e-3),
    ]);
    check::<Resistance>(&[
        ("12 mohm", 12e-3),
        ("12 mΩ", 12e-3),
        ("12 m\u{2126}", 12e-3),
        ("12 mohms", 12e-3),
        ("4.7 kOhm", 4700.0),
        ("2 MΩ", 2e6),
        ("3 V/A", 3.0),
    ]);
    check::<Frequency>(&[
        ("140kHz", 140e3),
        ("1.5 MHz", 1.5e6),
        ("50 1/s", 50.0),
        ("2 GHz", 2e9),
    ]);
    check::<Capacitance>(&[("1.4e-9 F", 1.4e-9), ("600 pF", 600e-12), ("2 fF", 2e-15)]);
    check::<Voltage>(&[
        ("36 V", 36.0),
        ("-0.7 V", -0.7),
        ("\u{2212}0.7 V", -0.7),
        ("0 V", 0.0),
    ]);
    check::<Ratio>(&[
        ("0.5", 0.5),
        ("20 %", 0.2),
        ("20%", 0.2),
        ("5 percent", 0.05),
        ("100 ppm", 1e-4),
    ]);
    check::<Length>(&[("2.54 cm", 2.54e-2), ("12 mm", 12e-3), ("1 m", 1.0)]);
    check::<MagneticFluxDensity>(&[("390 mT", 0.39), ("1 Wb/m^2", 1.0), ("1 Wb/m²", 1.0)]);
    check::<Charge>(&[("20 nC", 20e-9), ("3 A*s", 3.0), ("3 A·s", 3.0)]);
    check::<Energy>(&[("85 nJ", 85e-9)]);
    check::<Power>(&[("1 TW", 1e12)]);
    check::<TemperatureInterval>(&[("40 K", 40.0), ("5 mK", 5e-3)]);
    check::<ThermalResistance>(&[("35 K/W", 35.0), ("35 °C/W", 35.0)]);
    check::<VolumetricPowerDensity>(&[("300 kW/m^3", 300e3), ("300 mW/cm^3", 300e3)]);
}

#[test]
fn quantities_are_printed_in_engineering_form() {
    for (found, expected) in [
        (print(0.68 * uH), "680 nH"),
        (print(999.96 * nH), "1 µH"),
        (print(999.94 * nH), "999.9 nH"),
        (print(1e-18 * farad), "0.001 fF"),
        (print(1e16 * volt), "10000 TV"),
        (print(0.0 * volt), "0 V"),
        (print(-0.0 * volt), "0 V"),
        (print(-12.0 * mohm), "−12 mΩ"),
        (print(140.0 * kHz), "140 kHz"),
        (print(40.0 * kelvin), "40 K"),
        (print(Ratio::from(0.25)), "0.25"),
        (print(2.0 * volt * volt), "2 V²"),
        (print(1.0 / (2.0 * kelvin)), "0.5 1/K"),
        (print(16.0 * volt / (0.68 * uH)), "23.53 MA/s"),
        (print(3.0 * watt / (1.0 * meter * meter * meter)), "3 W/m³"),
    ] {
        assert_eq!(found, expected);
    }
    for (value, digits, expected) in [
        (0.000_1, 4, "0.0001"),
        (0.000_099_9, 4, "9.99×10⁻⁵"),
        (999_999.0, 6, "999999"),
        (999_999.9, 4, "1×10⁶"),
        (-1.5, 4, "−1.5"),
        (2.0 / 3.0, 3, "0.667"),
        (1e300, 3, "1×10³⁰⁰"),
    ] {
        assert_eq!(number(value, digits), expected);
    }
}

#[test]
fn what_cannot_be_read_is_named() {
    let error = |text: &str| parse::<Time>(text).unwrap_err();
    assert!(matches!(
        error("ns"),
        ParseQuantityError::MissingNumber { .. }
    ));
    assert!(matches!(
        error(""),
        ParseQuantityError::MissingNumber { .. }
    ));
    assert!(matches!(
        error("- 5 ns"),
        ParseQuantityError::MissingNumber { .. }
    ));
    assert!(matches!(
        error("35"),
        ParseQuantityError::MissingUnit { .. }
    ));
    assert!(matches!(
        error("35 nsec"),
        ParseQuantityError::UnknownUnit { .. }
    ));
    assert!(matches!(
        error("35 n s"),
        ParseQuantityError::UnknownUnit { .. }
    ));
    assert!(matches!(
        error("35 ns 3"),
        ParseQuantityError::UnknownUnit { .. }
    ));
    assert!(matches!(
        error("35 %"),
        ParseQuantityError::WrongDimension { .. }
    ));
    assert!(matches!(
        error("35 nF"),
        ParseQuantityError::WrongDimension { .. }
    ));
    assert!(matches!(
        error("inf s"),
        ParseQuantityError::NotFinite { .. }
    ));
    assert!(matches!(
        error("-NaN s"),
        ParseQuantityError::NotFinite { .. }
    ));
    assert!(matches!(
        error("1e400 s"),
        ParseQuantityError::NotFinite { .. }
    ));
    assert!(matches!(
        error("1e305 Ts"),
        ParseQuantityError::NotFinite { .. }
    ));
    assert!(matches!(
        error("3,5 ns"),
        ParseQuantityError::DecimalComma { .. }
    ));
    let interval = parse::<TemperatureInterval>("40 °C").unwrap_err();
    assert!(matches!(
        interval,
        ParseQuantityError::CelsiusInterval { .. }
    ));
    // Exponents that no unit has are no unit, not an overflow.
    assert!(matches!(
        error("1 s^9*s^9*s^9*s^9"),
        ParseQuantityError::UnknownUnit { .. }
    ));
    assert!(matches!(
        error("1 s^99"),
        ParseQuantityError::UnknownUnit { .. }
    ));
    assert!(matches!(
        error("1 F^9/F^-9"),
        ParseQuantityError::UnknownUnit { .. }
    ));
}

#[test]
fn every_unit_is_read_with_every_prefix_and_spelling() {
    let mut count = 0;
    for unit in UNITS {
        for symbol in std::iter::once(unit.plain).chain(unit.also.iter().copied()) {
            for prefix in PREFIXES.iter().filter(|p| unit.prefixes || p.power == 0) {
                for head in std::iter::once(prefix.plain).chain(prefix.also.iter().copied()) {
                    let text = format!("3 {head}{symbol}");
                    let found = parse_in(&text, unit.exponents)
                        .unwrap_or_else(|error| panic!("{text}: {error}"));
                    let expected = 3.0 * unit.factor * 10f64.powi(prefix.power);
                    assert!((found / expected - 1.0).abs() < 1e-15, "{text}: {found}");
                    count += 1;
                }
            }
        }
    }
    assert!(count > 200);
}

#[test]
fn printed_units_are_read_back_in_every_prefix() {
    for unit in UNITS.iter().filter(|unit| unit.printed) {
        for prefix in PREFIXES.iter().filter(|p| p.power % 3 == 0) {
            let value = 12.0 * 10f64.powi(prefix.power);
            let text = print_value(value, unit.exponents, 4);
            assert_eq!(text, format!("12 {}{}", prefix.plain, unit.plain));
            let back = parse_in(&text, unit.exponents).unwrap();
            assert!((back / value - 1.0).abs() < 1e-15, "{text}");
        }
    }
}

#[test]
fn temperatures_have_no_offset_trap() {
    let reading = |text: &str| parse_temperature(text).unwrap();
    assert_eq!(reading("0 °C").coherent(), 273.15);
    assert_eq!(reading("25 degC").coherent(), 298.15);
    assert_eq!(reading("25 \u{2103}").coherent(), 298.15);
    assert_eq!(reading("300 K").coherent(), 300.0);
    assert!((reading("−40 °C").celsius() + 40.0).abs() < 1e-12);
    assert_eq!((reading("60 °C") - reading("25 °C")).coherent(), 35.0);
    let warm = ThermodynamicTemperature::from_celsius(25.0) + 35.0 * kelvin;
    assert!((warm.celsius() - 60.0).abs() < 1e-12);
    assert!((warm - 35.0 * kelvin).celsius() - 25.0 < 1e-12);
    for wrong in ["-300 °C", "-1 K", "40", "40 W", "40 F", "40 °F", "NaN K"] {
        assert!(parse_temperature(wrong).is_err(), "{wrong}");
    }
    let below = parse_temperature("-300 °C").unwrap_err().to_string();
    assert!(below.contains("absolute zero"), "{below}");
}

/// Half a unit of the last of `digits` significant digits of a value.
fn half_digit(value: f64, digits: i32) -> f64 {
    let decade = value.abs().log10().floor();
    #[expect(clippy::cast_possible_truncation, reason = "a decimal exponent")]
    let last = 10f64.powi(decade as i32 + 1 - digits);
    0.5 * last * (1.0 + 1e-9)
}

/// Prints and reads back: within half a unit of the last printed digit.
fn returns(value: f64, exponents: Exponents) {
    let text = print_value(value, exponents, 4);
    let back = parse_in(&text, exponents).unwrap_or_else(|error| panic!("{text}: {error}"));
    assert!(
        (back - value).abs() <= half_digit(value, 4),
        "{value} as {text}"
    );
}

/// The SI Brochure, 5.4.1 (from memory): a solidus is used once, and brackets remove doubt.
#[test]
fn composed_units_are_written_with_brackets_and_read_back() {
    let own = |text: &str| parse_in(&format!("1 {text}"), Exponents::NONE).unwrap_err();
    let names: Vec<String> = ["m^6/(V^3*A^3)", "1/(V·s)", "V/A^2/s", "A/( V^2 · s )*K"]
        .map(|text| match own(text) {
            ParseQuantityError::WrongDimension { found, .. } => found,
            other => panic!("{text}: {other}"),
        })
        .into();
    assert_eq!(names, ["m⁶/(V³·A³)", "1/(V·s)", "V/(A²·s)", "A·K/(V²·s)"]);
    for wrong in [
        "(V",
        "V)",
        "1/((V·s))",
        "1/(V/s)",
        "()",
        "m/()",
        "(V)(A)",
        "V (A)",
        "V/",
    ] {
        assert!(
            parse_in(&format!("1 {wrong}"), Exponents::NONE).is_err(),
            "{wrong}"
        );
        let told = own(wrong).to_string();
        assert!(told.contains("unknown unit"), "{wrong}: {told}");
    }
    // Every unit whose name is composed of these, and of a number far from one.
    let mut count = 0;
    for k in 0..7_i32.pow(5) {
        let power = |place: u32| k / 7_i32.pow(place) % 7 - 3;
        let factors = ["V", "A", "s", "m", "K"].iter().zip(0..);
        let spelt: Vec<String> = factors
            .map(|(own, place)| format!("{own}^{}", power(place)))
            .collect();
        let Err(ParseQuantityError::WrongDimension { found, .. }) =
            parse_in(&format!("1 {}", spelt.join("*")), Exponents::NONE)
        else {
            continue;
        };
        if found == "1" {
            continue;
        }
        let written = format!("−2.5×10⁻⁷ {found}");
        let back = parse_in(&written, Exponents::NONE).unwrap_err();
        assert_eq!(
            back,
            ParseQuantityError::WrongDimension {
                unit: found.clone(),
                found,
                expected: "a plain number such as \"0.5\" or a percentage such as \"20 %\""
                    .to_owned(),
            }
        );
        count += 1;
    }
    assert!(count > 10_000, "{count}");
}

#[test]
fn powers_of_ten_are_read_as_printed() {
    let read = |text: &str| parse_in(text, Exponents::NONE);
    assert_eq!(read("−2.5×10⁻⁷"), Ok(-2.5e-7));
    assert_eq!(read(&number(6.25e11, 4)), Ok(6.25e11));
    assert_eq!(read("3×10²%"), Ok(3.0));
    for wrong in ["3×10", "3×", "×10²", "3×10⁻", "3×10²⁻"] {
        assert!(read(wrong).is_err(), "{wrong}");
    }
    assert!(read("3×10⁹⁹⁹").unwrap_err().to_string().contains("finite"));
}

proptest! {
    #[test]
    fn what_is_printed_is_read_back(
        mantissa in 1.0..10.0f64,
        decade in -14..13i32,
        negative: bool,
        which in 0..UNITS.len(),
    ) {
        let unit = &UNITS[which];
        prop_assume!(unit.printed);
        let value = mantissa * 10f64.powi(decade) * if negative { -1.0 } else { 1.0 };
        returns(value, unit.exponents);
    }

    #[test]
    fn plain_decimals_keep_their_digits(value in -1e9..1e9f64, digits in 1..9usize) {
        let (mantissa, power) = decimal(value, digits);
        let back = mantissa.parse::<f64>().unwrap() * 10f64.powi(power.unwrap_or(0));
        prop_assert!((back - value).abs() <= half_digit(value, i32::try_from(digits).unwrap()));
    }

    #[test]
    fn no_text_upsets_the_reader(text in "\\PC{0,24}") {
        if let Ok(value) = parse_in(&text, Voltage::EXPONENTS) {
            prop_assert!(value.is_finite());
        }
        let _ = parse_temperature(&text);
    }
}

/// The same quantity in uom's own system, value for value.
#[cfg(feature = "uom-si")]
#[test]
fn quantities_convert_to_and_from_uom() {
    use slewbook::quantity::Current;
    use uom::si::f64 as si;
    let inductance: si::Inductance = (0.68 * uH).into();
    assert_eq!(inductance.get::<uom::si::inductance::nanohenry>(), 680.0);
    let back: Inductance = inductance.into();
    assert_eq!(back, 0.68 * uH);
    let ambient = si::ThermodynamicTemperature::new::<
        uom::si::thermodynamic_temperature::degree_celsius,
    >(40.0);
    let own: ThermodynamicTemperature = ambient.into();
    assert!((own.celsius() - 40.0).abs() < 1e-12);
    let current: Current =
        si::ElectricCurrent::new::<uom::si::electric_current::milliampere>(600.0).into();
    assert_eq!(print(current), "600 mA");
}
