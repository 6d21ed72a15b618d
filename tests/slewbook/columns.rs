//! Columns against the program evaluated point by point.

use std::num::NonZero;

use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use slewbook::column::{ColumnError, Columns};
use slewbook::design::Design;
use slewbook::equation::{Curve, EquationError, Program, Record, Symbol, Term};
use slewbook::quantity::unit::{ampere, ohm, pF, uH, volt};
use slewbook::quantity::{Capacitance, Ratio, Voltage};
use slewbook::stage::DEMONSTRATION;

fn demonstration() -> Design {
    Design::derive(DEMONSTRATION).unwrap()
}

/// Columns of every input around its own value, by fractions from a seed.
fn around(inputs: &[&'static Symbol], rows: usize, seed: u64) -> Vec<Vec<f64>> {
    let mut state = seed | 1;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        #[expect(
            clippy::cast_precision_loss,
            reason = "a fraction needs no more digits"
        )]
        let fraction = (state >> 11) as f64 / (1_u64 << 53) as f64;
        fraction
    };
    inputs
        .iter()
        .map(|symbol| {
            (0..rows)
                .map(|_| symbol.value() * (0.85 + 0.3 * next()))
                .collect()
        })
        .collect()
}

fn bound<'c>(columns: &'c Columns, values: &'c [Vec<f64>]) -> slewbook::column::Binding<'c> {
    columns
        .inputs()
        .iter()
        .zip(values)
        .fold(columns.bind(), |binding, (symbol, values)| {
            binding.column(symbol, values).unwrap()
        })
}

/// Bit for bit, two values without value being alike; zero has no sign here.
fn same(a: f64, b: f64) -> bool {
    a == b || (a.is_nan() && b.is_nan())
}

fn check(record: &Record, rows: usize, seed: u64) {
    let outputs = [record.result()];
    let program = Program::compile(&outputs).unwrap();
    let columns = Columns::compile(&outputs).unwrap();
    let values = around(columns.inputs(), rows, seed);
    let results = bound(&columns, &values).run();
    for row in 0..rows {
        let inputs: Vec<f64> = values.iter().map(|column| column[row]).collect();
        let expected = program.run(&inputs)[0];
        let found = results[0][row];
        assert!(
            same(found, expected),
            "{} at {inputs:?}: {found:e} is not {expected:e}",
            record.name()
        );
    }
}

/// Every derivation of the demonstration, integrals and solved steps too.
#[test]
fn every_derivation_equals_its_program() {
    let design = demonstration();
    let mut runner = TestRunner::new(ProptestConfig {
        cases: 3,
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    let checked = runner.run(&(any::<u64>(), 1_usize..3), |(seed, rows)| {
        for finding in &design.findings {
            check(&finding.record, rows, seed);
        }
        Ok(())
    });
    checked.unwrap();
}

#[test]
fn a_derivation_over_more_than_one_block_equals_its_program() {
    let design = demonstration();
    for name in ["freewheel_floor", "trip_current"] {
        check(&design.finding(name).unwrap().record, 1300, 7);
    }
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let design = demonstration();
    let records: Vec<&Record> = ["freewheel_floor", "peak_current", "dead_time_best"]
        .iter()
        .map(|name| &*design.finding(name).unwrap().record)
        .collect();
    let columns = Columns::of(&records).unwrap();
    let values = around(columns.inputs(), 60, 3);
    let threads = |n| NonZero::new(n).unwrap();
    let one = bound(&columns, &values).threads(threads(1)).run();
    for many in [2, 3, 7] {
        let other = bound(&columns, &values).threads(threads(many)).run();
        for (a, b) in one.iter().flatten().zip(other.iter().flatten()) {
            assert_eq!(a.to_bits(), b.to_bits());
        }
    }
}

#[test]
fn a_violated_condition_leaves_a_point_without_value() {
    let V = Term::input("V", "voltage", 12.0 * volt);
    let I = slewbook::equation::Derivation::new(
        "current",
        "How much current flows?",
        (V / Term::input("R", "resistance", 4.0 * ohm)).named("I", "current"),
    )
    .requires(
        V.above(Term::constant(0.0 * volt)),
        "the source feeds",
        "Turn it round.",
    )
    .into_record();
    let columns = Columns::of(&[&I]).unwrap();
    let V = columns.input("V").unwrap();
    let results = columns
        .bind()
        .column(V, &[-4.0, 8.0, f64::NAN])
        .unwrap()
        .run();
    assert!(results[0][0].is_nan() && results[0][2].is_nan());
    assert_eq!(results[0][1], 2.0);
}

/// A quantity of every operation, integrals of all curve shapes and mirrored,
/// shifted and folded arguments among them.
fn every_operation() -> Vec<slewbook::equation::Expression> {
    let V = Term::input("V", "voltage", 12.0 * volt);
    let W = Term::input("W", "another voltage", 5.0 * volt);
    let table = Curve::table(
        "C_t",
        &[
            (0.0 * volt, 800.0 * pF),
            (4.0 * volt, 300.0 * pF),
            (20.0 * volt, 90.0 * pF),
        ],
    )
    .unwrap();
    let law = Curve::law("C_l", 900.0 * pF, 0.8 * volt, 0.42.into(), 60.0 * pF).unwrap();
    let flat = Curve::constant("C_f", 120.0 * pF).unwrap();
    let [table, law, flat]: [&'static Curve; 3] =
        [table, law, flat].map(|curve| &*Box::leak(Box::new(curve)));
    let node = |u: Term<Voltage>| -> Term<Capacitance> {
        u.capacitance(table) + (V - u).capacitance(law) + (u - W).abs().capacitance(flat)
    };
    let r: Term<Ratio> = W / V;
    let work = Term::integral("u", W, V, |u| node(u) * (u - W));
    let turned = Term::integral("u", W, V, |u| node(u) * (V - u));
    let charge = Term::integral("u", W, V, node);
    let rough = Term::integral("u", W, V, |u| node(u) * (u / V).exp());
    let [from, to] = [2.0, 9.0].map(|limit| Term::constant(limit * volt));
    let fixed = Term::integral("u", from, to, |u| {
        u.capacitance(law) + (u - to).abs().capacitance(table)
    });
    vec![
        (V + W - V * r).expression(),
        (V.squared() / W).expression(),
        (V / Term::constant(Ratio::from(4.0))).expression(),
        (V / Term::constant(Ratio::from(0.1))).expression(),
        (V / Term::constant(Ratio::from(f64::MAX))).expression(),
        (r.sqrt() + r.exp() + r.ln() + r.sin() + r.cos() + r.asin() + r.acos()).expression(),
        (V.min(W) + (-V).abs().max(W)).expression(),
        r.floor().expression(),
        node(V).expression(),
        work.expression(),
        turned.expression(),
        charge.expression(),
        rough.expression(),
        (fixed * V).expression(),
        V.expression(),
        V.expression(),
        Term::constant(3.0 * ampere).expression(),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_operation_equals_its_program(v in -5.0_f64..40.0, w in -5.0_f64..40.0, uniform in any::<bool>()) {
        let outputs = every_operation();
        let program = Program::compile(&outputs).unwrap();
        let columns = Columns::compile(&outputs).unwrap();
        let (V, W) = (columns.input("V").unwrap(), columns.input("W").unwrap());
        let binding = columns.bind().column(V, std::slice::from_ref(&v)).unwrap();
        let w_column = [w];
        let binding = if uniform {
            binding.value(W, w).unwrap()
        } else {
            binding.column(W, &w_column).unwrap()
        };
        let results = binding.run();
        let inputs: Vec<f64> =
            program.inputs().iter().map(|s| if std::ptr::eq(*s, V) { v } else { w }).collect();
        for (k, (found, expected)) in results.iter().zip(program.run(&inputs)).enumerate() {
            prop_assert!(same(found[0], expected), "output {}: {} is not {}", k, found[0], expected);
        }
    }
}

#[test]
fn a_column_of_another_length_is_refused() {
    let V = Term::input("V", "voltage", 12.0 * volt);
    let R = Term::input("R", "resistance", 4.0 * ohm);
    let columns = Columns::compile(&[(V / R).expression()]).unwrap();
    let (V, R) = (columns.input("V").unwrap(), columns.input("R").unwrap());
    let error = columns
        .bind()
        .column(V, &[1.0, 2.0])
        .unwrap()
        .column(R, &[1.0])
        .unwrap_err();
    assert_eq!(
        error.to_string(),
        "column R has 1 values where the others have 2; give every column the same length"
    );
    let binding = columns.bind().column(V, &[1.0, 2.0]).unwrap();
    let error = binding.run_into(&mut [&mut [0.0]]).unwrap_err();
    assert!(matches!(
        error,
        ColumnError::Length {
            found: 1,
            expected: 2,
            ..
        }
    ));
    assert!(matches!(
        binding.run_into(&mut []).unwrap_err(),
        ColumnError::Outputs {
            found: 0,
            expected: 1
        }
    ));
}

#[test]
fn an_unknown_symbol_is_refused_by_name() {
    let V = Term::input("V", "voltage", 12.0 * volt);
    let L = Term::with_symbol("L", "inductance", 1.0 * uH, "elsewhere").1;
    let columns = Columns::compile(&[V.expression()]).unwrap();
    let expected = "the expression has no input L; its inputs are V";
    assert_eq!(
        columns.bind().column(L, &[1.0]).unwrap_err().to_string(),
        expected
    );
    assert_eq!(
        columns.bind().value(L, 1.0).unwrap_err().to_string(),
        expected
    );
    assert!(matches!(
        columns.input("L").unwrap_err(),
        EquationError::UnknownInput { .. }
    ));
}

#[test]
fn no_points_give_empty_columns() {
    let V = Term::input("V", "voltage", 12.0 * volt);
    let columns = Columns::compile(&[V.squared().expression()]).unwrap();
    let V = columns.input("V").unwrap();
    assert_eq!(
        columns.bind().column(V, &[]).unwrap().run(),
        [Vec::<f64>::new()]
    );
    assert_eq!(columns.bind().run(), [vec![144.0]]);
}
