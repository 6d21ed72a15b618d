//! A notebook as one page: no scripts, nothing loaded from elsewhere.
//!
//! Two walks over the notebook: the first numbers what can be referred to
//! ([`labels`]), the second writes the page. Results are written from their
//! data, not from what a front end would show.

mod image;
mod labels;
mod markdown;
mod result;

use minijinja::{Environment, context};
use serde_json::Value;
use slewbook::hash::sha256;
use slewbook::visible::visible;

use crate::markup::{self, Language};
use crate::notebook::{self, Cell, Notebook};
use crate::{inputs, tag};
use labels::Labels;

/// The stack a page is written on: what the converter of mathematics nests, it
/// nests by calls.
const STACK: usize = 256 << 20;

/// A notebook as a page. `versions` is the hash of the file that states the
/// versions of all dependencies.
///
/// # Errors
/// Mathematics that cannot be read, a reference or citation without a target, an
/// image that may not be shown: with the cell it stands in.
pub fn page(notebook: &Notebook, versions: &str) -> Result<String, String> {
    std::thread::scope(|scope| {
        let writer = std::thread::Builder::new()
            .stack_size(STACK)
            .spawn_scoped(scope, || write(notebook, versions))
            .map_err(|error| error.to_string())?;
        writer
            .join()
            .map_err(|_| "the page cannot be written: a fault of this program".to_owned())?
    })
}

fn write(notebook: &Notebook, versions: &str) -> Result<String, String> {
    let mut labels = Labels::of(notebook)?;
    let mut body = String::new();
    let cells = notebook.cells();
    for (index, cell) in cells.iter().enumerate() {
        let html = if cell.is_markdown() {
            markdown::html(
                &cell.source(),
                &mut labels,
                Some(&notebook.folder()),
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
    environment
        .get_template("page.html")
        .and_then(|template| {
            template.render(context! {
                title => title,
                body => minijinja::Value::from_safe_string(body),
                references => labels.cited(),
                version => env!("CARGO_PKG_VERSION"),
                lock => versions,
                notebook => visible(&notebook.path().file_name().unwrap_or_default().to_string_lossy()),
                hash => sha256(notebook.text()),
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
    if !cell.hides_source() && !source.trim().is_empty() {
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
            Ok(foreign(data))
        }
    }
}

/// An output that is no result of the library: an image, or its plain text. A
/// type that is not shown here is named.
fn foreign(data: &Value) -> String {
    let plain = escaped(&notebook::joined(&data["text/plain"]));
    for mime in ["image/png", "image/jpeg"] {
        if let Some(address) = image::address(mime, &notebook::joined(&data[mime])) {
            return format!("<img src=\"{address}\" alt=\"{plain}\">");
        }
    }
    let drawing = notebook::joined(&data["image/svg+xml"]);
    if let Some(drawing) = markup::clean(&drawing, Language::Drawing) {
        return format!("<figure>{drawing}</figure>");
    }
    let types = data.as_object().into_iter().flat_map(|data| data.keys());
    let others: Vec<String> = types
        .filter(|mime| *mime != "text/plain")
        .map(|mime| escaped(mime))
        .collect();
    let mut html = String::new();
    if !others.is_empty() {
        html.push_str(&format!(
            "<p class=\"left-out\">An output is left out of this page ({}): it may run or load \
             something.</p>",
            others.join(", ")
        ));
    }
    if !plain.is_empty() {
        html.push_str(&format!("<pre>{plain}</pre>"));
    }
    html
}

/// Text as HTML, with nothing in it hidden.
#[must_use]
pub fn escaped(text: &str) -> String {
    visible(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
        .replace('\'', "&#39;")
}
