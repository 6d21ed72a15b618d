//! Whether LaTeX would compile, as far as its structure tells.

/// Asserts that braces, `\left` and `\right`, `\begin` and `\end` pair up.
pub fn assert_paired(latex: &str) {
    let mut depth = 0i32;
    let mut previous = ' ';
    for c in latex.chars() {
        match c {
            '{' if previous != '\\' => depth += 1,
            '}' if previous != '\\' => depth -= 1,
            _ => {}
        }
        assert!(depth >= 0, "a brace too many: {latex}");
        previous = c;
    }
    assert_eq!(depth, 0, "an open brace: {latex}");
    for (open, close) in [
        (r"\left", r"\right"),
        (r"\begin{", r"\end{"),
        (r"\lfloor", r"\rfloor"),
    ] {
        let count = |word| latex.matches(word).count();
        assert_eq!(count(open), count(close), "{open}: {latex}");
    }
}
