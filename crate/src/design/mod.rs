//! The design: every result of a specification, taken where it is worst, and
//! the requirements they decide.

mod checks;
mod fill;
mod finding;
mod output;
mod parallel;
mod requirement;
mod results;

use crate::equation::EquationError;
use crate::quantity::Current;
use crate::stage::{Problems, Specification, Stage};
use crate::uncertainty::{Uncertainties, UncertaintyError};

pub use fill::{Part, parts};
pub use finding::{At, Finding};
pub use output::{input_hash, json, latex, text};
pub(crate) use parallel::map as parallel_map;
pub use requirement::{Direction, Requirement, Verdict};
pub use results::{Proposal, derived_trip};

/// A specification with everything derived from it.
#[derive(Debug)]
pub struct Design {
    /// The stage.
    pub stage: Stage,
    /// Whether the inductance was proposed here rather than stated.
    pub inductance_proposed: bool,
    /// The trip threshold in force.
    pub trip: Current,
    /// Whether the threshold stands in the specification.
    pub trip_stated: bool,
    /// The uncertain inputs.
    pub uncertainties: Uncertainties,
    /// The results, in the order of the derivation.
    pub findings: Vec<Finding>,
    /// Preferred values proposed.
    pub proposals: Vec<Proposal>,
    /// The requirements with their verdicts.
    pub requirements: Vec<Requirement>,
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
}

impl std::fmt::Display for DesignError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Specification(problems) => problems.fmt(f),
            Self::Equation(error) => error.fmt(f),
            Self::Uncertainty(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for DesignError {}

impl From<Problems> for DesignError {
    fn from(problems: Problems) -> Self {
        Self::Specification(problems)
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
        let specification = Specification::read_with(source, parts)?;
        let inductance_proposed = specification.inductance.is_none();
        let stage = match specification.inductance {
            Some(inductance) => Stage::new(specification, inductance, "[stage] inductance"),
            None => results::propose_stage(&specification)?,
        };
        let need = results::derived_trip(&stage)?;
        let stated = stage.specification.trip.threshold;
        let trip = stated.map_or_else(|| results::needed(&need), Ok)?;
        let set = results::setting(trip, stated.is_some());
        let (findings, proposals) = results::all(&stage, set, need)?;
        let uncertainties = stage.uncertainties(set.symbol())?;
        let findings = parallel::map(&findings, |finding| {
            finding.clone().with_uncertainty(&uncertainties)
        });
        let findings: Vec<Finding> = findings.into_iter().collect::<Result<_, _>>()?;
        let names: Vec<_> = findings.iter().map(Finding::name).collect();
        fill::check(&stage.specification, &names)?;
        let mut design = Self {
            stage,
            inductance_proposed,
            trip,
            trip_stated: stated.is_some(),
            uncertainties,
            findings,
            proposals,
            requirements: vec![],
        };
        design.requirements = checks::all(&design);
        Ok(design)
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
