//! What a document carries of its own making.

use serde::Deserialize;
use serde_json::Value;

use super::VerifyError;
use super::markup::{Token, texts_of, tokens};
use crate::design::Guarantee;
use crate::identity::Program;
use crate::stage::{Edit, Specification, digest};
use crate::visible::unescaped;

/// The texts that a document was computed from, and how.
pub(super) struct Embedded {
    pub form: Form,
    pub program: Program,
    /// Whether every result has its guaranteed bound.
    pub bounds: bool,
    source: String,
    parts: Option<String>,
    edits: Vec<Edit>,
}

/// What kind of document it is.
pub(super) enum Form {
    Page,
    Data(Value),
}

/// What is read of the data; the rest is compared.
#[derive(Deserialize)]
struct Data {
    program: Program,
    settings: Vec<Edit>,
    inputs: Vec<Input>,
    results: Vec<Entry>,
}

#[derive(Deserialize)]
struct Input {
    name: String,
    text: String,
}

#[derive(Deserialize)]
struct Entry {
    not_guaranteed: Option<String>,
}

impl Embedded {
    pub fn read(text: &str) -> Result<Self, VerifyError> {
        match text
            .trim_start_matches('\u{feff}')
            .trim_start()
            .chars()
            .next()
        {
            Some('<') => Self::page(text),
            Some('{') => Self::data(text),
            _ => Err(foreign("it is neither HTML nor a JSON object")),
        }
    }

    fn data(text: &str) -> Result<Self, VerifyError> {
        let value: Value =
            serde_json::from_str(text).map_err(|error| foreign(&format!("no JSON: {error}")))?;
        let data = Data::deserialize(&value)
            .map_err(|error| foreign(&format!("a JSON object, but {error}")))?;
        let input = |name: &str| {
            let found = data.inputs.iter().find(|own| own.name == name);
            found.map(|own| own.text.clone())
        };
        let open = Guarantee::NotAsked.reason();
        Ok(Self {
            source: input("specification").ok_or_else(|| {
                foreign("a JSON object, but `inputs` has no text named `specification`")
            })?,
            parts: input("parts"),
            bounds: !data.results.iter().any(|own| own.not_guaranteed == open),
            program: data.program,
            edits: data.settings,
            form: Form::Data(value),
        })
    }

    fn page(text: &str) -> Result<Self, VerifyError> {
        let tokens = tokens(text);
        let all =
            |key: &str, value: &str| texts_of(&tokens, |tag| tag.attribute(key) == Some(value));
        let one = |id: &str| all("id", id).into_iter().next();
        let needed = |id: &str| {
            one(id).ok_or_else(|| foreign(&format!("HTML, but nothing in it has the id `{id}`")))
        };
        let mut built_from = Vec::new();
        for place in 1..=4 {
            built_from.push(needed(&format!("built-from-{place}"))?);
        }
        let built_from = std::array::from_fn(|k| built_from[k].as_str());
        let program = Program::told(&needed("program")?, built_from)
            .ok_or_else(|| foreign("HTML, but `Computed by` is no name and version"))?;
        let values = all("class", "set-value");
        let edits = all("class", "set-key").into_iter().zip(values);
        let mut found = Self {
            form: Form::Page,
            program,
            bounds: needed("bounds")? == "of every result",
            source: needed("text-of-specification")?,
            parts: one("text-of-parts"),
            edits: edits.map(|(key, value)| Edit { key, value }).collect(),
        };
        found.restore(&tokens);
        Ok(found)
    }

    /// Texts in which something was made visible, as they were: the digests tell.
    fn restore(&mut self, tokens: &[Token]) {
        let stated: Vec<String> = texts_of(tokens, |tag| tag.name == "code");
        for text in [Some(&mut self.source), self.parts.as_mut()]
            .into_iter()
            .flatten()
        {
            let restored = unescaped(text);
            if !stated.contains(&digest(text)) && stated.contains(&digest(&restored)) {
                *text = restored;
            }
        }
    }

    pub fn specification(&self) -> Result<Specification, VerifyError> {
        let read = Specification::read_with(&self.source, self.parts.as_deref());
        let specification = read.map_err(VerifyError::Specification)?;
        Ok(if self.edits.is_empty() {
            specification
        } else {
            specification.edited(self.edits.clone())
        })
    }
}

fn foreign(why: &str) -> VerifyError {
    VerifyError::Foreign(why.to_owned())
}
