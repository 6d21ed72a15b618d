//! Correlations that a specification states, and the interval that covers a
//! result: against closed forms, published examples and samples.

use slewbook::design::{self, Design};
use slewbook::equation::{Point, Program, Term};
use slewbook::quantity::unit::ampere;
use slewbook::quantity::{Dimensioned, Inductance, Ratio};
use slewbook::stage::{Specification, Stage, UncertainInput};
use slewbook::uncertainty::{self, Basis, Budget, Distribution, Draw, Uncertainties};

use crate::published::Row;
use crate::support::specification_with;

/// Every value that can be uncertain with a normal distribution, and correlations.
fn all_uncertain(tables: &str) -> String {
    let normal =
        |value: &str| format!("{{ nominal = \"{value}\", standard_uncertainty = \"3 %\" }}");
    let curve = "{ constant = \"300 pF\", scale = { standard_uncertainty = \"10 %\" } }";
    let text = specification_with(&[
        ("stage.inductance", &normal("0.68 uH")),
        ("stage.node_capacitance", &normal("50 pF")),
        ("clamp.resistance", &normal("12 mohm")),
        ("clamp.output_capacitance", curve),
        ("trip.delay", &normal("35 ns")),
        ("trip.threshold", &normal("0.5 A")),
        ("transistors.high.output_capacitance", curve),
        ("transistors.low.output_capacitance", curve),
    ]);
    format!("{text}\n{tables}")
}

fn table(one: &str, other: &str, coefficient: f64) -> String {
    format!("[[correlation]]\nbetween = [\"{one}\", \"{other}\"]\ncoefficient = {coefficient}\n")
}

#[test]
fn every_name_reaches_its_symbol() {
    let names: Vec<&str> = UncertainInput::ALL.iter().map(|own| own.key()).collect();
    let set = Term::input("I_set", "trip threshold in force", 0.5 * ampere);
    let threshold = set.symbol().unwrap();
    let glyph = |name: &str| match name {
        "stage.inductance" => "L",
        "stage.node_capacitance" => "C_par",
        "clamp.resistance" => "R_c",
        "clamp.output_capacitance.scale" => "s_cl",
        "trip.delay" => "t_d",
        "trip.threshold" => "I_set",
        "transistors.high.output_capacitance.scale" => "s_H",
        "transistors.low.output_capacitance.scale" => "s_L",
        other => panic!("{other} is new: say here which symbol it is"),
    };
    for (k, other) in names.iter().enumerate() {
        for one in &names[..k] {
            let text = all_uncertain(&table(one, other, 0.25));
            let stage = Stage::new(
                Specification::read(&text).unwrap(),
                Inductance::from_coherent(0.68e-6),
                "test",
            );
            let list = stage.uncertainties(Some(threshold)).unwrap();
            assert_eq!(list.inputs().len(), 8);
            for x in list.inputs() {
                for y in list.inputs() {
                    let pair = [x, y].map(|i| i.symbol.glyph().to_string());
                    let named = [glyph(one), glyph(other)];
                    let is_pair = pair == named || pair == [named[1], named[0]];
                    let expected = match (std::ptr::eq(x.symbol, y.symbol), is_pair) {
                        (true, _) => 1.0,
                        (_, true) => 0.25,
                        _ => 0.0,
                    };
                    assert_eq!(list.correlation(x.symbol, y.symbol), expected, "{pair:?}");
                }
            }
        }
    }
}

#[test]
fn coefficients_are_judged_together() {
    // Two of these alone cannot be: the third makes them possible.
    let names = ["trip.delay", "trip.threshold", "clamp.resistance"];
    let tables = |last: f64| {
        table(names[0], names[1], 0.9)
            + &table(names[1], names[2], 0.9)
            + &table(names[0], names[2], last)
    };
    let read = |last: f64| Specification::read(&all_uncertain(&tables(last)));
    assert_eq!(read(0.9).unwrap().correlations.len(), 3);
    let refused = read(0.5).unwrap_err().to_string();
    assert!(refused.contains("not positive semi-definite"), "{refused}");
}

#[test]
fn a_correlation_reaches_results_document_and_json() {
    let names = [
        "transistors.high.output_capacitance.scale",
        "transistors.low.output_capacitance.scale",
    ];
    let free = Design::derive(&all_uncertain("")).unwrap();
    let text = all_uncertain(&table(names[0], names[1], 0.6));
    let tied = Design::derive(&text).unwrap();
    let name = "freewheel_floor";
    let [free, bound] =
        [&free, &tied].map(|d| d.finding(name).unwrap().uncertainty.clone().unwrap());
    let contribution = |symbol: &str| {
        let row = free.rows.iter().find(|row| row.symbol == symbol).unwrap();
        row.sensitivity * row.standard_uncertainty
    };
    // JCGM 100:2008, equation (16).
    let expected = free.propagated.powi(2) + 2.0 * 0.6 * contribution("s_H") * contribution("s_L");
    assert!((bound.propagated.powi(2) / expected - 1.0).abs() < 1e-12);
    assert!(
        bound.propagated > 1.02 * free.propagated,
        "the check can tell"
    );

    let samples = Draw {
        samples: 200_000,
        ..Draw::default()
    };
    let finding = tied.finding(name).unwrap();
    let drawn = samples
        .record(&finding.record, &finding.point, &tied.uncertainties)
        .unwrap();
    let drawn = drawn.standard_uncertainty().unwrap();
    assert!((drawn / bound.propagated - 1.0).abs() < 0.01, "{drawn}");

    let json: serde_json::Value = serde_json::from_str(&design::json(&tied)).unwrap();
    let results = json["results"].as_array().unwrap();
    let entry = results.iter().find(|r| r["name"] == name).unwrap();
    let correlations = &entry["uncertainty"]["correlations"];
    assert_eq!(correlations[0]["coefficient"], 0.6);
    assert_eq!(correlations.as_array().unwrap().len(), 1);
    let document = slewbook::rationale::html(&tied).unwrap();
    let shown = document.split("<p>Correlated: ").nth(1).unwrap();
    assert!(shown.contains("coefficient 0.6."), "{}", &shown[..200]);
}

/// Inputs `x` and `y` of unit standard uncertainty, correlated, and their sum.
fn pair(forms: [Distribution; 2], coefficient: f64) -> (Program, Uncertainties) {
    let terms = ["x", "y"].map(|name| Term::<Ratio>::input(name, name, 0.0.into()));
    let [x, y] = terms.map(|t| t.symbol().unwrap());
    let list = Uncertainties::none()
        .with(x, forms[0])
        .and_then(|list| list.with(y, forms[1]))
        .and_then(|list| list.correlated(x, y, coefficient))
        .unwrap();
    let sum = (terms[0] + terms[1]).expression();
    (Program::compile(&[sum]).unwrap(), list)
}

fn forms() -> [Distribution; 2] {
    [
        Distribution::normal(Ratio::from(1.0)).unwrap(),
        Distribution::rectangular(Ratio::from(3f64.sqrt())).unwrap(),
    ]
}

#[test]
fn inputs_that_are_not_normal_are_drawn_with_the_stated_coefficient() {
    let [normal, rectangular] = forms();
    for (forms, coefficient) in [
        ([normal, normal], 0.7),
        ([rectangular, rectangular], 0.5),
        ([rectangular, rectangular], -0.8),
        ([rectangular, rectangular], 1.0),
        ([normal, rectangular], 0.9),
        ([rectangular, normal], -0.4),
    ] {
        let (program, list) = pair(forms, coefficient);
        let samples = Draw::default()
            .outputs(&program, &Point::own(), &list)
            .unwrap()
            .remove(0);
        // The variance of the sum is 2 + 2 r.
        let found = samples.standard_uncertainty().unwrap().powi(2);
        let expected = 2.0 + 2.0 * coefficient;
        assert!((found - expected).abs() < 0.01, "{coefficient}: {found}");
        if forms == [rectangular, rectangular] && coefficient == 1.0 {
            // Fully correlated, the sum is rectangular itself.
            let width = samples.sorted().last().unwrap() - samples.sorted()[0];
            assert!((width - 4.0 * 3f64.sqrt()).abs() < 1e-3, "{width}");
        }
    }
    let (program, list) = pair([normal, rectangular], 0.98);
    let refused = Draw::default().outputs(&program, &Point::own(), &list);
    assert!(refused.unwrap_err().to_string().contains("-0.977 to 0.977"));
}

/// The budget of a sum of independent inputs.
fn budget_of(forms: &[Distribution]) -> Budget {
    let terms: Vec<Term<Ratio>> = (0..forms.len())
        .map(|k| Term::input(&format!("x_{k}"), "input", 1.0.into()))
        .collect();
    let list = terms
        .iter()
        .zip(forms)
        .try_fold(Uncertainties::none(), |list, (term, form)| {
            list.with(term.symbol().unwrap(), *form)
        })
        .unwrap();
    let sum = terms.into_iter().reduce(|x, y| x + y).unwrap();
    let program = Program::compile(&[sum.expression()]).unwrap();
    Budget::of_program(&program, 0, &Point::own(), &list, "")
        .unwrap()
        .unwrap()
}

#[test]
fn the_coverage_factor_follows_the_inputs_distributions() {
    let [normal, rectangular] = forms();
    let factor = |forms: &[Distribution]| {
        let coverage = budget_of(forms).coverage.unwrap();
        (coverage.factor.unwrap(), coverage.basis)
    };
    assert_eq!(factor(&[normal, normal]).1, Basis::Normal);
    assert!((factor(&[normal]).0 - 1.959_964).abs() < 1e-6);
    // One rectangular input: 95 % of it lies within 0.95 of its half-width.
    let (alone, basis) = factor(&[rectangular]);
    assert_eq!(basis, Basis::Distributions);
    assert!((alone - 0.95 * 3f64.sqrt()).abs() < 0.003, "{alone}");
    // Two of one width make a triangle: within 1 - √0.05 of its half-width √6.
    let two = factor(&[rectangular; 2]).0;
    assert!(
        (two - 6f64.sqrt() * (1.0 - 0.05f64.sqrt())).abs() < 0.01,
        "{two}"
    );
    // JCGM 100:2008, example of G.2.2, from memory: three of one width, 1.937.
    let three = factor(&[rectangular; 3]).0;
    assert!((three - 1.937).abs() < 0.01, "{three}");
    // JCGM 101:2008, table 3: four, 3.88 over a standard uncertainty of 2.
    let row = Row::load("jcgm-101", "jcgm-101-additive-rectangular");
    let coverage = budget_of(&[rectangular; 4]).coverage.unwrap();
    let half = (coverage.interval.high - coverage.interval.low) / 2.0;
    row.assert(&[("u", 2.0), ("half_interval", half)]);
    // A rectangular input of a tenth of the variance changes nothing.
    let small = Distribution::rectangular(Ratio::from(0.9)).unwrap();
    assert_eq!(factor(&[normal, normal, normal, small]).1, Basis::Normal);
    let student = normal.with_degrees_of_freedom(10.0).unwrap();
    let (wide, basis) = factor(&[student]);
    assert_eq!(basis, Basis::Student);
    // Table G.2.
    assert!((wide - 2.228).abs() < 0.001, "{wide}");
    let words = |forms: &[Distribution]| budget_of(forms).coverage.unwrap().words();
    assert_eq!(words(&[normal]), "k = 1.96, normal distribution");
    assert_eq!(words(&[student]), "k = 2.23, Student's distribution");
    assert!(
        words(&[rectangular]).ends_with("from the inputs' own distributions, which are not normal")
    );
}

#[test]
fn the_document_warns_where_a_result_is_not_near_linear() {
    let wide = "{ nominal = \"0.68 uH\", tolerance = \"60 %\" }";
    let shown = |inductance: &str| {
        let text = specification_with(&[("stage.inductance", inductance)]);
        let design = Design::derive(&text).unwrap();
        let document = slewbook::rationale::html(&design).unwrap();
        let section = document.split("id=\"freewheel_floor\"").nth(1).unwrap();
        let section = section.split("</section>").next().unwrap().to_owned();
        let finding = design.finding("freewheel_floor").unwrap();
        (
            section,
            finding.uncertainty.clone().unwrap(),
            finding.clone(),
        )
    };
    let (section, budget, finding) = shown(wide);
    assert!(!budget.near_linear);
    assert!(section.contains("The formula is not near linear over these uncertainties"));
    assert!(section.contains("200000 Monte Carlo samples give"));
    // The interval is that of the samples, not a factor times a propagated value: the
    // floor goes as the inverse root of a rectangular inductance.
    let coverage = budget.coverage.unwrap();
    assert_eq!(coverage.basis, Basis::Samples { count: 200_000 });
    let end = |part: f64| budget.estimate / (1.0 + 0.6 * part).sqrt();
    let (low, high) = (coverage.interval.low, coverage.interval.high);
    assert!((low / end(0.95) - 1.0).abs() < 0.003, "{low} {}", end(0.95));
    assert!(
        (high / end(-0.95) - 1.0).abs() < 0.01,
        "{high} {}",
        end(-0.95)
    );
    let sentence = finding.uncertainty_sentence().unwrap();
    assert!(
        sentence.contains("; between ") && section.contains(&sentence),
        "{sentence}"
    );

    let (section, budget, finding) = shown("{ nominal = \"0.68 uH\", tolerance = \"5 %\" }");
    assert!(budget.near_linear && !section.contains("not near linear"));
    let sentence = finding.uncertainty_sentence().unwrap();
    assert!(
        sentence.contains("(k = 1.65, from the inputs' own"),
        "{sentence}"
    );
    // Propagation alone says what is missing.
    let alone = uncertainty::of(
        &finding.record,
        &finding.point,
        &Uncertainties::none(),
        None,
    );
    assert!(alone.unwrap().is_none());
}
