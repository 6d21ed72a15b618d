//! Results of the library, written from their data.

use serde_json::Value;

use slewbook::figure::{LineFigure, Series};
use slewbook::visible::visible;

use super::escaped;
use super::labels::Labels;
use super::markdown;
use crate::compare::OWN;
use crate::markup::{self, Language};

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
            markdown::html(source, labels, None, &Value::Null)
        }
        "equation" => Ok(numbered(
            thing,
            data,
            labels,
            &mathematics(data, "mathml", "text"),
        )),
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

/// A formula, which the data hold as markup: cleaned, or where it is no
/// mathematics, the formula as text.
fn mathematics(data: &Value, key: &str, text: &str) -> String {
    let markup = data[key].as_str().unwrap_or_default();
    markup::clean(markup, Language::Mathematics).unwrap_or_else(|| {
        format!(
            "<code>{}</code>",
            escaped(data[text].as_str().unwrap_or_default())
        )
    })
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
                &mathematics(line, "mathml", "text"),
            ));
        } else {
            html.push_str(&format!(
                "<div class=\"equation\">{}</div>",
                mathematics(line, "mathml", "text")
            ));
        }
        if let (true, Some(result)) = (
            line["numbers_mathml"].is_string(),
            line["result_text"].as_str(),
        ) {
            let numbers = mathematics(line, "numbers_mathml", "numbers_text");
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
    let drawing = drawn(data)
        .or_else(|| markup::clean(data["svg"].as_str().unwrap_or_default(), Language::Drawing))
        .unwrap_or_else(|| {
            let alternative = data["alternative"].as_str().unwrap_or_default();
            format!("<p>{}</p>", escaped(alternative))
        });
    format!("<figure id=\"{label}\">{drawing}<figcaption>{number}{title}</figcaption></figure>")
}

/// The most points of a figure that are drawn.
const MOST_POINTS: usize = 200_000;
/// The longest text in a figure that is drawn, in bytes.
const LONGEST_LABEL: usize = 4000;
/// The largest number in a figure that is drawn: beyond, it is no quantity.
const LARGEST: f64 = 1e30;

/// A figure drawn from its data, as the library draws it; none where something
/// of it is missing or beyond any figure.
fn drawn(data: &Value) -> Option<String> {
    let text = |value: &Value| {
        let text = value.as_str().filter(|text| text.len() <= LONGEST_LABEL)?;
        Some(visible(text).into_owned())
    };
    let number = |value: &Value| value.as_f64().filter(|number| number.abs() <= LARGEST);
    let mut points_left = MOST_POINTS;
    let mut series = vec![];
    for own in data["series"].as_array()? {
        let points = own["points"].as_array()?;
        points_left = points_left.checked_sub(points.len())?;
        let point = |point: &Value| {
            let y = &point[1];
            let y = if y.is_null() { None } else { Some(number(y)?) };
            Some((number(&point[0])?, y))
        };
        series.push(Series {
            name: text(&own["name"])?,
            points: points.iter().map(point).collect::<Option<_>>()?,
        });
    }
    let figure = LineFigure {
        id: text(&data["id"])?,
        title: text(&data["title"])?,
        x_label: text(&data["x_label"])?,
        y_label: text(&data["y_label"])?,
        alternative: text(&data["alternative"])?,
        series,
    };
    // The library's own drawing holds the labels: it is cleaned like any other.
    markup::clean(&figure.svg().ok()?, Language::Drawing)
}

fn table(data: &Value, labels: &Labels) -> String {
    let caption = escaped(data["caption"].as_str().unwrap_or_default());
    let (label, number) = match labels.own("table", data) {
        Some((label, word, number)) => (escaped(&label), format!("{word} {number}: ")),
        None => (String::new(), String::new()),
    };
    let row = |cells: &Value, open: &str, close: &str| -> String {
        let cells = cells.as_array().into_iter().flatten();
        let cells = cells.fold(String::new(), |cells, cell| {
            let text = escaped(cell.as_str().unwrap_or_default());
            cells + open + &text + close
        });
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
