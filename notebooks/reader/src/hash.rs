//! Hashes by which files are known again.

use std::fmt::Write;

use sha2::{Digest, Sha256};

/// The SHA-256 hash of bytes, as hexadecimal digits.
#[must_use]
pub fn hash(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// Bytes as hexadecimal digits.
#[must_use]
pub fn hexadecimal(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        // Writing into memory does not fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}
