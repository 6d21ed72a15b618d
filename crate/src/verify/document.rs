//! A document compared with the same computed again.

use super::align::{gaps, pairs};
use super::markup::{Token, decoded, tokens};
use super::page::{Block, blocks};
use super::report::{Difference, Kind, Report, numbers};

/// How far a coordinate of a figure may be off, in units of the drawing: a thirtieth of a
/// millimetre, in which rounding shows.
const NEAR: f64 = 1.0;

/// Attributes that place what is drawn.
const COORDINATES: [&str; 13] = [
    "points",
    "d",
    "x",
    "y",
    "x1",
    "y1",
    "x2",
    "y2",
    "cx",
    "cy",
    "width",
    "height",
    "transform",
];

/// Compares all that a reader sees, and the markup that decides what that is.
pub(super) fn compare(written: &str, computed: &str, report: &mut Report) {
    let (old, new) = (blocks(written), blocks(computed));
    let figures = old.iter().filter(|own| own.figure.is_some()).count();
    report.compared = format!(
        "{} texts and rows and {figures} figures: words and printed digits exactly, what is drawn \
         to {NEAR} of the drawing's units",
        old.len() - figures
    );
    // A figure is like another one only in its own place.
    let key = |own: &Block| (own.place.clone(), own.figure.is_some(), worded(&own.label));
    for (a, b) in gaps(&old, &new) {
        let (a, b) = (&old[a], &new[b]);
        for (i, j) in pairs(a, b, key) {
            match (i.map(|i| &a[i]), j.map(|j| &b[j])) {
                (Some(old), Some(new)) => pair(old, new, report),
                (old, new) => alone(old, new, report),
            }
        }
    }
}

/// A text without its digits.
fn worded(text: &str) -> String {
    text.chars().filter(|own| !own.is_ascii_digit()).collect()
}

/// A block that only one side has.
fn alone(old: Option<&Block>, new: Option<&Block>, report: &mut Report) {
    let Some(own) = old.or(new) else { return };
    let shown = |own: &Block| match &own.figure {
        Some(_) => format!("the figure {}", &own.label),
        None => own.cells.join(" | "),
    };
    report.add(Difference {
        kind: Kind::Value,
        place: own.place.clone(),
        quantity: own.label.clone(),
        written: old.map(shown),
        computed: new.map(shown),
    });
}

/// Two blocks that belong together.
fn pair(old: &Block, new: &Block, report: &mut Report) {
    if old.figure.is_some() != new.figure.is_some() || old.cells.len() != new.cells.len() {
        alone(Some(old), None, report);
        alone(None, Some(new), report);
        return;
    }
    let mut add = |kind, quantity: String, written: &str, computed: &str| {
        report.add(Difference {
            kind,
            place: new.place.clone(),
            quantity,
            written: Some(written.to_owned()),
            computed: Some(computed.to_owned()),
        });
    };
    let mut same = true;
    if let (Some(a), Some(b)) = (&old.figure, &new.figure)
        && let Some((a, b)) = drawn(a, b)
    {
        add(Kind::Value, format!("drawing of {}", new.label), &a, &b);
        return;
    }
    for (k, (a, b)) in old.cells.iter().zip(&new.cells).enumerate() {
        if a == b {
            continue;
        }
        same = false;
        let column = new.columns.get(k).map_or("", String::as_str);
        let kind = if numbers(a) != numbers(b) || column == "Verdict" {
            Kind::Value
        } else {
            Kind::Words
        };
        let quantity = match (k, column.is_empty()) {
            (0, _) if *b == new.label => String::new(),
            (0, _) | (_, true) => new.label.clone(),
            (_, false) => format!("{}, {}", new.label, column.to_lowercase()),
        };
        add(kind, quantity, a, b);
    }
    if same && old.markup != new.markup {
        let quantity = format!("markup of {}", new.label);
        add(Kind::Words, quantity, &old.markup, &new.markup);
    }
}

/// The first thing in which two drawings differ, if they do.
fn drawn(old: &str, new: &str) -> Option<(String, String)> {
    let (a, b) = (tokens(old), tokens(new));
    let first = a.iter().zip(&b).find(|(a, b)| !alike(a, b));
    let shown = |token: &Token| match token {
        Token::Tag(tag) => format!("<{}>", tag.source),
        Token::Text(text) => decoded(text.trim()),
    };
    match first {
        Some((a, b)) => Some((shown(a), shown(b))),
        None if a.len() != b.len() => {
            let parts = |count| format!("{count} parts of the drawing");
            Some((parts(a.len()), parts(b.len())))
        }
        None => None,
    }
}

fn alike(a: &Token, b: &Token) -> bool {
    match (a, b) {
        (Token::Text(a), Token::Text(b)) => a.trim() == b.trim(),
        (Token::Tag(a), Token::Tag(b)) => {
            let (mine, others) = (a.attributes(), b.attributes());
            let pairs = || mine.iter().zip(&others);
            a == b
                || (a.name == b.name
                    && a.end == b.end
                    && !mine.is_empty()
                    && mine.len() == others.len()
                    && pairs().all(|((key, a), (other, b))| {
                        key == other && (a == b || (COORDINATES.contains(key) && near(a, b)))
                    }))
        }
        _ => false,
    }
}

/// Whether two lists of coordinates are nearly the same.
fn near(a: &str, b: &str) -> bool {
    let parts = |text: &str| -> Vec<String> {
        let stop = |c: char| c.is_whitespace() || matches!(c, ',' | '(' | ')');
        let words = text.split(stop).filter(|own| !own.is_empty());
        words.map(str::to_owned).collect()
    };
    let (a, b) = (parts(a), parts(b));
    a.len() == b.len()
        && a.iter().zip(&b).all(|(a, b)| {
            let both = a.parse::<f64>().ok().zip(b.parse::<f64>().ok());
            a == b || both.is_some_and(|(a, b)| (a - b).abs() <= NEAR)
        })
}
