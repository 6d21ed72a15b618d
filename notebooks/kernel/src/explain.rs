//! The compiler's messages in the words of the field.

use super::dimension::{self, Kind};

/// A message with the names of quantities in place of their types.
pub fn plain(message: &str) -> String {
    let mut text = String::new();
    let mut rest = message;
    while let Some(start) = rest.find("Quantity<") {
        let Some(length) = closing(&rest[start..]) else {
            break;
        };
        let kind = &rest[start..start + length];
        text.push_str(&rest[..start]);
        match dimension::of(kind) {
            Some(Kind::Quantity(exponents)) => text.push_str(&dimension::in_words(exponents)),
            Some(Kind::Temperature) => text.push_str("absolute temperature (K)"),
            None => text.push_str(kind),
        }
        rest = &rest[start + length..];
    }
    text.push_str(rest);
    text
}

/// What a mismatch of type-level integers means; the compiler shows no more of
/// the two types than the first that differs.
pub fn hint(label: &str) -> Option<&'static str> {
    let integers = ["PInt<", "NInt<", "Z0"]
        .iter()
        .filter(|name| label.contains(**name))
        .count();
    (integers > 0 && label.contains("expected") && label.contains("found")).then_some(
        "the two sides are different quantities: only like quantities can be added, compared or \
         assigned to one another; check the units",
    )
}

/// The length of a type up to its closing bracket.
fn closing(text: &str) -> Option<usize> {
    let mut depth = 0_usize;
    let mut last = ' ';
    for (index, letter) in text.char_indices() {
        match letter {
            '<' => depth += 1,
            // Not the arrow of a function type.
            '>' if last != '-' => {
                depth = depth.checked_sub(1)?;
                if depth == 0 {
                    return Some(index + 1);
                }
            }
            _ => {}
        }
        last = letter;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_are_named() {
        let kind = "expected `Quantity<dyn Dimension<L = Z0, M = Z0, T = Z0, I = PInt<UInt<UTerm, B1>>, Th = Z0>, f64>`";
        assert_eq!(plain(kind), "expected `current (A)`");
        assert_eq!(plain("expected `f64`"), "expected `f64`");
    }

    #[test]
    fn unlike_dimensions_are_explained() {
        assert!(hint("expected `NInt<UInt<UTerm, B1>>`, found `PInt<UInt<UTerm, B1>>`").is_some());
        assert!(hint("expected `f64`, found `&str`").is_none());
    }
}
