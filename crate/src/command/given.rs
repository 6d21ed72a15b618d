//! What a command is given: a specification with what is in force of it, and the options
//! that set a point and a scheme.

use slewbook::file::Inputs;
use slewbook::in_force::{InForce, InForceError};
use slewbook::quantity::{Dimensioned, parse, print};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint, Specification};

use super::sources::Sources;
use super::{Failure, once};

/// A specification with what is in force of it.
pub struct Given {
    /// What messages call the specification.
    pub name: String,
    /// The files, which no output may be.
    pub inputs: Inputs,
    pub specification: Specification,
    pub in_force: InForce,
}

impl Given {
    /// Reads the specification, and finds what is in force of it and no more.
    pub fn of(sources: Sources) -> Result<Self, Failure> {
        let specification = sources.specification()?;
        let in_force = InForce::of(&specification).map_err(|error| match error {
            InForceError::Specification(problems) => sources.wrong(&problems),
            other => Failure::Other(format!("{}: {other}", sources.name)),
        })?;
        Ok(Self {
            name: sources.name,
            inputs: sources.inputs,
            specification,
            in_force,
        })
    }

    /// What was set on the command line, as a line; empty where nothing was.
    pub fn edits(&self) -> String {
        let words = self.specification.edits_in_words();
        words.map_or_else(String::new, |words| words + "\n")
    }

    /// The circuit under the scheme of an option.
    pub fn circuit(&self, scheme: Option<&str>) -> Result<Circuit, Failure> {
        let scheme: Scheme = scheme.map_or(Ok(Scheme::FreewheelTransistors), |text| {
            text.parse()
                .map_err(|error| Failure::Input(format!("slewbook: --scheme: {error}")))
        })?;
        self.in_force
            .circuit(&self.specification, scheme)
            .map_err(|error| Failure::Input(format!("{}: {error}", self.name)))
    }

    /// The point of a command's options; what is not given is nominal, the current the
    /// greatest.
    pub fn point(&self, texts: &[Option<String>; 3]) -> Result<OperatingPoint, Failure> {
        let mut at = self.specification.nominal_point();
        if let Some(text) = &texts[0] {
            at.input_voltage = read("--input-voltage", text)?;
        }
        if let Some(text) = &texts[1] {
            at.output_voltage = read("--output-voltage", text)?;
        }
        if let Some(text) = &texts[2] {
            at.output_current = read("--output-current", text)?;
        }
        Ok(at)
    }

    /// As [`Self::point`]; voltages have to be above zero, the current zero or more.
    pub fn sound_point(&self, texts: &[Option<String>; 3]) -> Result<OperatingPoint, Failure> {
        let at = self.point(texts)?;
        sound(&at)?;
        Ok(at)
    }
}

/// Whether a cell can be at a point at all.
pub fn sound(at: &OperatingPoint) -> Result<(), Failure> {
    not_negative("--output-current", at.output_current)?;
    above_zero("--input-voltage", at.input_voltage)?;
    above_zero("--output-voltage", at.output_voltage)
}

/// No voltage or current of a converter is beyond it.
const LARGEST: f64 = 1e6;

/// The options that set a point and a scheme.
#[derive(Default)]
pub struct Place {
    pub point: [Option<String>; 3],
    pub scheme: Option<String>,
}

/// Those of the point, in its order.
pub const POINT: [&str; 3] = ["input-voltage", "output-voltage", "output-current"];

impl Place {
    /// Whether an option is one of these.
    pub fn takes(name: &str) -> bool {
        name == "scheme" || Self::of_point(name)
    }

    /// Whether an option is one of the point's.
    pub fn of_point(name: &str) -> bool {
        POINT.contains(&name)
    }

    /// Takes the value of one of these.
    pub fn take(&mut self, name: &str, value: String) -> Result<(), Failure> {
        let place = POINT.iter().position(|own| *own == name);
        let slot = place.map_or(&mut self.scheme, |k| &mut self.point[k]);
        once(slot, &format!("--{name}"), value)
    }
}

/// A quantity given as an option.
pub fn read<Q: Dimensioned>(option: &str, text: &str) -> Result<Q, Failure> {
    parse(text).map_err(|error| Failure::Input(format!("slewbook: {option} {text}: {error}")))
}

pub fn above_zero<Q: Dimensioned>(option: &str, value: Q) -> Result<(), Failure> {
    expect(option, value, value.coherent() > 0.0, "more than zero")
}

pub fn not_negative<Q: Dimensioned>(option: &str, value: Q) -> Result<(), Failure> {
    expect(option, value, value.coherent() >= 0.0, "zero or more")
}

pub fn expect<Q: Dimensioned>(
    option: &str,
    value: Q,
    met: bool,
    expected: &str,
) -> Result<(), Failure> {
    let expected = if !met {
        expected.to_owned()
    } else if value.coherent() >= LARGEST {
        format!("less than {}", print(Q::from_coherent(LARGEST)))
    } else {
        return Ok(());
    };
    Err(Failure::Input(format!(
        "slewbook: {option} is {}; expected {expected}",
        print(value)
    )))
}
