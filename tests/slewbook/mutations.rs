//! Thousands of random changes to good input: nothing panics or hangs, and no
//! number comes out that is not finite. The seed is fixed: every run is the same.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

use slewbook::design::{self, Design};
use slewbook::quantity::symbol::{PREFIXES, UNITS};
use slewbook::quantity::{Dimensioned, Exponents, Voltage, parse_in, parse_temperature};
use slewbook::rationale;
use slewbook::stage::{DEMONSTRATION, Specification};

use crate::support::{Random, is_number_word};

/// Values put in place of another: extreme, odd, or right elsewhere.
const VALUES: &[&str] = &[
    "\"0 V\"",
    "\"1e-12 V\"",
    "\"9.9 kV\"",
    "\"1 mA\"",
    "\"9 kA\"",
    "\"0 A\"",
    "\"1 fF\"",
    "\"1 F\"",
    "\"1 fH\"",
    "\"0.9 H\"",
    "\"100 Hz\"",
    "\"90 MHz\"",
    "\"0 ohm\"",
    "\"900 ohm\"",
    "\"1 fs\"",
    "\"9 ms\"",
    "\"0.1 %\"",
    "\"89 %\"",
    "\"-1 A\"",
    "\"-0 V\"",
    "2",
    "3",
    "4",
    "5",
    "8",
    "1.0",
    "99.9",
    "0.98",
    "0",
    "-1",
    "nan",
    "inf",
    "1e308",
    "\"\"",
    "true",
    "[]",
    "{}",
    "[[]]",
    "1979-05-27",
    "{ constant = \"0 F\" }",
    "{ constant = \"1 mF\" }",
    "{ min = \"1 V\", max = \"1.01 V\" }",
    "{ table = [[\"0 V\", \"1 pF\"], [\"1 V\", \"0 F\"]] }",
    "{ zero_bias = \"1 F\", built_in = \"1 uV\", grading = 0.99, floor = \"0 F\" }",
];

/// Pieces of text put in at a random place.
const TOKENS: &[&str] = &[
    "\"", "'", "\"\"\"", "[", "]", "[[", "]]", "{", "}", "=", ".", ",", "\n", "\r\n", "\t", "\0",
    "#", "e", "-", "−", "µ", "Ω", "\u{feff}", "\u{301}", "𝛺", "1e999", "nan", "\\u0000", "\\", "%",
    "::", " ",
];

fn mutate_bytes(random: &mut Random, text: &str) -> String {
    let mut bytes = text.as_bytes().to_vec();
    for _ in 0..=random.below(3) {
        let at = random.below(bytes.len());
        match random.below(3) {
            _ if bytes.is_empty() => bytes.push(b' '),
            0 => bytes[at] = u8::try_from(random.below(256)).unwrap(),
            1 => {
                bytes.remove(at);
            }
            _ => bytes.insert(at, u8::try_from(32 + random.below(96)).unwrap()),
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

fn mutate_token(random: &mut Random, text: &str) -> String {
    let mut at = random.below(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    format!("{}{}{}", &text[..at], random.pick(TOKENS), &text[at..])
}

fn mutate_lines(random: &mut Random, text: &str) -> String {
    let mut lines: Vec<&str> = text.lines().collect();
    let (here, there) = (random.below(lines.len()), random.below(lines.len()));
    match random.below(3) {
        0 => {
            lines.remove(here);
        }
        1 => lines.insert(here, lines[there]),
        _ => lines.swap(here, there),
    }
    lines.join("\n") + "\n"
}

/// Replaces what stands right of an equals sign: most of these can be read.
fn mutate_value(random: &mut Random, text: &str) -> String {
    let places: Vec<usize> = text.match_indices("= ").map(|(at, _)| at + 2).collect();
    let start = *random.pick(&places);
    let rest = &text[start..];
    let end = match rest.as_bytes()[0] {
        b'"' => rest[1..].find('"').map_or(rest.len(), |end| end + 2),
        b'{' => rest.find('}').map_or(rest.len(), |end| end + 1),
        _ => rest.find([',', '\n', ' ']).unwrap_or(rest.len()),
    };
    format!("{}{}{}", &text[..start], random.pick(VALUES), &rest[end..])
}

/// Runs a step; a panic is told with what caused it.
fn survives<T>(input: &str, step: impl FnOnce() -> T) -> T {
    let started = Instant::now();
    let result = catch_unwind(AssertUnwindSafe(step))
        .unwrap_or_else(|_| panic!("the last panic came from:\n{input}"));
    let took = started.elapsed();
    assert!(took < Duration::from_mins(1), "{took:?} for:\n{input}");
    result
}

fn assert_words_finite(text: &str, input: &str) {
    // The specification itself is shown as it was written.
    let found = text
        .split([' ', '\n', ',', '(', '>', '<'])
        .find(|w| is_number_word(w));
    assert_eq!(found, None, "printed for:\n{input}");
}

#[test]
fn mutated_specifications_are_read_or_refused() {
    let mut random = Random(20_260_101);
    let (mut good, mut bad) = (0, 0);
    for _ in 0..3000 {
        let text = match random.below(4) {
            0 => mutate_bytes(&mut random, DEMONSTRATION),
            1 => mutate_token(&mut random, DEMONSTRATION),
            2 => mutate_lines(&mut random, DEMONSTRATION),
            _ => mutate_value(&mut random, DEMONSTRATION),
        };
        match survives(&text, || Specification::read(&text)) {
            Ok(_) => good += 1,
            Err(problems) => {
                bad += 1;
                assert!(!problems.0.is_empty());
                let lines = text.lines().count() + 1;
                for problem in &problems.0 {
                    assert!((1..=lines).contains(&problem.line), "{problem}\n{text}");
                    assert!(problem.column >= 1 && !problem.message.is_empty());
                }
            }
        }
    }
    assert!(good > 300 && bad > 300, "{good} read, {bad} refused");
}

#[test]
fn designs_of_mutated_specifications_hold_finite_numbers_only() {
    let mut random = Random(7);
    let mut derived = 0;
    for _ in 0..150 {
        let mut text = mutate_value(&mut random, DEMONSTRATION);
        if random.below(2) == 0 {
            text = mutate_value(&mut random, &text);
        }
        if Specification::read(&text).is_err() {
            continue;
        }
        let design = match survives(&text, || Design::derive(&text)) {
            Ok(design) => design,
            Err(error) => {
                assert_words_finite(&error.to_string(), &text);
                continue;
            }
        };
        derived += 1;
        for finding in &design.findings {
            assert!(
                finding.value().is_none_or(f64::is_finite),
                "{}\n{text}",
                finding.name()
            );
            // A result without a value says why.
            assert!(
                finding.value().is_some() || !finding.notes.is_empty(),
                "{}\n{text}",
                finding.name()
            );
        }
        for proposal in &design.proposals {
            assert!(
                proposal.value.is_finite() && proposal.value > 0.0,
                "{}\n{text}",
                proposal.name
            );
        }
        assert_words_finite(&survives(&text, || design::text(&design).unwrap()), &text);
        assert_words_finite(&survives(&text, || design::json(&design)), &text);
        if derived % 8 == 0 {
            let html = survives(&text, || rationale::html(&design).unwrap());
            let shown = html.split_once("id=\"specification\"").unwrap().0;
            assert_words_finite(shown, &text);
        }
    }
    assert!(derived > 10, "only {derived} designs");
}

#[test]
fn mutated_quantities_are_read_or_refused() {
    let mut random = Random(3);
    let mut read = 0;
    for _ in 0..3000 {
        let unit = random.pick(UNITS);
        let prefix = random.pick(PREFIXES);
        let numbers = ["3", "-0.68", "1.4e-9", "1e300", ".5", "7.", "\u{2212}2"];
        let mut text = format!("{} {}{}", random.pick(&numbers), prefix.plain, unit.plain);
        if random.below(2) == 0 {
            let joint = *random.pick(&["/", "·", "*", "^9*", "²/", "^-3·"]);
            text = format!(
                "{text}{joint}{}{}",
                random.pick(PREFIXES).plain,
                random.pick(UNITS).plain
            );
        }
        for _ in 0..random.below(3) {
            text = if random.below(2) == 0 {
                mutate_bytes(&mut random, &text)
            } else {
                mutate_token(&mut random, &text)
            };
        }
        for exponents in [unit.exponents, Voltage::EXPONENTS, Exponents::NONE] {
            match survives(&text, || parse_in(&text, exponents)) {
                Ok(value) => {
                    assert!(value.is_finite(), "{text}");
                    read += 1;
                }
                Err(error) => assert!(!error.to_string().is_empty()),
            }
        }
        if let Ok(temperature) = survives(&text, || parse_temperature(&text)) {
            assert!(temperature.coherent().is_finite() && temperature.coherent() >= 0.0);
        }
    }
    assert!(read > 300, "only {read} read");
}
