//! What a browser would do with a page, from the tokens it sees in it (the
//! tokenizer of the HTML standard, section 13.2.5).

use html5gum::{Token, Tokenizer};

/// Elements that run, load, or lead elsewhere by themselves.
const FORBIDDEN: [&str; 24] = [
    "script",
    "iframe",
    "frame",
    "frameset",
    "object",
    "embed",
    "applet",
    "link",
    "base",
    "form",
    "input",
    "button",
    "textarea",
    "select",
    "audio",
    "video",
    "source",
    "track",
    "image",
    "use",
    "foreignobject",
    "animate",
    "set",
    "feimage",
];

/// Attributes that load or lead.
const ADDRESSES: [&str; 14] = [
    "src",
    "href",
    "xlink:href",
    "srcset",
    "action",
    "formaction",
    "data",
    "poster",
    "background",
    "cite",
    "ping",
    "longdesc",
    "manifest",
    "icon",
];

/// Everything in a page that runs a script, loads something, or opens an address
/// that is none of a page or a letter. Empty where the page is what it promises.
pub fn dangers(page: &str) -> Vec<String> {
    let mut found = vec![];
    let mut policy = false;
    for token in Tokenizer::new(page) {
        let Ok(Token::StartTag(tag)) = token else {
            continue;
        };
        let name = text(&tag.name);
        if FORBIDDEN.contains(&name.as_str()) {
            found.push(format!("<{name}>"));
        }
        for (attribute, value) in &tag.attributes {
            let (attribute, value) = (text(attribute), text(value));
            let stripped: String = value
                .chars()
                .filter(|letter| !letter.is_control() && !letter.is_whitespace())
                .collect::<String>()
                .to_ascii_lowercase();
            policy |= name == "meta" && value.contains("default-src 'none'");
            let image = name == "img" && attribute == "src" && stripped.starts_with("data:image/");
            let refreshes = name == "meta" && stripped == "refresh";
            let leads =
                ADDRESSES.contains(&attribute.as_str()) && !image && !may_lead(&name, &stripped);
            let styled =
                attribute == "style" && (stripped.contains("url") || stripped.contains("import"));
            if attribute.starts_with("on")
                || refreshes
                || leads
                || styled
                || (stripped.contains("url(") && !is_plain(&name, &attribute))
            {
                found.push(format!("<{name} {attribute}={value:?}>"));
            }
        }
    }
    if !policy {
        found.push("no content security policy".to_owned());
    }
    found
}

/// Whether an attribute is an address that a person follows, or a text: neither is read as
/// a style.
fn is_plain(element: &str, attribute: &str) -> bool {
    (element == "a" && attribute == "href") || ["alt", "title"].contains(&attribute)
}

/// Only a link that a person follows may lead anywhere.
fn may_lead(element: &str, address: &str) -> bool {
    let scheme = address
        .split(['/', '?', '#'])
        .next()
        .and_then(|before| before.split_once(':'))
        .map(|(scheme, _)| scheme);
    element == "a" && scheme.is_none_or(|scheme| ["http", "https", "mailto"].contains(&scheme))
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}
