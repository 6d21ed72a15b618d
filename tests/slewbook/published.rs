//! Rows of `references/checks/`: inputs and printed outputs of published
//! sources, as data.

use std::path::Path;

/// One row.
pub struct Row(toml::Table);

/// The unit of a text in the coherent one.
fn unit(symbol: &str) -> f64 {
    match symbol {
        "" | "V" | "rad" | "K" | "1/K" | "ohm" | "m" => 1.0,
        "%" => 1e-2,
        "mA" | "mohm" => 1e-3,
        "uV" | "uohm" => 1e-6,
        "nm" => 1e-9,
        other => panic!("no unit {other}"),
    }
}

fn number(text: &str) -> f64 {
    let (digits, symbol) = text.split_once(' ').unwrap_or((text, ""));
    digits.parse::<f64>().unwrap() * unit(symbol)
}

impl Row {
    pub fn load(source: &str, id: &str) -> Self {
        let path =
            Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("references/checks/{source}.toml"));
        let file: toml::Table = std::fs::read_to_string(path).unwrap().parse().unwrap();
        let rows = file["check"].as_array().unwrap();
        let row = rows.iter().find(|row| row["id"].as_str() == Some(id));
        Self(row.unwrap().as_table().unwrap().clone())
    }

    /// An input in the coherent unit.
    pub fn input(&self, name: &str) -> f64 {
        number(self.0["inputs"][name].as_str().unwrap())
    }

    /// A list of inputs in the coherent unit.
    pub fn inputs(&self, name: &str) -> Vec<f64> {
        let list = self.0["inputs"][name].as_array().unwrap();
        list.iter().map(|v| number(v.as_str().unwrap())).collect()
    }

    /// Asserts that the computed values are those printed, one for each number
    /// of the row; values in the coherent unit.
    pub fn assert(&self, computed: &[(&str, f64)]) {
        let id = self.0["id"].as_str().unwrap();
        let expected = self.0["expected"].as_array().unwrap();
        assert_eq!(expected.len(), computed.len(), "{id}: every number once");
        for (number_of, (name, value)) in expected.iter().zip(computed) {
            assert_eq!(number_of["name"].as_str(), Some(*name), "{id}");
            let printed = number_of["printed"].as_str().unwrap();
            let tolerance = number(number_of["tolerance"].as_str().unwrap());
            println!("{id}: {name} = {value:.9e}, printed {printed}");
            let distance = (value - number(printed)).abs();
            let differs = number_of.get("expected_to_differ").is_some();
            // A hair more than the tolerance, for values that lie on its edge.
            assert_eq!(
                distance > tolerance * (1.0 + 1e-6),
                differs,
                "{id}: {name} = {value:e}, printed {printed}, to differ: {differs}"
            );
        }
    }
}
