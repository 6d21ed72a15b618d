//! Which input a result came from.

use sha2::{Digest as _, Sha256};

use super::specification::Specification;

impl Specification {
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
        let lines = |text: &str| text.replace("\r\n", "\n");
        let mut hasher = Sha256::new();
        hasher.update(lines(&self.source));
        if let Some(parts) = &self.parts_source {
            hasher.update(Sha256::digest(lines(parts)));
        }
        let mut text = String::new();
        for byte in hasher.finalize() {
            text.push_str(&format!("{byte:02x}"));
        }
        text
    }
}
