//! The written form of a symbol: one name, three spellings.

use std::fmt;

/// Greek letters by name: spelling in a name, Unicode, LaTeX.
const GREEK: &[(&str, &str, &str)] = &[
    ("alpha", "α", r"\alpha"),
    ("beta", "β", r"\beta"),
    ("gamma", "γ", r"\gamma"),
    ("delta", "δ", r"\delta"),
    ("Delta", "Δ", r"\Delta"),
    ("eta", "η", r"\eta"),
    ("theta", "θ", r"\theta"),
    ("lambda", "λ", r"\lambda"),
    ("mu", "µ", r"\mu"),
    ("rho", "ρ", r"\rho"),
    ("sigma", "σ", r"\sigma"),
    ("tau", "τ", r"\tau"),
    ("phi", "φ", r"\varphi"),
    ("omega", "ω", r"\omega"),
];

/// A symbol's name: letters, then after `_` a subscript that is set upright
/// where it is a word (`V_in`, `I_0`, `eta_total`, `Delta V_fly`).
///
/// ```
/// use slewbook::equation::Glyph;
/// let glyph = Glyph::new("V_in");
/// assert_eq!(glyph.latex(), r"V_{\mathrm{in}}");
/// assert_eq!(glyph.to_string(), "V_in");
/// assert_eq!(Glyph::new("I_0").latex(), "I_{0}");
/// assert_eq!(Glyph::new("eta").latex(), r"\eta");
/// ```
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Glyph {
    base: String,
    subscript: Option<String>,
}

impl Glyph {
    /// Reads a name.
    #[must_use]
    pub fn new(name: &str) -> Self {
        match name.split_once('_') {
            Some((base, subscript)) => Self {
                base: base.to_owned(),
                subscript: Some(subscript.to_owned()),
            },
            None => Self {
                base: name.to_owned(),
                subscript: None,
            },
        }
    }

    /// The name as it was given, an identifier in programs and data.
    #[must_use]
    pub fn name(&self) -> String {
        match &self.subscript {
            Some(subscript) => format!("{}_{subscript}", self.base),
            None => self.base.clone(),
        }
    }

    /// The letters before the subscript, Greek names as letters, each a word of its own.
    fn letters(&self) -> impl Iterator<Item = (&str, &str)> {
        self.base.split(' ').map(|word| {
            GREEK
                .iter()
                .find(|(name, ..)| *name == word)
                .map_or((word, word), |(_, unicode, latex)| (*unicode, *latex))
        })
    }

    /// LaTeX, without delimiters.
    #[must_use]
    pub fn latex(&self) -> String {
        let base: Vec<_> = self.letters().map(|(_, latex)| latex).collect();
        let base = base.join(" ");
        match &self.subscript {
            None => base,
            Some(sub) if sub.chars().all(|c| c.is_ascii_digit()) => format!("{base}_{{{sub}}}"),
            Some(sub) => format!(r"{base}_{{\mathrm{{{sub}}}}}"),
        }
    }

    /// MathML (one `mi`, or one `msub`).
    #[must_use]
    pub fn mathml(&self) -> String {
        let letters: String = self.letters().map(|(unicode, _)| unicode).collect();
        let base = if letters.chars().count() == 1 {
            format!("<mi>{letters}</mi>")
        } else {
            format!("<mi mathvariant=\"italic\">{letters}</mi>")
        };
        match &self.subscript {
            None => base,
            Some(sub) if sub.chars().all(|c| c.is_ascii_digit()) => {
                format!("<msub>{base}<mn>{sub}</mn></msub>")
            }
            Some(sub) => format!("<msub>{base}<mi mathvariant=\"normal\">{sub}</mi></msub>"),
        }
    }
}

impl fmt::Display for Glyph {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (unicode, _) in self.letters() {
            f.write_str(unicode)?;
        }
        match &self.subscript {
            Some(subscript) => write!(f, "_{subscript}"),
            None => Ok(()),
        }
    }
}
