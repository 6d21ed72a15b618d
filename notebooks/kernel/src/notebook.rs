//! Notebook files (nbformat 4), read and written without losing what is not understood.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::{Map, Value, json};

use super::failure::Failure;
use super::session::{Bundle, Outcome};

/// Tags that the runner understands.
pub mod tag {
    /// The cell's `let` lines are inputs that `--set` may change.
    pub const INPUTS: &str = "inputs";
    /// A cell the runner put after the inputs: the values that were set.
    pub const APPLIED_INPUTS: &str = "applied-inputs";
    /// The cell may write to standard error.
    pub const ALLOW_STDERR: &str = "allow-stderr";
    /// The cell is meant to fail (the tag Jupyter's own tools know).
    pub const FAILS: &str = "raises-exception";
    /// The cell is the worked answer of an exercise.
    pub const WORKED_ANSWER: &str = "worked-answer";
}

/// A notebook file.
#[derive(Clone, Debug)]
pub struct Notebook {
    path: PathBuf,
    json: Value,
    indent: String,
}

impl Notebook {
    /// Reads a notebook; an older minor version of the format is raised to 4.5.
    ///
    /// # Errors
    /// Not readable, not a notebook, another major version of the format.
    pub fn read(path: &Path) -> Result<Self, String> {
        let place = path.display();
        let text = fs::read_to_string(path).map_err(|error| format!("{place}: {error}"))?;
        let json: Value = serde_json::from_str(&text)
            .map_err(|error| format!("{place}: not a notebook: {error}"))?;
        let mut notebook = Self {
            path: path.to_owned(),
            json,
            indent: indent_of(&text),
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
        if !notebook.json["cells"].is_array() {
            return Err(format!("{place}: not a notebook: no list \"cells\""));
        }
        notebook.give_ids();
        Ok(notebook)
    }

    /// Where it was read from.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The folder its cells run in.
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
    pub fn cells(&self) -> Vec<Cell<'_>> {
        self.json["cells"]
            .as_array()
            .into_iter()
            .flatten()
            .map(Cell)
            .collect()
    }

    /// Puts what a cell gave into it.
    pub fn set_outputs(&mut self, index: usize, count: u64, outputs: Vec<Value>) {
        let cell = &mut self.json["cells"][index];
        cell["execution_count"] = json!(count);
        cell["outputs"] = Value::Array(outputs);
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
            cells.insert(index, cell);
        }
    }

    /// Takes away the cells with a tag.
    pub fn remove_tagged(&mut self, tag: &str) {
        if let Some(cells) = self.json["cells"].as_array_mut() {
            cells.retain(|cell| !Cell(cell).has_tag(tag));
        }
    }

    /// The file's text, laid out as it was.
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

    /// Writes the notebook, whole or not at all.
    ///
    /// # Errors
    /// No write access, no room.
    pub fn write(&self, path: &Path) -> Result<(), String> {
        let fail = |error: std::io::Error| format!("{}: {error}", path.display());
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let part = path.with_file_name(format!(".{name}.part"));
        fs::write(&part, self.text()).map_err(fail)?;
        fs::rename(&part, path).map_err(fail)
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
            if cell["id"].is_null() {
                let hash = super::slot::hash(format!("{index}{}", Cell(cell).source()).as_bytes());
                cell["id"] = json!(hash[..8]);
            }
        }
    }
}

/// A cell of a notebook.
#[derive(Clone, Copy, Debug)]
pub struct Cell<'a>(&'a Value);

impl<'a> Cell<'a> {
    /// Its identity.
    pub fn id(self) -> &'a str {
        self.0["id"].as_str().unwrap_or_default()
    }

    /// Whether it is a code cell.
    pub fn is_code(self) -> bool {
        self.0["cell_type"] == "code"
    }

    /// Whether it is a markdown cell.
    pub fn is_markdown(self) -> bool {
        self.0["cell_type"] == "markdown"
    }

    /// Its text.
    pub fn source(self) -> String {
        joined(&self.0["source"])
    }

    /// Its outputs.
    pub fn outputs(self) -> &'a [Value] {
        self.0["outputs"].as_array().map_or(&[], Vec::as_slice)
    }

    /// Its attachments, by file name.
    pub fn attachments(self) -> &'a Value {
        &self.0["attachments"]
    }

    /// Whether it has a tag.
    pub fn has_tag(self, tag: &str) -> bool {
        self.0["metadata"]["tags"]
            .as_array()
            .is_some_and(|tags| tags.iter().any(|own| own == tag))
    }
}

/// A text that the format stores whole or as a list of lines.
pub fn joined(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(lines) => lines.iter().filter_map(Value::as_str).collect(),
        _ => String::new(),
    }
}

/// A text as the list of lines that the format stores.
fn lines(text: &str) -> Value {
    Value::Array(text.split_inclusive('\n').map(|line| json!(line)).collect())
}

/// A bundle as the `data` of an output.
pub fn data(bundle: &Bundle) -> Value {
    let entry = |(mime, content): &(String, String)| {
        let value = if is_json(mime) {
            serde_json::from_str(content).unwrap_or_else(|_| json!(content))
        } else {
            json!(content)
        };
        (mime.clone(), value)
    };
    Value::Object(bundle.iter().map(entry).collect::<Map<_, _>>())
}

fn is_json(mime: &str) -> bool {
    mime == "application/json" || mime.ends_with("+json")
}

/// A failure as an output of type `error`.
pub fn error(failure: &Failure) -> Value {
    json!({
        "ename": failure.kind.name(),
        "evalue": failure.message,
        "traceback": failure.report,
    })
}

/// A cell's outputs as the file stores them.
pub fn outputs(outcome: &Outcome, count: u64) -> Vec<Value> {
    let stream = |name: &str, text: &str| {
        (!text.is_empty())
            .then(|| json!({"name": name, "output_type": "stream", "text": lines(text)}))
    };
    let mut list: Vec<Value> = stream("stdout", &outcome.stdout)
        .into_iter()
        .chain(stream("stderr", &outcome.stderr))
        .collect();
    let last = outcome.bundles.len();
    for (index, bundle) in outcome.bundles.iter().enumerate() {
        let mut stored = data(bundle);
        for (mime, value) in stored.as_object_mut().into_iter().flatten() {
            if !is_json(mime)
                && let Some(text) = value.as_str()
            {
                *value = lines(text);
            }
        }
        list.push(if index + 1 == last {
            json!({
                "data": stored,
                "execution_count": count,
                "metadata": {},
                "output_type": "execute_result",
            })
        } else {
            json!({"data": stored, "metadata": {}, "output_type": "display_data"})
        });
    }
    if let Some(failure) = &outcome.failure {
        let mut error = error(failure);
        error["output_type"] = json!("error");
        list.push(error);
    }
    list
}

/// The indentation a file is laid out with.
fn indent_of(text: &str) -> String {
    let spaces = |line: &str| line.len() - line.trim_start_matches(' ').len();
    let width = text
        .lines()
        .skip(1)
        .map(spaces)
        .find(|width| *width > 0)
        .unwrap_or(1);
    " ".repeat(width)
}
