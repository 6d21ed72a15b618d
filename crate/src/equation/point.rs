//! Operating points: values of inputs that differ from the inputs' own.

use super::node::Symbol;
use super::program::Program;

/// Values of inputs that differ from the inputs' own: an operating point.
#[derive(Clone, Debug, Default)]
pub struct Point(Vec<(&'static Symbol, f64)>);

impl Point {
    /// The point at which every input has its own value.
    #[must_use]
    pub fn own() -> Self {
        Self::default()
    }

    /// The same point with one input set, in the coherent unit.
    #[must_use]
    pub fn with(mut self, symbol: &'static Symbol, value: f64) -> Self {
        self.0.retain(|(own, _)| !std::ptr::eq(*own, symbol));
        self.0.push((symbol, value));
        self
    }

    /// The value of an input at this point.
    #[must_use]
    pub fn value_of(&self, symbol: &Symbol) -> f64 {
        self.get(symbol).unwrap_or(symbol.value)
    }

    /// The value that this point sets an input to, if it does.
    #[must_use]
    pub fn get(&self, symbol: &Symbol) -> Option<f64> {
        self.0
            .iter()
            .find(|(own, _)| std::ptr::eq(*own, symbol))
            .map(|(_, value)| *value)
    }

    /// The values of a program's inputs at this point.
    #[must_use]
    pub fn inputs(&self, program: &Program) -> Vec<f64> {
        program
            .inputs()
            .iter()
            .map(|symbol| self.value_of(symbol))
            .collect()
    }
}
