//! Markdown with mathematics, references and citations.

use std::path::Path;

use math_core::{LatexToMathML, MathCoreConfig, MathDisplay};
use pulldown_cmark::{CowStr, Event, Options, Parser, Tag, TagEnd, html};
use serde_json::Value;
use slewbook::visible::visible;

use super::labels::Labels;
use super::{escaped, image};
use crate::markup::{self, Language};

/// The HTML that a cell may bring along; anything else is shown as text.
const ALLOWED: [&str; 7] = [
    "<details>",
    "</details>",
    "<summary>",
    "</summary>",
    "<br>",
    "<sub>",
    "</sub>",
];

/// Where a link may lead: what it does when it is followed is to open a page or a
/// letter.
const SCHEMES: [&str; 3] = ["http", "https", "mailto"];

/// The longest formula that is read, in bytes, and the deepest nesting of its
/// brackets.
const LONGEST_FORMULA: usize = 10_000;
const DEEPEST_FORMULA: usize = 50;

/// Markdown as HTML. Images come from `folder`, if one is given, or are attached.
///
/// # Errors
/// Mathematics that cannot be read, a reference or citation without a target,
/// an image that may not be shown.
pub fn html(
    source: &str,
    labels: &mut Labels,
    folder: Option<&Path>,
    attachments: &Value,
) -> Result<String, String> {
    let source = cited(&visible(source), labels)?;
    let options = Options::ENABLE_MATH
        | Options::ENABLE_TABLES
        | Options::ENABLE_FOOTNOTES
        | Options::ENABLE_STRIKETHROUGH
        | Options::ENABLE_HEADING_ATTRIBUTES;
    let converter =
        LatexToMathML::new(MathCoreConfig::default()).map_err(|error| format!("{error:?}"))?;
    let mut events = Vec::new();
    // Words of the reference that is open, and where its own text would start.
    let mut reference: Option<(String, usize)> = None;
    // Links that are open, and whether each leads anywhere.
    let mut links = Vec::new();
    for event in Parser::new_ext(&source, options) {
        match event {
            Event::InlineMath(latex) => {
                events.push(mathematics(&converter, &latex, MathDisplay::Inline)?);
            }
            Event::DisplayMath(latex) => {
                events.push(mathematics(&converter, &latex, MathDisplay::Block)?);
            }
            Event::Html(text) | Event::InlineHtml(text) => events.push(permitted(&text)),
            // A heading may have a name to be referred to, and nothing else.
            Event::Start(Tag::Heading { level, id, .. }) => {
                events.push(Event::Start(Tag::Heading {
                    level,
                    id: id.filter(|id| is_name(id)),
                    classes: vec![],
                    attrs: vec![],
                }));
            }
            Event::Start(Tag::Link {
                link_type,
                dest_url,
                title,
                id,
            }) => {
                let may_lead = leads(&dest_url);
                links.push(may_lead);
                if may_lead {
                    reference = labels
                        .reference(&dest_url)?
                        .map(|words| (words, events.len() + 1));
                    events.push(Event::Start(Tag::Link {
                        link_type,
                        dest_url,
                        title,
                        id,
                    }));
                }
            }
            Event::End(TagEnd::Link) => {
                // The words between the brackets are for a front end, which has no numbers.
                if let Some((words, start)) = reference.take() {
                    events.truncate(start);
                    events.push(Event::Text(words.into()));
                }
                if links.pop() == Some(true) {
                    events.push(Event::End(TagEnd::Link));
                } else {
                    events.push(Event::Text(" (a link that is left out)".into()));
                }
            }
            Event::Start(Tag::Image {
                link_type,
                dest_url,
                title,
                id,
            }) => {
                let dest_url = image::embedded(&dest_url, folder, attachments)?.into();
                events.push(Event::Start(Tag::Image {
                    link_type,
                    dest_url,
                    title,
                    id,
                }));
            }
            other => events.push(other),
        }
    }
    let mut page = String::new();
    html::push_html(&mut page, events.into_iter());
    Ok(page)
}

/// Whether a link may be followed. A browser ignores spaces and controls in the
/// word before the colon.
fn leads(address: &str) -> bool {
    let address: String = address
        .chars()
        .filter(|letter| !letter.is_control() && !letter.is_whitespace())
        .collect();
    let before = address.find(['/', '?', '#']).unwrap_or(address.len());
    match address[..before].split_once(':') {
        Some((scheme, _)) => SCHEMES.contains(&scheme.to_ascii_lowercase().as_str()),
        None => true,
    }
}

fn is_name(text: &str) -> bool {
    let letter = |letter: char| letter.is_alphanumeric() || "-_:.".contains(letter);
    text.len() <= 100 && text.chars().all(letter)
}

fn mathematics<'e>(
    converter: &LatexToMathML,
    latex: &str,
    display: MathDisplay,
) -> Result<Event<'e>, String> {
    let beginning: String = latex.chars().take(80).collect();
    if latex.len() > LONGEST_FORMULA || depth(latex) > DEEPEST_FORMULA {
        return Err(format!(
            "mathematics \"{beginning}\" is too long or nested too deeply to be shown: at most \
             {LONGEST_FORMULA} bytes and {DEEPEST_FORMULA} brackets within each other"
        ));
    }
    let result = converter
        .convert_with_local_state(latex, display)
        .map_err(|error| format!("mathematics \"{beginning}\" cannot be read: {error}"))?;
    let mathml = markup::clean(&result.mathml, Language::Mathematics)
        .ok_or_else(|| format!("mathematics \"{beginning}\" cannot be shown"))?;
    Ok(Event::InlineHtml(mathml.into()))
}

/// How deeply the brackets of a formula are nested.
fn depth(latex: &str) -> usize {
    let (mut depth, mut deepest) = (0_usize, 0);
    for letter in latex.chars() {
        match letter {
            '{' => depth += 1,
            '}' => depth = depth.saturating_sub(1),
            _ => {}
        }
        deepest = deepest.max(depth);
    }
    deepest
}

fn permitted<'e>(text: &str) -> Event<'e> {
    let mut rest = text;
    let mut html = String::new();
    while let Some(start) = rest.find('<') {
        html.push_str(&escaped(&rest[..start]));
        rest = &rest[start..];
        if let Some(tag) = ALLOWED.iter().find(|tag| rest.starts_with(**tag)) {
            html.push_str(tag);
            rest = &rest[tag.len()..];
        } else {
            html.push_str("&lt;");
            rest = &rest[1..];
        }
    }
    html.push_str(&escaped(rest));
    Event::InlineHtml(CowStr::from(html))
}

/// Citations `[@key]` as links to the list of references.
fn cited(source: &str, labels: &mut Labels) -> Result<String, String> {
    let mut text = String::new();
    let mut rest = source;
    while let Some(start) = rest.find("[@") {
        let (before, citation) = rest.split_at(start);
        text.push_str(before);
        let Some(end) = citation.find(']') else {
            return Err(format!(
                "a citation is not closed: \"{}\"",
                citation.lines().next().unwrap_or_default()
            ));
        };
        let number = labels.cite(citation[2..end].trim())?;
        text.push_str(&format!("[\\[{number}\\]](#ref-{number})"));
        rest = &citation[end + 1..];
    }
    text.push_str(rest);
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(source: &str) -> Result<String, String> {
        html(
            source,
            &mut Labels::default(),
            Some(Path::new(".")),
            &Value::Null,
        )
    }

    #[test]
    fn mathematics_becomes_mathml() {
        assert!(page("a $\\frac{a}{Z}$").unwrap().contains("<mfrac>"));
        assert!(page("$\\frac{a}$").is_err());
    }

    #[test]
    fn scripts_are_shown_not_run() {
        assert!(
            !page("<script>alert(1)</script>\n\na <img src=x onerror=y>")
                .unwrap()
                .contains("<script")
        );
        assert!(
            page("<details><summary>more</summary>\n\ntext\n\n</details>")
                .unwrap()
                .contains("<details>")
        );
    }

    #[test]
    fn an_unresolved_reference_or_source_is_an_error() {
        assert!(
            page("see [](#eq:nowhere)")
                .unwrap_err()
                .contains("eq:nowhere")
        );
        assert!(
            page("see [@nobody-1900]")
                .unwrap_err()
                .contains("nobody-1900")
        );
        assert!(
            page("see [@si-brochure]")
                .unwrap()
                .contains("href=\"#ref-1\"")
        );
    }

    #[test]
    fn nothing_is_loaded_from_the_network() {
        assert!(
            page("![x](https://example.org/x.png)")
                .unwrap_err()
                .contains("network")
        );
    }
}
