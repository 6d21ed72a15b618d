//! A notebook as one page: no scripts, nothing loaded from elsewhere.
//!
//! Two walks over the notebook: the first numbers what can be referred to
//! ([`labels`]), the second writes the page. Results are written from their
//! data, not from what a front end would show.

mod labels;
mod markdown;
mod result;

use std::path::Path;

use minijinja::{Environment, context};
use serde_json::Value;

use super::notebook::{self, Cell, Notebook, tag};
use super::{inputs, slot};
use labels::Labels;

/// A code cell whose code is left out of the page.
const HIDE_CODE: &str = "hide-input";

/// Writes a notebook as a page.
///
/// # Errors
/// A file that cannot be read or written, mathematics that cannot be read, a
/// reference or citation without a target: with the cell it stands in.
pub fn export(path: &Path, output: &Path) -> Result<(), String> {
    let notebook = Notebook::read(path)?;
    let page = page(&notebook).map_err(|error| format!("{}: {error}", path.display()))?;
    std::fs::write(output, page).map_err(|error| format!("{}: {error}", output.display()))
}

fn page(notebook: &Notebook) -> Result<String, String> {
    let mut labels = Labels::of(notebook)?;
    let mut body = String::new();
    let cells = notebook.cells();
    for (index, cell) in cells.iter().enumerate() {
        let html = if cell.is_markdown() {
            markdown::html(
                &cell.source(),
                &mut labels,
                &notebook.folder(),
                cell.attachments(),
            )
        } else if cell.is_code() {
            code_cell(*cell, &mut labels)
        } else {
            Ok(String::new())
        };
        let html = html.map_err(|error| format!("cell {} ({}): {error}", index + 1, cell.id()))?;
        if cell.has_tag(tag::WORKED_ANSWER) {
            body.push_str(&format!(
                "<details class=\"answer\"><summary>Worked answer</summary>{html}</details>\n"
            ));
        } else {
            body.push_str(&html);
            body.push('\n');
        }
    }
    let mut environment = Environment::new();
    // The body is markup already; every other value is escaped.
    environment
        .add_template("page.html", include_str!("page.html"))
        .map_err(|error| error.to_string())?;
    let title = title(notebook);
    let lock = slot::lock_hash().map_err(|error| format!("Cargo.lock: {error}"))?;
    environment
        .get_template("page.html")
        .and_then(|template| {
            template.render(context! {
                title => title,
                body => minijinja::Value::from_safe_string(body),
                references => labels.cited(),
                version => env!("CARGO_PKG_VERSION"),
                lock => lock,
                notebook => notebook.path().file_name().unwrap_or_default().to_string_lossy(),
                hash => slot::hash(notebook.text().as_bytes()),
                inputs => input_values(notebook),
            })
        })
        .map_err(|error| error.to_string())
}

fn title(notebook: &Notebook) -> String {
    let heading = |cell: &Cell| {
        cell.source()
            .lines()
            .find_map(|line| line.strip_prefix("# ").map(str::to_owned))
    };
    let name = || {
        notebook
            .path()
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned()
    };
    notebook
        .cells()
        .iter()
        .filter(|cell| cell.is_markdown())
        .find_map(heading)
        .unwrap_or_else(name)
}

/// The inputs as the notebook states them, with what `--set` changed.
fn input_values(notebook: &Notebook) -> Vec<String> {
    let cells = notebook.cells();
    let stated = cells
        .iter()
        .filter(|cell| cell.has_tag(tag::INPUTS) || cell.has_tag(tag::APPLIED_INPUTS));
    stated
        .flat_map(|cell| {
            let source = cell.source();
            let lines = source
                .lines()
                .filter(|line| !inputs::names(line).is_empty());
            lines.map(|line| line.trim().to_owned()).collect::<Vec<_>>()
        })
        .collect()
}

fn code_cell(cell: Cell, labels: &mut Labels) -> Result<String, String> {
    let mut html = String::new();
    let source = cell.source();
    if !cell.has_tag(HIDE_CODE) && !source.trim().is_empty() {
        html.push_str(&format!(
            "<details class=\"code\"><summary>Code</summary><pre><code>{}</code></pre></details>\n",
            escaped(&source)
        ));
    }
    for output in cell.outputs() {
        html.push_str(&self::output(output, labels)?);
        html.push('\n');
    }
    Ok(html)
}

fn output(output: &Value, labels: &mut Labels) -> Result<String, String> {
    let text = |value: &Value| escaped(&notebook::joined(value));
    match output["output_type"].as_str() {
        Some("stream") => Ok(format!(
            "<pre class=\"stream\">{}</pre>",
            text(&output["text"])
        )),
        Some("error") => {
            let lines: Vec<&str> = output["traceback"]
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(Value::as_str)
                .collect();
            Ok(format!(
                "<pre class=\"error\">{}: {}</pre>",
                escaped(output["ename"].as_str().unwrap_or("error")),
                escaped(&lines.join("\n"))
            ))
        }
        _ => {
            let data = &output["data"];
            if let Some((thing, own)) = result::own(data) {
                return result::html(thing, own, labels);
            }
            let plain = &data["text/plain"];
            for (mime, kind) in [("image/png", "png"), ("image/jpeg", "jpeg")] {
                let image = notebook::joined(&data[mime]);
                if !image.is_empty() {
                    let image: String = image.split_whitespace().collect();
                    return Ok(format!(
                        "<img src=\"data:image/{kind};base64,{image}\" alt=\"{}\">",
                        text(plain)
                    ));
                }
            }
            Ok(format!("<pre>{}</pre>", text(plain)))
        }
    }
}

/// Text as HTML.
pub fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
