//! Images within the page.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::notebook;

/// The kinds of images that are shown: the end of a file's name, and the type.
const KINDS: [(&str, &str); 4] = [
    ("png", "image/png"),
    ("jpg", "image/jpeg"),
    ("jpeg", "image/jpeg"),
    ("svg", "image/svg+xml"),
];

/// The largest image that is shown, in bytes.
const LARGEST: u64 = 32 << 20;

/// The address of an image of this type with these base 64 digits in it; none
/// where there are none, or something else is among them.
pub fn address(mime: &str, content: &str) -> Option<String> {
    let content: String = content.split_whitespace().collect();
    let digits = content.trim_end_matches('=');
    let digit = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'+' || byte == b'/';
    let sound = !digits.is_empty() && digits.bytes().all(digit);
    let known = KINDS.iter().any(|(_, own)| *own == mime);
    (sound && known).then(|| format!("data:{mime};base64,{content}"))
}

/// An image's address with its bytes in it.
///
/// # Errors
/// An image that is not there, outside the folder, no regular file, too large, or
/// of an unknown kind.
pub fn embedded(
    written: &str,
    folder: Option<&Path>,
    attachments: &Value,
) -> Result<String, String> {
    let beginning: String = written.chars().take(80).collect();
    if let Some(rest) = written.strip_prefix("data:") {
        let (mime, content) = rest.split_once(";base64,").unwrap_or((rest, ""));
        return address(mime, content).ok_or_else(|| {
            format!(
                "the image {beginning} is of an unknown kind; expected png, jpeg or svg as base 64"
            )
        });
    }
    if let Some(name) = written.strip_prefix("attachment:") {
        let attached = attachments[name]
            .as_object()
            .and_then(|types| types.iter().next());
        let (mime, content) = attached
            .ok_or_else(|| format!("the image \"{beginning}\" is not attached to this cell"))?;
        return address(mime, &notebook::joined(content)).ok_or_else(|| {
            format!("the image \"{beginning}\" is attached as no png, jpeg or svg in base 64")
        });
    }
    if written.contains("//") {
        return Err(format!(
            "the image {beginning} would be loaded from the network; keep it beside the notebook"
        ));
    }
    let end = Path::new(written).extension().and_then(|end| end.to_str());
    let kind = KINDS.iter().find(|(own, _)| Some(*own) == end);
    let Some((_, mime)) = kind else {
        return Err(format!(
            "the image {beginning} is of an unknown kind; expected svg, png or jpg"
        ));
    };
    let folder = folder.ok_or_else(|| {
        format!(
            "the image {beginning} stands in a result, which has no files; show it in a text cell"
        )
    })?;
    let bytes =
        read(folder, written).map_err(|problem| format!("the image {beginning}: {problem}"))?;
    Ok(format!(
        "data:{mime};base64,{}",
        slewbook::display::base64(&bytes)
    ))
}

/// The bytes of a regular file in a folder or below it, wherever links lead.
fn read(folder: &Path, name: &str) -> Result<Vec<u8>, String> {
    let fail = |error: std::io::Error| error.to_string();
    let folder = folder.canonicalize().map_err(fail)?;
    let file = folder.join(name).canonicalize().map_err(fail)?;
    if !file.starts_with(&folder) {
        return Err("it is outside the notebook's folder; keep it beside the notebook".to_owned());
    }
    let found = fs::metadata(&file).map_err(fail)?;
    if !found.is_file() {
        return Err("it is no regular file".to_owned());
    }
    if found.len() > LARGEST {
        return Err(format!("it is larger than {LARGEST} bytes"));
    }
    fs::read(&file).map_err(fail)
}
