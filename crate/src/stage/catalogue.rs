//! The parts file: parts by name, whose keys a specification takes over.

use toml::Spanned;
use toml::de::DeTable;

use super::part;
use super::problem::{Problem, Problems};
use super::reader::{Bounds, Reader, Section};
use crate::nearest::nearest;
use crate::quantity::{Resistance, Voltage};

/// Three invented parts of each kind, for the demonstration: no such products exist.
pub const PARTS: &str = include_str!("parts.toml");

/// The kinds of part, as the file's tables are called.
const KINDS: [&str; 4] = ["transistor", "clamp", "inductor", "capacitor"];

/// The parts of a file, each read without a problem.
pub(crate) struct Catalogue<'s> {
    table: Spanned<DeTable<'s>>,
}

impl<'s> Catalogue<'s> {
    /// Reads a parts file.
    ///
    /// # Errors
    /// Every problem at once.
    pub fn read(source: &'s str) -> Result<Self, Problems> {
        let table = DeTable::parse(source).map_err(|error| {
            let span = error.span().unwrap_or(0..0);
            let message = format!("not valid TOML: {}", error.message().replace('\n', "; "));
            Problems(vec![Problem::at(source, &span, "", message)])
        })?;
        let reader = Reader::new(source);
        {
            let root = Section::root(&reader, &table);
            for kind in KINDS {
                for (_, section) in root.section(kind).tables() {
                    read_part(&section, kind);
                    section.close();
                }
            }
            root.close();
        }
        reader.finish()?;
        Ok(Self { table })
    }

    /// The names of a kind.
    pub fn names(&self, kind: &str) -> Vec<&str> {
        let table = self.kind(kind);
        table
            .into_iter()
            .flat_map(|t| t.iter())
            .map(|(name, _)| &**name.get_ref())
            .collect()
    }

    fn kind(&self, kind: &str) -> Option<&DeTable<'s>> {
        let found = self
            .table
            .get_ref()
            .iter()
            .find(|(own, _)| own.get_ref() == kind);
        found.and_then(|(_, value)| value.get_ref().as_table())
    }

    /// A part by kind and name.
    pub fn find(&self, kind: &str, name: &str) -> Option<&DeTable<'s>> {
        let found = self
            .kind(kind)?
            .iter()
            .find(|(own, _)| own.get_ref() == name);
        found.and_then(|(_, value)| value.get_ref().as_table())
    }
}

/// Checks a parts file, by itself.
///
/// # Errors
/// Every problem at once, with line and column in that file.
///
/// ```
/// use slewbook::stage::{PARTS, check_parts};
/// check_parts(PARTS).unwrap();
/// let wrong = PARTS.replace("gate_charge = \"9 nC\"", "gate_charge = \"-9 nC\"");
/// let problems = check_parts(&wrong).unwrap_err().to_string();
/// assert!(problems.contains("transistor.low-resistance.gate_charge: \"-9 nC\" is out of range"));
/// ```
pub fn check_parts(source: &str) -> Result<(), Problems> {
    Catalogue::read(source).map(|_| ())
}

/// Reads every key that a part of a kind may have.
fn read_part(section: &Section, kind: &str) {
    let ohms = Bounds::from_zero(1e3);
    match kind {
        "inductor" => {
            section.quantity::<Resistance>("resistance", &ohms);
            part::read_inductor(section);
        }
        "capacitor" => {
            part::read_capacitor(section);
        }
        _ => {
            let resistance = if kind == "clamp" {
                "resistance"
            } else {
                "on_resistance"
            };
            section.quantity::<Resistance>(resistance, &ohms);
            section.curve("output_capacitance", "C");
            section.quantity::<Voltage>("rated_voltage", &Bounds::positive(1e5));
            let drop = if kind == "clamp" {
                "drop"
            } else {
                "diode_drop"
            };
            section.quantity::<Voltage>(drop, &Bounds::from_zero(100.0));
            part::read_switch(section);
        }
    }
}

/// The section with the part that it names, where it names one.
pub(crate) fn with_part<'s, 'r>(
    section: Section<'s, 'r>,
    catalogue: Option<&'r Catalogue<'s>>,
    kind: &'static str,
) -> Section<'s, 'r> {
    let Some(name) = section.text("part") else {
        return section;
    };
    let Some(catalogue) = catalogue else {
        section.problem(
            &name.span,
            "part",
            "names a part, but there is no parts file; write file = \"parts.toml\" under [parts]",
        );
        return section;
    };
    if let Some(part) = catalogue.find(kind, &name.value) {
        return section.with_part(Some(part));
    }
    let names = catalogue.names(kind);
    let shown: String = name.value.chars().take(60).collect();
    let nearest = nearest(&shown, names.iter().copied())
        .map_or_else(String::new, |own| format!("; did you mean `{own}`?"));
    let message = format!(
        "is \"{shown}\", which the parts file does not have as a {kind}{nearest} (there: {})",
        names.join(", ")
    );
    section.problem(&name.span, "part", message);
    section
}
