//! Inputs of a notebook: one tagged cell of typed defaults, changed from the
//! command line by texts with units.

use slewbook::quantity::{parse_in, parse_temperature};
use slewbook_reader::inputs::names;
use slewbook_reader::{Notebook, tag};

use super::dimension::{self, Kind};

/// An input to set: its name and the text of its value.
pub type Setting = (String, String);

/// The identity of the inputs cell, if there is something to set.
///
/// # Errors
/// No such cell, more than one, or a name it does not define.
pub fn cell(notebook: &Notebook, settings: &[Setting]) -> Result<Option<String>, String> {
    let Some((first, _)) = settings.first() else {
        return Ok(None);
    };
    let cells = notebook.cells();
    let mut tagged = cells
        .iter()
        .filter(|cell| cell.is_code() && cell.has_tag(tag::INPUTS));
    let cell = match (tagged.next(), tagged.next()) {
        (Some(cell), None) => cell,
        (None, _) => {
            return Err(format!(
                "cannot set {first}: no cell is tagged \"{}\"",
                tag::INPUTS
            ));
        }
        _ => {
            return Err(format!(
                "cannot set {first}: more than one cell is tagged \"{}\"",
                tag::INPUTS
            ));
        }
    };
    let known = names(&cell.source());
    for (name, _) in settings {
        if !known.contains(name) {
            return Err(format!(
                "unknown input \"{name}\"; this notebook's inputs are {}",
                known.join(", ")
            ));
        }
    }
    Ok(Some(cell.id().to_owned()))
}

/// The cell that gives the inputs their set values.
///
/// # Errors
/// A text that is not a value of the input's type.
pub fn applied(settings: &[Setting], variables: &[(String, String)]) -> Result<String, String> {
    let lines: Result<Vec<String>, String> = settings
        .iter()
        .map(|(name, text)| {
            let kind = variables
                .iter()
                .find(|(own, _)| own == name)
                .map(|(_, kind)| kind.as_str())
                .ok_or_else(|| format!("input \"{name}\" has no value after its cell"))?;
            statement(name, text, kind).map_err(|error| format!("input \"{name}\": {error}"))
        })
        .collect();
    Ok(lines?.join("\n"))
}

fn statement(name: &str, text: &str, kind: &str) -> Result<String, String> {
    match kind {
        "f64" | "f32" => match text.parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(format!("let {name}: {kind} = {number:?};")),
            _ => Err(format!("\"{text}\" is not a finite number")),
        },
        "bool" => match text {
            "true" | "false" => Ok(format!("let {name} = {text};")),
            _ => Err(format!("\"{text}\"; expected true or false")),
        },
        "String" => Ok(format!("let {name} = String::from({text:?});")),
        "&str" | "&'static str" => Ok(format!("let {name} = {text:?};")),
        "i8" | "i16" | "i32" | "i64" | "isize" | "u8" | "u16" | "u32" | "u64" | "usize" => {
            let unsigned = kind.starts_with('u');
            match text.parse::<i64>() {
                Ok(number) if !(unsigned && number < 0) => {
                    Ok(format!("let {name}: {kind} = {number};"))
                }
                _ => Err(format!("\"{text}\" is not a whole number of type {kind}")),
            }
        }
        _ => quantity(name, text, kind),
    }
}

fn quantity(name: &str, text: &str, kind: &str) -> Result<String, String> {
    match dimension::of(kind) {
        Some(Kind::Temperature) => {
            parse_temperature(text).map_err(|error| error.to_string())?;
            Ok(format!("let {name} = parse_temperature({text:?})?;"))
        }
        Some(Kind::Quantity(exponents)) => {
            parse_in(text, exponents).map_err(|error| error.to_string())?;
            let quantity = dimension::name(exponents).ok_or(
                "a quantity without a name of its own cannot be set; set what it is made of",
            )?;
            Ok(format!("let {name}: {quantity} = parse({text:?})?;"))
        }
        None => Err("only quantities, numbers, texts, and true or false can be set".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_checked() {
        assert_eq!(statement("n", "4", "usize").unwrap(), "let n: usize = 4;");
        assert!(statement("n", "-4", "usize").is_err());
        assert!(statement("x", "inf", "f64").is_err());
        assert!(statement("x", "3 V", "f64").is_err());
    }
}
