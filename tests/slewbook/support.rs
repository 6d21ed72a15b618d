//! What several tests share.

use slewbook::quantity::{Dimensioned, Resistance, Voltage};
use slewbook::stage::{Circuit, DEMONSTRATION};

/// Asserts that a value agrees with a printed number to half a unit of its last
/// digit; `unit` is the printed unit in the coherent one.
pub fn assert_printed(value: f64, printed: &str, unit: f64, what: &str) {
    let expected: f64 = printed.parse().unwrap();
    let decimals = printed.split_once('.').map_or(0, |(_, d)| d.len());
    let half = 0.500_001 * 10f64.powi(-i32::try_from(decimals).unwrap());
    let found = value / unit;
    assert!(
        (found - expected).abs() <= half,
        "{what}: {found} is not {printed}"
    );
}

/// The demonstration's specification with keys set to other TOML values.
pub fn specification_with(changes: &[(&str, &str)]) -> String {
    let mut text = DEMONSTRATION.to_owned();
    for (path, value) in changes {
        text = set(&text, path, value);
    }
    text
}

/// The specification with one key set; a key that is not there is added.
pub fn set(text: &str, path: &str, value: &str) -> String {
    let (table, key) = path.rsplit_once('.').unwrap_or(("", path));
    let mut inside = table.is_empty();
    let mut lines: Vec<String> = Vec::new();
    let mut done = false;
    for line in text.lines() {
        if line.starts_with('[') {
            if inside && !done {
                lines.push(format!("{key} = {value}"));
                done = true;
            }
            inside = line.trim() == format!("[{table}]");
        }
        if inside && !done && line.split('=').next().is_some_and(|k| k.trim() == key) {
            lines.push(format!("{key} = {value}"));
            done = true;
        } else {
            lines.push(line.to_owned());
        }
    }
    assert!(done, "no table [{table}] in the specification");
    lines.join("\n") + "\n"
}

/// Whether a word is a number that no reader may see.
pub fn is_number_word(word: &str) -> bool {
    let bare = word.trim_matches(|c: char| !c.is_alphanumeric());
    matches!(
        bare,
        "NaN" | "nan" | "inf" | "Inf" | "infinity" | "Infinity" | "∞"
    )
}

/// A small generator of pseudo-random numbers with a fixed seed (SplitMix64,
/// Steele, Lea and Flood 2014, constants from memory).
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A whole number below `bound`.
    pub fn below(&mut self, bound: usize) -> usize {
        usize::try_from(self.next() % bound.max(1) as u64).unwrap()
    }

    pub fn pick<'t, T>(&mut self, items: &'t [T]) -> &'t T {
        &items[self.below(items.len())]
    }
}

/// Whether expected files are to be written rather than compared.
pub fn overwriting() -> bool {
    std::env::var("SNAPSHOTS").is_ok_and(|value| value == "overwrite")
}

/// Asserts that a text is that of an expected file, or writes the file.
pub fn assert_snapshot(file: &str, found: &str) {
    if overwriting() {
        std::fs::write(file, found).unwrap();
    }
    let expected = std::fs::read_to_string(file).unwrap_or_default();
    for (number, (expected, found)) in expected.lines().zip(found.lines()).enumerate() {
        assert_eq!(expected, found, "{file}, line {}", number + 1);
    }
    assert_eq!(expected.len(), found.len(), "{file}: another length");
}

/// A circuit without winding and capacitor resistances and body-diode drops.
pub fn without_part_data(mut circuit: Circuit) -> Circuit {
    circuit.inductor_resistance = Resistance::from_coherent(0.0);
    circuit.flying_capacitor_resistance = Resistance::from_coherent(0.0);
    circuit.output_capacitor_resistance = Resistance::from_coherent(0.0);
    circuit.high.diode_drop = Voltage::from_coherent(0.0);
    circuit.low.diode_drop = Voltage::from_coherent(0.0);
    circuit
}

/// The demonstration's text without part data: their sections and their keys.
pub fn demonstration_without_part_data() -> String {
    const SECTIONS: [&str; 7] = [
        "[clamp.diode]",
        "[continuous]",
        "[inductor]",
        "[capacitors.flying]",
        "[capacitors.output]",
        "[control]",
        "[ambient]",
    ];
    const KEYS: [&str; 11] = [
        "rated_voltage",
        "resistance_at_125C",
        "gate_charge",
        "drive_voltage",
        "turn_off_time",
        "diode_drop",
        "recovery_charge",
        "thermal_resistance",
        "rated_current",
        "rated_temperature",
        "saturation_current",
    ];
    let mut kept = true;
    let mut text = String::new();
    for line in DEMONSTRATION.lines() {
        if line.starts_with('[') {
            kept = !SECTIONS.contains(&line.trim());
        }
        if kept && !KEYS.iter().any(|key| line.starts_with(key)) {
            text += line;
            text.push('\n');
        }
    }
    text
}

/// SHA-256 (FIPS 180-4) of a text, in hexadecimal, by the library for it.
pub fn sha256(text: &str) -> String {
    use sha2::Digest as _;
    let digest = sha2::Sha256::digest(text);
    let digits: Vec<String> = digest.iter().map(|byte| format!("{byte:02x}")).collect();
    digits.concat()
}

/// A whole number that the environment may ask for.
pub fn asked(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |text| text.parse().expect("a whole number"))
}
