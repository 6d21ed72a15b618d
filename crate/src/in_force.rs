//! What is in force of a specification: inductance, trip threshold and dead times, each
//! as it is stated or as it follows, and the circuit that has them.
//!
//! Whoever needs the circuit alone takes it from here: a stated value costs nothing, and
//! of the others only what is in force is searched for.

use std::fmt;

use crate::cycle::CycleError;
use crate::equation::{EquationError, Extreme, Record, Sense, Term};
use crate::limit::{self, Series};
use crate::quantity::{Current, Dimensioned as _, Inductance, Time};
use crate::scheme::Scheme;
use crate::stage::{Circuit, MissingPart, Problem, Problems, Specification, Stage};
use crate::verdict::{Space, holds, serving_trip};

/// Where a value in force comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// It stands in the specification.
    Stated,
    /// It follows from the specification.
    Derived,
}

/// A value in force with its origin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting<Q> {
    /// The value.
    pub value: Q,
    /// Where it comes from.
    pub origin: Origin,
}

impl<Q> Setting<Q> {
    fn stated(value: Q) -> Self {
        Self {
            value,
            origin: Origin::Stated,
        }
    }

    fn derived(value: Q) -> Self {
        Self {
            value,
            origin: Origin::Derived,
        }
    }

    /// Whether it stands in the specification.
    #[must_use]
    pub fn is_stated(&self) -> bool {
        self.origin == Origin::Stated
    }
}

/// What is in force of a specification.
///
/// ```
/// use slewbook::{in_force::InForce, quantity::print};
/// use slewbook::stage::{DEMONSTRATION, Specification};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let stated = InForce::of(&specification).unwrap();
/// assert_eq!(print(stated.trip.value), "400 mA");
///
/// let open = DEMONSTRATION.replace("threshold = \"0.4 A\"", "");
/// let open = InForce::of(&Specification::read(&open).unwrap()).unwrap();
/// assert!(!open.trip.is_stated());
/// assert_eq!(print(open.trip.value), "530.6 mA");
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InForce {
    /// Inductance: the stated one, else the largest preferred value whose upper tolerance
    /// limit stays below the ceiling in operation.
    pub inductance: Setting<Inductance>,
    /// Trip threshold: the stated one, else the smallest that serves every unit of the box.
    pub trip: Setting<Current>,
    /// Dead time of the rising edge; none where the high side turns on soon after the node has
    /// arrived.
    pub dead_time: Option<Setting<Time>>,
    /// Dead time of the falling edge: its own, else that of the rising edge; none where
    /// the low side turns on as soon as the node has arrived.
    pub low_dead_time: Option<Setting<Time>>,
}

/// Why nothing is in force.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum InForceError {
    /// What the specification leaves open has no answer.
    Specification(Problems),
    /// A formula cannot be evaluated at all.
    Equation(EquationError),
    /// A value outside what the exact steady state describes.
    Cycle(CycleError),
}

impl fmt::Display for InForceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Specification(problems) => problems.fmt(f),
            Self::Equation(error) => error.fmt(f),
            Self::Cycle(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for InForceError {}

impl From<CycleError> for InForceError {
    fn from(error: CycleError) -> Self {
        Self::Cycle(error)
    }
}

impl From<EquationError> for InForceError {
    fn from(error: EquationError) -> Self {
        Self::Equation(error)
    }
}

impl InForce {
    /// What is in force of a specification.
    ///
    /// # Errors
    /// An inductance that is not stated where no preferred value leaves hold time; a trip
    /// threshold that is not stated where the need has no value somewhere in the range.
    pub fn of(specification: &Specification) -> Result<Self, InForceError> {
        let s = specification;
        let (inductance, trip) = match s.inductance {
            Some(stated) => (Setting::stated(stated), trip(s, stated)?),
            None => proposed(s)?,
        };
        let dead_time = s.dead_time.map(Setting::stated);
        let of_rise = dead_time.map(|own| Setting::derived(own.value));
        Ok(Self {
            inductance,
            trip,
            dead_time,
            low_dead_time: s.control.low_dead_time.map(Setting::stated).or(of_rise),
        })
    }

    /// The circuit under a scheme.
    ///
    /// # Errors
    /// A scheme whose parts the specification does not give.
    pub fn circuit(
        &self,
        specification: &Specification,
        scheme: Scheme,
    ) -> Result<Circuit, MissingPart> {
        Circuit::new(
            specification,
            scheme,
            self.inductance.value,
            self.trip.value,
        )
    }

    /// The stage as symbols.
    #[must_use]
    pub fn stage(&self, specification: Specification) -> Stage {
        let origin = match self.inductance.origin {
            Origin::Stated => "[stage] inductance",
            Origin::Derived => "proposed: inductance_proposed",
        };
        Stage::new(specification, self.inductance.value, origin)
    }

    /// The trip threshold as a symbol.
    #[must_use]
    pub fn threshold(&self) -> Term<Current> {
        threshold(self.trip)
    }

    /// The ceiling of the inductance in operation over the range, where it has a value
    /// everywhere in it.
    ///
    /// # Errors
    /// A derivation that cannot be compiled.
    pub fn ceiling(
        &self,
        specification: &Specification,
    ) -> Result<Option<Inductance>, EquationError> {
        let stage = self.stage(specification.clone());
        let ceiling = limit::ceiling_operating(&stage, self.threshold()).into_record();
        let ceiling = over_range(&stage, &ceiling, Sense::Least)?;
        Ok(ceiling.map(Inductance::from_coherent))
    }
}

fn threshold(trip: Setting<Current>) -> Term<Current> {
    let origin = match trip.origin {
        Origin::Stated => "[trip] threshold",
        Origin::Derived => "derived: the largest need over line, load and tolerances",
    };
    Term::input_from("I_set", "trip threshold in force", trip.value, origin)
}

/// The trip threshold with an inductance: the stated one, else the smallest that serves
/// every unit of the box.
fn trip(
    specification: &Specification,
    inductance: Inductance,
) -> Result<Setting<Current>, CycleError> {
    if let Some(stated) = specification.trip.threshold {
        return Ok(Setting::stated(stated));
    }
    serving_trip(specification, inductance).map(Setting::derived)
}

/// The worst value over the ranges of input and output voltage; none where a point of the
/// range has none.
fn over_range(stage: &Stage, record: &Record, sense: Sense) -> Result<Option<f64>, EquationError> {
    let Extreme {
        best,
        without_value,
    } = record.extreme(&stage.nominal(), &stage.spans(), sense)?;
    Ok(best
        .filter(|_| without_value.is_none())
        .map(|(_, value)| value))
}

/// Inductance and threshold for a specification without inductance: the largest preferred
/// value whose upper tolerance limit stays below the ceiling in operation.
fn proposed(
    specification: &Specification,
) -> Result<(Setting<Inductance>, Setting<Current>), InForceError> {
    /// Preferred values tried from the ceiling down: two decades.
    const TRIES: usize = 24;
    let tolerance = specification.inductance_tolerance.coherent();
    let first = Stage::new(specification.clone(), Inductance::from_coherent(1e-6), "");
    let ceiling = limit::ceiling(&first).into_record();
    let ceiling = over_range(&first, &ceiling, Sense::Least)?;
    let mut bound = ceiling.unwrap_or(0.0) / (1.0 + tolerance);
    for _ in 0..TRIES {
        let Some(value) = limit::at_most(bound, Series::E12) else {
            break;
        };
        let inductance = Inductance::from_coherent(value);
        let trip = trip(specification, inductance)?;
        let space = Space::of(specification, inductance, trip.value)?;
        if holds(specification, &space)? {
            return Ok((Setting::derived(inductance), trip));
        }
        bound = value * 0.999;
    }
    Err(InForceError::Specification(Problems(vec![Problem {
        line: 1,
        column: 1,
        key: "stage.inductance".to_owned(),
        message: "is not stated, and no preferred value leaves hold time over the whole range; \
                  state one, or lower the switching frequency, the load or the range"
            .to_owned(),
    }])))
}
