//! A row of `references/checks/`: inputs and printed outputs of a source.

use std::cell::RefCell;
use std::collections::BTreeMap;

use serde::Deserialize;
use slewbook::equation::{Symbol, Term};
use slewbook::quantity::{Dimensioned, Ratio, parse};

#[derive(Deserialize)]
struct File {
    source: String,
    check: Vec<Row>,
}

/// One or several texts.
#[derive(Deserialize)]
#[serde(untagged)]
enum Texts {
    One(String),
    Many(Vec<String>),
}

#[derive(Deserialize)]
pub struct Row {
    pub id: String,
    pub status: String,
    inputs: BTreeMap<String, Texts>,
    /// One symbol for each name, however often it is asked for.
    #[serde(skip)]
    symbols: RefCell<BTreeMap<String, Term<Ratio>>>,
    pub expected: Vec<Expected>,
}

#[derive(Deserialize)]
pub struct Expected {
    pub name: String,
    pub printed: String,
    tolerance: String,
    expected_to_differ: Option<String>,
}

impl Row {
    fn text(&self, name: &str) -> &str {
        match &self.inputs[name] {
            Texts::One(text) => text,
            Texts::Many(_) => panic!("{}: {name} is a list", self.id),
        }
    }

    /// An input in the coherent unit.
    pub fn v(&self, name: &str) -> f64 {
        coherent(self.text(name))
    }

    /// A list of inputs in the coherent unit.
    pub fn list(&self, name: &str) -> Vec<f64> {
        match &self.inputs[name] {
            Texts::One(text) => vec![coherent(text)],
            Texts::Many(list) => list.iter().map(|text| coherent(text)).collect(),
        }
    }

    /// An input as a symbol of its own quantity, read by the library's parser.
    pub fn q<Q: Dimensioned>(&self, name: &str) -> Term<Q> {
        Term::input(
            name,
            "input of the row",
            parse::<Q>(self.text(name)).unwrap(),
        )
    }

    /// An input as a plain number in the coherent unit.
    pub fn n(&self, name: &str) -> Term<Ratio> {
        let mut symbols = self.symbols.borrow_mut();
        let new = || Term::input(name, "input of the row", self.v(name).into());
        *symbols.entry(name.to_owned()).or_insert_with(new)
    }
}

impl Expected {
    /// What is wrong with a value: it must lie within the tolerance of the printed
    /// one, or outside where the row says so.
    pub fn fault(&self, value: f64) -> Option<String> {
        let (printed, tolerance) = (coherent(&self.printed), coherent_interval(&self.tolerance));
        // Half a unit of the last digit is met by a tie as well.
        let within = (value - printed).abs() <= tolerance * (1.0 + 1e-9) + printed.abs() * 1e-15;
        (within != self.expected_to_differ.is_none()).then(|| {
            format!(
                "{} = {value} against {} ± {} ({:?})",
                self.name, self.printed, self.tolerance, self.expected_to_differ
            )
        })
    }
}

/// Every row of every file, in order of the files' names.
pub fn all() -> Vec<Row> {
    let folder = format!("{}/references/checks", env!("CARGO_MANIFEST_DIR"));
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    paths.sort();
    let mut rows = Vec::new();
    for path in paths {
        let file: File = toml::from_str(&std::fs::read_to_string(&path).unwrap())
            .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        assert_eq!(
            path.file_stem().unwrap().to_str(),
            Some(file.source.as_str())
        );
        assert!(
            slewbook::source::cite(&file.source).is_some(),
            "{}: no such source",
            file.source
        );
        rows.extend(file.check);
    }
    rows
}

/// A value in coherent units; degrees Celsius become kelvin.
pub fn coherent(text: &str) -> f64 {
    match text.strip_suffix(" degC") {
        Some(number) => number.parse::<f64>().unwrap() + 273.15,
        None => coherent_interval(text),
    }
}

fn coherent_interval(text: &str) -> f64 {
    let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
    let number: f64 = number
        .parse()
        .unwrap_or_else(|_| panic!("no number in {text}"));
    let (over, under) = unit.split_once('/').unwrap_or((unit, ""));
    let factor = |product: &str| product.split_whitespace().map(unit_factor).product::<f64>();
    number * factor(over) / factor(under)
}

fn unit_factor(unit: &str) -> f64 {
    const PREFIXES: [(&str, f64); 9] = [
        ("", 1.0),
        ("f", 1e-15),
        ("p", 1e-12),
        ("n", 1e-9),
        ("u", 1e-6),
        ("m", 1e-3),
        ("c", 1e-2),
        ("k", 1e3),
        ("M", 1e6),
    ];
    const UNITS: [(&str, f64); 22] = [
        ("V", 1.0),
        ("A", 1.0),
        ("ohm", 1.0),
        ("H", 1.0),
        ("F", 1.0),
        ("C", 1.0),
        ("Hz", 1.0),
        ("s", 1.0),
        ("W", 1.0),
        ("J", 1.0),
        ("m", 1.0),
        ("K", 1.0),
        ("S", 1.0),
        ("rad", 1.0),
        ("g", 1e-3),
        ("%", 1e-2),
        ("degC", 1.0),
        ("deg", std::f64::consts::PI / 180.0),
        ("in", 0.0254),
        ("ft", 0.3048),
        ("T", 1.0),
        ("1", 1.0),
    ];
    let (base, power) = match unit.as_bytes().last() {
        Some(b'2') => (&unit[..unit.len() - 1], 2),
        Some(b'3') => (&unit[..unit.len() - 1], 3),
        _ => (unit, 1),
    };
    for (name, factor) in UNITS {
        if let Some(prefix) = base.strip_suffix(name)
            && let Some((_, scale)) = PREFIXES.iter().find(|(own, _)| *own == prefix)
        {
            return (scale * factor).powi(power);
        }
    }
    panic!("unknown unit {unit}")
}

/// The value of a plain number.
pub fn value(term: Term<Ratio>) -> f64 {
    term.value().unwrap().value
}

/// An input that is a plain number.
pub fn input(name: &str, value: f64) -> Term<Ratio> {
    Term::input(name, "number", value.into())
}

/// Standard uncertainty by the law of propagation, JCGM 100, 5.2.2, from the exact
/// gradient: inputs, their uncertainties, and the correlations.
pub fn propagated(
    term: Term<Ratio>,
    inputs: &[(Term<Ratio>, f64)],
    correlation: impl Fn(usize, usize) -> f64,
) -> f64 {
    covariance(term, term, inputs, correlation).sqrt()
}

/// The covariance of two results.
pub fn covariance(
    first: Term<Ratio>,
    second: Term<Ratio>,
    inputs: &[(Term<Ratio>, f64)],
    correlation: impl Fn(usize, usize) -> f64,
) -> f64 {
    let partial = |term: Term<Ratio>, symbol: &Symbol| {
        let gradient = term.gradient().unwrap();
        let found = gradient.iter().find(|(own, ..)| std::ptr::eq(*own, symbol));
        found.map_or(0.0, |(_, partial)| *partial)
    };
    let parts = |term| -> Vec<f64> {
        let part = |(x, u): &(Term<Ratio>, f64)| u * partial(term, x.symbol().unwrap());
        inputs.iter().map(part).collect()
    };
    let (first, second) = (parts(first), parts(second));
    let pair =
        |i: usize, j: usize| first[i] * second[j] * if i == j { 1.0 } else { correlation(i, j) };
    (0..inputs.len())
        .flat_map(|i| (0..inputs.len()).map(move |j| (i, j)))
        .map(|(i, j)| pair(i, j))
        .sum()
}

/// Results named `name_1`, `name_2` and so on.
pub fn numbered(name: &str, values: impl Iterator<Item = f64>) -> super::Results {
    let leaked = |k: usize| -> &'static str { format!("{name}_{}", k + 1).leak() };
    values
        .enumerate()
        .map(|(k, value)| (leaked(k), value))
        .collect()
}
