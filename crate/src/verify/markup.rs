//! The markup of a document as tokens.

/// A tag, or the text between two.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Token<'d> {
    Tag(Tag<'d>),
    Text(&'d str),
}

/// What stands between `<` and `>`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tag<'d> {
    pub source: &'d str,
    pub name: &'d str,
    pub end: bool,
}

impl<'d> Tag<'d> {
    fn of(source: &'d str) -> Self {
        let end = source.starts_with('/');
        let inside = source.trim_start_matches('/');
        let stop = |c: char| c.is_whitespace() || c == '/';
        let name = inside.split(stop).next().unwrap_or_default();
        Self { source, name, end }
    }

    /// Its attributes, each with its value; those without quotes are none of ours.
    pub fn attributes(&self) -> Vec<(&'d str, &'d str)> {
        let mut rest = &self.source[self.source.len().min(self.name.len())..];
        let mut all = Vec::new();
        while let Some((key, after)) = rest.split_once("=\"") {
            let (value, next) = after.split_once('"').unwrap_or((after, ""));
            all.push((key.trim(), value));
            rest = next;
        }
        all
    }

    pub fn attribute(&self, name: &str) -> Option<&'d str> {
        let all = self.attributes();
        let found = all.into_iter().find(|(key, _)| *key == name && !self.end);
        found.map(|(_, value)| value)
    }
}

/// The tokens of a document, in order; a comment is a tag too.
pub(super) fn tokens(html: &str) -> Vec<Token<'_>> {
    let mut all = Vec::new();
    let mut rest = html;
    while !rest.is_empty() {
        let text = rest.find('<').unwrap_or(rest.len());
        if text > 0 {
            all.push(Token::Text(&rest[..text]));
        }
        let Some(after) = rest.get(text + 1..) else {
            break;
        };
        let length = if after.starts_with("!--") {
            after.find("-->").map_or(after.len(), |end| end + 2)
        } else {
            end_of(after)
        };
        all.push(Token::Tag(Tag::of(&after[..length])));
        rest = after.get(length + 1..).unwrap_or_default();
    }
    all
}

/// Where a tag ends; a `>` in quotes is a part of a value.
fn end_of(after: &str) -> usize {
    let mut quoted = false;
    let end = after.find(|c| {
        quoted ^= c == '"';
        c == '>' && !quoted
    });
    end.unwrap_or(after.len())
}

/// A text with its references replaced by what they stand for.
pub(super) fn decoded(text: &str) -> String {
    let mut all = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('&') {
        all.push_str(before);
        let found = after
            .split_once(';')
            .and_then(|(name, next)| Some((character(name)?, next)));
        let (own, next) = found.unwrap_or(('&', after));
        all.push(own);
        rest = next;
    }
    all + rest
}

fn character(name: &str) -> Option<char> {
    let code = name.strip_prefix('#').map(|own| {
        own.strip_prefix('x')
            .map_or_else(|| own.parse(), |digits| u32::from_str_radix(digits, 16))
    });
    match (name, code) {
        ("lt", _) => Some('<'),
        ("gt", _) => Some('>'),
        ("amp", _) => Some('&'),
        ("quot", _) => Some('"'),
        ("apos", _) => Some('\''),
        (_, Some(Ok(code))) => char::from_u32(code),
        _ => None,
    }
}

/// The text of every element that a test picks by its start tag, in order.
pub(super) fn texts_of(tokens: &[Token], picked: impl Fn(&Tag) -> bool) -> Vec<String> {
    let mut all = Vec::new();
    for (place, token) in tokens.iter().enumerate() {
        let Token::Tag(start) = token else { continue };
        if start.end || !picked(start) {
            continue;
        }
        let mut text = String::new();
        for token in &tokens[place + 1..] {
            match token {
                Token::Tag(tag) if tag.end && tag.name == start.name => break,
                Token::Tag(_) => {}
                Token::Text(own) => text.push_str(&decoded(own)),
            }
        }
        all.push(text);
    }
    all
}
