//! Commands of the engine in a cell: lines that begin with `:` or `!`, before the
//! first line of code.
//!
//! The engine obeys them within the program that runs the notebook: one ends it
//! as if all were well, others read files, change how cells are built, or start a
//! shell. Only those listed here reach it.

/// What a cell may ask of the engine.
const ALLOWED: [&str; 5] = [":dep", ":doc", ":explain", ":type", ":vars"];

/// The first command of a cell that is not allowed, with the number of its line.
pub fn refused(source: &str) -> Option<(usize, &str)> {
    for (index, line) in source.lines().enumerate() {
        // More kinds of space than the engine takes: none hides a command.
        let line = line.trim_matches(|letter: char| letter.is_whitespace() || letter == '\u{feff}');
        if line.is_empty() || line.starts_with("//") {
            continue;
        }
        if !line.starts_with([':', '!']) {
            // The engine looks for no command after the first line of code.
            return None;
        }
        let name = line.split_whitespace().next().unwrap_or(line);
        if !ALLOWED.contains(&name) {
            return Some((index + 1, name));
        }
    }
    None
}

/// Whether a cell asks anything of the engine.
pub fn has_any(source: &str) -> bool {
    source
        .lines()
        .any(|line| line.trim_start().starts_with([':', '!']))
}

/// What to say about a command that is not allowed.
pub fn reason(name: &str) -> String {
    format!(
        "the command {name} is not for notebooks; a cell may begin with {}",
        ALLOWED.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_listed_commands_reach_the_engine() {
        for source in [
            ":quit",
            "  :quit",
            "\t:quit",
            "// note\n\n:quit\n1 + 1",
            ":vars\n:load_config",
            ":dep a\n!rm b",
            ":env A=b",
            ":quit\r\n",
            "::std::process::exit(0)",
        ] {
            assert!(refused(source).is_some(), "{source}");
        }
        assert_eq!(refused("let x = 1;\n:quit"), None);
        assert_eq!(refused(":dep a = \"1\"\nlet x = 1;"), None);
        assert_eq!(refused(":vars\n:quit"), Some((2, ":quit")));
    }
}
