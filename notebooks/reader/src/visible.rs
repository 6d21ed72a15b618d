//! Text from elsewhere, shown so that nothing in it is hidden.

use std::borrow::Cow;

/// The text with its control characters and the marks that change the direction
/// of writing as `\u{...}`: a terminal would obey them, and a reader would not
/// see them. Line ends and tabs stay.
///
/// ```
/// use slewbook_reader::visible;
/// assert_eq!(visible("a\u{1b}[2J\u{202e}b"), "a\\u{1b}[2J\\u{202e}b");
/// assert_eq!(visible("5 µH\n"), "5 µH\n");
/// ```
#[must_use]
pub fn visible(text: &str) -> Cow<'_, str> {
    if !text.chars().any(is_hidden) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len());
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        if is_hidden(letter) && !(letter == '\r' && letters.peek() == Some(&'\n')) {
            shown.extend(letter.escape_unicode());
        } else {
            shown.push(letter);
        }
    }
    Cow::Owned(shown)
}

/// Characters that are not seen and change what is: controls, the marks of
/// direction (Unicode Standard Annex 9), separators of lines and paragraphs, and
/// letters of no width.
fn is_hidden(letter: char) -> bool {
    (letter.is_control() && letter != '\n' && letter != '\t')
        || matches!(letter,
            '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}'
            | '\u{e0000}'..='\u{e007f}')
}
