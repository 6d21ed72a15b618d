//! Every requirement at one point of operation: what a witness is seen with.

use super::check::{Check, Limits, Reading};
use super::probe::Probe;
use crate::cycle::CycleError;
use crate::quantity::print_value;
use crate::stage::{Circuit, OperatingPoint, Specification};

/// A requirement at a point.
#[derive(Clone, Debug, PartialEq)]
pub struct AtPoint {
    /// The requirement.
    pub check: Check,
    /// What the cell says about it.
    pub reading: Reading,
    /// Whether it holds there; none where nothing can be said or nothing is stated.
    pub holds: Option<bool>,
}

/// Every requirement of a specification at a point of operation, from the same cell and the
/// same functions as the verdicts.
///
/// # Errors
/// A part whose value the model does not describe.
///
/// ```
/// use slewbook::in_force::InForce;
/// use slewbook::scheme::Scheme;
/// use slewbook::stage::{DEMONSTRATION, OperatingPoint, Specification};
/// use slewbook::verdict::{Check, at_point};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let in_force = InForce::of(&specification).unwrap();
/// let circuit = in_force.circuit(&specification, Scheme::FreewheelTransistors).unwrap();
/// let at = OperatingPoint {
///     input_voltage: specification.input_voltage.max,
///     output_voltage: specification.output_voltage.nominal,
///     output_current: specification.output_current.max,
/// };
/// let all = at_point(&specification, &circuit, at).unwrap();
/// let trip = all.iter().find(|own| own.check == Check::TripThreshold).unwrap();
/// assert_eq!(trip.holds, Some(false));
/// ```
pub fn at_point(
    specification: &Specification,
    circuit: &Circuit,
    at: OperatingPoint,
) -> Result<Vec<AtPoint>, CycleError> {
    let limits = Limits::new(specification);
    let mut probe = Probe::new(circuit)?;
    let cell = probe.cell(circuit, at);
    let mut all = Vec::new();
    for check in Check::ALL {
        let reading = probe.reading(check, circuit, at, &limits);
        let holds = check.slack(&cell, &limits).holds();
        if reading != Reading::Absent {
            all.push(AtPoint {
                check,
                reading,
                holds,
            });
        }
    }
    Ok(all)
}

impl AtPoint {
    /// As a line of text.
    #[must_use]
    pub fn text(&self) -> String {
        let show = |value: f64| print_value(value, self.check.exponents(), 4);
        let words = self.check.words();
        let verdict = match self.holds {
            Some(true) => "holds",
            Some(false) => "does not hold",
            None => "not stated",
        };
        match &self.reading {
            Reading::Number { value, limit } => {
                let limit = limit.map_or_else(String::new, |limit| {
                    format!(", {} {}", self.check.direction().words(), show(limit))
                });
                let value = value.map_or_else(|| "not stated".to_owned(), show);
                format!("{verdict}: {words}: {value}{limit}")
            }
            Reading::Fails(why) => format!("does not hold: {words}: {why}"),
            Reading::Undecided(why) => format!("not decided: {words}: {why}"),
            Reading::Absent => String::new(),
        }
    }
}
