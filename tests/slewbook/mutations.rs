//! Thousands of random changes to good input: nothing panics or hangs, and no
//! number comes out that is not finite. The seed is fixed: every run is the same.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

use slewbook::design::{self, Design};
use slewbook::quantity::symbol::{PREFIXES, UNITS};
use slewbook::quantity::{Dimensioned, Exponents, Voltage, parse_in, parse_temperature};
use slewbook::rationale;
use slewbook::stage::{DEMONSTRATION, Specification};

use crate::support::{Random, asked, is_number_word, specification_with};

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
    assert!(took < Duration::from_mins(5), "{took:?} for:\n{input}");
    result
}

fn assert_words_finite(text: &str, input: &str) {
    // The specification itself is shown as it was written.
    let found = text
        .split([' ', '\n', ',', '(', '>', '<'])
        .find(|w| is_number_word(w));
    assert_eq!(found, None, "printed for:\n{input}");
}

/// One mutation of a specification.
fn mutate(random: &mut Random, text: &str) -> String {
    match random.below(4) {
        0 => mutate_bytes(random, text),
        1 => mutate_token(random, text),
        2 => mutate_lines(random, text),
        _ => mutate_value(random, text),
    }
}

/// Reads a text: whether it is a specification. A refusal says what and where.
fn is_read(text: &str) -> bool {
    let Err(problems) = survives(text, || Specification::read(text)) else {
        return true;
    };
    assert!(!problems.0.is_empty());
    let lines = text.lines().count() + 1;
    for problem in &problems.0 {
        assert!((1..=lines).contains(&problem.line), "{problem}\n{text}");
        assert!(problem.column >= 1 && !problem.message.is_empty());
    }
    false
}

/// Derives what can be read: finite numbers only, or a reason.
fn derived(text: &str) -> Option<Design> {
    let design = match survives(text, || Design::derive(text)) {
        Ok(design) => design,
        Err(error) => {
            assert_words_finite(&error.to_string(), text);
            return None;
        }
    };
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
    assert_words_finite(&survives(text, || design::text(&design).unwrap()), text);
    assert_words_finite(&survives(text, || design::json(&design)), text);
    Some(design)
}

/// The document of a design shows finite numbers only.
fn assert_document_finite(design: &Design, text: &str) {
    let html = survives(text, || rationale::html(design).unwrap());
    let shown = html.split_once("id=\"specification\"").unwrap().0;
    assert_words_finite(shown, text);
}

#[test]
fn mutated_specifications_are_read_or_refused() {
    let mut random = Random(20_260_101);
    let (mut good, mut bad) = (0, 0);
    for _ in 0..3000 {
        if is_read(&mutate(&mut random, DEMONSTRATION)) {
            good += 1;
        } else {
            bad += 1;
        }
    }
    assert!(good > 300 && bad > 300, "{good} read, {bad} refused");
}

#[test]
fn designs_of_mutated_specifications_hold_finite_numbers_only() {
    let mut random = Random(7);
    let mut count = 0;
    for _ in 0..250 {
        let mut text = mutate_value(&mut random, DEMONSTRATION);
        if random.below(2) == 0 {
            text = mutate_value(&mut random, &text);
        }
        if Specification::read(&text).is_err() {
            continue;
        }
        let Some(design) = derived(&text) else {
            continue;
        };
        count += 1;
        if count % 8 == 0 {
            assert_document_finite(&design, &text);
        }
    }
    assert!(count > 10, "only {count} designs");
}

/// A specification with uncertainties and correlations, for the search below.
fn correlated() -> String {
    let changes = [
        (
            "trip.delay",
            "{ nominal = \"35 ns\", standard_uncertainty = \"2 ns\" }",
        ),
        (
            "clamp.resistance",
            "{ observations = [\"11 mohm\", \"12 mohm\", \"14 mohm\"] }",
        ),
        (
            "transistors.low.output_capacitance",
            "{ table = [[\"0 V\", \"900 pF\"], [\"9 V\", \"300 pF\"]], scale = { tolerance = \"15 %\" } }",
        ),
    ];
    let tables = "
[[correlation]]
between = [\"stage.inductance\", \"trip.delay\"]
coefficient = 0.5

[[correlation]]
between = [\"stage.inductance\", \"transistors.low.output_capacitance.scale\"]
coefficient = -0.3
";
    specification_with(&changes) + tables
}

/// A search for as long as asked, by hand:
///
/// ```sh
/// FUZZ_SECONDS=600 FUZZ_SEED=1 cargo test --test slewbook search_for_inputs -- --ignored --nocapture
/// ```
///
/// A text that fails is printed whole; put it into a test of its own.
#[test]
#[ignore = "runs for as long as FUZZ_SECONDS says"]
fn search_for_inputs_that_are_neither_read_nor_refused() {
    let start = Instant::now();
    let end = start + Duration::from_secs(asked("FUZZ_SECONDS", 60));
    let mut random = Random(asked("FUZZ_SEED", 1));
    // Reading takes a moment and deriving takes long: half of the time is for each.
    let mut deriving = Duration::ZERO;
    let seeds = [DEMONSTRATION.to_owned(), correlated()];
    assert!(seeds.iter().all(|seed| is_read(seed)));
    let (mut texts, mut read, mut designs) = (0_u64, 0_u64, 0_u64);
    while Instant::now() < end {
        // Several mutations of one text: each that is still read is mutated further.
        let mut text = random.pick(&seeds).clone();
        for _ in 0..=random.below(6) {
            let next = mutate(&mut random, &text);
            texts += 1;
            if is_read(&next) {
                (text, read) = (next, read + 1);
            }
        }
        if deriving > start.elapsed() / 2 {
            continue;
        }
        let before = Instant::now();
        if let Some(design) = derived(&text) {
            designs += 1;
            assert_document_finite(&design, &text);
        }
        deriving += before.elapsed();
    }
    println!("{texts} texts, {read} of them read, {designs} designs");
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
