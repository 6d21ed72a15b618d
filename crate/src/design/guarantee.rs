//! Guaranteed bounds of the results, over operating ranges and tolerances.

use crate::equation::bound::{self, Bounds, Effort, NoBound};
use crate::equation::{EquationError, Span, Symbol};
use crate::quantity::print_value;
use crate::stage::Stage;
use crate::uncertainty::Uncertainties;

use super::finding::Finding;

/// Between which values a result lies for every combination inside the ranges
/// and tolerances.
#[derive(Clone, Debug, PartialEq)]
pub enum Guarantee {
    /// A formula that iterates: its bound takes seconds and is worked out when
    /// asked for, by [`super::Design::guarantee`].
    NotAsked,
    /// The bound, or why there is none.
    Asked {
        /// The bound.
        bounds: Result<Bounds, NoBound>,
        /// What has a range or a tolerance and yet stays where it is, in words:
        /// what the result's point sets, and inputs without limits.
        held: Vec<String>,
    },
}

impl Guarantee {
    /// The bound of a finding: over the ranges of input and output voltage and the
    /// limits of uncertain inputs; what its point sets otherwise, the output
    /// current or an end of a tolerance, stays.
    ///
    /// # Errors
    /// A derivation that cannot be compiled.
    pub(crate) fn of(
        stage: &Stage,
        finding: &Finding,
        stated: &Uncertainties,
        effort: Effort,
    ) -> Result<Self, EquationError> {
        let inputs = finding.record.inputs()?;
        let mut spans: Vec<Span> = stage.spans().into();
        let mut held = Vec::new();
        let depends = |symbol| inputs.iter().any(|own| std::ptr::eq(*own, symbol));
        let set = |symbol: &Symbol, value| {
            let value = print_value(value, symbol.exponents(), 4);
            format!("{} at {value}", symbol.glyph())
        };
        let current = stage.axes.output_current;
        let range = &stage.specification.output_current;
        if let Some(value) = finding.point.get(current).filter(|_| depends(current))
            && range.min < range.max
        {
            held.push(set(current, value));
        }
        for input in stated.inputs() {
            let symbol = input.symbol;
            if !depends(symbol) {
                continue;
            }
            if let Some(value) = finding.point.get(symbol) {
                held.push(set(symbol, value));
                continue;
            }
            match input.distribution.half_width() {
                Some(half) => spans.push(Span {
                    symbol,
                    low: symbol.value() - half,
                    high: symbol.value() + half,
                }),
                None => held.push(format!(
                    "{} at the estimate, having no limits",
                    symbol.glyph()
                )),
            }
        }
        Ok(Self::Asked {
            bounds: bound::over(&finding.record, &finding.point, &spans, effort),
            held,
        })
    }

    /// What has a range or a tolerance and yet stays where it is, in words.
    #[must_use]
    pub fn held(&self) -> &[String] {
        match self {
            Self::Asked { held, .. } => held,
            Self::NotAsked => &[],
        }
    }

    /// The bound, where there is one.
    #[must_use]
    pub fn bounds(&self) -> Option<&Bounds> {
        match self {
            Self::Asked { bounds, .. } => bounds.as_ref().ok(),
            Self::NotAsked => None,
        }
    }

    /// Why there is no bound, where there is none.
    #[must_use]
    pub fn reason(&self) -> Option<String> {
        match self {
            Self::NotAsked => Some(
                "not worked out: the formula iterates, and its bound takes seconds; run with \
                 --bounds"
                    .to_owned(),
            ),
            Self::Asked {
                bounds: Err(none), ..
            } => Some(none.to_string()),
            Self::Asked { bounds: Ok(_), .. } => None,
        }
    }

    /// The bound in a sentence, or why there is none.
    #[must_use]
    pub fn sentence(&self) -> String {
        let Self::Asked { bounds, held } = self else {
            return self.reason().unwrap_or_default();
        };
        let bounds = match bounds {
            Ok(bounds) => bounds,
            Err(none) => return none.to_string(),
        };
        let held = if held.is_empty() {
            String::new()
        } else {
            format!(", {}", held.join(", "))
        };
        let further = if bounds.exhausted {
            " (not tightened further)"
        } else {
            ""
        };
        format!(
            "for every combination inside the ranges and tolerances{held}: {}{further}",
            bounds.between()
        )
    }
}
