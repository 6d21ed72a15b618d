//! Types in the words of the field.

/// A compiler's message with the names of quantities in place of their types.
pub fn plain(message: &str) -> String {
    message.to_owned()
}
