//! The design: every result of a specification, taken where it is worst, and
//! the requirements they decide.

mod checks;
mod fill;
mod finding;
mod guarantee;
mod output;
mod parallel;
mod requirement;
mod results;

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::cycle::CycleError;
use crate::equation::EquationError;
use crate::equation::bound::Effort;
use crate::in_force::{InForce, InForceError};
use crate::stage::{Problems, Specification, Stage};
use crate::uncertainty::{Uncertainties, UncertaintyError};

pub use crate::verdict::{Direction, Verdict};
pub use fill::{Part, parts};
pub use finding::{At, Finding};
pub use guarantee::Guarantee;
#[cfg(feature = "program")]
pub(crate) use output::json_by;
pub use output::{json, latex, text};
pub(crate) use parallel::map as parallel_map;
pub use requirement::Requirement;
pub use results::Proposal;

/// A specification with everything derived from it.
#[derive(Debug)]
pub struct Design {
    /// The stage.
    pub stage: Stage,
    /// Inductance, trip threshold and dead times in force.
    pub in_force: InForce,
    /// The uncertain inputs.
    pub uncertainties: Uncertainties,
    /// The results, in the order of the derivation.
    pub findings: Vec<Finding>,
    /// Preferred values proposed.
    pub proposals: Vec<Proposal>,
    /// The requirements with their verdicts.
    pub requirements: Vec<Requirement>,
    /// Cells that were searched for them.
    pub cells: usize,
}

/// Why there is no design.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum DesignError {
    /// The specification has problems.
    Specification(Problems),
    /// A formula cannot be evaluated at all.
    Equation(EquationError),
    /// An uncertainty does not fit its input.
    Uncertainty(UncertaintyError),
    /// A value outside what the exact steady state describes.
    Cycle(CycleError),
}

impl std::fmt::Display for DesignError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Specification(problems) => problems.fmt(f),
            Self::Equation(error) => error.fmt(f),
            Self::Uncertainty(error) => error.fmt(f),
            Self::Cycle(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for DesignError {}

impl From<Problems> for DesignError {
    fn from(problems: Problems) -> Self {
        Self::Specification(problems)
    }
}

impl From<InForceError> for DesignError {
    fn from(error: InForceError) -> Self {
        match error {
            InForceError::Specification(problems) => Self::Specification(problems),
            InForceError::Equation(error) => Self::Equation(error),
            InForceError::Cycle(error) => Self::Cycle(error),
        }
    }
}

impl From<CycleError> for DesignError {
    fn from(error: CycleError) -> Self {
        Self::Cycle(error)
    }
}

impl From<UncertaintyError> for DesignError {
    fn from(error: UncertaintyError) -> Self {
        Self::Uncertainty(error)
    }
}

impl From<EquationError> for DesignError {
    fn from(error: EquationError) -> Self {
        Self::Equation(error)
    }
}

impl Design {
    /// How many requirements have a verdict.
    #[must_use]
    pub fn count(&self, verdict: Verdict) -> usize {
        let own = self.requirements.iter();
        own.filter(|own| own.verdict == verdict).count()
    }

    /// How many requirements there are, and how many have each verdict: `21 requirements: 15
    /// met, 6 not met`.
    #[must_use]
    pub fn verdicts_in_words(&self) -> String {
        let all = self.requirements.len();
        let each: Vec<String> = Verdict::ALL
            .into_iter()
            .map(|verdict| (self.count(verdict), verdict.words()))
            .filter(|(count, _)| *count > 0)
            .map(|(count, words)| format!("{count} {words}"))
            .collect();
        let noun = if all == 1 {
            "requirement"
        } else {
            "requirements"
        };
        format!("{all} {noun}: {}", each.join(", "))
    }

    /// What a verdict rests on, in sentences.
    #[must_use]
    pub fn search_in_words(&self) -> String {
        format!(
            "Each requirement is shown where it is worst of {} cells searched over line, load and \
             tolerances (standard uncertainties to three times), cold and hot. Met means that no \
             such cell breaks it; a search is no proof.",
            self.cells
        )
    }

    /// Derives everything from a specification's text.
    ///
    /// # Errors
    /// The specification's problems, all at once; a formula that cannot be
    /// evaluated at all.
    ///
    /// ```
    /// use slewbook::design::Design;
    /// let design = Design::derive(slewbook::stage::DEMONSTRATION).unwrap();
    /// let floor = design.finding("freewheel_floor").unwrap();
    /// assert!(floor.place().starts_with("44 V in"));
    /// ```
    pub fn derive(source: &str) -> Result<Self, DesignError> {
        Self::derive_with(source, None)
    }

    /// As [`Design::derive`], with the text of the parts file that the specification
    /// names.
    ///
    /// # Errors
    /// As [`Design::derive`].
    pub fn derive_with(source: &str, parts: Option<&str>) -> Result<Self, DesignError> {
        Self::of(Specification::read_with(source, parts)?)
    }

    /// Derives everything from a specification that was read.
    ///
    /// # Errors
    /// As [`Design::derive`].
    ///
    /// ```
    /// use slewbook::design::Design;
    /// use slewbook::stage::{DEMONSTRATION, Specification};
    /// let specification = Specification::read(DEMONSTRATION).unwrap();
    /// assert!(Design::of(specification).unwrap().finding("freewheel_floor").is_some());
    /// ```
    pub fn of(specification: Specification) -> Result<Self, DesignError> {
        let in_force = InForce::of(&specification)?;
        let stage = in_force.stage(specification);
        let need = results::derived_trip(&stage)?;
        let set = in_force.threshold();
        let (findings, proposals) = results::all(&stage, set, need)?;
        let uncertainties = stage.uncertainties(set.symbol())?;
        let findings = parallel::map(&findings, |finding| {
            let finding = finding.clone().with_uncertainty(&uncertainties)?;
            finding.with_quick_guarantee(&stage, &uncertainties)
        });
        let findings: Vec<Finding> = findings.into_iter().collect::<Result<_, _>>()?;
        let names: Vec<_> = findings.iter().map(Finding::name).collect();
        fill::check(&stage.specification, &names)?;
        let mut design = Self {
            stage,
            in_force,
            uncertainties,
            findings,
            proposals,
            requirements: vec![],
            cells: 0,
        };
        (design.requirements, design.cells) =
            checks::all(&design.stage.specification, &design.in_force)?;
        Ok(design)
    }

    /// Works out the guaranteed bounds that [`Design::derive`] left out, on all
    /// cores. `progress` is told how many of how many are done.
    ///
    /// # Errors
    /// A derivation that cannot be compiled.
    pub fn guarantee(
        &mut self,
        effort: Effort,
        progress: &(impl Fn(usize, usize) + Sync),
    ) -> Result<(), EquationError> {
        let open: Vec<usize> = (0..self.findings.len())
            .filter(|k| self.findings[*k].guarantee == Guarantee::NotAsked)
            .collect();
        // Results of one formula at several points share one bound.
        let shares = |one: &Finding, other: &Finding| Arc::ptr_eq(&one.record, &other.record);
        let first = |k: usize| {
            let same = open
                .iter()
                .find(|j| shares(&self.findings[**j], &self.findings[k]));
            *same.unwrap_or(&k)
        };
        let own: Vec<usize> = open.iter().copied().filter(|k| first(*k) == *k).collect();
        let effort = effort.shared(own.len());
        let done = AtomicUsize::new(0);
        progress(0, own.len());
        let bounds = parallel::map(&own, |k| {
            let finding = &self.findings[*k];
            let guarantee = Guarantee::of(&self.stage, finding, &self.uncertainties, effort);
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, own.len());
            guarantee
        });
        let bounds: Vec<Guarantee> = bounds.into_iter().collect::<Result<_, _>>()?;
        let all: Vec<(usize, Guarantee)> = open
            .iter()
            .filter_map(|k| {
                let place = own.iter().position(|j| *j == first(*k))?;
                Some((*k, bounds[place].clone()))
            })
            .collect();
        for (k, guarantee) in all {
            self.findings[k].guarantee = guarantee;
        }
        Ok(())
    }

    /// A result by name; of three over the input range the nominal one.
    #[must_use]
    pub fn finding(&self, name: &str) -> Option<&Finding> {
        let all: Vec<_> = self.findings.iter().filter(|f| f.name() == name).collect();
        all.get(all.len() / 2).copied()
    }

    /// Every result of a name, in order.
    pub fn all<'d>(&'d self, name: &'d str) -> impl Iterator<Item = &'d Finding> {
        self.findings.iter().filter(move |f| f.name() == name)
    }
}
