//! Inputs of a notebook: `let` lines in a tagged cell.

/// The names that a cell of `let` lines defines.
#[must_use]
pub fn names(source: &str) -> Vec<String> {
    source
        .lines()
        .filter_map(|line| {
            let rest = line.trim_start().strip_prefix("let ")?.trim_start();
            let rest = rest.strip_prefix("mut ").unwrap_or(rest).trim_start();
            let end = rest
                .find(|c: char| !(c.is_alphanumeric() || c == '_'))
                .unwrap_or(rest.len());
            (end > 0).then(|| rest[..end].to_owned())
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::names;

    #[test]
    fn names_of_inputs() {
        let source =
            "// supply\nlet v_in = 36.0 * volt;\n  let mut n: usize = 3;\nprintln!(\"let x\");";
        assert_eq!(names(source), ["v_in", "n"]);
    }
}
