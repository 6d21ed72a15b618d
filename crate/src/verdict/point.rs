//! Every requirement at one point of operation: what a witness is seen with.

use serde::ser::{Serialize, SerializeStruct as _, Serializer};

use super::check::{Check, Limits, Reading};
use super::probe::Probe;
use crate::cycle::CycleError;
use crate::quantity::print_value;
use crate::quantity::symbol::name_of;
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
    /// The verdict at the point, in words.
    #[must_use]
    pub const fn verdict(&self) -> &'static str {
        match (&self.reading, self.holds) {
            (Reading::Fails(_), _) | (Reading::Number { .. }, Some(false)) => "not met",
            (Reading::Undecided(_), _) => "not decided",
            (_, Some(true)) => "met",
            (_, _) => "not stated",
        }
    }

    /// As a line of text.
    #[must_use]
    pub fn text(&self) -> String {
        let show = |value: f64| print_value(value, self.check.exponents(), 4);
        let words = self.check.words();
        let verdict = self.verdict();
        match &self.reading {
            Reading::Number { value, limit } => {
                let limit = limit.map_or_else(String::new, |limit| {
                    format!(", {} {}", self.check.direction().words(), show(limit))
                });
                let value = value.map_or_else(|| "not stated".to_owned(), show);
                format!("{verdict}: {words}: {value}{limit}")
            }
            Reading::Fails(why) => format!("{verdict}: {words}: {why}"),
            Reading::Undecided(why) => format!("{verdict}: {words}: {why}"),
            Reading::Absent => String::new(),
        }
    }
}

impl Serialize for AtPoint {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let (value, limit, reason) = match &self.reading {
            Reading::Number { value, limit } => (*value, *limit, None),
            Reading::Fails(why) => (None, None, Some(*why)),
            Reading::Undecided(why) => (None, None, Some(why.as_str())),
            Reading::Absent => (None, None, None),
        };
        let check = self.check;
        let mut fields = serializer.serialize_struct("AtPoint", 8)?;
        fields.serialize_field("name", check.name())?;
        fields.serialize_field("words", check.words())?;
        fields.serialize_field("verdict", self.verdict())?;
        fields.serialize_field("value", &value)?;
        fields.serialize_field("relation", check.direction().words())?;
        fields.serialize_field("limit", &limit)?;
        fields.serialize_field("unit", &name_of(check.exponents()).plain)?;
        fields.serialize_field("reason", &reason)?;
        fields.end()
    }
}
