//! Tags of cells.

/// The cell's `let` lines are inputs that `--set` may change.
pub const INPUTS: &str = "inputs";
/// A cell the runner put after the inputs: the values that were set.
pub const APPLIED_INPUTS: &str = "applied-inputs";
/// The cell may write to standard error.
pub const ALLOW_STDERR: &str = "allow-stderr";
/// The cell is meant to fail (the tag Jupyter's own tools know).
pub const FAILS: &str = "raises-exception";
/// The cell is the worked answer of an exercise.
pub const WORKED_ANSWER: &str = "worked-answer";

/// All of them.
const ALL: [&str; 5] = [INPUTS, APPLIED_INPUTS, ALLOW_STDERR, FAILS, WORKED_ANSWER];

/// Why a tag is not one of ours, if it is not: one letter wrong, and an answer
/// would not be folded, or a cell that has to fail could pass.
pub(crate) fn problem(tag: &str) -> Option<String> {
    if ALL.contains(&tag) {
        return None;
    }
    let nearest = ALL
        .iter()
        .min_by_key(|own| strsim::damerau_levenshtein(own, tag))
        .unwrap_or(&INPUTS);
    Some(format!(
        "unknown tag \"{tag}\"; the nearest is \"{nearest}\", and all are {}",
        ALL.join(", ")
    ))
}
