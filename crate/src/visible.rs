//! Characters that a reader does not see, made visible.
//!
//! A title, a key or a file's name may hold characters that move a terminal's cursor, or
//! that turn the direction of what follows. Whatever a reader is shown has passed one of
//! the two functions here.

use std::fmt::Write as _;

/// Whether a character is shown as what it is: no control, no mark of direction, no end of
/// a line but `\n`.
fn is_plain(own: char) -> bool {
    let directs = matches!(
        own,
        '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
    );
    let ends = matches!(own, '\u{2028}' | '\u{2029}');
    matches!(own, '\n' | '\t') || !(own.is_control() || directs || ends)
}

fn replaced(text: &str, escape: impl Fn(&mut String, char)) -> String {
    let mut shown = String::with_capacity(text.len());
    let mut characters = text.chars().peekable();
    while let Some(own) = characters.next() {
        // The end of a line as some editors write it.
        let ends = own == '\r' && characters.peek() == Some(&'\n');
        if is_plain(own) || ends {
            shown.push(own);
        } else {
            escape(&mut shown, own);
        }
    }
    shown
}

/// A text for people: controls as `\x1b`, marks of direction as `\u{202e}`. Ends of lines and
/// tabs stay.
///
/// ```
/// use slewbook::visible::visible;
/// assert_eq!(visible("44 V\u{202e}\u{1b}[2J\n"), "44 V\\u{202e}\\x1b[2J\n");
/// ```
#[must_use]
pub fn visible(text: &str) -> String {
    replaced(text, |shown, own| {
        let code = u32::from(own);
        let _ = if code < 0x100 {
            write!(shown, "\\x{code:02x}")
        } else {
            write!(shown, "\\u{{{code:x}}}")
        };
    })
}

/// A JSON document with the escapes of its own: the values are the same.
///
/// ```
/// use slewbook::visible::visible_json;
/// assert_eq!(visible_json("\"\u{202e}\""), "\"\\u202e\"");
/// ```
#[must_use]
pub fn visible_json(document: &str) -> String {
    replaced(document, |shown, own| {
        let _ = write!(shown, "\\u{:04x}", u32::from(own));
    })
}

/// Plain structures of numbers and texts as a JSON document.
pub(crate) fn json_document(value: &impl serde::Serialize) -> String {
    // They always serialise.
    visible_json(&serde_json::to_string_pretty(value).unwrap_or_default())
}
