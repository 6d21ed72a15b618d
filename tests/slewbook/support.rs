//! What several tests share.

use slewbook::stage::DEMONSTRATION;

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
