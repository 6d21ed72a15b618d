//! Random changes to tables of comma-separated values: reading ends with a table or an
//! error that says where, and what was read is written and read again as the same.

use std::panic::catch_unwind;
use std::time::{Duration, Instant};

use slewbook::table::Table;

use crate::support::{Random, asked};

const SOUND: &str = "\u{feff}input_voltage_V,state,share,time_ns,junction_high_degC\r\n\
    36,zero,0.5,1.25,41.5\r\n\"44\",\"a, \"\"b\"\"\",,-0,\r\n\r\n1e-300,zero,1,7e3,-40\n";

/// Pieces put in at a random place.
const TOKENS: [&str; 34] = [
    "\"", "\"\"", ",", ",,,,", "\r", "\n", "\r\n", "\u{feff}", "_", "_1", "_V", "_degC", "_K",
    "_µF", "_m^9", "_V/V^-9", "_1/1/1", "nan", "NaN", "inf", "-inf", "1e999", "-1e-999", "1e308",
    "0x10", "1_000", "1,5", "\0", "\u{202e}", "\u{1b}", "٣", "=1+1", " ", "\t",
];

fn mutate(random: &mut Random, text: &str) -> String {
    let mut at = random.below(text.len() + 1);
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let mut end = (at + random.below(8)).min(text.len());
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    let end = end.max(at);
    match random.below(4) {
        0 => format!("{}{}", &text[..at], &text[end..]),
        1 => format!("{}{}", text, &text[at..]),
        2 => format!(
            "{}{}{}",
            &text[..end],
            &text[at..end].repeat(3),
            &text[end..]
        ),
        _ => format!("{}{}{}", &text[..at], random.pick(&TOKENS), &text[at..]),
    }
}

/// Whether a text is read.
fn is_read(text: &str) -> bool {
    let begun = Instant::now();
    let read = catch_unwind(|| Table::read_csv(text.as_bytes()))
        .unwrap_or_else(|_| panic!("a panic: {text:?}"));
    assert!(begun.elapsed() < Duration::from_secs(20), "{text:?}");
    let table = match read {
        Ok(table) => table,
        Err(error) => {
            assert!(!error.to_string().is_empty());
            return false;
        }
    };
    for column in table.columns() {
        assert_eq!(column.iter().len(), table.rows());
        assert!(column.iter().flatten().all(f64::is_finite), "{text:?}");
    }
    let written = table.to_csv();
    let again = Table::read_csv(written.as_bytes()).unwrap_or_else(|e| panic!("{e}: {text:?}"));
    assert_eq!(again, table, "{text:?}");
    assert_eq!(again.to_csv(), written, "{text:?}");
    true
}

fn tried(random: &mut Random) -> bool {
    let mut text = SOUND.to_owned();
    for _ in 0..=random.below(5) {
        text = mutate(random, &text);
    }
    is_read(&text)
}

#[test]
fn mutated_tables_are_read_or_refused() {
    assert!(is_read(SOUND));
    let mut random = Random(41);
    let read = (0..5000).filter(|_| tried(&mut random)).count();
    assert!((500..4500).contains(&read), "{read} read");
}

/// ```sh
/// FUZZ_SECONDS=600 FUZZ_SEED=1 cargo test --test slewbook search_for -- --ignored --nocapture
/// ```
#[test]
#[ignore = "runs for as long as FUZZ_SECONDS says"]
fn search_for_tables_that_are_neither_read_nor_refused() {
    let end = Instant::now() + Duration::from_secs(asked("FUZZ_SECONDS", 60));
    let mut random = Random(asked("FUZZ_SEED", 1));
    let (mut texts, mut read) = (0_u64, 0_u64);
    while Instant::now() < end {
        texts += 1;
        read += u64::from(tried(&mut random));
    }
    println!("{texts} texts, {read} of them read");
}
