//! Guaranteed bounds hold, are sharp, and are refused where they are not proven.

use std::collections::HashSet;

use proptest::prelude::*;
use slewbook::bound::{self, Bounds, Effort, Interval, NoBound};
use slewbook::design::Design;
use slewbook::equation::{Condition, Derivation, Point, Program, Record, Span, Term};
use slewbook::quantity::Ratio;
use slewbook::stage::{DEMONSTRATION, Specification, Stage};
use slewbook::{cycle, edge, freewheel, limit};

use crate::quick_cell::{Quick, Window};
use crate::support::specification_with;

/// Evenly distributed numbers from 0 to 1, the same in every run (Knuth's MMIX
/// generator, from memory).
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 32).unwrap()) / f64::from(u32::MAX)
    }

    fn inside(&mut self, span: &Span) -> f64 {
        (span.low + (span.high - span.low) * self.next()).clamp(span.low, span.high)
    }
}

/// Input voltage, output voltage and the tolerance of the inductance.
fn ranges(stage: &Stage) -> Vec<Span> {
    let symbol = stage.axes.inductance;
    let tolerance = stage.specification.inductance_tolerance.value;
    let mut spans = stage.spans().to_vec();
    spans.push(Span {
        symbol,
        low: symbol.value() * (1.0 - tolerance),
        high: symbol.value() * (1.0 + tolerance),
    });
    spans
}

#[test]
fn elementary_operations_hold_the_exact_result() {
    let rows = include_str!("../data/elementary.csv");
    let mut count = 0;
    for line in rows.lines().skip(1) {
        let fields: Vec<_> = line.split(',').collect();
        let [x, y, below, above] = [1, 2, 3, 4].map(|k| fields[k].parse::<f64>().unwrap());
        let (p, q) = (Interval::point(x), Interval::point(y));
        let found = match fields[0] {
            "add" => p + q,
            "subtract" => p - q,
            "multiply" => p * q,
            "divide" => p / q,
            "sqrt" => p.sqrt(),
            "exp" => p.exp(),
            "ln" => p.ln(),
            "sin" => p.sin(),
            "cos" => p.cos(),
            "asin" => p.asin(),
            "acos" => p.acos(),
            "powf" => p.powf(q),
            "power" => {
                let whole = format!("{y:.0}").parse().unwrap();
                p.power(whole)
            }
            other => panic!("{other}"),
        };
        assert!(
            found.low() <= below && above <= found.high(),
            "{line}: {found:?}"
        );
        // Where the argument is reduced, its error counts against one.
        let scale = found.magnitude().max(match fields[0] {
            "sin" | "cos" => x.abs(),
            "acos" => 1.0,
            _ => 0.0,
        });
        let excess = match fields[0] {
            "exp" | "powf" => 2000.0,
            "add" | "subtract" | "multiply" | "divide" | "sqrt" => 2.0,
            _ => 40.0,
        };
        let least = f64::MIN_POSITIVE;
        assert!(
            found.width() <= excess * f64::EPSILON * scale.max(least),
            "{line}: {found:?} is wide"
        );
        count += 1;
    }
    assert_eq!(count, 615);
}

#[test]
fn intervals_hold_every_combination() {
    let mut random = Random(7);
    let mut pair = |low: f64, high: f64| {
        let (x, y) = (random.next(), random.next());
        let [x, y] = [x, y].map(|t| low + (high - low) * t);
        let inside = x + (y - x) * random.next();
        (
            Interval::new(x.min(y), x.max(y)),
            inside.clamp(x.min(y), x.max(y)),
        )
    };
    for _ in 0..20_000 {
        let ((p, x), (q, y)) = (pair(-3.0, 3.0), pair(-2.0, 5.0));
        for (found, value) in [
            (p + q, x + y),
            (p - q, x - y),
            (p * q, x * y),
            (p / q, x / y),
            (p.abs(), x.abs()),
            (p.min(q), x.min(y)),
            (p.max(q), x.max(y)),
            (p.floor(), x.floor()),
            (p.power(4), x.powi(4)),
            (p.power(3), x.powi(3)),
            (p.exp(), x.exp()),
            (p.sin(), x.sin()),
            (q.cos(), y.cos()),
        ] {
            // The double itself is not exact: one unit of its last digit.
            let slack = f64::EPSILON * value.abs().max(1e-15) * 2.0;
            assert!(
                found.low() - slack <= value && value <= found.high() + slack,
                "{p:?} {q:?}: {found:?} without {value}"
            );
        }
    }
}

fn ratio(name: &str) -> (Term<Ratio>, &'static slewbook::equation::Symbol) {
    Term::with_symbol(name, "number", 0.5.into(), "test")
}

fn one_range(
    term: Term<Ratio>,
    symbol: &'static slewbook::equation::Symbol,
    low: f64,
    high: f64,
) -> Result<Bounds, NoBound> {
    let span = Span { symbol, low, high };
    bound::over_expression(
        term.expression(),
        &[],
        &Point::own(),
        &[span],
        Effort::default(),
    )
}

#[test]
fn known_extremes_are_found() {
    let (x, symbol) = ratio("x");
    let one: Term<Ratio> = 1.0.into();
    for (term, low, high, least, greatest) in [
        (x * (one - x), 0.0, 1.0, 0.0, 0.25),
        (x - x, 0.0, 7.0, 0.0, 0.0),
        (x.squared(), -1.0, 2.0, 0.0, 4.0),
        ((x - one).abs(), 0.0, 3.0, 0.0, 2.0),
        (x.floor() - x, 0.25, 2.75, -1.0, 0.0),
        (x.sin(), 0.0, 2.0, 0.0, 1.0),
        (x.max(one - x), 0.0, 1.0, 0.5, 1.0),
        (
            Term::choose(x.above(0.5.into()), x + one, x),
            0.0,
            1.0,
            0.0,
            2.0,
        ),
        (
            Term::choose(x.above(0.5.into()), one, -one),
            0.0,
            1.0,
            -1.0,
            1.0,
        ),
    ] {
        let bounds = one_range(term, symbol, low, high).unwrap();
        let excess = 0.03 * (greatest - least) + 1e-12;
        let within = |found: f64, exact: f64| (found - exact).abs() <= excess;
        assert!(
            bounds.low <= least && within(bounds.low, least),
            "{term:?} {bounds:?}"
        );
        assert!(
            bounds.high >= greatest && within(bounds.high, greatest),
            "{term:?} {bounds:?}"
        );
    }
}

#[test]
fn what_is_not_proven_has_no_bound() {
    let (x, symbol) = ratio("x");
    let one: Term<Ratio> = 1.0.into();
    assert_eq!(one_range(one / x, symbol, -1.0, 2.0), Err(NoBound::Domain));
    assert_eq!(one_range(x.sqrt(), symbol, -1.0, 2.0), Err(NoBound::Domain));
    // A curve that is unbounded at an end, although its area is finite.
    let area = Term::integral("u", 0.0.into(), x, |u| one / u.sqrt());
    assert_eq!(one_range(area, symbol, 1.0, 2.0), Err(NoBound::Domain));
    // Two solutions, none, and one that leaves its bracket.
    let root = |low: f64, high: f64| {
        Term::<Ratio>::solve("y", "root", low.into(), high.into(), |y| (y * y, x))
    };
    assert_eq!(
        one_range(root(-2.0, 2.0), symbol, 1.0, 2.0),
        Err(NoBound::Solution)
    );
    assert_eq!(
        one_range(root(2.0, 3.0), symbol, 1.0, 2.0),
        Err(NoBound::Solution)
    );
    assert_eq!(
        one_range(root(0.0, 1.2), symbol, 1.0, 2.0),
        Err(NoBound::Solution)
    );
    let bounds = one_range(root(0.0, 2.0), symbol, 1.0, 2.0).unwrap();
    assert!(bounds.low <= 1.0 && bounds.high >= 2.0_f64.sqrt() && bounds.sharpness() < 1.02);
    assert!(matches!(
        one_range(x, symbol, 2.0, 1.0),
        Err(NoBound::Range { .. })
    ));
}

#[test]
fn a_condition_counts_inside_all_ranges() {
    let (x, symbol) = ratio("x");
    let record = Derivation::<Ratio>::new("square", "How much?", x.squared().named("y", "square"))
        .requires(x.at_most(0.75.into()), "x is small", "Lower x.");
    let over = |high: f64| {
        let span = Span {
            symbol,
            low: 0.0,
            high,
        };
        bound::over(&record, &Point::own(), &[span], Effort::default())
    };
    assert!(over(0.75).is_ok());
    let refusal = over(0.76).unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "no bound: it does not hold that x is small (x ≤ 0.75), at x = 0.76"
    );
    let conditions: &[Condition] = record.conditions();
    assert_eq!(conditions.len(), 1);
}

/// Results that need an edge's duration or the steady state: sampled by the quick
/// cell of this test, at full or at the least load.
fn quick(name: &str, cell: &Quick, light: &Quick, window: &Window, ceiling: f64) -> Option<f64> {
    Some(match name {
        "inductance_ceiling_operating" => ceiling,
        "dead_time_earliest" => window.earliest,
        "dead_time_best" => window.earliest + window.remaining / 2.0,
        "dead_time_latest" => window.earliest + window.remaining,
        "fall_time" => cell.fall_time,
        "fall_latest" => light.fall_time + light.release_diode_time,
        "fall_time_least_load" => light.fall_time,
        "peak_current" => cell.peak_current,
        "hold_time" => cell.hold_time,
        "on_time_least" => light.on_time,
        "flying_capacitance_needed" => cell.energise_charge / (0.05 * cell.step),
        "flying_ripple" => cell.energise_charge / 10e-6,
        "output_capacitance_needed" => cell.output_charge / 0.12,
        "output_ripple" => cell.output_charge / 100e-6,
        _ => return None,
    })
}

/// Samples of each result on the demonstration.
const SAMPLES: usize = 100_000;

/// A result of the demonstration with its bound and what sampling finds.
struct Sampled<'d> {
    record: &'d Record,
    bounds: Bounds,
    program: Program,
    least: f64,
    greatest: f64,
}

#[test]
fn every_result_of_the_demonstration_stays_inside_and_near_its_bound() {
    let design = Design::derive(DEMONSTRATION).unwrap();
    let spans = ranges(&design.stage);
    let effort = Effort {
        excess: 0.03,
        ..Effort::default()
    };
    let mut seen = HashSet::new();
    let mut results = Vec::new();
    for finding in &design.findings {
        let record = &finding.record;
        if !seen.insert(record.name().to_owned()) {
            continue;
        }
        let bounds = bound::over(record, &finding.point, &spans, effort)
            .unwrap_or_else(|none| panic!("{}: {none}", record.name()));
        let program = Program::compile(&[record.result()]).unwrap();
        let base = finding.point.inputs(&program);
        let sampled = Sampled {
            record,
            bounds,
            program,
            least: f64::INFINITY,
            greatest: f64::NEG_INFINITY,
        };
        results.push((sampled, base));
    }
    let mut random = Random(2026);
    for sample in 0..SAMPLES {
        let values: Vec<f64> = spans.iter().map(|span| random.inside(span)).collect();
        let [v_in, v_out, inductance] = values[..] else {
            unreachable!()
        };
        let cell = Quick::at(v_in, v_out, inductance, 6.0);
        let light = Quick::at(v_in, v_out, inductance, 0.3);
        let window = Window::at(v_in, v_out, inductance);
        let ceiling = Quick::ceiling(v_in, v_out);
        for (result, base) in &mut results {
            let name = result.record.name();
            let own = |base: &mut Vec<f64>| {
                for (span, value) in spans.iter().zip(&values) {
                    if let Some(place) = result.program.position(span.symbol) {
                        base[place] = *value;
                    }
                }
                result.program.run(base)[0]
            };
            let value = match quick(name, &cell, &light, &window, ceiling) {
                None => own(base),
                Some(value) => {
                    if sample < 20 {
                        let exact: f64 = own(base);
                        let error = (value / exact - 1.0).abs();
                        assert!(error < 1e-7, "{name}: {value:e} is not {exact:e}");
                    }
                    value
                }
            };
            assert!(
                result.bounds.low <= value && value <= result.bounds.high,
                "{name}: {value:e} at {values:?} outside {:?}",
                result.bounds
            );
            result.least = result.least.min(value);
            result.greatest = result.greatest.max(value);
        }
    }
    for (result, _) in &results {
        let width = result.bounds.high - result.bounds.low;
        let sampled = result.greatest - result.least;
        // What depends on the ends of the ranges alone has one value.
        let over = if width <= 1e-12 * result.bounds.high.abs() {
            1.0
        } else {
            width / sampled
        };
        println!(
            "{:34} {:12.6e} to {:12.6e}: {over:.4} of sampling, {:.4} at most of what is attained, {} evaluations",
            result.record.name(),
            result.bounds.low,
            result.bounds.high,
            result.bounds.sharpness(),
            result.bounds.evaluations
        );
        let name = result.record.name();
        assert!((1.0..=1.1).contains(&over), "{name}: {over} of sampling");
    }
}

#[test]
fn the_time_to_demagnetise_a_clamp_with_a_drop_is_bounded() {
    let text = specification_with(&[("clamp.drop", "\"0.7 V\"")]);
    let specification = Specification::read(&text).unwrap();
    let inductance = specification.inductance.unwrap();
    let stage = Stage::new(specification, inductance, "specification");
    let time = freewheel::demagnetisation_time(&stage).unwrap();
    let bounds = bound::over(&time, &stage.nominal(), &ranges(&stage), Effort::default()).unwrap();
    assert_holds(&time, &bounds, &stage, &ranges(&stage), SAMPLES, 1.1);
}

/// Asserts that samples of a record lie within a bound that is not too wide.
fn assert_holds(
    record: &Record,
    bounds: &Bounds,
    stage: &Stage,
    spans: &[Span],
    samples: usize,
    widest: f64,
) {
    let program = Program::compile(&[record.result()]).unwrap();
    let mut inputs = stage.nominal().inputs(&program);
    let mut random = Random(99);
    let (mut least, mut greatest) = (f64::INFINITY, f64::NEG_INFINITY);
    for _ in 0..samples {
        for span in spans {
            let value = random.inside(span);
            if let Some(place) = program.position(span.symbol) {
                inputs[place] = value;
            }
        }
        let value: f64 = program.run(&inputs)[0];
        assert!(
            bounds.low <= value && value <= bounds.high,
            "{}: {value:e} outside {bounds:?} at {inputs:?}",
            record.name()
        );
        (least, greatest) = (least.min(value), greatest.max(value));
    }
    let (bound, sampled) = (bounds.high - bounds.low, greatest - least);
    // Both are zero where the result is the same everywhere.
    assert!(
        bound == sampled || bound <= widest * sampled,
        "{}: {bound:e} wide, {sampled:e} in sampling",
        record.name()
    );
}

prop_compose! {
    /// An invented stage: levels, voltages away from a band's edges, a curve of
    /// each kind.
    fn specifications()(
        levels in 2_u32..5,
        band in 0.0..1.0_f64,
        share in 0.15..0.45_f64,
        input in 18.0..90.0_f64,
        spread in 0.01..0.12_f64,
        capacitance in 150.0..1500.0_f64,
        grading in 0.3..0.6_f64,
        tail in 0.1..0.6_f64,
        drop in prop::sample::select(vec!["0 V", "0.6 V"]),
        frequency in 60.0..300.0_f64,
        load in 2.0..15.0_f64,
        fill in 0.3..0.8_f64,
    ) -> String {
        let pairs = f64::from(levels - 1);
        let m = (band * pairs).floor();
        let output = (m + share) * input / pairs;
        let range = |middle: f64, part: f64| format!(
            "{{ min = \"{:.4} V\", nominal = \"{middle:.4} V\", max = \"{:.4} V\" }}",
            middle * (1.0 - part), middle * (1.0 + part)
        );
        // A part of the boundary of discontinuous conduction.
        let (a, b) = ((1.0 - share) * input / pairs, share * input / pairs);
        let boundary = a * b / (a + b) / (2.0 * load * pairs * frequency * 1e3);
        // The band's edges stay away from the ranges.
        let narrow = 0.3 * share.min(0.5) / (m + 1.0);
        specification_with(&[
            ("input.voltage", &range(input, spread.min(narrow))),
            ("output.voltage", &range(output, 0.02_f64.min(narrow / 3.0))),
            ("output.current", &format!("{{ min = \"{:.3} A\", max = \"{load:.3} A\" }}", load / 2.0)),
            ("stage.levels", &levels.to_string()),
            ("stage.switching_frequency", &format!("\"{frequency:.3} kHz\"")),
            ("stage.inductance", &format!(
                "{{ nominal = \"{:.5} uH\", tolerance = \"10 %\" }}", fill * boundary * 1e6
            )),
            ("clamp.drop", &format!("\"{drop}\"")),
            ("transistors.high.output_capacitance", &format!(
                "{{ zero_bias = \"{capacitance:.2} pF\", built_in = \"0.7 V\", grading = {grading:.3}, floor = \"40 pF\" }}"
            )),
            ("transistors.low.output_capacitance", &format!(
                "{{ table = [[\"0 V\", \"{capacitance:.2} pF\"], [\"5 V\", \"{:.2} pF\"], [\"60 V\", \"{:.2} pF\"]] }}",
                capacitance * (tail + 0.2), capacitance * tail
            )),
        ])
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_stages_stay_inside_their_bounds(text in specifications()) {
        let specification = Specification::read(&text).map_err(|e| TestCaseError::fail(e.to_string()))?;
        let inductance = specification.inductance.unwrap();
        let stage = Stage::new(specification, inductance, "specification");
        let spans = ranges(&stage);
        let closed = [
            limit::boundary(&stage).into_record(),
            limit::ceiling(&stage).into_record(),
            freewheel::floor(&stage).into_record(),
            freewheel::clamp_on_current(&stage).into_record(),
            freewheel::release_current(&stage).into_record(),
            freewheel::trip_current(&stage).into_record(),
            limit::clamp_blocking(&stage).into_record(),
        ];
        for record in &closed {
            let bounds = bound::over(record, &stage.nominal(), &spans, Effort::default())
                .map_err(|none| TestCaseError::fail(format!("{}: {none}", record.name())))?;
            prop_assert!(bounds.sharpness() <= 1.05, "{}: {bounds:?}", record.name());
            assert_holds(record, &bounds, &stage, &spans, SAMPLES, f64::INFINITY);
        }
        // Coarse bounds of what is integrated and solved; the trip threshold may
        // not suffice, and then there is none.
        let effort = Effort { evaluations: 30, excess: 0.5, ..Effort::default() };
        let trip = freewheel::trip_current(&stage).value().unwrap();
        let trip = Term::input("I_set", "trip threshold", 1.3 * trip);
        let deep = [
            edge::dead_time_latest(&stage).into_record(),
            cycle::hold_time(&stage, trip).into_record(),
        ];
        for record in &deep {
            if let Ok(bounds) = bound::over(record, &stage.nominal(), &spans, effort) {
                assert_holds(record, &bounds, &stage, &spans, 50, f64::INFINITY);
            }
        }
    }
}
