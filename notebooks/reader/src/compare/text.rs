//! Texts, with the numbers in them.

use std::ops::Range;

/// How much of a text a message shows.
const SHOWN: usize = 60;

/// Whether two numbers agree.
pub(super) fn within(old: f64, new: f64, relative: f64) -> bool {
    old == new || (old - new).abs() <= relative * old.abs().max(new.abs())
}

/// What was allowed, in words.
pub(super) fn relative(tolerance: f64) -> String {
    if tolerance == 0.0 {
        return String::new();
    }
    format!(" (relative tolerance {tolerance:e})")
}

/// Whether two texts are the same, but for numbers that agree.
pub(super) fn same(old: &str, new: &str, relative: f64) -> bool {
    if old == new {
        return true;
    }
    if relative == 0.0 {
        return false;
    }
    let (a, b) = (numbers(old), numbers(new));
    if a.len() != b.len() {
        return false;
    }
    let mut begun = (0, 0);
    for (a, b) in a.iter().zip(&b) {
        let value = |text: &str, place: &Range<usize>| text[place.clone()].parse::<f64>();
        let agree = match (value(old, a), value(new, b)) {
            (Ok(a), Ok(b)) => within(a, b, relative),
            _ => false,
        };
        if !agree || old[begun.0..a.start] != new[begun.1..b.start] {
            return false;
        }
        begun = (a.end, b.end);
    }
    old[begun.0..] == new[begun.1..]
}

/// Where the decimal numbers of a text are: digits, with a point among them.
fn numbers(text: &str) -> Vec<Range<usize>> {
    let mut found: Vec<Range<usize>> = vec![];
    let bytes = text.as_bytes();
    let mut at = 0;
    while at < bytes.len() {
        if !bytes[at].is_ascii_digit() {
            at += 1;
            continue;
        }
        let start = at;
        let mut points = 0;
        while at < bytes.len() {
            let point = bytes[at] == b'.'
                && points == 0
                && bytes.get(at + 1).is_some_and(u8::is_ascii_digit);
            if !(bytes[at].is_ascii_digit() || point) {
                break;
            }
            points += usize::from(point);
            at += 1;
        }
        found.push(start..at);
    }
    found
}

/// The parts of two texts from where they differ, short enough for a message.
pub(super) fn apart<'t>(old: &'t str, new: &'t str) -> (String, String) {
    let same = old
        .char_indices()
        .zip(new.chars())
        .find(|((_, a), b)| a != b)
        .map_or(old.len().min(new.len()), |((at, _), _)| at);
    // Some of what is the same says where it is.
    let lead = old[..same]
        .char_indices()
        .rev()
        .nth(15)
        .map_or(0, |(at, _)| at);
    let part = |text: &'t str| short(text.get(lead..).unwrap_or_default());
    (part(old), part(new))
}

/// The first letters of a text, on one line.
pub(super) fn short(text: &str) -> String {
    let mut part: String = text.chars().take(SHOWN).collect();
    if part.len() < text.len() {
        part.push('…');
    }
    part.replace('\n', "⏎")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_within_texts_have_the_tolerance() {
        assert!(same("I = 100.0 mA", "I = 100.5 mA", 0.01));
        assert!(!same("I = 100.0 mA", "I = 102.0 mA", 0.01));
        assert!(!same("I = 100.0 mA", "I = 100.0 A", 0.01));
        assert!(!same("I = 6 A", "I = 6 A and 999", 0.01));
        assert!(!same("6", "6.0000001", 0.0));
    }

    #[test]
    fn a_difference_is_shown_with_what_stands_before_it() {
        let (old, new) = apart("µµµµµµµµµµµµµµµµµµµµ 6 A", "µµµµµµµµµµµµµµµµµµµµ 999 A");
        assert!(
            old.ends_with(" 6 A") && new.ends_with(" 999 A"),
            "{old} {new}"
        );
    }
}
