//! Uncertainties of a specification and of its results: against central
//! differences, closed forms and Monte Carlo samples.

use std::sync::LazyLock;

use slewbook::design::{self, Design, Finding};
use slewbook::equation::{Program, Term};
use slewbook::quantity::unit::{nH, ns};
use slewbook::quantity::{Dimensioned, Ratio};
use slewbook::stage::{DEMONSTRATION, Specification, Spreads, Stage, UncertainInput};
use slewbook::uncertainty::{self, Distribution, Draw, Uncertainties};

use crate::support::specification_with;

static DEMONSTRATED: LazyLock<(String, Vec<String>)> = LazyLock::new(|| {
    let design = Design::derive(DEMONSTRATION).unwrap();
    let warned = design
        .findings
        .iter()
        .filter(|f| f.uncertainty.as_ref().is_some_and(|u| !u.near_linear));
    (
        design::json(&design),
        warned.map(|f| f.name().to_owned()).collect(),
    )
});

fn floor_of(changes: &[(&str, &str)]) -> (Stage, slewbook::equation::Record) {
    let specification = Specification::read(&specification_with(changes)).unwrap();
    let inductance = specification.inductance.unwrap();
    let stage = Stage::new(specification, inductance, "[stage] inductance");
    let record = slewbook::freewheel::floor(&stage).into_record();
    (stage, record)
}

#[test]
fn a_tolerance_reaches_the_results_and_an_operating_range_does_not() {
    let json: serde_json::Value = serde_json::from_str(&DEMONSTRATED.0).unwrap();
    let results = json["results"].as_array().unwrap();
    let entry = |name: &str| results.iter().find(|r| r["name"] == name).unwrap();
    // The floor goes as the inverse root of the inductance.
    let floor = entry("freewheel_floor");
    let expected = floor["value"].as_f64().unwrap() * 0.5 * 0.2 / 3f64.sqrt();
    let found = floor["standard_uncertainty"].as_f64().unwrap();
    assert!((found / expected - 1.0).abs() < 1e-9, "{found} {expected}");
    let rows = floor["uncertainty"]["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 1);
    assert_eq!(rows[0]["symbol"], "L");
    // What depends on the operating ranges alone is not uncertain.
    let blocking = entry("transistor_blocking_voltage");
    assert!(blocking["standard_uncertainty"].is_null() && blocking["uncertainty"].is_null());
    // An end of the tolerance, taken on purpose, is not uncertain either.
    assert!(entry("trip_current_least_inductance")["standard_uncertainty"].is_null());
    assert!(!DEMONSTRATED.1.contains(&"freewheel_floor".to_owned()));
}

#[test]
fn gradients_match_central_differences_on_every_result() {
    let design = Design::derive(DEMONSTRATION).unwrap();
    let mut compared = 0;
    for finding in design.findings.iter().filter(|f| f.value().is_some()) {
        let program = Program::compile(&[finding.record.result()]).unwrap();
        let inputs = finding.point.inputs(&program);
        for sensitivity in finding.record.sensitivities(&finding.point).unwrap() {
            let place = program.position(sensitivity.symbol).unwrap();
            let x = inputs[place];
            if x == 0.0 {
                continue;
            }
            let at = |h: f64| {
                let mut moved = inputs.clone();
                moved[place] = x + h;
                program.run(&moved)[0]
            };
            // Richardson's step on two central differences.
            let h = 1e-4 * x;
            let coarse = (at(h) - at(-h)) / (2.0 * h);
            let fine = (at(h / 2.0) - at(-h / 2.0)) / h;
            let difference = (4.0 * fine - coarse) / 3.0;
            let scale = difference
                .abs()
                .max((finding.value().unwrap() / x).abs() * 1e-3);
            assert!(
                (sensitivity.derivative - difference).abs() <= 1e-5 * scale,
                "{} by {}: {} against {difference}",
                finding.name(),
                sensitivity.symbol.glyph(),
                sensitivity.derivative
            );
            compared += 1;
        }
    }
    assert!(compared > 100, "{compared} derivatives");
}

/// Propagated and sampled standard uncertainty of a result, all inputs free.
fn compare(design: &Design, finding: &Finding) -> Option<(f64, f64, bool)> {
    let (record, point) = (&finding.record, &finding.point);
    let budget = uncertainty::of(record, point, &design.uncertainties, None)
        .unwrap()
        .filter(|b| b.propagated > 0.0)?;
    let draw = Draw {
        samples: 1000,
        ..Draw::default()
    };
    let samples = draw.record(record, point, &design.uncertainties).unwrap();
    assert_eq!(samples.without_value(), 0, "{}", finding.name());
    let sampled = samples.standard_uncertainty().unwrap();
    Some((budget.propagated, sampled, budget.near_linear))
}

#[test]
fn propagation_matches_samples_where_near_linear() {
    let design = Design::derive(DEMONSTRATION).unwrap();
    let mut compared = 0;
    for finding in &design.findings {
        if let Some((propagated, sampled, true)) = compare(&design, finding) {
            // A tenth, by the definition of near linear, and four standard
            // deviations of a standard deviation from 1000 samples.
            let bound = 0.1 + 4.0 / 2000f64.sqrt();
            assert!(
                (propagated / sampled - 1.0).abs() < bound,
                "{}: {propagated} against {sampled}",
                finding.name()
            );
            compared += 1;
        }
    }
    assert!(compared > 10, "{compared} results");
}

#[test]
fn a_wide_tolerance_is_warned_of_and_sampled() {
    let (stage, record) = floor_of(&[(
        "stage.inductance",
        "{ nominal = \"0.68 uH\", tolerance = \"60 %\" }",
    )]);
    let point = stage.nominal();
    let list = stage.uncertainties(None).unwrap();
    let alone = uncertainty::of(&record, &point, &list, None)
        .unwrap()
        .unwrap();
    assert_eq!(alone.standard_uncertainty(), None);
    assert!(
        alone.notes[0].contains("not near linear"),
        "{:?}",
        alone.notes
    );
    let draw = Draw {
        samples: 200_000,
        ..Draw::default()
    };
    let budget = uncertainty::of(&record, &point, &list, Some(&draw))
        .unwrap()
        .unwrap();
    // Moments of (1 + 0.6 r)^(-1/2) for r uniform from -1 to 1.
    let mean = 2.0 / 1.2 * (1.6f64.sqrt() - 0.4f64.sqrt());
    let deviation = ((1.6f64 / 0.4).ln() / 1.2 - mean * mean).sqrt();
    let found = budget.standard_uncertainty().unwrap() / budget.estimate;
    assert!(
        (found / deviation - 1.0).abs() < 0.01,
        "{found} {deviation}"
    );
    let sampled = budget.monte_carlo.unwrap().mean.unwrap() / budget.estimate;
    assert!((sampled - mean).abs() < 0.002, "{sampled} {mean}");
}

#[test]
fn samples_without_value_are_counted_and_leave_no_uncertainty() {
    let (stage, record) = floor_of(&[(
        "stage.inductance",
        "{ nominal = \"0.68 uH\", standard_uncertainty = \"60 %\" }",
    )]);
    let draw = Draw {
        samples: 100_000,
        ..Draw::default()
    };
    let list = stage.uncertainties(None).unwrap();
    let budget = uncertainty::of(&record, &stage.nominal(), &list, Some(&draw))
        .unwrap()
        .unwrap();
    let sampled = budget.monte_carlo.as_ref().unwrap();
    // Below -1/0.6 standard deviations the inductance is negative: 4.779 % of a
    // normal distribution.
    let part = f64::from(u32::try_from(sampled.without_value).unwrap()) / 1e5;
    assert!((part - 0.047_79).abs() < 0.003, "{part}");
    assert_eq!(budget.standard_uncertainty(), None);
    assert!(sampled.symmetric.is_none());
    assert!(budget.notes.iter().any(|n| n.contains("have no value")));
}

#[test]
fn samples_do_not_depend_on_the_threads() {
    let (stage, record) = floor_of(&[]);
    let list = stage.uncertainties(None).unwrap();
    let draw = |threads, seed| {
        let draw = Draw {
            samples: 10_000,
            seed,
            threads,
        };
        draw.record(&record, &stage.nominal(), &list).unwrap()
    };
    let one = draw(Some(1), 1);
    for threads in [Some(2), Some(3), Some(7), None] {
        assert_eq!(one, draw(threads, 1));
    }
    assert_ne!(one, draw(Some(1), 2));
}

#[test]
fn the_specification_states_distributions() {
    let spreads = |path: &str, value: &str| {
        let specification = Specification::read(&specification_with(&[(path, value)])).unwrap();
        (specification.spreads.clone(), specification)
    };
    let u = |stated: &Spreads, input| stated.get(input).unwrap().standard_uncertainty();
    let close = |found: f64, expected: f64| assert!((found / expected - 1.0).abs() < 1e-12);

    let triangular =
        "{ nominal = \"0.68 uH\", tolerance = \"20 %\", distribution = \"triangular\" }";
    let (stated, specification) = spreads("stage.inductance", triangular);
    close(
        u(&stated, UncertainInput::Inductance),
        0.136e-6 / 6f64.sqrt(),
    );
    close(specification.inductance_tolerance.coherent(), 0.2);
    let absolute = "{ nominal = \"0.68 uH\", tolerance = \"68 nH\" }";
    let (stated, specification) = spreads("stage.inductance", absolute);
    assert_eq!(
        stated
            .get(UncertainInput::Inductance)
            .unwrap()
            .half_width()
            .map(|h| (h * 1e12).round()),
        Some(68_000.0)
    );
    close(specification.inductance_tolerance.coherent(), 0.1);

    let observed = "{ observations = [\"34 ns\", \"35 ns\", \"36 ns\"] }";
    let (stated, specification) = spreads("trip.delay", observed);
    close(u(&stated, UncertainInput::TripDelay), 1e-9 / 3f64.sqrt());
    assert_eq!(
        stated
            .get(UncertainInput::TripDelay)
            .unwrap()
            .degrees_of_freedom(),
        2.0
    );
    close(specification.trip.delay.coherent(), (35.0 * ns).coherent());

    let certified =
        "{ nominal = \"12 mohm\", standard_uncertainty = \"5 %\", degrees_of_freedom = 9 }";
    let (stated, _) = spreads("clamp.resistance", certified);
    close(u(&stated, UncertainInput::ClampResistance), 0.6e-3);
    assert_eq!(
        stated
            .get(UncertainInput::ClampResistance)
            .unwrap()
            .degrees_of_freedom(),
        9.0
    );

    let offset = "{ nominal = \"0.4 A\", standard_uncertainty = \"10 mA\" }";
    let (stated, _) = spreads("trip.threshold", offset);
    close(u(&stated, UncertainInput::TripThreshold), 0.01);
    let winding = "{ nominal = \"50 pF\", tolerance = 0.3 }";
    let (stated, _) = spreads("stage.node_capacitance", winding);
    close(
        u(&stated, UncertainInput::NodeCapacitance),
        15e-12 / 3f64.sqrt(),
    );
    let (plain, _) = spreads("stage.inductance", "\"0.68 uH\"");
    assert_eq!(plain, Spreads::default());
}

#[test]
fn wrong_uncertainties_are_refused_by_name() {
    let nominal = "nominal = \"0.68 uH\"";
    for (value, expected) in [
        (
            format!("{{ {nominal}, tolerance = \"20 %\", distribution = \"gaussian\" }}"),
            "stage.inductance.distribution: is \"gaussian\"; expected \"rectangular\"",
        ),
        (
            format!("{{ {nominal}, tolerance = \"20 %\", standard_uncertainty = \"5 %\" }}"),
            "stage.inductance.standard_uncertainty: stands beside a tolerance",
        ),
        (
            format!("{{ {nominal}, tolerance = \"120 %\" }}"),
            "stage.inductance.tolerance: \"120 %\" is out of range; expected",
        ),
        (
            format!("{{ {nominal}, tolerance = \"5 ns\" }}"),
            "stage.inductance.tolerance: \"ns\" is a unit of",
        ),
        (
            format!("{{ {nominal}, distribution = \"normal\" }}"),
            "stage.inductance.distribution: stands alone",
        ),
        (
            format!("{{ {nominal}, tolerance = \"5 %\", degrees_of_freedom = 4 }}"),
            "stage.inductance.degrees_of_freedom: belong to a standard_uncertainty",
        ),
        (
            "{ observations = [\"0.68 uH\"] }".to_owned(),
            "stage.inductance.observations: there are 1 observation(s)",
        ),
        (
            format!("{{ {nominal}, observations = [\"0.68 uH\", \"0.7 uH\"] }}"),
            "stage.inductance.nominal: stands beside observations",
        ),
        (
            "{ observations = \"0.68 uH\" }".to_owned(),
            "stage.inductance.observations: is a text; expected a list",
        ),
        (
            format!("{{ {nominal}, min = \"0.6 uH\" }}"),
            "stage.inductance.min: is not a known key",
        ),
    ] {
        let text = specification_with(&[("stage.inductance", &value)]);
        let problems = Specification::read(&text).unwrap_err().to_string();
        assert!(problems.contains(expected), "{value}: {problems}");
    }
}

#[test]
fn a_factor_on_a_curve_scales_it() {
    let law = |scale: &str| {
        format!(
            "{{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\"{scale} }}"
        )
    };
    let scale = ", scale = { tolerance = \"15 %\" }";
    let clamp = format!("{{ constant = \"90 pF\"{scale} }}");
    let (plain, record) = floor_of(&[
        ("clamp.output_capacitance", "{ constant = \"90 pF\" }"),
        ("transistors.high.output_capacitance", &law("")),
        ("transistors.low.output_capacitance", &law("")),
    ]);
    let expected = record.value_at(&plain.nominal()).unwrap().unwrap();
    let (scaled, record) = floor_of(&[
        ("stage.inductance", "\"0.68 uH\""),
        (
            "stage.node_capacitance",
            "{ nominal = \"50 pF\", tolerance = \"15 %\" }",
        ),
        ("clamp.output_capacitance", &clamp),
        ("transistors.high.output_capacitance", &law(scale)),
        ("transistors.low.output_capacitance", &law(scale)),
    ]);
    let point = scaled.nominal();
    let found = record.value_at(&point).unwrap().unwrap();
    assert!((found / expected - 1.0).abs() < 1e-9, "{found} {expected}");
    let program = Program::compile(&[record.result()]).unwrap();
    assert!(!program.iterates(), "closed form with factors");
    // All capacitances together by one part change the floor by half a part.
    let list = scaled.uncertainties(None).unwrap();
    let budget = uncertainty::of(&record, &point, &list, None)
        .unwrap()
        .unwrap();
    assert_eq!(budget.rows.len(), 4);
    let together: f64 = budget.rows.iter().map(|r| r.sensitivity * r.value).sum();
    assert!(
        (together / (found / 2.0) - 1.0).abs() < 1e-9,
        "{together} {found}"
    );
}

#[test]
fn gradients_by_a_factor_match_central_differences() {
    let scale = "scale = { tolerance = \"15 %\" }";
    let law = format!(
        "{{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\", {scale} }}"
    );
    let text = specification_with(&[
        ("transistors.high.output_capacitance", &law),
        ("clamp.output_capacitance", &law),
    ]);
    let specification = Specification::read(&text).unwrap();
    let stage = Stage::new(specification, 680.0 * nH, "test");
    for record in [
        slewbook::freewheel::trip_current(&stage).into_record(),
        slewbook::edge::dead_time_best(&stage).into_record(),
    ] {
        let point = stage.nominal();
        for (name, factor) in [("s_H", stage.s_H), ("s_cl", stage.s_cl)] {
            let symbol = factor.unwrap().symbol().unwrap();
            let at = |value| {
                record
                    .value_at(&point.clone().with(symbol, value))
                    .unwrap()
                    .unwrap()
            };
            let difference = (at(1.0 + 1e-4) - at(1.0 - 1e-4)) / 2e-4;
            let list = record.sensitivities(&point).unwrap();
            let found = list
                .iter()
                .find(|s| s.symbol.glyph().to_string() == name)
                .unwrap();
            assert!(
                (found.derivative / difference - 1.0).abs() < 1e-5,
                "{} by {name}: {} against {difference}",
                record.name(),
                found.derivative
            );
        }
    }
}

#[test]
fn drawn_distributions_have_their_moments_and_intervals() {
    let x = Term::<Ratio>::input("x", "anything", 5.0.into());
    let program = Program::compile(&[x.expression()]).unwrap();
    let draw = |distribution| {
        let list = Uncertainties::none()
            .with(x.symbol().unwrap(), distribution)
            .unwrap();
        let point = slewbook::equation::Point::own();
        Draw::default()
            .outputs(&program, &point, &list)
            .unwrap()
            .remove(0)
    };
    let one = || Ratio::from(1.0);
    let rectangular = draw(Distribution::rectangular(one()).unwrap());
    assert!((rectangular.standard_uncertainty().unwrap() * 3f64.sqrt() - 1.0).abs() < 0.005);
    let triangular = draw(Distribution::triangular(one()).unwrap());
    assert!((triangular.standard_uncertainty().unwrap() * 6f64.sqrt() - 1.0).abs() < 0.005);
    assert!(triangular.sorted()[0] > 4.0 && *triangular.sorted().last().unwrap() < 6.0);
    // Half of a triangular distribution lies within 1 - 1/√2 of its centre.
    let half = triangular.shortest_interval(0.5).unwrap();
    assert!((half.high - half.low - 2.0 * (1.0 - 0.5f64.sqrt())).abs() < 0.01);
    // Student's distribution with four degrees of freedom: factor 2.776 for 95 %
    // (JCGM 100:2008, table G.2), variance 4/(4 - 2).
    let student = Distribution::normal(one())
        .unwrap()
        .with_degrees_of_freedom(4.0);
    let student = draw(student.unwrap());
    let interval = student.symmetric_interval(0.95).unwrap();
    assert!(((interval.high - interval.low) / 2.0 - 2.776).abs() < 0.02);
    assert!((student.standard_uncertainty().unwrap() - 2f64.sqrt()).abs() < 0.03);
    assert!((student.mean().unwrap() - 5.0).abs() < 0.01);
    // Student's distribution has a variance above two degrees of freedom only, and a
    // standard deviation is what samples of it are otherwise summed up by.
    for (count, said) in [(2.0, true), (2.5, false), (f64::INFINITY, false)] {
        let normal = Distribution::normal(one()).unwrap();
        let samples = draw(normal.with_degrees_of_freedom(count).unwrap());
        let about = |note: &String| note.contains("x has no standard deviation");
        assert_eq!(samples.notes().iter().any(about), said, "{count}");
    }
}

#[test]
fn correlated_samples_and_impossible_correlations() {
    let terms = ["x", "y", "z"].map(|name| Term::<Ratio>::input(name, name, 0.0.into()));
    let [x, y, z] = terms.map(|t| t.symbol().unwrap());
    let normal = Distribution::normal(Ratio::from(1.0)).unwrap();
    let list = [x, y, z]
        .into_iter()
        .try_fold(Uncertainties::none(), |list, s| list.with(s, normal))
        .unwrap();
    let sum = (terms[0] + terms[1] + terms[2]).expression();
    let program = Program::compile(&[sum]).unwrap();
    let point = slewbook::equation::Point::own();
    let draw = |list: &Uncertainties| Draw::default().outputs(&program, &point, list);
    let correlated = list.clone().correlated(x, y, 0.8).unwrap();
    // Variance 1 + 1 + 1 + 2 · 0.8.
    let found = draw(&correlated).unwrap()[0]
        .standard_uncertainty()
        .unwrap();
    assert!((found / 4.6f64.sqrt() - 1.0).abs() < 0.005, "{found}");

    let impossible = correlated
        .clone()
        .correlated(x, z, 0.8)
        .and_then(|u| u.correlated(y, z, -0.8))
        .unwrap();
    assert!(
        draw(&impossible)
            .unwrap_err()
            .to_string()
            .contains("cannot hold together")
    );
    // What is fully correlated with x has the coefficients of x, and no others.
    let full = list.clone().correlated(x, y, 1.0);
    let full = full.and_then(|u| u.correlated(x, z, 0.5)).unwrap();
    for coefficient in [-0.5, 0.499, 0.501] {
        let unlike = full.clone().correlated(y, z, coefficient).unwrap();
        let refused = draw(&unlike).unwrap_err().to_string();
        assert!(refused.contains("cannot hold together"), "{refused}");
    }
    let alike = full.correlated(y, z, 0.5).unwrap();
    // Variance 1 + 1 + 1 + 2 · (1 + 0.5 + 0.5).
    let found = draw(&alike).unwrap()[0].standard_uncertainty().unwrap();
    assert!((found / 7f64.sqrt() - 1.0).abs() < 0.005, "{found}");
    let triangular = Distribution::triangular(Ratio::from(1.0)).unwrap();
    let mixed = correlated.clone().with(x, triangular).unwrap();
    assert!(
        draw(&mixed)
            .unwrap_err()
            .to_string()
            .contains("x is correlated and triangular")
    );
    assert!(correlated.clone().correlated(x, y, 1.1).is_err());
    assert!(list.without(z).correlated(x, z, 0.1).is_err());
    assert!(Distribution::normal(f64::NAN * nH).is_err());
    let few = Draw {
        samples: 1,
        ..Draw::default()
    };
    assert!(few.outputs(&program, &point, &correlated).is_err());
}
