//! What was set in a specification before it was read.

use std::fmt;

use super::specification::Specification;

/// A key of a specification that was given another value before the text was read.
///
/// ```
/// use slewbook::stage::{DEMONSTRATION, Edit, Specification};
/// let text = DEMONSTRATION.replace("\"0.4 A\"", "\"0.6 A\"");
/// let edit = Edit {
///     key: "trip.threshold".to_owned(),
///     value: "\"0.6 A\"".to_owned(),
/// };
/// let specification = Specification::read(&text).unwrap().edited(vec![edit]);
/// let said = specification.notes.last().unwrap();
/// assert_eq!(said, "Set on the command line: trip.threshold = \"0.6 A\".");
/// ```
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Edit {
    /// The key, dotted.
    pub key: String,
    /// Its value as TOML.
    pub value: String,
}

impl fmt::Display for Edit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} = {}", self.key, self.value)
    }
}

impl Specification {
    /// The specification with a note of what was set in its text before it was read.
    #[must_use]
    pub fn edited(mut self, edits: Vec<Edit>) -> Self {
        self.edits = edits;
        let note = self.edits_in_words();
        self.notes.extend(note);
        self
    }

    /// What was set in its text before it was read, in a sentence.
    #[must_use]
    pub fn edits_in_words(&self) -> Option<String> {
        let words: Vec<_> = self.edits.iter().map(ToString::to_string).collect();
        (!words.is_empty()).then(|| format!("Set on the command line: {}.", words.join(", ")))
    }
}
