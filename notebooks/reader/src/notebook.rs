//! Notebook files (nbformat 4), read and written without losing what is not understood.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use slewbook::hash::sha256;

use crate::tag;

/// The largest file that is read as a notebook, in bytes.
pub const LARGEST: u64 = 256 << 20;

/// A notebook file.
#[derive(Clone, Debug)]
pub struct Notebook {
    path: PathBuf,
    json: Value,
    indent: String,
}

impl Notebook {
    /// Reads a notebook from the text of its file; an older minor version of the
    /// format is raised to 4.5.
    ///
    /// # Errors
    /// Not a notebook, another major version of the format, two cells with one
    /// identity, a tag that is not known.
    pub fn parse(path: &Path, text: &str) -> Result<Self, String> {
        let place = path.display();
        let json: Value = serde_json::from_str(text)
            .map_err(|error| format!("{place}: not a notebook: {error}"))?;
        let mut notebook = Self {
            path: path.to_owned(),
            json,
            indent: indent_of(text),
        };
        match notebook.json["nbformat"].as_u64() {
            Some(4) => {}
            Some(other) => {
                return Err(format!(
                    "{place}: format version {other}; expected 4: open and save it in a current Jupyter"
                ));
            }
            None => return Err(format!("{place}: not a notebook: no field \"nbformat\"")),
        }
        notebook
            .check_cells()
            .map_err(|problem| format!("{place}: {problem}"))?;
        notebook.give_ids();
        notebook
            .check_ids()
            .map_err(|problem| format!("{place}: {problem}"))?;
        Ok(notebook)
    }

    /// Where it was read from.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The folder its cells run in.
    #[must_use]
    pub fn folder(&self) -> PathBuf {
        match self.path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
            _ => PathBuf::from("."),
        }
    }

    /// Refuses a notebook of another language.
    ///
    /// # Errors
    /// The notebook names a kernel that does not run Rust.
    pub fn must_be_rust(&self) -> Result<(), String> {
        let metadata = &self.json["metadata"];
        let language = metadata["kernelspec"]["language"]
            .as_str()
            .or_else(|| metadata["language_info"]["name"].as_str());
        match language {
            Some(other) if !other.eq_ignore_ascii_case("rust") => Err(format!(
                "{}: a notebook in {other}; this program runs notebooks in Rust",
                self.path.display()
            )),
            _ => Ok(()),
        }
    }

    /// The cells.
    #[must_use]
    pub fn cells(&self) -> Vec<Cell<'_>> {
        self.json["cells"]
            .as_array()
            .into_iter()
            .flatten()
            .map(Cell)
            .collect()
    }

    /// Puts what a cell gave into it; without a number where it was not run.
    pub fn set_outputs(&mut self, index: usize, count: Option<u64>, outputs: Vec<Value>) {
        let cell = self.json["cells"].get_mut(index);
        if let Some(cell) = cell.and_then(Value::as_object_mut) {
            cell.insert("execution_count".to_owned(), json!(count));
            cell.insert("outputs".to_owned(), Value::Array(outputs));
        }
    }

    /// Puts a code cell before the one at `index`.
    pub fn insert(&mut self, index: usize, id: &str, tag: &str, source: &str) {
        let cell = json!({
            "cell_type": "code",
            "execution_count": null,
            "id": id,
            "metadata": {"tags": [tag]},
            "outputs": [],
            "source": lines(source),
        });
        if let Some(cells) = self.json["cells"].as_array_mut() {
            cells.insert(index.min(cells.len()), cell);
        }
    }

    /// Takes away the cells with a tag.
    pub fn remove_tagged(&mut self, tag: &str) {
        if let Some(cells) = self.json["cells"].as_array_mut() {
            cells.retain(|cell| !Cell(cell).has_tag(tag));
        }
    }

    /// The file's text, laid out as it was.
    #[must_use]
    pub fn text(&self) -> String {
        let mut bytes = Vec::new();
        let formatter = serde_json::ser::PrettyFormatter::with_indent(self.indent.as_bytes());
        let mut serializer = serde_json::Serializer::with_formatter(&mut bytes, formatter);
        // Writing JSON values into memory does not fail.
        let _ = serde::Serialize::serialize(&self.json, &mut serializer);
        let mut text = String::from_utf8_lossy(&bytes).into_owned();
        text.push('\n');
        text
    }

    /// Every cell is an object, with tags that are known.
    fn check_cells(&self) -> Result<(), String> {
        let Some(cells) = self.json["cells"].as_array() else {
            return Err("not a notebook: no list \"cells\"".to_owned());
        };
        for (index, value) in cells.iter().enumerate() {
            let number = index + 1;
            if !value.is_object() {
                return Err(format!("not a notebook: cell {number} is no object"));
            }
            for tag in Cell(value).tags() {
                if let Some(problem) = tag::problem(tag) {
                    return Err(format!("cell {number}: {problem}"));
                }
            }
        }
        Ok(())
    }

    /// Results belong to cells by their identity: it is one cell's alone.
    fn check_ids(&self) -> Result<(), String> {
        let mut places: BTreeMap<&str, usize> = BTreeMap::new();
        for (index, cell) in self.cells().iter().enumerate() {
            let number = index + 1;
            if cell.id().is_empty() {
                return Err(format!("cell {number}: its \"id\" is no text, or empty"));
            }
            if let Some(first) = places.insert(cell.id(), number) {
                return Err(format!(
                    "cells {first} and {number} have the same id \"{}\"; give one of them another",
                    cell.id()
                ));
            }
        }
        Ok(())
    }

    /// Format 4.5 asks for an identity of every cell.
    fn give_ids(&mut self) {
        if self.json["nbformat_minor"]
            .as_u64()
            .is_none_or(|minor| minor < 5)
        {
            self.json["nbformat_minor"] = json!(5);
        }
        let Some(cells) = self.json["cells"].as_array_mut() else {
            return;
        };
        for (index, cell) in cells.iter_mut().enumerate() {
            if cell.get("id").is_none() {
                let hash = sha256(format!("{index}{}", Cell(cell).source()));
                cell["id"] = json!(format!("{index}-{}", &hash[..8]));
            }
        }
    }
}

/// A cell of a notebook.
#[derive(Clone, Copy, Debug)]
pub struct Cell<'a>(&'a Value);

impl<'a> Cell<'a> {
    /// Its identity.
    #[must_use]
    pub fn id(self) -> &'a str {
        self.0["id"].as_str().unwrap_or_default()
    }

    /// Whether it is a code cell.
    #[must_use]
    pub fn is_code(self) -> bool {
        self.0["cell_type"] == "code"
    }

    /// Whether it is a markdown cell.
    #[must_use]
    pub fn is_markdown(self) -> bool {
        self.0["cell_type"] == "markdown"
    }

    /// Its text.
    #[must_use]
    pub fn source(self) -> String {
        joined(&self.0["source"])
    }

    /// Its outputs.
    #[must_use]
    pub fn outputs(self) -> &'a [Value] {
        self.0["outputs"].as_array().map_or(&[], Vec::as_slice)
    }

    /// Its attachments, by file name.
    #[must_use]
    pub fn attachments(self) -> &'a Value {
        &self.0["attachments"]
    }

    /// Whether it has a tag.
    #[must_use]
    pub fn has_tag(self, tag: &str) -> bool {
        self.tags().any(|own| own == tag)
    }

    /// Whether its source is not to be shown: `metadata.jupyter.source_hidden` of the
    /// notebook format, version 4.
    #[must_use]
    pub fn hides_source(self) -> bool {
        self.0["metadata"]["jupyter"]["source_hidden"] == json!(true)
    }

    fn tags(self) -> impl Iterator<Item = &'a str> {
        let tags = self.0["metadata"]["tags"].as_array();
        tags.into_iter().flatten().filter_map(Value::as_str)
    }
}

/// A text that the format stores whole or as a list of lines.
#[must_use]
pub fn joined(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(lines) => lines.iter().filter_map(Value::as_str).collect(),
        _ => String::new(),
    }
}

/// A text as the list of lines that the format stores.
#[must_use]
pub fn lines(text: &str) -> Value {
    Value::Array(text.split_inclusive('\n').map(|line| json!(line)).collect())
}

/// Whether the content of a MIME type is stored as JSON and not as text.
#[must_use]
pub fn is_json(mime: &str) -> bool {
    mime == "application/json" || mime.ends_with("+json")
}

/// More than that is no layout.
const WIDEST_INDENT: usize = 8;

/// The indentation a file is laid out with.
fn indent_of(text: &str) -> String {
    let spaces = |line: &str| line.len() - line.trim_start_matches(' ').len();
    let width = text
        .lines()
        .skip(1)
        .map(spaces)
        .find(|width| *width > 0)
        .unwrap_or(1);
    " ".repeat(width.min(WIDEST_INDENT))
}
