//! Tables of texts.

use std::fmt::Write as _;

use serde_json::json;

use super::{Bundle, Show};

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
