//! Numbers at the places where a small slip would not show in a converter: a
//! curve's energy across zero volts, a table's slope in a bound,
//! the ends of preferred values and histograms.

use slewbook::bound::{self, Effort};
use slewbook::equation::{Curve, EquationError, Point, Program, Span, Term};
use slewbook::limit::{Series, at_least, at_most};
use slewbook::quantity::unit::{ampere, pF, volt};
use slewbook::quantity::{Dimensioned, Ratio, Voltage};
use slewbook::uncertainty::{Distribution, Draw, Uncertainties};

pub fn shared(curve: Result<Curve, impl std::fmt::Debug>) -> &'static Curve {
    Box::leak(Box::new(curve.unwrap()))
}

#[test]
fn a_curves_charge_and_energy_are_its_integrals_on_both_sides_of_zero() {
    let law = shared(Curve::law(
        "C_l",
        900.0 * pF,
        0.8 * volt,
        0.42.into(),
        60.0 * pF,
    ));
    let table = shared(Curve::table(
        "C_t",
        &[
            (1.0 * volt, 800.0 * pF),
            (4.0 * volt, 300.0 * pF),
            (20.0 * volt, 90.0 * pF),
        ],
    ));
    let flat = shared(Curve::constant("C_f", 120.0 * pF));
    for curve in [law, table, flat] {
        for (low, high) in [(-3.0, 5.0), (-3.0, -1.0), (0.5, 30.0), (2.0, 3.0)] {
            let [low_term, high_term] =
                [low, high].map(|v| Term::constant(Voltage::from_coherent(v)));
            let closed = Term::integral("u", low_term, high_term, |u| u.capacitance(curve) * u);
            // Simpson's rule between the kinks.
            let at = |v: f64| {
                let v = Term::constant(Voltage::from_coherent(v));
                (v.capacitance(curve) * v).value().unwrap().coherent()
            };
            let mut ends = vec![low, 0.0, 1.0, 4.0, 20.0, high];
            ends.retain(|v| (low..=high).contains(v));
            ends.sort_by(f64::total_cmp);
            let panel = |from: f64, to: f64| {
                let h = (to - from) / 2000.0;
                (0..1000)
                    .map(|k| from + f64::from(k) * 2.0 * h)
                    .map(|v| h / 3.0 * (at(v) + 4.0 * at(v + h) + at(v + 2.0 * h)))
                    .sum::<f64>()
            };
            let expected: f64 = ends.windows(2).map(|pair| panel(pair[0], pair[1])).sum();
            let found = closed.value().unwrap().coherent();
            assert!(
                (found / expected - 1.0).abs() < 1e-9,
                "{curve:?} from {low} to {high}: {found:e} against {expected:e}"
            );
        }
    }
}

#[test]
fn a_table_is_bounded_by_its_own_slope() {
    let curve = shared(Curve::table(
        "C_t",
        &[(1.0 * volt, 800.0 * pF), (4.0 * volt, 300.0 * pF)],
    ));
    let (v, symbol) = Term::with_symbol("v", "voltage", 2.0 * volt, "test");
    // 500 pF over 3 V fall a little faster than 150 pF/V rise.
    let rise = Term::constant(150.0 * pF) / Term::constant(1.0 * volt);
    let sum = (v.capacitance(curve) + rise * v).expression();
    let span = Span {
        symbol,
        low: 1.5,
        high: 3.5,
    };
    let bounds = bound::over_expression(sum, &[], &Point::own(), &[span], Effort::default());
    let bounds = bounds.unwrap();
    let at = |v: f64| (800.0 - 500.0 / 3.0 * (v - 1.0) + 150.0 * v) * 1e-12;
    let near = |found: f64, expected: f64| (found / expected - 1.0).abs() < 1e-12;
    assert!(
        near(bounds.low, at(3.5)) && near(bounds.high, at(1.5)),
        "{bounds:?}"
    );
}

#[test]
fn a_bound_that_is_given_up_says_how_far_it_may_be_off() {
    let (x, symbol) = Term::<Ratio>::with_symbol("x", "number", 0.5.into(), "test");
    let wave = ((x * 9.0.into()).sin() * x.exp() - x * x).expression();
    let span = Span {
        symbol,
        low: 0.0,
        high: 3.0,
    };
    let of = |evaluations| {
        let effort = Effort {
            evaluations,
            excess: 1e-3,
            ..Effort::default()
        };
        bound::over_expression(wave, &[], &Point::own(), &[span], effort).unwrap()
    };
    let (given_up, sharp) = (of(3), of(2000));
    assert!(given_up.exhausted && !sharp.exhausted);
    assert!(given_up.sharpness() > 1.1 && sharp.sharpness() < 1.01);
    let known = given_up.attained[1] - given_up.attained[0];
    let width = given_up.high - given_up.low;
    assert!((given_up.sharpness() - width / known).abs() < 1e-12);
    assert!(given_up.low <= sharp.low && sharp.high <= given_up.high);
}

#[test]
fn two_symbols_of_one_name_are_refused() {
    let one = Term::input("I", "current", 1.0 * ampere);
    let other = Term::input("I", "another current", 1.0 * ampere);
    assert!(
        (one + one * Term::constant(Ratio::from(2.0)))
            .value()
            .is_ok()
    );
    assert!(matches!(
        (one + other).value(),
        Err(EquationError::DuplicateSymbol { name }) if name == "I"
    ));
}

#[test]
fn preferred_values_exist_above_zero_only() {
    for series in [Series::E6, Series::E12] {
        for value in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(at_most(value, series), None);
            assert_eq!(at_least(value, series), None);
        }
        // A preferred value is its own neighbour on both sides.
        assert_eq!(at_most(0.68, series), Some(0.68));
        assert_eq!(at_least(0.68, series), Some(0.68));
    }
}

#[test]
fn samples_of_one_value_fill_one_bin() {
    let x = Term::<Ratio>::input("x", "number", 5.0.into());
    let program = Program::compile(&[(x - x).expression()]).unwrap();
    let list = Uncertainties::none()
        .with(
            x.symbol().unwrap(),
            Distribution::normal(Ratio::from(1.0)).unwrap(),
        )
        .unwrap();
    let draw = Draw {
        samples: 100,
        ..Draw::default()
    };
    let samples = draw.outputs(&program, &Point::own(), &list).unwrap();
    let histogram = samples[0].histogram(10).unwrap();
    assert_eq!(histogram.counts, [100]);
    assert_eq!(samples[0].histogram(0), None);
}

#[test]
fn a_curve_is_zero_only_where_every_part_of_it_is() {
    let law = |zero_bias: f64, floor: f64| {
        let half = 0.5.into();
        Curve::law("C", zero_bias * pF, 0.8 * volt, half, floor * pF).unwrap()
    };
    assert!(law(0.0, 0.0).is_zero());
    assert!(!law(900.0, 0.0).is_zero());
    assert!(!law(0.0, 60.0).is_zero());
    let table = |last: f64| {
        let points = [(0.0 * volt, 0.0 * pF), (5.0 * volt, last * pF)];
        Curve::table("C", &points).unwrap()
    };
    assert!(table(0.0).is_zero() && !table(1.0).is_zero());
    assert!(Curve::empty("C").is_zero());
    assert!(!Curve::constant("C", 1.0 * pF).unwrap().is_zero());
}

/// Integrals of a curve whose ends, weight and argument all range: polynomials,
/// since the table is one straight line.
#[test]
fn an_integral_is_bounded_over_its_ends_weight_and_argument() {
    let (c, s) = (800.0, 20.0);
    // More points than a line needs, for the sums from one to the next.
    let points = [0.0, 2.5, 6.0, 20.0].map(|v| (v * volt, (c - s * v) * pF));
    let curve = shared(Curve::table("C_t", &points));
    let ranges = [
        ("x", 1.0, 3.0),
        ("y", 5.0, 9.0),
        ("z", 0.0, 4.0),
        ("w", 10.0, 12.0),
    ];
    let inputs =
        ranges.map(|(name, low, _)| Term::with_symbol(name, "voltage", low * volt, "test"));
    let spans: Vec<Span> = (0..4)
        .map(|k| Span {
            symbol: inputs[k].1,
            low: ranges[k].1,
            high: ranges[k].2,
        })
        .collect();
    let [x, y, z, w] = inputs.map(|(term, _)| term);
    // Antiderivatives of (first + slope u)(u - z).
    let whole = |u: f64, first: f64, slope: f64, z: f64| {
        first * (u * u / 2.0 - z * u) + slope * (u.powi(3) / 3.0 - z * u * u / 2.0)
    };
    let from_ground = Term::integral("u", x, y, |u| u.capacitance(curve) * (u - z));
    let from_above = Term::integral("u", x, y, |u| (w - u).capacitance(curve) * (u - z));
    for (term, above) in [(from_ground, false), (from_above, true)] {
        let exact = |[x, y, z, w]: [f64; 4]| {
            let (first, slope) = if above { (c - s * w, s) } else { (c, -s) };
            (whole(y, first, slope, z) - whole(x, first, slope, z)) * 1e-12
        };
        let effort = Effort::default();
        let term = term.expression();
        let bounds = bound::over_expression(term, &[], &Point::own(), &spans, effort).unwrap();
        let (mut least, mut greatest) = (f64::INFINITY, f64::NEG_INFINITY);
        for place in 0..11_u32.pow(4) {
            let at = [0, 1, 2, 3].map(|k| {
                let (_, low, high) = ranges[k as usize];
                low + (high - low) * f64::from(place / 11_u32.pow(k) % 11) / 10.0
            });
            let value = exact(at);
            // The closed form is rounded too.
            let slack = 1e-12 * value.abs();
            assert!(
                bounds.low <= value + slack && value - slack <= bounds.high,
                "{value:e} at {at:?} outside {bounds:?}"
            );
            (least, greatest) = (least.min(value), greatest.max(value));
        }
        let over = (bounds.high - bounds.low) / (greatest - least);
        assert!(over <= 1.05, "{over} of the grid's range");
    }
}

/// The ends of a bound are printed to four digits, rounded outward by hand here.
#[test]
fn a_bound_is_printed_outward_to_four_digits() {
    let (x, symbol) = Term::with_symbol("x", "voltage", 2.0 * volt, "test");
    for (low, high, printed) in [
        (1.234_56, 9.876_51, "between 1.234 V and 9.877 V"),
        (-9.876_51, -1.234_56, "between -9.877 V and -1.234 V"),
        (-0.003_456_1, 0.0, "between -3.457 mV and 0 V"),
        (23.454, 47_123.0, "between 23.45 V and 47.13 kV"),
        (99.999, 999.91, "between 99.99 V and 1 kV"),
        // An exact digit stays, and so does one that rounding errors exceed.
        (1.5, 2.5 * (1.0 + 1e-15), "between 1.5 V and 2.5 V"),
    ] {
        let span = Span { symbol, low, high };
        let effort = Effort::default();
        let bounds =
            bound::over_expression(x.expression(), &[], &Point::own(), &[span], effort).unwrap();
        let plain = bounds.between().replace(['\u{a0}', '\u{202f}'], " ");
        assert_eq!(plain.replace('\u{2212}', "-"), printed);
    }
}
