//! Characters that a reader does not see, made visible.
//!
//! A title, a key, a file's name or a notebook may hold characters that move a terminal's
//! cursor, turn the direction of what follows, or hide in a word. Whatever a reader is
//! shown has passed one of the functions here.

use std::borrow::Cow;
use std::fmt::Write as _;

/// Whether a character is not seen and yet changes what is: a control (General Category
/// Cc of the Unicode Standard), an end of a line or paragraph other than `\n` (Zl, Zp),
/// what the standard calls default ignorable (`Default_Ignorable_Code_Point`: marks of
/// direction, letters of no width, selectors of variants, tags), or a mark of interlinear
/// annotation. The tab is seen as space.
fn is_hidden(own: char) -> bool {
    if own.is_ascii() {
        return own.is_ascii_control() && own != '\n' && own != '\t';
    }
    own.is_control()
        || matches!(own,
            '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}'..='\u{1160}' | '\u{17b4}'..='\u{17b5}'
            | '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}'
            | '\u{ffa0}' | '\u{fff0}'..='\u{fffb}' | '\u{1bca0}'..='\u{1bca3}'
            | '\u{1d173}'..='\u{1d17a}' | '\u{e0000}'..='\u{e0fff}')
}

fn replaced(text: &str, escape: impl Fn(&mut String, char)) -> Cow<'_, str> {
    if !text.chars().any(is_hidden) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len());
    let mut characters = text.chars().peekable();
    while let Some(own) = characters.next() {
        // The end of a line as some editors write it.
        let ends = own == '\r' && characters.peek() == Some(&'\n');
        if is_hidden(own) && !ends {
            escape(&mut shown, own);
        } else {
            shown.push(own);
        }
    }
    Cow::Owned(shown)
}

/// A text for people: what is hidden stands as `\u{1b}`. Ends of lines and tabs stay.
///
/// ```
/// use slewbook::visible::visible;
/// assert_eq!(visible("44 V\u{202e}\u{1b}[2J\n"), "44 V\\u{202e}\\u{1b}[2J\n");
/// assert_eq!(visible("5 µH\r\n"), "5 µH\r\n");
/// ```
#[must_use]
pub fn visible(text: &str) -> Cow<'_, str> {
    replaced(text, |shown, own| shown.extend(own.escape_unicode()))
}

/// A text in which [`visible`] has replaced something, as it was before.
///
/// A text may hold such escapes of its own: only a digest tells which it is.
#[cfg(feature = "program")]
pub(crate) fn unescaped(text: &str) -> String {
    let mut all = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('\\') {
        all.push_str(before);
        let digits = after.strip_prefix("u{").and_then(|own| own.split_once('}'));
        let found = digits.and_then(|(digits, next)| {
            let own = char::from_u32(u32::from_str_radix(digits, 16).ok()?)?;
            is_hidden(own).then_some((own, next))
        });
        let (own, next) = found.unwrap_or(('\\', after));
        all.push(own);
        rest = next;
    }
    all + rest
}

/// A JSON document with the escapes of its own: the values are the same.
///
/// ```
/// use slewbook::visible::visible_json;
/// assert_eq!(visible_json("\"\u{202e}\u{e0041}\""), "\"\\u202e\\udb40\\udc41\"");
/// ```
#[must_use]
pub fn visible_json(document: &str) -> Cow<'_, str> {
    replaced(document, |shown, own| {
        for unit in own.encode_utf16(&mut [0; 2]) {
            // Writing into memory does not fail.
            let _ = write!(shown, "\\u{unit:04x}");
        }
    })
}

/// Plain structures of numbers and texts as a JSON document.
pub(crate) fn json_document(value: &impl serde::Serialize) -> String {
    // They always serialise.
    visible_json(&serde_json::to_string_pretty(value).unwrap_or_default()).into_owned()
}

/// A text as the content or the value of an attribute of a markup language.
pub(crate) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
