//! Bounds are no wider than they need be, where what is exact is known: operations on
//! intervals (to rounding what IEEE Std 1788-2015 calls the tightest result; from
//! memory), curves, integrals, and selections that the ranges decide.

use slewbook::bound::{self, Effort, Interval};
use slewbook::equation::{Curve, Point, Span, Term};
use slewbook::quantity::unit::{pF, volt};
use slewbook::quantity::{Dimensioned, Ratio};

use crate::numbers::shared;

type Antiderivative = fn(f64, f64) -> f64;

/// Intervals between all of a few numbers, with zero at an end, inside and outside.
fn intervals() -> Vec<Interval> {
    let ends = [-3.0, -1.5, -1.0, -0.0, 0.7, 1.0, 2.5];
    let between = |k: usize| ends[k..].iter().map(move |high| (ends[k], *high));
    (0..ends.len())
        .flat_map(between)
        .map(|(low, high)| Interval::new(low, high))
        .collect()
}

/// Asserts that an interval holds the values and is hardly wider than they are.
fn assert_hull(found: Interval, values: &[f64], what: &str) {
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let near = |end: f64, exact: f64| end == exact || (end - exact).abs() <= 1e-14 * exact.abs();
    assert!(
        found.low() <= low && high <= found.high(),
        "{what}: {found:?}"
    );
    assert!(
        near(found.low(), low) && near(found.high(), high),
        "{what}: {found:?} is wider than {low} to {high}"
    );
}

#[test]
fn an_operation_on_intervals_is_the_hull_of_its_values() {
    for p in intervals() {
        let ends = [p.low(), p.high()];
        // Where an even power and a magnitude are least.
        let turning = 0.0_f64.clamp(p.low(), p.high());
        let of = |function: fn(f64) -> f64| [ends[0], ends[1], turning].map(function);
        assert_hull(-p, &of(|x| -x), "negated");
        assert_hull(p.abs(), &of(f64::abs), "magnitude");
        assert_hull(p.floor(), &of(f64::floor), "floor");
        assert_hull(p.power(2), &of(|x| x * x), "square");
        assert_hull(p.power(3), &of(|x| x * x * x), "cube");
        if p.has_sign() {
            assert_hull(p.power(-1), &ends.map(|x| 1.0 / x), "reciprocal");
            assert_hull(p.power(-2), &ends.map(|x| 1.0 / x / x), "inverse square");
        }
        if p.low() >= 0.0 {
            assert_hull(p.sqrt(), &ends.map(f64::sqrt), "root");
        }
        for q in intervals() {
            let what = format!("{p:?} and {q:?}");
            let corners = |function: fn(f64, f64) -> f64| {
                let ends = [q.low(), q.high()];
                let of = |x: f64| ends.map(|y| function(x, y));
                [of(p.low()), of(p.high())].concat()
            };
            assert_hull(p + q, &corners(|x, y| x + y), &what);
            assert_hull(p - q, &corners(|x, y| x - y), &what);
            assert_hull(p * q, &corners(|x, y| x * y), &what);
            assert_hull(p.min(q), &corners(f64::min), &what);
            assert_hull(p.max(q), &corners(f64::max), &what);
            assert_hull(p.hull(q), &[p.low(), p.high(), q.low(), q.high()], &what);
            if q.has_sign() {
                assert_hull(p / q, &corners(|x, y| x / y), &what);
            } else if p.has_sign() && q.low() < q.high() && q.low() * q.high() == 0.0 {
                // Zero is at one end of the divisor: one end of the quotient is known.
                let far = q.low() + q.high();
                let near = if p.low() > 0.0 { p.low() } else { p.high() } / far;
                assert_hull(p / q, &[near, near.signum() * f64::INFINITY], &what);
            } else {
                assert!(!(p / q).is_finite(), "{what}");
            }
        }
    }
}

#[test]
fn a_wave_over_an_interval_reaches_its_crests_only() {
    use std::f64::consts::FRAC_PI_2;
    for (low, width) in (-20..20_i32).flat_map(|k| (0..30_i32).map(move |w| (k, w))) {
        let (low, width) = (0.37 * f64::from(low), 0.25 * f64::from(width));
        let p = Interval::new(low, low + width);
        // Crests of the sine are odd, those of the cosine even numbers of quarter turns.
        for (found, wave, offset) in [
            (p.sin(), f64::sin as fn(f64) -> f64, FRAC_PI_2),
            (p.cos(), f64::cos, 0.0),
        ] {
            let crests = (-20..20_i32).map(|k| offset + 2.0 * FRAC_PI_2 * f64::from(k));
            let mut values: Vec<f64> = crests.filter(|c| p.contains(*c)).map(wave).collect();
            values.extend([p.low(), p.high()].map(wave));
            let least = values.iter().copied().fold(1.0, f64::min);
            let greatest = values.iter().copied().fold(-1.0, f64::max);
            for (end, exact) in [(found.low(), least), (found.high(), greatest)] {
                assert!((end - exact).abs() < 1e-13, "{p:?}: {found:?}, not {exact}");
            }
        }
    }
}

/// A selection between two numbers is bounded by those that are selected.
#[test]
fn a_relation_that_the_ranges_decide_selects_alone() {
    let (x, symbol) = Term::<Ratio>::with_symbol("x", "number", 0.5.into(), "test");
    let [zero, one, two] = [0.0, 1.0, 2.0].map(Term::<Ratio>::from);
    for (condition, holds) in [
        (x.above(zero), (|x| x > 0.0) as fn(f64) -> bool),
        (x.at_least(zero), |x| x >= 0.0),
        (x.below(zero), |x| x < 0.0),
        (x.at_most(zero), |x| x <= 0.0),
    ] {
        let choice = Term::choose(condition, one, two).expression();
        for (low, high) in [
            (-2.0, -1.0),
            (-2.0, 0.0),
            (-2.0, 1.0),
            (0.0, 1.0),
            (1.0, 2.0),
        ] {
            let span = Span { symbol, low, high };
            let bounds =
                bound::over_expression(choice, &[], &Point::own(), &[span], Effort::default());
            let bounds = bounds.unwrap();
            // Every selection is made at an end or in the middle.
            let found =
                [low, f64::midpoint(low, high), high].map(|x| if holds(x) { 1.0 } else { 2.0 });
            let least = found.iter().copied().fold(2.0, f64::min);
            let greatest = found.iter().copied().fold(1.0, f64::max);
            assert_eq!(
                (bounds.low, bounds.high),
                (least, greatest),
                "{condition:?} from {low} to {high}"
            );
        }
    }
}

/// Capacitance, charge and energy against samples of what they are by definition.
#[test]
fn a_curve_is_bounded_as_tightly_as_asked() {
    let law = |grading: f64| {
        let c = Curve::law("C_l", 900.0 * pF, 0.8 * volt, grading.into(), 60.0 * pF);
        shared(c)
    };
    let points = [(1.0, 800.0), (4.0, 300.0), (20.0, 90.0)];
    let points = points.map(|(v, c)| (v * volt, c * pF));
    let table = shared(Curve::table("C_t", &points));
    let flat = shared(Curve::constant("C_f", 120.0 * pF));
    let (v, symbol) = Term::with_symbol("v", "voltage", 2.0 * volt, "test");
    let zero = Term::constant(0.0 * volt);
    for curve in [law(0.5), law(0.42), table, flat] {
        // What falls with the capacitance rises with the voltage: the slopes decide.
        let rise = Term::constant(25.0 * pF) / Term::constant(1.0 * volt);
        let sum = (v.capacitance(curve) + rise * v).expression();
        let charge = Term::integral("u", zero, v, |u| u.capacitance(curve));
        let charge = (charge - Term::constant(170.0 * pF) * v).expression();
        let energy = Term::integral("u", zero, v, |u| u.capacitance(curve) * u);
        let energy = (energy - Term::constant(170.0 * pF) * v * v / 2.0).expression();
        for (low, high) in [
            (-3.0, -1.0),
            (-2.0, 6.0),
            (0.0, 3.0),
            (2.0, 5.0),
            (18.0, 30.0),
        ] {
            let span = Span { symbol, low, high };
            // Sums by Simpson's rule from sample to sample, started at zero volts.
            let capacitance = |v: f64| curve.capacitance(v * volt).coherent();
            let steps = 4000_u32;
            let at = |k: u32| low + (high - low) * f64::from(k) / f64::from(steps);
            let add = |sums: [f64; 2], a: f64, b: f64| {
                let third = |f: &dyn Fn(f64) -> f64| {
                    (b - a) / 6.0 * (f(a) + 4.0 * f(f64::midpoint(a, b)) + f(b))
                };
                let charge = sums[0] + third(&|u| capacitance(u));
                [charge, sums[1] + third(&|u| capacitance(u) * u)]
            };
            let mut sums = (0..steps).fold([0.0; 2], |sums, k| {
                let part = |k: u32| low * f64::from(k) / f64::from(steps);
                add(sums, part(k), part(k + 1))
            });
            let mut hulls = [(f64::INFINITY, f64::NEG_INFINITY); 3];
            for k in 0..=steps {
                let u = at(k);
                let values = [
                    capacitance(u) + 25e-12 * u,
                    sums[0] - 170e-12 * u,
                    sums[1] - 85e-12 * u * u,
                ];
                for (hull, value) in hulls.iter_mut().zip(values) {
                    *hull = (hull.0.min(value), hull.1.max(value));
                }
                sums = add(sums, u, at(k + 1));
            }
            for (expression, (least, greatest)) in [sum, charge, energy].into_iter().zip(hulls) {
                let effort = Effort {
                    excess: 1e-3,
                    ..Effort::default()
                };
                let bounds =
                    bound::over_expression(expression, &[], &Point::own(), &[span], effort);
                let bounds = bounds.unwrap();
                // Samples miss an extreme by the square of their distance, and
                // Simpson's rule a kink.
                let width = greatest - least;
                let slack = 1e-5 * (width + greatest.abs().max(least.abs()));
                let what =
                    format!("{curve:?} from {low} to {high}: {bounds:?}, {least:e} {greatest:e}");
                assert!(
                    bounds.low <= least + slack && bounds.high >= greatest - slack,
                    "{what}"
                );
                assert!(
                    bounds.low >= least - 2e-3 * width - slack
                        && bounds.high <= greatest + 2e-3 * width + slack,
                    "too wide: {what}"
                );
            }
        }
    }
}

/// Integrals without a curve are bounded part by part: `∫ from p to q of f(x, u) du`
/// against its antiderivative, at the corners, since each rises or falls with every
/// input.
#[test]
fn an_integral_in_parts_holds_its_antiderivative() {
    let inputs = [("x", 0.5, 1.5), ("p", 0.0, 0.25), ("q", 1.0, 2.0)];
    let terms =
        inputs.map(|(name, low, _)| Term::<Ratio>::with_symbol(name, "number", low.into(), "test"));
    let spans = [0, 1, 2].map(|k| Span {
        symbol: terms[k].1,
        low: inputs[k].1,
        high: inputs[k].2,
    });
    let [x, p, q] = terms.map(|(term, _)| term);
    let one = Term::<Ratio>::from(1.0);

    let cases: [(Term<Ratio>, Antiderivative); 4] = [
        (Term::integral("u", p, q, |u| (-x * u).exp()), |x, u| {
            -(-x * u).exp() / x
        }),
        (Term::integral("u", p, q, |u| one / (x + u)), |x, u| {
            (x + u).ln()
        }),
        (Term::integral("u", p, q, |u| (x + u).sqrt()), |x, u| {
            2.0 / 3.0 * (x + u).powf(1.5)
        }),
        (Term::integral("u", p, q, |u| x * u * u), |x, u| {
            x * u.powi(3) / 3.0
        }),
    ];
    for (term, antiderivative) in cases {
        // Over all ranges, and over a tenth of them, where there are more parts.
        for part in [1.0, 0.1] {
            let spans = spans.map(|span| Span {
                high: span.low + part * (span.high - span.low),
                ..span
            });
            let effort = Effort {
                excess: 1e-2,
                ..Effort::default()
            };
            let term = term.expression();
            let bounds = bound::over_expression(term, &[], &Point::own(), &spans, effort).unwrap();
            let values = [0, 1, 2, 3, 4, 5, 6, 7].map(|corner| {
                let [x, p, q] = [0, 1, 2].map(|k| {
                    if corner >> k & 1 == 0 {
                        spans[k].low
                    } else {
                        spans[k].high
                    }
                });
                antiderivative(x, q) - antiderivative(x, p)
            });
            let least = values.iter().copied().fold(f64::INFINITY, f64::min);
            let greatest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let slack = 1e-14 * greatest;
            let allowed = 2e-2 * (greatest - least);
            for (found, exact, inward) in [
                (bounds.low, least, bounds.low - least),
                (bounds.high, greatest, greatest - bounds.high),
            ] {
                assert!(inward <= slack, "{found} is within {exact}: {bounds:?}");
                assert!(
                    -inward <= allowed,
                    "{found} is far from {exact}: {bounds:?}"
                );
            }
        }
    }
}
