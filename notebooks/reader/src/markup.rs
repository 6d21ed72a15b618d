//! Markup from a file, with only what shows mathematics or a drawing left in it.

use std::fmt::Write as _;

use roxmltree::{Document, Node, NodeType, ParsingOptions};

use crate::export::escaped;

/// What a piece of markup is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Language {
    /// Presentation MathML.
    Mathematics,
    /// SVG.
    Drawing,
}

/// The longest markup that is read, in bytes.
const LONGEST: usize = 8 << 20;
/// The most elements and texts that are read.
const MOST_NODES: u32 = 400_000;
/// The deepest nesting: a browser draws recursively.
const DEEPEST: usize = 100;

const MATHEMATICS: [&str; 26] = [
    "math",
    "mrow",
    "mi",
    "mn",
    "mo",
    "ms",
    "mtext",
    "mspace",
    "mfrac",
    "msqrt",
    "mroot",
    "msub",
    "msup",
    "msubsup",
    "munder",
    "mover",
    "munderover",
    "mtable",
    "mtr",
    "mtd",
    "mpadded",
    "mphantom",
    "mstyle",
    "merror",
    "mmultiscripts",
    "mprescripts",
];
const OF_MATHEMATICS: [&str; 33] = [
    "display",
    "displaystyle",
    "alttext",
    "mathvariant",
    "form",
    "separator",
    "stretchy",
    "fence",
    "symmetric",
    "largeop",
    "movablelimits",
    "accent",
    "accentunder",
    "lspace",
    "rspace",
    "width",
    "height",
    "depth",
    "voffset",
    "minsize",
    "maxsize",
    "linethickness",
    "scriptlevel",
    "columnalign",
    "rowalign",
    "rowspacing",
    "columnspacing",
    "columnlines",
    "rowlines",
    "frame",
    "columnspan",
    "rowspan",
    "mathcolor",
];
const DRAWING: [&str; 12] = [
    "svg", "g", "path", "line", "polyline", "polygon", "rect", "circle", "ellipse", "text",
    "title", "desc",
];
const OF_DRAWING: [&str; 45] = [
    "viewBox",
    "width",
    "height",
    "preserveAspectRatio",
    "role",
    "aria-label",
    "aria-labelledby",
    "id",
    "x",
    "y",
    "x1",
    "x2",
    "y1",
    "y2",
    "cx",
    "cy",
    "r",
    "rx",
    "ry",
    "d",
    "points",
    "dx",
    "dy",
    "transform",
    "fill",
    "fill-opacity",
    "fill-rule",
    "stroke",
    "stroke-width",
    "stroke-opacity",
    "stroke-dasharray",
    "stroke-dashoffset",
    "stroke-linecap",
    "stroke-linejoin",
    "stroke-miterlimit",
    "opacity",
    "font-family",
    "font-size",
    "font-style",
    "font-weight",
    "text-anchor",
    "dominant-baseline",
    "letter-spacing",
    "rotate",
    "textLength",
];

impl Language {
    fn root(self) -> &'static str {
        match self {
            Self::Mathematics => "math",
            Self::Drawing => "svg",
        }
    }

    fn namespace(self) -> &'static str {
        match self {
            Self::Mathematics => "http://www.w3.org/1998/Math/MathML",
            Self::Drawing => "http://www.w3.org/2000/svg",
        }
    }

    fn has_element(self, node: Node) -> bool {
        let name = node.tag_name();
        let own = name
            .namespace()
            .is_none_or(|space| space == self.namespace());
        own && match self {
            Self::Mathematics => MATHEMATICS.contains(&name.name()),
            Self::Drawing => DRAWING.contains(&name.name()),
        }
    }

    fn has_attribute(self, name: &str) -> bool {
        match self {
            Self::Mathematics => OF_MATHEMATICS.contains(&name),
            Self::Drawing => OF_DRAWING.contains(&name),
        }
    }
}

/// The markup written anew from the elements and attributes that show
/// something; none where it is not markup of this kind, or too large or deep.
pub(crate) fn clean(markup: &str, language: Language) -> Option<String> {
    if markup.len() > LONGEST {
        return None;
    }
    let options = ParsingOptions {
        allow_dtd: false,
        nodes_limit: MOST_NODES,
        ..ParsingOptions::default()
    };
    let document = Document::parse_with_options(markup, options).ok()?;
    let root = document.root_element();
    if root.tag_name().name() != language.root() || !language.has_element(root) {
        return None;
    }
    let mut written = String::with_capacity(markup.len());
    // Elements that are open, with the children that are still to be written.
    let mut open = vec![];
    begin(&mut written, root, language);
    open.push((root, root.children()));
    while let Some((element, children)) = open.last_mut() {
        match children.next() {
            None => {
                let _ = write!(written, "</{}>", element.tag_name().name());
                open.pop();
            }
            Some(child) if child.node_type() == NodeType::Text => {
                written.push_str(&escaped(child.text().unwrap_or_default()));
            }
            Some(child) if child.is_element() && language.has_element(child) => {
                if open.len() >= DEEPEST {
                    return None;
                }
                begin(&mut written, child, language);
                open.push((child, child.children()));
            }
            // Comments, instructions, and elements that are not on the list go, with
            // all that is in them.
            Some(_) => {}
        }
    }
    Some(written)
}

fn begin(written: &mut String, element: Node, language: Language) {
    let name = element.tag_name().name();
    let _ = write!(written, "<{name}");
    if name == language.root() {
        let _ = write!(written, " xmlns=\"{}\"", language.namespace());
    }
    for attribute in element.attributes() {
        let (name, value) = (attribute.name(), attribute.value());
        let allowed = attribute.namespace().is_none() && language.has_attribute(name);
        // Words for those who listen may say anything; all other values are numbers,
        // names and colours, and point nowhere.
        let words = name == "alttext" || name == "aria-label";
        if allowed && (words || !refers(value)) {
            let _ = write!(written, " {name}=\"{}\"", escaped(value));
        }
    }
    written.push('>');
}

/// Whether a value could name something to be loaded or run.
fn refers(value: &str) -> bool {
    let value = value.to_ascii_lowercase();
    value.contains(':') || value.contains("url") || value.contains('\\') || value.contains('<')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_drawing_is_left() {
        let svg = "<svg onload=\"a()\" viewBox=\"0 0 1 1\"><script>a()</script><foreignObject><p>x</p>\
            </foreignObject><a href=\"javascript:a()\"><line x1=\"1\"/></a><image href=\"//b\"/>\
            <line x1=\"1\" stroke=\"url(//b)\" style=\"fill:url(//b)\"/><text>a&lt;b</text></svg>";
        assert_eq!(
            clean(svg, Language::Drawing).unwrap(),
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 1 1\"><line x1=\"1\"></line>\
             <text>a&lt;b</text></svg>"
        );
    }

    #[test]
    fn only_mathematics_is_left() {
        let math = "<math href=\"javascript:a()\"><mi onclick=\"a()\">L</mi><mtext><img src=\"x\"/>\
            </mtext><annotation-xml encoding=\"text/html\"><img src=\"x\"/></annotation-xml></math>";
        assert_eq!(
            clean(math, Language::Mathematics).unwrap(),
            "<math xmlns=\"http://www.w3.org/1998/Math/MathML\"><mi>L</mi><mtext></mtext></math>"
        );
        assert!(clean("<svg/>", Language::Mathematics).is_none());
        assert!(clean("<math><mi></math>", Language::Mathematics).is_none());
    }

    #[test]
    fn what_is_nested_too_deeply_is_not_shown() {
        let deep = |n: usize| format!("<math>{}{}</math>", "<mrow>".repeat(n), "</mrow>".repeat(n));
        assert!(clean(&deep(90), Language::Mathematics).is_some());
        assert!(clean(&deep(50_000), Language::Mathematics).is_none());
    }
}
