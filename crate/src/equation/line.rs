//! One formula of a derivation, and the same with numbers put in.

use super::glyph::Glyph;
use super::node::{Expression, Op};
use super::render;

/// One formula of a derivation.
#[derive(Clone, Debug)]
pub struct Line {
    pub(super) node: Expression,
}

impl Line {
    /// The formula's expression.
    #[must_use]
    pub fn expression(&self) -> Expression {
        self.node
    }

    /// The symbol it defines, as plain text.
    #[must_use]
    pub fn symbol(&self) -> String {
        render::text::expression(self.node)
    }

    /// The symbol it defines, as MathML.
    #[must_use]
    pub fn symbol_mathml(&self) -> String {
        render::mathml::inline(&render::expression(self.node))
    }

    /// What it computes, in words.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match &self.node.op {
            Op::Named(name, _) => &name.words,
            Op::Unknown(unknown) => &unknown.words,
            _ => "",
        }
    }

    /// For a solved equation the symbol sought and its bracket, as plain text.
    #[must_use]
    pub fn solved(&self) -> Option<(String, [String; 2])> {
        let Op::Unknown(unknown) = &self.node.op else {
            return None;
        };
        let equation = unknown.equation.get()?;
        let bracket = [equation.lower, equation.upper].map(render::text::expression);
        Some((unknown.glyph.to_string(), bracket))
    }

    /// What tells definitions apart: the formula's text, with the variables of a
    /// function left without name. `C(u) = …` and `C(v) = …` define one function.
    #[must_use]
    pub fn key(&self) -> String {
        let layout = render::definition(self.node);
        let variables: Vec<&Glyph> = match &self.node.op {
            Op::Named(name, _) => name
                .arguments
                .iter()
                .filter_map(|argument| match argument.op {
                    Op::Variable(glyph) => Some(glyph),
                    _ => None,
                })
                .collect(),
            _ => vec![],
        };
        render::text::write(&layout.renamed(&variables))
    }

    /// The formula in plain text.
    #[must_use]
    pub fn text(&self) -> String {
        render::text::line(self.node)
    }

    /// The formula in LaTeX, without delimiters.
    #[must_use]
    pub fn latex(&self) -> String {
        render::latex::line(self.node)
    }

    /// The formula in MathML.
    #[must_use]
    pub fn mathml(&self) -> String {
        render::mathml::line(self.node)
    }
}

/// A formula with numbers in place of its symbols, to be written in any notation.
#[derive(Clone, Debug)]
pub struct Numbers(pub(super) render::Layout);

impl Numbers {
    /// In plain text.
    #[must_use]
    pub fn text(&self) -> String {
        render::text::write(&self.0)
    }

    /// In LaTeX, without delimiters.
    #[must_use]
    pub fn latex(&self) -> String {
        render::latex::write(&self.0)
    }

    /// In MathML.
    #[must_use]
    pub fn mathml(&self) -> String {
        render::mathml::display(&self.0)
    }
}
