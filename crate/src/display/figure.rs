//! Figures as images with a text alternative.

use serde_json::{Value, json};

use super::{Bundle, Show, base64};
use crate::figure::LineFigure;
use crate::visible::escaped;

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

/// An SVG file of its own: with its namespace.
fn standalone(svg: &str) -> String {
    if svg.contains("xmlns=") {
        svg.to_owned()
    } else {
        svg.replacen("<svg", "<svg xmlns=\"http://www.w3.org/2000/svg\"", 1)
    }
}
