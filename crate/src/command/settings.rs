//! `--set`: values of a specification given on the command line.

use std::path::PathBuf;

use slewbook::stage::Edit;
use toml_edit::{DocumentMut, InlineTable, Item, Key, Table, TableLike, Value};

use super::Failure;

/// The specification that a command reads, and what is set in it.
#[derive(Default)]
pub struct Source {
    pub file: Option<PathBuf>,
    pub settings: Vec<Setting>,
}

/// A value for a key of the specification.
pub struct Setting {
    /// As it was typed.
    pub typed: String,
    path: Vec<Key>,
    value: Value,
}

impl Source {
    /// Takes the value of a `--set`.
    pub fn set(&mut self, typed: &str) -> Result<(), Failure> {
        let setting = Setting::read(typed)?;
        if let Some(own) = self.settings.iter().find(|own| own.key() == setting.key()) {
            return Err(Failure::Input(format!(
                "slewbook: --set gives {} twice, `{}` and `{typed}`; give it once",
                setting.key(),
                own.typed
            )));
        }
        self.settings.push(setting);
        Ok(())
    }
}

impl Setting {
    fn read(typed: &str) -> Result<Self, Failure> {
        let refused = |why: String| {
            Failure::Input(format!(
                "slewbook: --set `{typed}`: {why}; expected a key, = and a value, such as --set \
                 'stage.inductance=0.81 uH'"
            ))
        };
        let (key, text) = typed
            .split_once('=')
            .ok_or_else(|| refused("there is no = in it".to_owned()))?;
        let path = Key::parse(key.trim())
            .map_err(|_| refused(format!("`{}` is no dotted key", key.trim())))?;
        // Written anew, so that no blanks come along.
        let path = path.iter().map(|key| Key::new(key.get())).collect();
        let text = text.trim();
        if text.is_empty() {
            return Err(refused("there is no value after =".to_owned()));
        }
        let value = match text.parse::<Value>() {
            Ok(
                value @ (Value::Integer(_)
                | Value::Float(_)
                | Value::Boolean(_)
                | Value::String(_)
                | Value::Array(_)
                | Value::InlineTable(_)),
            ) => value,
            Err(_) if text.starts_with(['{', '[']) => {
                return Err(refused(format!("the value `{text}` is not valid TOML")));
            }
            _ => Value::from(text),
        };
        Ok(Self {
            typed: typed.to_owned(),
            path,
            value: value.decorated("", ""),
        })
    }

    /// The key, dotted.
    pub fn key(&self) -> String {
        let keys = self.path.iter().map(|key| key.display_repr());
        keys.collect::<Vec<_>>().join(".")
    }

    /// Whether it chooses the parts file.
    pub fn is_of_parts(&self) -> bool {
        self.path.first().is_some_and(|key| key.get() == "parts")
    }

    /// Whether a problem with a key is one with this.
    pub fn concerns(&self, key: &str) -> bool {
        let own = self.key();
        key.strip_prefix(own.as_str())
            .is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
    }

    /// What a specification is told of it.
    pub fn edit(&self) -> Edit {
        Edit {
            key: self.key(),
            value: self.value.to_string(),
        }
    }
}

/// The text of a specification with values set; what is no TOML stays as it is, for the
/// reader to refuse. `parts` is the text of the parts file: what a part supplies can be
/// changed too.
pub fn apply<'s>(
    source: String,
    settings: impl Iterator<Item = &'s Setting>,
    parts: Option<&str>,
) -> Result<String, Failure> {
    let mut settings = settings.peekable();
    if settings.peek().is_none() {
        return Ok(source);
    }
    let Ok(mut document) = source.parse::<DocumentMut>() else {
        return Ok(source);
    };
    let parts = parts.and_then(|text| text.parse::<DocumentMut>().ok());
    for setting in settings {
        let found = put(document.as_table_mut(), setting, 0, parts.as_ref());
        found
            .map_err(|why| Failure::Input(format!("slewbook: --set `{}`: {why}", setting.typed)))?;
    }
    Ok(document.to_string())
}

/// Puts a value in its place below a table, which is `depth` keys below the root.
fn put(
    table: &mut dyn TableLike,
    setting: &Setting,
    depth: usize,
    parts: Option<&DocumentMut>,
) -> Result<(), String> {
    let key = &setting.path[depth];
    if depth + 1 == setting.path.len() {
        let mut value = setting.value.clone();
        // The comment behind a value stays.
        if let Some(Item::Value(own)) = table.get(key) {
            *value.decor_mut() = own.decor().clone();
        }
        table.insert(key, Item::Value(value));
        return Ok(());
    }
    if !table.contains_key(key) {
        let supplied = parts.and_then(|parts| supplied(table, &setting.path[..=depth], parts));
        // A table in a line has no place for one with a heading.
        let below = match supplied {
            Some(item) => item,
            None if depth == 0 => Item::Table(Table::new()),
            None => Item::Value(Value::InlineTable(InlineTable::new())),
        };
        table.insert(key, below);
    }
    let below = table.get_mut(key).and_then(Item::as_table_like_mut);
    let below = below.ok_or_else(|| {
        let keys: Vec<_> = setting.path[..=depth].iter().map(Key::get).collect();
        format!(
            "{} is no table, and has no {}; set it as a whole",
            keys.join("."),
            setting.path[depth + 1].get()
        )
    })?;
    put(below, setting, depth + 1, parts)
}

/// What the part that a table names supplies for the last key of a path.
fn supplied(table: &dyn TableLike, path: &[Key], parts: &DocumentMut) -> Option<Item> {
    let kind = match path.first()?.get() {
        "transistors" => "transistor",
        "capacitors" => "capacitor",
        own => own,
    };
    let part = table.get("part")?.as_str()?;
    let supplied = parts.get(kind)?.get(part)?.get(path.last()?.get())?;
    supplied.clone().into_value().ok().map(Item::Value)
}
