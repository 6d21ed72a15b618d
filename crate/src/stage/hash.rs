//! Which input a result came from.

use sha2::{Digest as _, Sha256};

use super::specification::Specification;
use crate::hash::{hexadecimal, sha256};

/// A text as it was read.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Input<'s> {
    /// What it is: `specification` or `parts`.
    pub name: &'static str,
    /// SHA-256 of the text in hexadecimal, `\r\n` counted as `\n`.
    pub sha256: String,
    /// The text, with what was set in it.
    pub text: &'s str,
}

/// The text with the line ends that count.
fn lines(text: &str) -> String {
    text.replace("\r\n", "\n")
}

/// SHA-256 of a text in hexadecimal, `\r\n` counted as `\n`.
pub(crate) fn digest(text: &str) -> String {
    sha256(lines(text))
}

impl Specification {
    /// The texts that it was read from: its own, and that of the parts file where it names one.
    ///
    /// ```
    /// use slewbook::stage::{DEMONSTRATION, Specification};
    /// let specification = Specification::read(DEMONSTRATION).unwrap();
    /// let inputs = specification.inputs();
    /// assert_eq!(inputs[0].text, DEMONSTRATION);
    /// assert_eq!(inputs[0].sha256, specification.hash());
    /// ```
    #[must_use]
    pub fn inputs(&self) -> Vec<Input<'_>> {
        let own = ("specification", &self.source);
        let parts = self.parts_source.as_ref().map(|text| ("parts", text));
        let all = std::iter::once(own).chain(parts);
        let all = all.map(|(name, text)| Input {
            name,
            sha256: digest(text),
            text,
        });
        all.collect()
    }

    /// SHA-256 of the specification's text and of every file that it names, in
    /// hexadecimal. Line ends have no effect: `\r\n` counts as `\n`.
    ///
    /// Without a parts file it is the digest of the text itself; a parts file's own digest
    /// follows the text.
    ///
    /// ```
    /// use slewbook::stage::{DEMONSTRATION, Specification};
    /// let hash = |text: &str| Specification::read(text).unwrap().hash();
    /// let edited_elsewhere = DEMONSTRATION.replace('\n', "\r\n");
    /// assert_eq!(hash(DEMONSTRATION), hash(&edited_elsewhere));
    /// assert_ne!(hash(DEMONSTRATION), hash(&DEMONSTRATION.replace("0.68 uH", "0.6 uH")));
    /// ```
    #[must_use]
    pub fn hash(&self) -> String {
        let mut hasher = Sha256::new();
        hasher.update(lines(&self.source));
        if let Some(parts) = &self.parts_source {
            hasher.update(Sha256::digest(lines(parts)));
        }
        hexadecimal(&hasher.finalize())
    }
}
