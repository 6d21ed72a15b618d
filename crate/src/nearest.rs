//! The known name that a text was probably meant to be.

/// Characters of a text beyond which it is no misspelt name.
const LONGEST: usize = 60;

/// The name that takes the fewest edits to become the text, the first in the
/// alphabet of several.
pub(crate) fn nearest<'n>(text: &str, names: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    ranked(text, names).map(|(_, name)| name)
}

/// The nearest name, where at most half of the text would have to change: beyond
/// that another name was meant.
pub(crate) fn misspelt<'n>(
    text: &str,
    names: impl IntoIterator<Item = &'n str>,
) -> Option<&'n str> {
    let length = text.chars().count();
    if length > LONGEST {
        return None;
    }
    ranked(text, names)
        .filter(|(edits, _)| edits * 2 <= length)
        .map(|(_, name)| name)
}

fn ranked<'n>(text: &str, names: impl IntoIterator<Item = &'n str>) -> Option<(usize, &'n str)> {
    names
        .into_iter()
        .map(|name| (strsim::damerau_levenshtein(name, text), name))
        .min()
}
