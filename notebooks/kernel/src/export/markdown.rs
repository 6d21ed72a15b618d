//! Markdown with mathematics, references and citations.

use std::path::Path;

use math_core::{LatexToMathML, MathCoreConfig, MathDisplay};
use pulldown_cmark::{CowStr, Event, Options, Parser, Tag, TagEnd, html};
use serde_json::Value;

use super::escaped;
use super::labels::Labels;
use crate::notebook;

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

/// Markdown as HTML.
///
/// # Errors
/// Mathematics that cannot be read, a reference or citation without a target,
/// an image that is not there.
pub fn html(
    source: &str,
    labels: &mut Labels,
    folder: &Path,
    attachments: &Value,
) -> Result<String, String> {
    let source = cited(source, labels)?;
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
    for event in Parser::new_ext(&source, options) {
        match event {
            Event::InlineMath(latex) => {
                events.push(mathematics(&converter, &latex, MathDisplay::Inline)?)
            }
            Event::DisplayMath(latex) => {
                events.push(mathematics(&converter, &latex, MathDisplay::Block)?)
            }
            Event::Html(text) | Event::InlineHtml(text) => events.push(permitted(&text)),
            Event::Start(Tag::Link {
                link_type,
                dest_url,
                title,
                id,
            }) => {
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
            Event::End(TagEnd::Link) => {
                // The words between the brackets are for a front end, which has no numbers.
                if let Some((words, start)) = reference.take() {
                    events.truncate(start);
                    events.push(Event::Text(words.into()));
                }
                events.push(Event::End(TagEnd::Link));
            }
            Event::Start(Tag::Image {
                link_type,
                dest_url,
                title,
                id,
            }) => {
                let dest_url = embedded(&dest_url, folder, attachments)?.into();
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

fn mathematics<'e>(
    converter: &LatexToMathML,
    latex: &str,
    display: MathDisplay,
) -> Result<Event<'e>, String> {
    let result = converter
        .convert_with_local_state(latex, display)
        .map_err(|error| format!("mathematics \"{latex}\" cannot be read: {error}"))?;
    Ok(Event::InlineHtml(result.mathml.into()))
}

fn permitted<'e>(text: &str) -> Event<'e> {
    let mut rest = text;
    let mut html = String::new();
    while let Some(start) = rest.find('<') {
        html.push_str(&escaped(&rest[..start]));
        rest = &rest[start..];
        match ALLOWED.iter().find(|tag| rest.starts_with(**tag)) {
            Some(tag) => {
                html.push_str(tag);
                rest = &rest[tag.len()..];
            }
            None => {
                html.push_str("&lt;");
                rest = &rest[1..];
            }
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

/// An image's address with its bytes in it.
fn embedded(address: &str, folder: &Path, attachments: &Value) -> Result<String, String> {
    if address.starts_with("data:") {
        return Ok(address.to_owned());
    }
    if let Some(name) = address.strip_prefix("attachment:") {
        let attached = attachments[name]
            .as_object()
            .and_then(|types| types.iter().next());
        let (mime, content) =
            attached.ok_or_else(|| format!("the image \"{name}\" is not attached to this cell"))?;
        return Ok(format!("data:{mime};base64,{}", notebook::joined(content)));
    }
    if address.contains("://") {
        return Err(format!(
            "the image {address} would be loaded from the network; keep it beside the notebook"
        ));
    }
    let kind = match Path::new(address).extension().and_then(|end| end.to_str()) {
        Some("svg") => "svg+xml",
        Some("png") => "png",
        Some("jpg" | "jpeg") => "jpeg",
        _ => {
            return Err(format!(
                "the image {address} is of an unknown kind; expected svg, png or jpg"
            ));
        }
    };
    let bytes = std::fs::read(folder.join(address))
        .map_err(|error| format!("the image {address}: {error}"))?;
    Ok(format!(
        "data:image/{kind};base64,{}",
        slewbook::display::base64(&bytes)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(source: &str) -> Result<String, String> {
        html(source, &mut Labels::default(), Path::new("."), &Value::Null)
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
