//! Derivatives of every operation, of integrals of curves, and where there is none.

use slewbook::equation::{Curve, Gradient, Program, Term};
use slewbook::quantity::unit::{pF, volt};
use slewbook::quantity::{Capacitance, Ratio, Voltage};

use crate::numbers::shared;

type Exact<'f> = &'f dyn Fn([f64; 5]) -> f64;
type Slope = Box<dyn Fn(f64) -> f64>;

#[test]
fn every_operations_derivative_is_its_central_difference() {
    let (x, symbol) = Term::<Ratio>::with_symbol("x", "number", 0.3.into(), "test");
    let y: Term<Ratio> = 0.7.into();
    let one: Term<Ratio> = 1.0.into();
    for term in [
        -x,
        x.sqrt(),
        x.exp(),
        x.ln(),
        x.sin(),
        x.cos(),
        x.asin(),
        x.acos(),
        (x - one).abs(),
        x.squared(),
        one / x,
        x / y,
        x.power(y),
        y.power(x),
        x.min(y) * x,
        x.max(y) * x,
        Term::choose(x.above(y), x, x * x),
        Term::integral("u", x, one, |u| (u * x).exp()),
        Term::solve("z", "root", 0.0.into(), 2.0.into(), |z| (z * z * z, x)),
    ] {
        let program = Program::compile(&[term.expression()]).unwrap();
        for value in [0.2, 0.45, 0.9] {
            let at = |h: f64| program.run(&[value + h])[0];
            let h = 1e-4;
            let (coarse, fine): (f64, f64) = (
                (at(h) - at(-h)) / (2.0 * h),
                (at(h / 2.0) - at(-h / 2.0)) / h,
            );
            let expected = (4.0 * fine - coarse) / 3.0;
            let inputs = Gradient::inputs(&program, &[value]);
            let found = program.run(&inputs)[0].partial(0);
            assert!(
                (found - expected).abs() < 1e-9 * (1.0 + expected.abs()),
                "{term:?} at {value}: {found} against {expected}"
            );
        }
        assert!(std::ptr::eq(program.inputs()[0], symbol));
    }
}

/// `∫ from 0 to y of s/√(y(1 + δ) - u) du = 2s·√y·(√(1 + δ) - √δ)`, whose derivative by
/// y is half of itself by y. At the upper limit the integrand is `s/√(yδ)`: where δ is
/// as small as rounding errors, the two parts of the derivative cancel to nothing.
#[test]
fn an_integral_has_no_derivative_at_a_limit_where_the_integrand_is_singular() {
    for scale in [1e-9, 1.0, 1e9] {
        for (y, delta) in [(100.0, 0.01), (100.0, 1e-14), (1e-6, 0.01), (1e-6, 1e-14)] {
            let upper = Term::<Ratio>::input("y", "limit", y.into());
            let end = upper * (1.0 + delta).into();
            let integral = Term::integral("u", Term::from(0.0), upper, |u| {
                Term::<Ratio>::from(scale) / (end - u).sqrt()
            });
            let program = Program::compile(&[integral.expression()]).unwrap();
            let inputs = Gradient::inputs(&program, &[y]);
            let found = program.run(&inputs).remove(0);
            let value = 2.0 * scale * y.sqrt() * ((1.0 + delta).sqrt() - delta.sqrt());
            let near = |found: f64, expected: f64| (found / expected - 1.0).abs() < 1e-6;
            assert!(near(found.value, value), "{} is not {value}", found.value);
            let slope = found.partial(0);
            if delta < 1e-10 {
                assert!(slope.is_nan(), "{slope} at {scale}, {y}");
            } else {
                assert!(near(slope, value / 2.0 / y), "{slope} at {scale}, {y}");
            }
        }
    }
}

/// `∫ from 0 to 1 of du/((au)² + ε²) = arctan(a/ε)/(aε)` is a peak that takes many
/// pieces: its derivative is as exact by an input of thousandths as by one of millions.
#[test]
fn an_integrals_derivative_does_not_depend_on_the_size_of_an_input() {
    for scale in [1e-9, 1e-3, 1.0, 1e3, 1e9] {
        let p = Term::<Ratio>::input("p", "number", scale.into());
        let steep = 0.01_f64;
        let [zero, one, own, part] = [0.0, 1.0, scale, steep * steep].map(Term::<Ratio>::from);
        let integral = Term::integral("u", zero, one, |u| one / ((p / own * u).squared() + part));
        let program = Program::compile(&[integral.expression()]).unwrap();
        let found = program.run(&Gradient::inputs(&program, &[scale])).remove(0);
        let angle = (1.0 / steep).atan();
        let slope = 1.0 / (steep * steep + 1.0) - angle / steep;
        let near = |found: f64, expected: f64| (found / expected - 1.0).abs() < 1e-11;
        assert!(near(found.value, angle / steep), "{}", found.value);
        let found = found.partial(0) * scale;
        assert!(near(found, slope), "{found} by {scale}, not {slope}");
    }
}

/// The gradient of a curve's moment by its ends, its argument and its weight: the
/// table is one straight line, so the integral is a polynomial.
#[test]
fn a_curves_moment_has_the_derivatives_of_its_polynomial() {
    let (c, s) = (800.0, 20.0);
    let points = [0.0, 2.5, 6.0, 20.0].map(|v| (v * volt, (c - s * v) * pF));
    let curve = shared(Curve::table("C_t", &points));
    let values = [1.5, 7.0, 2.0, 11.0, 1.3];
    let names = ["x", "y", "z", "w", "k"];
    let inputs = [0, 1, 2, 3].map(|k| Term::input(names[k], "voltage", values[k] * volt));
    let factor = Term::<Ratio>::input("k", "factor", values[4].into());
    let [x, y, z, w] = inputs;
    let own = Term::constant(120.0 * pF);
    // ∫ (first + slope·u)(u − z) du, capacitance in picofarad.
    let moment = |first: f64, slope: f64, [x, y, z]: [f64; 3]| {
        let upto =
            |u: f64| first * (u * u / 2.0 - z * u) + slope * (u.powi(3) / 3.0 - z * u * u / 2.0);
        upto(y) - upto(x)
    };
    let from_ground: Exact = &|[x, y, z, _, k]| moment(k * c + 120.0, -k * s, [x, y, z]);
    let from_above: Exact = &|[x, y, z, w, k]| moment(k * (c - s * w) + 120.0, k * s, [x, y, z]);
    let shifted: Exact = &|[x, y, z, w, k]| moment(k * (c - s * w) + 120.0, -k * s, [x, y, z]);
    let over = |capacitance: &dyn Fn(Term<Voltage>) -> Term<Capacitance>| {
        Term::integral("u", x, y, |u| (factor * capacitance(u) + own) * (u - z))
    };
    for (term, exact) in [
        (over(&|u| u.capacitance(curve)), from_ground),
        (over(&|u| (w - u).capacitance(curve)), from_above),
        (over(&|u| (u + w).capacitance(curve)), shifted),
    ] {
        let program = Program::compile(&[term.expression()]).unwrap();
        assert!(!program.iterates(), "a closed form");
        let place = |symbol: &slewbook::equation::Symbol| {
            let name = symbol.glyph().to_string();
            names.iter().position(|n| **n == name).unwrap()
        };
        let places: Vec<usize> = program.inputs().iter().map(|s| place(s)).collect();
        let own: Vec<f64> = places.iter().map(|k| values[*k]).collect();
        let inputs = Gradient::inputs(&program, &own);
        let found = program.run(&inputs).remove(0);
        let near = |found: f64, expected: f64, allowed: f64| {
            let expected = expected * 1e-12;
            assert!(
                (found - expected).abs() <= allowed * expected.abs(),
                "{term:?}: {found:e}, not {expected:e}"
            );
        };
        near(found.value, exact(values), 1e-12);
        for (slot, k) in places.into_iter().enumerate() {
            // Central differences of five points are exact for these polynomials.
            let at = |steps: f64| {
                let mut moved = values;
                moved[k] += 0.125 * steps;
                exact(moved)
            };
            let slope = (at(-2.0) - 8.0 * at(-1.0) + 8.0 * at(1.0) - at(2.0)) / 1.5;
            near(found.partial(slot), slope, 1e-10);
        }
    }
}

/// The slope of a capacitance: of a law in closed form, of a table from point to
/// point, zero below zero volts and beyond a table's ends.
#[test]
fn a_capacitance_has_the_slope_of_its_curve() {
    let law = |grading: f64| {
        let curve = Curve::law("C_l", 900.0 * pF, 0.8 * volt, grading.into(), 60.0 * pF);
        shared(curve)
    };
    let points = [(1.0, 800.0), (4.0, 300.0), (20.0, 90.0)];
    let table = shared(Curve::table(
        "C_t",
        &points.map(|(v, c)| (v * volt, c * pF)),
    ));
    let of_law = |m: f64| move |v: f64| -m * 900.0 / 0.8 * (1.0 + v / 0.8).powf(-m - 1.0);
    let of_table = |v: f64| match v {
        v if !(1.0..=20.0).contains(&v) => 0.0,
        v if v < 4.0 => -500.0 / 3.0,
        _ => -210.0 / 16.0,
    };
    let curves: [(&'static Curve, Slope); 4] = [
        (law(0.5), Box::new(of_law(0.5))),
        (law(0.42), Box::new(of_law(0.42))),
        (table, Box::new(of_table)),
        (
            shared(Curve::constant("C_f", 120.0 * pF)),
            Box::new(|_| 0.0),
        ),
    ];
    for (curve, slope) in curves {
        let v = Term::input("v", "voltage", 1.0 * volt);
        let program = Program::compile(&[v.capacitance(curve).expression()]).unwrap();
        for at in [-2.0, 0.3, 2.0, 5.0, 19.0, 30.0] {
            let inputs = Gradient::inputs(&program, &[at]);
            let found = program.run(&inputs)[0].partial(0) * 1e12;
            let expected = if at < 0.0 { 0.0 } else { slope(at) };
            assert!(
                (found - expected).abs() <= 1e-12 * expected.abs(),
                "{curve:?} at {at}: {found}, not {expected}"
            );
        }
    }
}
