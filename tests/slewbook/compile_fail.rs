//! What must not compile, and what the compiler says: the error's code and the
//! plain sentence, so that a case cannot pass by failing for another reason.
//!
//! Each case is a small crate, compiled as metadata only against the library
//! that cargo built for these tests.

use std::path::{Path, PathBuf};
use std::process::Command;

/// A case: the statements, the error's code (none: it must compile), and
/// sentences that the message must hold.
type Case = (
    &'static str,
    &'static str,
    Option<&'static str>,
    &'static [&'static str],
);

const CASES: &[Case] = &[
    (
        "a formula whose dimensions fit compiles",
        "let power: Term<Power> = V * I; let i: Term<Current> = (power / R).sqrt() + V / R;",
        None,
        &[],
    ),
    (
        "a voltage and a current do not add",
        "let wrong = V + I;",
        Some("E0277"),
        &[
            "only like quantities add: these two terms have different dimensions",
            "this sum mixes different quantities",
            "voltages add to voltages, currents to currents",
        ],
    ),
    (
        "nor has their difference a meaning",
        "let wrong = V - R;",
        Some("E0277"),
        &["only like quantities add"],
    ),
    (
        "nor do they add deep inside a formula",
        "let wrong = (2.0 * (V / R + V)).squared();",
        Some("E0277"),
        &["only like quantities add"],
    ),
    (
        "a plain number does not add to a voltage",
        "let wrong = V + 1.0;",
        Some("E0308"),
        &["expected `Term<_>`, found floating-point number"],
    ),
    (
        "a product of voltage and resistance is no current",
        "let wrong: Term<Current> = V * R;",
        Some("E0308"),
        &["mismatched types"],
    ),
    (
        "a derivation gives what it says",
        "let wrong = Derivation::<Energy>::new(\"power\", \"How much?\", V * I);",
        Some("E0308"),
        &["arguments to this function are incorrect"],
    ),
    (
        "a voltage has no square root",
        "let wrong = V.sqrt();",
        Some("E0599"),
        &[
            "the method `sqrt` exists for struct `Term<",
            "trait bounds were not satisfied",
        ],
    ),
    (
        "the lesser of unlike terms is none",
        "let wrong = V.min(I);",
        Some("E0308"),
        &["arguments to this method are incorrect"],
    ),
    (
        "unlike terms do not compare",
        "let wrong = V.above(I);",
        Some("E0308"),
        &["arguments to this method are incorrect"],
    ),
    (
        "a voltage has no exponential",
        "let wrong = V.exp();",
        Some("E0599"),
        &["no method named `exp` found", "the method was found for"],
    ),
    (
        "an exponent is a plain number",
        "let wrong = (V / V).power(I);",
        Some("E0308"),
        &["arguments to this method are incorrect"],
    ),
    (
        "the two sides of an equation are alike",
        "let wrong = Term::<Ratio>::solve(\"x\", \"\", 0.0.into(), 2.0.into(), |x| (x * V, I));",
        Some("E0308"),
        &["mismatched types"],
    ),
    (
        "the limits of an integral are alike",
        "let wrong = Term::integral(\"u\", V, I, |u| u);",
        Some("E0308"),
        &["arguments to this function are incorrect"],
    ),
    (
        "a capacitance curve takes a voltage",
        "let wrong = I.capacitance(Curve::empty(\"C\").shared());",
        Some("E0599"),
        &["no method named `capacitance` found"],
    ),
    (
        "quantities of unlike dimension do not add",
        "let wrong = 36.0 * volt + 6.0 * ampere;",
        Some("E0308"),
        &["mismatched types", "expected struct `Quantity<"],
    ),
    (
        "an inductance is not given in farad",
        "let wrong: Inductance = 10.0 * uF;",
        Some("E0308"),
        &["mismatched types"],
    ),
    (
        "two absolute temperatures do not add",
        "let wrong = ThermodynamicTemperature::from_celsius(20.0) + ThermodynamicTemperature::from_celsius(20.0);",
        Some("E0308"),
        &["mismatched types"],
    ),
    (
        "a temperature is no temperature difference",
        "let wrong: TemperatureInterval = ThermodynamicTemperature::from_celsius(20.0);",
        Some("E0308"),
        &["mismatched types"],
    ),
];

/// The statements of a case within a function that has some symbols.
fn program(statements: &str) -> String {
    format!(
        "#![allow(unused, non_snake_case)]\n\
         use slewbook::equation::{{Curve, Derivation, Term}};\n\
         use slewbook::quantity::*;\n\
         use slewbook::quantity::unit::*;\n\
         pub fn case(V: Term<Voltage>, I: Term<Current>, R: Term<Resistance>) {{\n    {statements}\n}}\n"
    )
}

/// The library that cargo built with these tests: the newest, where features or
/// earlier versions left several.
fn library(dependencies: &Path) -> PathBuf {
    let candidates = std::fs::read_dir(dependencies)
        .unwrap()
        .filter_map(|entry| {
            let path = entry.unwrap().path();
            let name = path.file_name()?.to_str()?;
            let matches = name.starts_with("libslewbook-") && name.ends_with(".rlib");
            matches.then(|| (path.metadata().unwrap().modified().unwrap(), path))
        });
    candidates.max().expect("cargo built the library").1
}

/// Compiles a case; gives whether it compiled, and the messages.
fn compile(folder: &Path, number: usize, statements: &str) -> (bool, String) {
    let dependencies = std::env::current_exe().unwrap();
    let dependencies = dependencies.parent().unwrap();
    let source = folder.join(format!("case_{number}.rs"));
    std::fs::write(&source, program(statements)).unwrap();
    let output = Command::new(std::env::var("RUSTC").unwrap_or_else(|_| "rustc".to_owned()))
        .args([
            "--edition=2024",
            "--crate-type=lib",
            "--emit=metadata",
            "--out-dir",
        ])
        .arg(folder)
        .arg("--extern")
        .arg(format!("slewbook={}", library(dependencies).display()))
        .arg("-L")
        .arg(format!("dependency={}", dependencies.display()))
        .arg(&source)
        .output()
        .unwrap();
    (
        output.status.success(),
        String::from_utf8_lossy(&output.stderr).into_owned(),
    )
}

#[test]
fn dimension_errors_do_not_compile_and_say_why() {
    let folder = crate::program::folder("compile-fail");
    let results = std::thread::scope(|scope| {
        // Two at a time: the cases are short, and other tests run beside them.
        let halves = [0, 1].map(|half| {
            let folder = &folder;
            scope.spawn(move || {
                let cases = CASES.iter().enumerate().skip(half).step_by(2);
                cases
                    .map(|(k, case)| (case, compile(folder, k, case.1)))
                    .collect::<Vec<_>>()
            })
        });
        halves.map(|half| half.join().unwrap()).concat()
    });
    let mut problems = Vec::new();
    for ((name, _, code, sentences), (compiled, message)) in results {
        let as_expected = match code {
            None => compiled,
            Some(code) => {
                !compiled
                    && message.matches("\nerror[").count()
                        + usize::from(message.starts_with("error["))
                        == 1
                    && message.contains(&format!("error[{code}]"))
                    && sentences.iter().all(|sentence| message.contains(sentence))
            }
        };
        if !as_expected {
            problems.push(format!(
                "{name}: expected {code:?} with {sentences:?}, found\n{message}"
            ));
        }
    }
    assert!(problems.is_empty(), "{}", problems.join("\n"));
}
