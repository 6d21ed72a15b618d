//! Hashes by which texts and files are known again.

use std::fmt::Write as _;

use sha2::{Digest as _, Sha256};

/// The SHA-256 hash of bytes (FIPS 180-4), as hexadecimal digits.
///
/// ```
/// use slewbook::hash::sha256;
/// assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
/// ```
#[must_use]
pub fn sha256(bytes: impl AsRef<[u8]>) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// Bytes as hexadecimal digits, two each.
///
/// ```
/// use slewbook::hash::hexadecimal;
/// assert_eq!(hexadecimal(&[0, 10, 255]), "000aff");
/// ```
#[must_use]
pub fn hexadecimal(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        // Writing into memory does not fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}
