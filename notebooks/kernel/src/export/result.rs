//! Results of the library, written from their data.

use serde_json::Value;

use super::escaped;
use super::labels::Labels;
use super::markdown;

const OWN: &str = "application/vnd.slewbook.";

/// The library's own result in an output: what it is, and its data.
pub fn own(data: &Value) -> Option<(&str, &Value)> {
    data.as_object()?.iter().find_map(|(mime, value)| {
        let thing = mime.strip_prefix(OWN)?.split('.').next()?;
        Some((thing, value))
    })
}

/// A result as HTML.
///
/// # Errors
/// Mathematics that cannot be read, an unknown source.
pub fn html(thing: &str, data: &Value, labels: &mut Labels) -> Result<String, String> {
    let text = |key: &str| escaped(data[key].as_str().unwrap_or_default());
    match thing {
        "document" => {
            let items = data["items"].as_array().into_iter().flatten();
            let parts: Result<Vec<String>, String> = items
                .map(|item| {
                    html(
                        item["thing"].as_str().unwrap_or_default(),
                        &item["data"],
                        labels,
                    )
                })
                .collect();
            Ok(parts?.join("\n"))
        }
        "text" => {
            let source = data["markdown"].as_str().unwrap_or_default();
            markdown::html(source, labels, std::path::Path::new("."), &Value::Null)
        }
        "equation" => Ok(numbered(thing, data, labels, mathml(data, "mathml"))),
        "derivation" => derivation(data, labels),
        "figure" => Ok(figure(data, labels)),
        "table" => Ok(table(data, labels)),
        "check" => {
            let (class, text) = (
                if data["ok"] == true { "pass" } else { "fail" },
                text("text"),
            );
            Ok(format!("<p class=\"check {class}\">{text}</p>"))
        }
        _ => Ok(format!("<p class=\"quantity\">{}</p>", text("text"))),
    }
}

/// The library's own mathematics: markup already.
fn mathml<'v>(data: &'v Value, key: &str) -> &'v str {
    data[key].as_str().unwrap_or_default()
}

/// An equation with its number, the first time it is shown.
fn numbered(thing: &str, data: &Value, labels: &Labels, mathematics: &str) -> String {
    match labels.own(thing, data) {
        Some((label, _, number)) => format!(
            "<div class=\"equation\" id=\"{}\">{mathematics}<span class=\"number\">({number})</span></div>",
            escaped(&label)
        ),
        None => format!("<div class=\"equation\">{mathematics}</div>"),
    }
}

fn derivation(data: &Value, labels: &mut Labels) -> Result<String, String> {
    let words = |value: &Value| escaped(value.as_str().unwrap_or_default());
    let each = |key: &str| data[key].as_array().cloned().unwrap_or_default();
    let mut html = format!(
        "<section class=\"derivation\"><p class=\"question\">{}</p>\n",
        words(&data["question"])
    );
    let lines = each("lines");
    for (index, line) in lines.iter().enumerate() {
        html.push_str(&format!("<p>{}</p>\n", words(&line["words"])));
        // The number belongs to the result, which stands last.
        if index + 1 == lines.len() {
            html.push_str(&numbered(
                "derivation",
                data,
                labels,
                mathml(line, "mathml"),
            ));
        } else {
            html.push_str(&format!(
                "<div class=\"equation\">{}</div>",
                mathml(line, "mathml")
            ));
        }
        if let (Some(numbers), Some(result)) = (
            line["numbers_mathml"].as_str(),
            line["result_text"].as_str(),
        ) {
            html.push_str(&format!(
                "<div class=\"equation numbers\">{numbers}<span>&nbsp;= {}</span></div>\n",
                escaped(result)
            ));
        }
    }
    for condition in each("conditions") {
        let verdict = if condition["holds"] == true {
            "Holds"
        } else {
            "VIOLATED"
        };
        html.push_str(&format!(
            "<p>Condition: {}. <strong>{verdict}.</strong></p>\n",
            words(&condition["words"])
        ));
    }
    for (key, label) in [("reasons", "No result"), ("assumptions", "Assumed")] {
        for item in each(key) {
            html.push_str(&format!("<p><em>{label}:</em> {}</p>\n", words(&item)));
        }
    }
    let mut cited = Vec::new();
    for source in each("sources") {
        let number = labels.cite(source.as_str().unwrap_or_default())?;
        cited.push(format!("<a href=\"#ref-{number}\">[{number}]</a>"));
    }
    if !cited.is_empty() {
        html.push_str(&format!("<p>Sources: {}</p>\n", cited.join(", ")));
    }
    html.push_str("</section>");
    Ok(html)
}

fn figure(data: &Value, labels: &Labels) -> String {
    let title = escaped(data["title"].as_str().unwrap_or_default());
    let (label, number) = match labels.own("figure", data) {
        Some((label, word, number)) => (escaped(&label), format!("{word} {number}: ")),
        None => (String::new(), String::new()),
    };
    format!(
        "<figure id=\"{label}\">{}<figcaption>{number}{title}</figcaption></figure>",
        data["svg"].as_str().unwrap_or_default()
    )
}

fn table(data: &Value, labels: &Labels) -> String {
    let caption = escaped(data["caption"].as_str().unwrap_or_default());
    let (label, number) = match labels.own("table", data) {
        Some((label, word, number)) => (escaped(&label), format!("{word} {number}: ")),
        None => (String::new(), String::new()),
    };
    let row = |cells: &Value, open: &str, close: &str| -> String {
        let cells = cells.as_array().into_iter().flatten();
        let cells: String = cells
            .map(|cell| {
                format!(
                    "{open}{}{close}",
                    escaped(cell.as_str().unwrap_or_default())
                )
            })
            .collect();
        format!("<tr>{cells}</tr>")
    };
    let head = row(&data["columns"], "<th scope=\"col\">", "</th>");
    let rows: String = data["rows"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|cells| row(cells, "<td>", "</td>"))
        .collect();
    format!(
        "<table id=\"{label}\"><caption>{number}{caption}</caption><thead>{head}</thead><tbody>{rows}</tbody></table>"
    )
}
