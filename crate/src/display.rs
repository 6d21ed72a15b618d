//! How results show themselves in a notebook.
//!
//! The last expression of a cell is shown through its method `evcxr_display`,
//! which prints the same result in several MIME types: the front end takes the
//! richest it trusts. Mathematics goes out as LaTeX and figures as images with
//! a text alternative, since MathML and inline SVG do not survive the
//! sanitising of notebooks from elsewhere. Each bundle also carries the result
//! as data, `application/vnd.slewbook.<thing>.v1+json`: reports are made from
//! it, and a stored notebook is verified against it.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::equation::{Derivation, Numbers, Outcome, Point, Record, Term};
use crate::figure::LineFigure;
use crate::quantity::system::{Dimension, Quantity};
use crate::quantity::{BaseUnits, Dimensioned, print, print_value};

/// The names that a notebook needs in scope to write down the types of quantities.
///
/// Only those: all of typenum would take names that people give to variables.
pub mod names {
    pub use crate::quantity::system::{Dimension, Q, Quantity, Units};
    pub use uom::Kind;
    pub use uom::typenum::{B0, B1, NInt, PInt, UInt, UTerm, Z0};
}

/// One result in several MIME types.
#[derive(Clone, Debug, PartialEq)]
pub struct Bundle {
    /// What it is: the `<thing>` of its data's MIME type.
    pub thing: &'static str,
    /// As data.
    pub data: Value,
    /// As plain text.
    pub plain: String,
    /// As markdown, for documents that hold it among others.
    pub markdown: String,
    /// As one more type, such as `text/latex`, where that is what front ends show best.
    pub special: Option<(&'static str, String)>,
}

/// The lines by which the engine finds what a cell displays.
const BEGIN: &str = "EVCXR_BEGIN_CONTENT";
const END: &str = "EVCXR_END_CONTENT";

impl Bundle {
    /// The bundle as the engine reads it from standard output.
    ///
    /// ```
    /// use slewbook::display::Show;
    /// use slewbook::quantity::unit::volt;
    /// let text = (36.0 * volt).bundle().protocol();
    /// assert!(text.contains("EVCXR_BEGIN_CONTENT text/plain\n36 V\nEVCXR_END_CONTENT\n"));
    /// ```
    #[must_use]
    pub fn protocol(&self) -> String {
        let mut contents = vec![
            (
                format!("application/vnd.slewbook.{}.v1+json", self.thing),
                self.data.to_string(),
            ),
            ("text/plain".to_owned(), self.plain.clone()),
        ];
        contents.push(match &self.special {
            Some((mime, content)) => ((*mime).to_owned(), content.clone()),
            None => ("text/markdown".to_owned(), self.markdown.clone()),
        });
        let mut text = String::new();
        for (mime, content) in contents {
            // A line that looks like the end must not be one.
            let content = content.replace(END, "EVCXR END CONTENT");
            let _ = write!(text, "{BEGIN} {mime}\n{}\n{END}\n", content.trim_end());
        }
        text
    }
}

/// A result that a notebook can show.
pub trait Show {
    /// The result in several MIME types.
    fn bundle(&self) -> Bundle;
}

macro_rules! displayed {
    ($([$($generics:tt)*] $type:ty;)+) => {
        $(
            impl<$($generics)*> $type {
                /// Shows the value in a notebook: called by the engine for the last
                /// expression of a cell.
                pub fn evcxr_display(&self) {
                    print!("{}", self.bundle().protocol());
                }
            }
        )+
    };
}

displayed! {
    [Q: Dimensioned] Term<Q>;
    [Q: Dimensioned] Derivation<Q>;
    [] Record;
    [] Check;
    [] LineFigure;
    [] Table;
    [] Doc;
}

impl<D: Dimension + ?Sized> Quantity<D, BaseUnits, f64>
where
    Self: Dimensioned,
{
    /// Shows the value in a notebook: called by the engine for the last
    /// expression of a cell.
    pub fn evcxr_display(&self) {
        print!("{}", self.bundle().protocol());
    }
}

/// A value as data: number, coherent unit, and as printed.
fn value_data<Q: Dimensioned>(value: Q) -> Value {
    json!({
        "value": value.coherent(),
        "unit": Q::EXPONENTS.to_string(),
        "text": print(value),
    })
}

impl<D: Dimension + ?Sized> Show for Quantity<D, BaseUnits, f64>
where
    Self: Dimensioned,
{
    fn bundle(&self) -> Bundle {
        let plain = print(*self);
        Bundle {
            thing: "quantity",
            data: value_data(*self),
            markdown: plain.clone(),
            special: Some(("text/html", format!("<span>{}</span>", escaped(&plain)))),
            plain,
        }
    }
}

impl<Q: Dimensioned> Show for Term<Q> {
    /// The equation; its value, where it has one, is part of the data.
    fn bundle(&self) -> Bundle {
        let latex = self.latex();
        let mut data = json!({
            "name": self.text().split(" = ").next().unwrap_or_default(),
            "text": self.text(),
            "latex": latex,
            "mathml": self.mathml(),
        });
        if let Ok(value) = self.value() {
            data["result"] = value_data(value);
        }
        let display = format!("$${latex}$$");
        Bundle {
            thing: "equation",
            data,
            plain: self.text(),
            markdown: display.clone(),
            special: Some(("text/latex", display)),
        }
    }
}

impl<Q: Dimensioned> Show for Derivation<Q> {
    fn bundle(&self) -> Bundle {
        Record::bundle(self)
    }
}

impl Show for Record {
    /// The derivation at its inputs' own values: question, each formula with its
    /// numbers, conditions, result, assumptions and sources.
    fn bundle(&self) -> Bundle {
        let point = Point::own();
        match self.lines().and_then(|_| self.evaluate(&point)) {
            Ok(outcome) => derivation(self, &point, &outcome),
            Err(error) => {
                let plain = format!("{} cannot be derived: {error}", self.name());
                Bundle {
                    thing: "derivation",
                    data: json!({"name": self.name(), "reasons": [error.to_string()]}),
                    markdown: plain.clone(),
                    special: None,
                    plain,
                }
            }
        }
    }
}

fn derivation(record: &Record, point: &Point, outcome: &Outcome) -> Bundle {
    let mut plain = format!("{}\n", record.question());
    let mut markdown = format!("**{}**\n\n", record.question());
    let mut lines = Vec::new();
    for (line, value) in record
        .lines()
        .unwrap_or_default()
        .iter()
        .zip(&outcome.lines)
    {
        let exponents = line.expression().exponents();
        let result = value.map(|value| print_value(value, exponents, 4));
        // A line without a value has no numbers to show.
        let numbers = value.and(record.numbers(line, point, outcome).ok());
        let text = numbers.as_ref().map(Numbers::text);
        let latex = numbers.as_ref().map(Numbers::latex);
        let mathml = numbers.as_ref().map(Numbers::mathml);
        let _ = write!(plain, "  {}: {}", line.words(), line.text());
        if let Some(text) = &text {
            let _ = write!(plain, "\n    = {text}");
        }
        if let Some(result) = &result {
            let _ = write!(plain, " = {result}");
        }
        plain.push('\n');
        let _ = writeln!(
            markdown,
            "{}\n\n$${}$$\n",
            capitalised(line.words()),
            line.latex()
        );
        if let (Some(latex), Some(result)) = (&latex, &result) {
            let _ = writeln!(markdown, "$$\\qquad = {latex} = \\text{{{result}}}$$\n");
        }
        lines.push(json!({
            "name": line.symbol(),
            "words": line.words(),
            "text": line.text(),
            "latex": line.latex(),
            "mathml": line.mathml(),
            "numbers_text": text,
            "numbers_mathml": mathml,
            "value": value,
            "unit": exponents.to_string(),
            "result_text": result,
        }));
    }
    let mut conditions = Vec::new();
    for (condition, state) in record.conditions().iter().zip(&outcome.conditions) {
        let verdict = if state.holds { "holds" } else { "VIOLATED" };
        let _ = writeln!(plain, "  Condition {verdict}: {}", condition.words);
        let _ = writeln!(markdown, "Condition **{verdict}**: {}\n", condition.words);
        conditions.push(json!({"words": condition.words, "holds": state.holds}));
    }
    for reason in &outcome.reasons {
        let _ = writeln!(plain, "  No result: {reason}");
        let _ = writeln!(markdown, "**No result:** {reason}\n");
    }
    for assumption in record.assumptions() {
        let _ = writeln!(plain, "  Assumed: {assumption}");
        let _ = writeln!(markdown, "*Assumed:* {assumption}\n");
    }
    for source in record.sources() {
        let words = crate::source::cite(source).unwrap_or_else(|| (*source).to_owned());
        let _ = writeln!(plain, "  Source: {words}");
        let _ = writeln!(markdown, "*Source:* {words}\n");
    }
    let exponents = record.result().exponents();
    Bundle {
        thing: "derivation",
        data: json!({
            "name": record.name(),
            "question": record.question(),
            "lines": lines,
            "conditions": conditions,
            "reasons": outcome.reasons,
            "assumptions": record.assumptions(),
            "sources": record.sources(),
            "value": outcome.value,
            "unit": exponents.to_string(),
            "symbol": record.symbol(),
            "result_text": outcome.value.map(|value| print_value(value, exponents, 4)),
        }),
        plain: plain.trim_end().to_owned(),
        markdown,
        special: None,
    }
}

fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

/// A statement that holds or does not: PASS or FAIL in words, with value and limit.
///
/// A notebook with a failed check fails when it is run or verified.
///
/// ```
/// use slewbook::display::Check;
/// use slewbook::quantity::unit::{mA, volt};
/// let rating = Check::at_most("clamp voltage", 32.0 * volt, 40.0 * volt);
/// assert_eq!(rating.text, "PASS: clamp voltage: 32 V is at most 40 V");
/// let floor = Check::near("floor", 475.3 * mA, 475.0 * mA, 0.1 * mA, "an independent calculation");
/// assert!(!floor.holds);
/// ```
#[derive(Clone, Debug)]
pub struct Check {
    /// What is checked.
    pub name: String,
    /// Whether it holds.
    pub holds: bool,
    /// The verdict in words.
    pub text: String,
    data: Value,
}

impl Check {
    fn new<Q: Dimensioned>(name: &str, holds: bool, value: Q, limit: Q, words: &str) -> Self {
        let verdict = if holds { "PASS" } else { "FAIL" };
        let text = format!("{verdict}: {name}: {words}");
        let data = json!({
            "name": name,
            "ok": holds,
            "value": value.coherent(),
            "limit": limit.coherent(),
            "unit": Q::EXPONENTS.to_string(),
            "text": text,
        });
        Self {
            name: name.to_owned(),
            holds,
            text,
            data,
        }
    }

    /// `value` is at most `limit`. A value that is no number fails.
    #[must_use]
    pub fn at_most<Q: Dimensioned>(name: &str, value: Q, limit: Q) -> Self {
        let holds = value.coherent() <= limit.coherent();
        let relation = if holds { "is at most" } else { "is above" };
        let words = format!("{} {relation} {}", print(value), print(limit));
        Self::new(name, holds, value, limit, &words)
    }

    /// `value` is at least `limit`. A value that is no number fails.
    #[must_use]
    pub fn at_least<Q: Dimensioned>(name: &str, value: Q, limit: Q) -> Self {
        let holds = value.coherent() >= limit.coherent();
        let relation = if holds { "is at least" } else { "is below" };
        let words = format!("{} {relation} {}", print(value), print(limit));
        Self::new(name, holds, value, limit, &words)
    }

    /// `value` agrees with a value from elsewhere within a tolerance; `source`
    /// says where it is from.
    #[must_use]
    pub fn near<Q: Dimensioned>(
        name: &str,
        value: Q,
        expected: Q,
        tolerance: Q,
        source: &str,
    ) -> Self {
        let apart = (value.coherent() - expected.coherent()).abs();
        let holds = apart <= tolerance.coherent();
        let relation = if holds { "agrees with" } else { "differs from" };
        let exact = |q: Q| print_value(q.coherent(), Q::EXPONENTS, 6);
        let words = format!(
            "{} {relation} {} (tolerance {}; {source})",
            exact(value),
            exact(expected),
            print(tolerance)
        );
        Self::new(name, holds, value, expected, &words)
    }
}

impl Show for Check {
    fn bundle(&self) -> Bundle {
        let (verdict, rest) = self.text.split_at(4);
        Bundle {
            thing: "check",
            data: self.data.clone(),
            plain: self.text.clone(),
            markdown: format!("**{verdict}**{rest}"),
            special: None,
        }
    }
}

impl Show for LineFigure {
    /// The figure as an image with its text alternative; a figure that cannot be
    /// drawn says why.
    fn bundle(&self) -> Bundle {
        match self.svg() {
            Ok(svg) => {
                let image = base64(standalone(&svg).as_bytes());
                let html = format!(
                    "<figure><img alt=\"{}\" src=\"data:image/svg+xml;base64,{image}\">\
                     <figcaption>{}</figcaption></figure>",
                    escaped(&self.alternative),
                    escaped(&self.title)
                );
                let series: Vec<Value> = self
                    .series
                    .iter()
                    .map(|series| json!({"name": series.name, "points": series.points}))
                    .collect();
                Bundle {
                    thing: "figure",
                    data: json!({
                        "id": self.id,
                        "title": self.title,
                        "x_label": self.x_label,
                        "y_label": self.y_label,
                        "alternative": self.alternative,
                        "svg": svg,
                        "series": series,
                    }),
                    plain: format!("Figure: {}. {}", self.title, self.alternative),
                    markdown: html.clone(),
                    special: Some(("text/html", html)),
                }
            }
            Err(error) => {
                let plain = error.to_string();
                Bundle {
                    thing: "figure",
                    data: json!({"id": self.id, "reasons": [plain]}),
                    markdown: plain.clone(),
                    special: None,
                    plain,
                }
            }
        }
    }
}

/// An SVG file of its own: with its namespace and a size.
fn standalone(svg: &str) -> String {
    let sized = svg.replacen("width=\"100%\"", "width=\"760\" height=\"380\"", 1);
    if sized.contains("xmlns=") {
        sized
    } else {
        sized.replacen("<svg", "<svg xmlns=\"http://www.w3.org/2000/svg\"", 1)
    }
}

/// A table: a caption, the names of the columns, and rows of texts.
///
/// ```
/// use slewbook::display::{Show, Table};
/// let table = Table::new("Floors", &["V_in", "I_min"]).row(&["36 V", "356.5 mA"]);
/// assert!(table.bundle().plain.contains("36 V"));
/// ```
#[derive(Clone, Debug)]
pub struct Table {
    caption: String,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table without rows.
    #[must_use]
    pub fn new(caption: &str, columns: &[&str]) -> Self {
        Self {
            caption: caption.to_owned(),
            columns: columns.iter().map(|&text| text.to_owned()).collect(),
            rows: vec![],
        }
    }

    /// The same table with one more row.
    #[must_use]
    pub fn row<T: AsRef<str>>(mut self, cells: &[T]) -> Self {
        self.rows
            .push(cells.iter().map(|text| text.as_ref().to_owned()).collect());
        self
    }
}

impl Show for Table {
    fn bundle(&self) -> Bundle {
        let line = |cells: &[String]| format!("| {} |\n", cells.join(" | "));
        let mut markdown = format!("*{}*\n\n{}", self.caption, line(&self.columns));
        let _ = writeln!(markdown, "|{}", " --- |".repeat(self.columns.len()));
        let mut plain = format!("{}\n{}", self.caption, line(&self.columns));
        for row in &self.rows {
            markdown.push_str(&line(row));
            plain.push_str(&line(row));
        }
        Bundle {
            thing: "table",
            data: json!({"caption": self.caption, "columns": self.columns, "rows": self.rows}),
            plain: plain.trim_end().to_owned(),
            markdown,
            special: None,
        }
    }
}

/// Several results shown by one cell, in order.
///
/// ```
/// use slewbook::display::{Check, Doc, Show};
/// use slewbook::quantity::unit::volt;
/// let doc = Doc::new()
///     .text("The rating:")
///     .show(&Check::at_most("clamp voltage", 32.0 * volt, 40.0 * volt));
/// assert!(doc.bundle().plain.ends_with("PASS: clamp voltage: 32 V is at most 40 V"));
/// ```
#[derive(Clone, Debug, Default)]
pub struct Doc {
    items: Vec<Bundle>,
}

impl Doc {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The same with a paragraph (markdown) added.
    #[must_use]
    pub fn text(mut self, text: &str) -> Self {
        self.items.push(Bundle {
            thing: "text",
            data: json!({"markdown": text}),
            plain: text.to_owned(),
            markdown: text.to_owned(),
            special: None,
        });
        self
    }

    /// The same with a result added.
    #[must_use]
    pub fn show(mut self, item: &impl Show) -> Self {
        self.items.push(item.bundle());
        self
    }
}

impl Show for Doc {
    fn bundle(&self) -> Bundle {
        let join = |part: fn(&Bundle) -> &str| -> String {
            let parts: Vec<&str> = self
                .items
                .iter()
                .map(|item| part(item).trim_end())
                .collect();
            parts.join("\n\n")
        };
        let items: Vec<Value> = self
            .items
            .iter()
            .map(|item| json!({"thing": item.thing, "data": item.data}))
            .collect();
        Bundle {
            thing: "document",
            data: json!({"items": items}),
            plain: join(|item| &item.plain),
            markdown: join(|item| &item.markdown),
            special: None,
        }
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

/// Base 64 with the standard alphabet and padding (RFC 4648, section 4).
#[must_use]
pub fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let group = chunk
            .iter()
            .fold(0_u32, |sum, byte| (sum << 8) | u32::from(*byte))
            << (8 * (3 - chunk.len()));
        for place in 0..4 {
            let digit = (group >> (18 - 6 * place)) & 63;
            text.push(if place <= chunk.len() {
                char::from(DIGITS[digit as usize])
            } else {
                '='
            });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::base64;

    #[test]
    fn base64_test_vectors_of_rfc_4648() {
        for (text, expected) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(text.as_bytes()), expected);
        }
    }
}
