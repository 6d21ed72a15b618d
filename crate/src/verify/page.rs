//! A document as its reader sees it: blocks of text, rows of tables, figures.

use super::markup::{Tag, Token, decoded, tokens};

/// A paragraph, a row of a table, a figure: what a reader sees in one place.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Block {
    /// The headings that it stands under.
    pub place: Vec<String>,
    /// What it is called: a figure's title, the first line of a row.
    pub label: String,
    /// What heads the columns of its table.
    pub columns: Vec<String>,
    /// The texts of its cells; a paragraph has one.
    pub cells: Vec<String>,
    /// The tags on the way to it and in it.
    pub markup: String,
    /// The drawing, where it is a figure.
    pub figure: Option<String>,
}

/// Tags that end what is read as one.
const BREAKS: [&str; 23] = [
    "head",
    "title",
    "style",
    "header",
    "nav",
    "h1",
    "h2",
    "h3",
    "h4",
    "p",
    "li",
    "ul",
    "ol",
    "tr",
    "table",
    "caption",
    "div",
    "figure",
    "figcaption",
    "pre",
    "section",
    "summary",
    "details",
];

/// The blocks of a document.
pub(super) fn blocks(html: &str) -> Vec<Block> {
    let mut reader = Reader::default();
    let tokens = tokens(html);
    let mut rest = tokens.iter();
    while let Some(token) = rest.next() {
        match token {
            Token::Text(text) => reader.text(text),
            Token::Tag(tag) if tag.name == "svg" && !tag.end => {
                let inside = rest.by_ref().take_while(
                    |own| !matches!(own, Token::Tag(own) if own.end && own.name == "svg"),
                );
                reader.figure(tag, inside);
            }
            Token::Tag(tag) => reader.tag(tag),
        }
    }
    reader.end();
    reader.blocks
}

/// A text with single blanks.
fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[derive(Default)]
struct Reader {
    blocks: Vec<Block>,
    place: Vec<String>,
    columns: Vec<String>,
    cells: Vec<String>,
    /// What was read up to the end of the first line.
    label: Option<String>,
    markup: String,
    /// Whether the row holds headings of columns.
    heads: bool,
    /// How deep it is in an equation, whose parts stand apart.
    equation: usize,
}

impl Reader {
    fn text(&mut self, text: &str) {
        if self.cells.is_empty() {
            // What is between the tags of a row is no cell.
            if text.trim().is_empty() {
                return;
            }
            self.cells.push(String::new());
        }
        if let Some(cell) = self.cells.last_mut() {
            cell.push_str(&decoded(text));
        }
    }

    fn tag(&mut self, tag: &Tag) {
        let breaks = BREAKS.contains(&tag.name);
        if breaks && !tag.end {
            self.end();
        }
        self.markup.push_str(&format!("<{}>", tag.source));
        match (tag.name, tag.end) {
            ("td" | "th", false) => {
                self.heads = tag.attribute("scope") == Some("col");
                self.cells.push(String::new());
            }
            ("table", _) => self.columns.clear(),
            ("math", false) => self.equation += 1,
            ("math", true) => self.equation = self.equation.saturating_sub(1),
            _ => {}
        }
        if tag.name == "br" && self.cells.len() == 1 && self.label.is_none() {
            self.label = self.cells.first().map(|own| words(own));
        }
        if self.equation > 0 || tag.name == "br" {
            self.text(" ");
        }
        if breaks && tag.end {
            self.end();
            self.headed(tag.name);
        }
    }

    /// Ends a block, if there is one.
    fn end(&mut self) {
        let cells = std::mem::take(&mut self.cells);
        let label = self.label.take();
        let cells: Vec<String> = cells.iter().map(|own| words(own)).collect();
        if cells.iter().all(String::is_empty) {
            return;
        }
        let first = cells.iter().find(|own| !own.is_empty());
        let label = label.or_else(|| first.cloned()).unwrap_or_default();
        self.push(label, cells, None);
        if std::mem::take(&mut self.heads) {
            self.columns = self
                .blocks
                .last()
                .map(|own| own.cells.clone())
                .unwrap_or_default();
        }
    }

    fn push(&mut self, label: String, cells: Vec<String>, figure: Option<String>) {
        self.blocks.push(Block {
            place: self.place.clone(),
            label,
            columns: self.columns.clone(),
            cells,
            markup: std::mem::take(&mut self.markup),
            figure,
        });
    }

    /// What follows stands under the heading that has just ended.
    fn headed(&mut self, name: &str) {
        let depth = match name {
            "h2" => 0,
            "h3" => 1,
            _ => return,
        };
        if let Some(own) = self.blocks.last() {
            self.place.truncate(depth);
            self.place.push(own.cells.join(" "));
        }
    }

    fn figure<'t>(&mut self, start: &Tag, inside: impl Iterator<Item = &'t Token<'t>>) {
        self.end();
        let mut drawing = format!("<{}>", start.source);
        let mut title = None;
        let mut titled = false;
        for token in inside {
            match token {
                Token::Tag(tag) => {
                    titled = tag.name == "title" && !tag.end;
                    drawing.push_str(&format!("<{}>", tag.source));
                }
                Token::Text(text) => {
                    if titled {
                        title.get_or_insert_with(|| decoded(text));
                    }
                    drawing.push_str(text);
                }
            }
        }
        let title = title.unwrap_or_default();
        self.push(title.clone(), vec![title], Some(drawing));
    }
}
