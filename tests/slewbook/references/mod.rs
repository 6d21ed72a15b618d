//! The outside numbers in `references/checks/`: every row is computed and compared,
//! by the library's own formulas where it has them, else by expressions written
//! here, which exercise parsing, units, evaluation, integrals, solved steps and
//! gradients.

use std::collections::BTreeMap;

mod caution;
mod circuits;
mod losses;
mod parts;
mod row;
mod stages;
mod statistics;

/// Computed values by the names of the row's expected numbers.
pub type Results = Vec<(&'static str, f64)>;
type Check = fn(&row::Row) -> Results;

/// The computation of a row, and the library's formulas it exercises.
fn check(id: &str) -> Option<(&'static [&'static str], Check)> {
    if let Some((_, formulas, check)) = stages::ROWS
        .iter()
        .chain(losses::ROWS)
        .find(|(own, ..)| *own == id)
    {
        return Some((formulas, *check));
    }
    [circuits::ROWS, parts::ROWS, statistics::ROWS, caution::ROWS]
        .into_iter()
        .flatten()
        .find(|(own, _)| *own == id)
        .map(|(_, check)| (&[][..], *check))
}

/// Rows by the library's formula that they exercise: id and status.
pub fn by_formula() -> BTreeMap<&'static str, Vec<(String, String)>> {
    let mut map: BTreeMap<_, Vec<_>> = BTreeMap::new();
    for row in row::all() {
        for formula in check(&row.id).map_or(&[][..], |(formulas, _)| formulas) {
            map.entry(*formula)
                .or_default()
                .push((row.id.clone(), row.status.clone()));
        }
    }
    map
}

#[test]
fn every_row_is_computed_and_agrees_as_it_says() {
    let mut counts: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    let mut unused = Vec::new();
    let mut wrong = Vec::new();
    let mut used = 0;
    for row in row::all() {
        let Some((_, check)) = check(&row.id) else {
            unused.push(row.id);
            continue;
        };
        used += 1;
        let results = check(&row);
        for expected in &row.expected {
            let found = results.iter().find(|(name, _)| *name == expected.name);
            let found = found.unwrap_or_else(|| panic!("{}: no {}", row.id, expected.name));
            wrong.extend(
                expected
                    .fault(found.1)
                    .map(|fault| format!("{}: {fault}", row.id)),
            );
        }
        let count = counts.entry(row.status.clone()).or_default();
        *count = (count.0 + 1, count.1 + row.expected.len());
    }
    for (status, (rows, numbers)) in &counts {
        println!("references, {status}: {rows} rows, {numbers} numbers");
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(unused.is_empty(), "rows without a test: {unused:#?}");
    let known = stages::ROWS.len()
        + losses::ROWS.len()
        + circuits::ROWS.len()
        + parts::ROWS.len()
        + statistics::ROWS.len()
        + caution::ROWS.len();
    assert_eq!(used, known, "a computation without a row");
    assert!(counts["seen"].0 >= 25, "{counts:?}");
}
