//! Schemes side by side on the same parts: losses by mechanism and by part over
//! load and line, where soft switching starts to pay, what decides it.

mod conclusion;
mod figures;
mod influence;
mod output;
mod saturation;
mod sweep;
mod table;

use std::sync::Arc;

use crate::cycle::CycleError;
use crate::in_force::InForce;
use crate::loss::{Model, ModelError, Outcome, turn_on};
use crate::quantity::{Current, Dimensioned as _, Inductance, Power, Voltage, print};
use crate::scheme::Scheme;
use crate::stage::{OperatingPoint, Specification, Stage};
use crate::uncertainty::UncertaintyError;

pub use figures::{Drawing, drawings};
pub use influence::{Band, Influence};
pub use output::{json, text};
pub use saturation::{Saturated, remaining};
pub use sweep::{BreakEven, Map, SweepPoint};

/// Operating points along the load, and along each side of the map.
const LOADS: u32 = 24;
const LINES: u32 = 16;
/// The scheme whose case is made.
pub(crate) const SOFT: Scheme = Scheme::FreewheelTransistors;

/// A scheme that cannot be compared, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Absent {
    /// The scheme.
    pub scheme: Scheme,
    /// Why.
    pub because: String,
}

/// Schemes compared on the parts of one specification.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// The design's specification.
    specification: Arc<Specification>,
    /// Inductance in force.
    pub inductance: Inductance,
    /// Trip threshold in force.
    pub trip: Current,
    /// The ceiling of the inductance in operation, over the whole range.
    pub ceiling: Option<Inductance>,
    /// The schemes, the soft one first.
    pub schemes: Vec<Scheme>,
    /// Schemes without the parts they need.
    pub absent: Vec<Absent>,
    /// What of the losses has no data, in words.
    pub left_out: Vec<&'static str>,
    /// Each scheme at nominal voltages and the largest load.
    pub nominal: Vec<Outcome>,
    /// Each scheme there with the inductance that is left at its peak current, where
    /// the inductor's data say.
    pub saturated: Vec<Option<Saturated>>,
    /// What the turn-on without a clamp costs at the nominal point where its ring has
    /// died out: from the output voltage, and the ring's own energy.
    pub damped_turn_on: Option<Power>,
    /// Each scheme over the load at the least, nominal and greatest input voltage.
    pub over_load: [Vec<Vec<Outcome>>; 3],
    /// The difference to each other scheme over line and load.
    pub maps: Vec<Map>,
    /// What decides the difference to each other scheme, greatest first.
    pub influences: Vec<Vec<Influence>>,
    /// The difference's range under the tolerances stated, for each other scheme.
    pub bands: Vec<Option<Band>>,
    /// The soft scheme's loss against the inductance, and against the margin.
    pub inductance_sweep: Vec<SweepPoint>,
    /// As [`Comparison::inductance_sweep`].
    pub margin_sweep: Vec<SweepPoint>,
    /// What follows, in sentences computed from the numbers.
    pub conclusion: Vec<String>,
}

/// Why there is no comparison.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum CompareError {
    /// A scheme's model.
    Model(ModelError),
    /// A derivation.
    Equation(crate::equation::EquationError),
    /// Uncertain inputs that cannot be taken together.
    Uncertainty(UncertaintyError),
}

impl std::fmt::Display for CompareError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Model(error) => error.fmt(f),
            Self::Equation(error) => error.fmt(f),
            Self::Uncertainty(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for CompareError {}

impl From<ModelError> for CompareError {
    fn from(error: ModelError) -> Self {
        Self::Model(error)
    }
}

impl From<CycleError> for CompareError {
    fn from(error: CycleError) -> Self {
        Self::Model(ModelError::Cycle(error))
    }
}

impl From<UncertaintyError> for CompareError {
    fn from(error: UncertaintyError) -> Self {
        Self::Uncertainty(error)
    }
}

impl From<crate::equation::EquationError> for CompareError {
    fn from(error: crate::equation::EquationError) -> Self {
        Self::Equation(error)
    }
}

/// Values from the least to the greatest of a range, both included.
fn spread(low: f64, high: f64, count: u32) -> Vec<f64> {
    if high <= low {
        return vec![low];
    }
    let step = (high - low) / f64::from(count);
    (0..=count).map(|k| low + step * f64::from(k)).collect()
}

/// A point of the specification's nominal output voltage.
fn point(s: &Specification, input: f64, load: f64) -> OperatingPoint {
    OperatingPoint {
        input_voltage: Voltage::from_coherent(input),
        output_voltage: s.output_voltage.nominal,
        output_current: Current::from_coherent(load),
    }
}

/// The losses of one over those of the other, where both have some; in watt.
pub(crate) fn difference(one: &Outcome, other: &Outcome) -> Option<[f64; 2]> {
    let (one, other) = (one.losses?, other.losses?);
    let most = (one.total() - other.total()).coherent();
    let least = (one.total_least() - other.total_least()).coherent();
    Some([most, least])
}

impl Comparison {
    /// Compares the schemes on the parts of a specification, with what is in force of it.
    ///
    /// # Errors
    /// A value that the steady state does not describe.
    ///
    /// ```no_run
    /// use slewbook::{compare::Comparison, in_force::InForce};
    /// use slewbook::stage::{DEMONSTRATION, Specification};
    /// let specification = Specification::read(DEMONSTRATION).unwrap();
    /// let in_force = InForce::of(&specification).unwrap();
    /// let comparison = Comparison::new(&specification, &in_force).unwrap();
    /// println!("{}", comparison.conclusion.join("\n"));
    /// ```
    pub fn new(specification: &Specification, in_force: &InForce) -> Result<Self, CompareError> {
        Self::at(specification, in_force, specification.nominal_point())
    }

    /// As [`Comparison::new`], with another point in the place of the nominal voltages and the
    /// largest load; a note of the specification says which.
    ///
    /// # Errors
    /// As [`Comparison::new`].
    ///
    /// ```no_run
    /// use slewbook::quantity::unit::ampere;
    /// use slewbook::{compare::Comparison, in_force::InForce};
    /// use slewbook::stage::{DEMONSTRATION, Specification};
    /// let specification = Specification::read(DEMONSTRATION).unwrap();
    /// let in_force = InForce::of(&specification).unwrap();
    /// let mut at = specification.nominal_point();
    /// at.output_current = 3.0 * ampere;
    /// let comparison = Comparison::at(&specification, &in_force, at).unwrap();
    /// assert_eq!(comparison.nominal[0].at, at);
    /// ```
    pub fn at(
        specification: &Specification,
        in_force: &InForce,
        full: OperatingPoint,
    ) -> Result<Self, CompareError> {
        let mut s = specification.clone();
        if full != s.nominal_point() {
            s.input_voltage.nominal = full.input_voltage;
            s.output_voltage.nominal = full.output_voltage;
            s.notes.push(format!(
                "The nominal point of this comparison is the one given, {} in, {} out, {}.",
                print(full.input_voltage),
                print(full.output_voltage),
                print(full.output_current)
            ));
        }
        let s = Arc::new(s);
        let (inductance, trip) = (in_force.inductance.value, in_force.trip.value);
        let (mut models, mut absent) = (Vec::new(), Vec::new());
        for scheme in Scheme::ALL {
            match Model::new(&s, scheme, inductance, trip) {
                Ok(model) => models.push(model),
                Err(ModelError::Missing(missing)) => absent.push(Absent {
                    scheme,
                    because: missing.to_string(),
                }),
                Err(error) => return Err(error.into()),
            }
        }
        let schemes: Vec<Scheme> = models.iter().map(|m| m.circuit().scheme).collect();
        let mut left_out: Vec<&'static str> = Vec::new();
        for words in models.iter().flat_map(Model::left_out) {
            if !left_out.contains(words) {
                left_out.push(words);
            }
        }
        let nominal = models
            .iter_mut()
            .map(|model| model.at(full))
            .collect::<Result<Vec<_>, _>>()?;
        let saturated = models
            .iter()
            .zip(&nominal)
            .map(|(model, nominal)| saturation::saturated(model, &s.parts.inductor, nominal))
            .collect::<Result<Vec<_>, _>>()?;
        let unclamped = Stage::new(turn_on::without_clamp(&s), inductance, "compared");
        let at = unclamped.nominal();
        let damped = turn_on::hard_damped(&unclamped)
            .at(&at)
            .and_then(|turn_on| Ok(turn_on + turn_on::ring_energy(&unclamped).at(&at)?));
        let cells = s.switching_frequency * f64::from(s.levels - 1);
        let damped_turn_on = damped.ok().map(|energy| energy * cells);
        let lines = [
            s.input_voltage.min,
            s.input_voltage.nominal,
            s.input_voltage.max,
        ];
        let mut over_load = [vec![], vec![], vec![]];
        for (line, found) in lines.into_iter().zip(&mut over_load) {
            for model in &mut models {
                found.push(sweep::over_load(&s, model, line)?);
            }
        }
        let mut maps = Vec::new();
        let mut influences = Vec::new();
        if let Some((soft, others)) = models.split_first_mut() {
            for other in others {
                let scheme = other.circuit().scheme;
                maps.push(sweep::map(&s, soft, other)?);
                influences.push(influence::influences(&s, scheme, inductance, trip, full)?);
            }
        }
        let bands = influence::bands(&s, &nominal, (inductance, trip), full)?;
        let mut comparison = Self {
            inductance_sweep: sweep::inductance(&s, inductance, full)?,
            margin_sweep: sweep::margin(&s, inductance, full)?,
            specification: s,
            inductance,
            trip,
            ceiling: in_force.ceiling(specification)?,
            schemes,
            absent,
            left_out,
            nominal,
            saturated,
            damped_turn_on,
            over_load,
            maps,
            influences,
            bands,
            conclusion: vec![],
        };
        comparison.conclusion = conclusion::sentences(&comparison);
        Ok(comparison)
    }

    /// The specification it was made from.
    #[must_use]
    pub fn specification(&self) -> &Specification {
        &self.specification
    }

    /// The soft scheme at the nominal point, and each other one.
    #[must_use]
    pub fn sides(&self) -> Option<(&Outcome, &[Outcome])> {
        self.nominal.split_first()
    }
}
