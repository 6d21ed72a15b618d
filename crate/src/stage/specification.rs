//! The specification: what the user describes, read and checked as a whole.

mod read;

use toml::de::DeTable;

use super::catalogue::Catalogue;
use super::circuit::OperatingPoint;
use super::control::Control;
use super::correlation::Correlation;
use super::edit::Edit;
use super::part::{Parts, SwitchData};
use super::problem::{Problem, Problems};
use super::reader::{Reader, Section};
use super::spread::Spreads;
use crate::equation::Curve;
use crate::quantity::{
    Capacitance, Current, Dimensioned as _, Frequency, Inductance, Ratio, Resistance, Time, Voltage,
};

/// The demonstration's specification, invented.
pub const DEMONSTRATION: &str = include_str!("demonstration.toml");

/// Bytes beyond which a file is not taken for a specification.
pub const LARGEST: usize = 1 << 20;

/// Volts at the input or the output, beyond any converter of this kind.
pub(crate) const GREATEST_VOLTAGE: f64 = 1e4;

/// Least, nominal and greatest value of an operating quantity. An operating
/// range, never an uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range<Q> {
    /// The least value.
    pub min: Q,
    /// The nominal value.
    pub nominal: Q,
    /// The greatest value.
    pub max: Q,
}

/// A text with its place in the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Placed {
    /// The text.
    pub text: String,
    /// Byte offset in the file.
    pub(crate) offset: usize,
}

/// A transistor.
#[derive(Clone, Debug)]
pub struct Transistor {
    /// Channel resistance when on.
    pub on_resistance: Resistance,
    /// Output capacitance.
    pub output_capacitance: &'static Curve,
    /// Factor on it: one, unless an uncertainty moves it.
    pub scale: f64,
    /// Drop of its body diode, where given.
    pub diode_drop: Option<Voltage>,
    /// Rated blocking voltage.
    pub rated_voltage: Option<Voltage>,
    /// What is known of it for its losses.
    pub data: SwitchData,
}

/// The freewheel clamp across the inductor.
#[derive(Clone, Debug)]
pub struct Clamp {
    /// Resistance of its path.
    pub resistance: Resistance,
    /// Constant drop of its path.
    pub drop: Voltage,
    /// Output capacitance, where given.
    pub output_capacitance: Option<&'static Curve>,
    /// Factor on it: one, unless an uncertainty moves it.
    pub scale: f64,
    /// Rated blocking voltage.
    pub rated_voltage: Option<Voltage>,
    /// What is known of its transistors for their losses.
    pub data: SwitchData,
    /// The clamp of a transistor and a diode that is compared with this one.
    pub diode: Option<ClampDiode>,
}

/// A freewheel clamp of a transistor and a diode: the alternative with a high drop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClampDiode {
    /// Resistance of its path.
    pub resistance: Resistance,
    /// Constant drop of its path.
    pub drop: Voltage,
}

/// The trip that ends the release.
#[derive(Clone, Debug)]
pub struct Trip {
    /// From the comparator's decision to the release of the low side.
    pub delay: Time,
    /// Comparator offset as a current.
    pub offset: Current,
    /// Freewheel current over its floor.
    pub margin: Ratio,
    /// The setting; without it the derived one is in force.
    pub threshold: Option<Current>,
}

/// What is stated of how the stage is started and fed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StartUp {
    /// Whether the flying capacitors are charged before the stage starts.
    pub precharged: bool,
    /// Whether the input changes no faster than the flying capacitors follow.
    pub slow_input: bool,
}

/// An option that was not taken, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rejected {
    /// The option.
    pub option: Placed,
    /// The reason.
    pub because: Placed,
}

/// A decision of the design.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decision {
    /// The question.
    pub question: Placed,
    /// What was chosen and why.
    pub chosen: Placed,
    /// What was not.
    pub rejected: Vec<Rejected>,
}

/// A whole specification, read without a problem.
#[derive(Clone, Debug)]
pub struct Specification {
    /// The file's text.
    pub(crate) source: String,
    /// The parts file's text, where the specification names one.
    pub(crate) parts_source: Option<String>,
    /// Title of the design.
    pub title: String,
    /// Input voltage.
    pub input_voltage: Range<Voltage>,
    /// Output voltage.
    pub output_voltage: Range<Voltage>,
    /// Output current; results are taken at its least and greatest value.
    pub output_current: Range<Current>,
    /// Output ripple allowed, peak to peak.
    pub output_ripple: Option<Voltage>,
    /// Levels of the switch node, 2 to 8.
    pub levels: u8,
    /// Switching frequency of each pair.
    pub switching_frequency: Frequency,
    /// Inductance, where stated.
    pub inductance: Option<Inductance>,
    /// Half-width of the inductance's rectangular tolerance, as a part of it.
    pub inductance_tolerance: Ratio,
    /// Capacitance of each flying capacitor, where stated.
    pub flying_capacitance: Option<Capacitance>,
    /// Flying-capacitor ripple allowed, of the step, peak to peak.
    pub flying_ripple: Option<Ratio>,
    /// Output capacitance.
    pub output_capacitance: Capacitance,
    /// What is known of the inductor and the capacitors beside their main values.
    pub parts: Parts,
    /// The control.
    pub control: Control,
    /// Constant part of the node's capacitance.
    pub node_capacitance: Capacitance,
    /// The clamp.
    pub clamp: Clamp,
    /// The trip.
    pub trip: Trip,
    /// How the stage is started and fed.
    pub start_up: StartUp,
    /// Dead time, where stated.
    pub dead_time: Option<Time>,
    /// Least on-time that the control can give.
    pub minimum_on_time: Option<Time>,
    /// Margin asked for between blocking and rated voltage.
    pub voltage_margin: Option<Ratio>,
    /// High-side transistor of every pair.
    pub high: Transistor,
    /// Low-side transistor of every pair.
    pub low: Transistor,
    /// Distributions of uncertain values.
    pub spreads: Spreads,
    /// Correlations between them.
    pub correlations: Vec<Correlation>,
    /// Author, where stated.
    pub author: Option<String>,
    /// Revision, where stated.
    pub revision: Option<String>,
    /// Decisions of the design.
    pub decisions: Vec<Decision>,
    /// What the reader should know about the specification itself: at the head of
    /// the document and of the derivations as text, and in JSON.
    pub notes: Vec<String>,
    /// What was set in the text before it was read.
    pub edits: Vec<Edit>,
}

impl Specification {
    /// Reads a specification.
    ///
    /// # Errors
    /// Every problem at once, each with line, column, key and what to do.
    ///
    /// ```
    /// use slewbook::stage::{DEMONSTRATION, Specification};
    /// let specification = Specification::read(DEMONSTRATION).unwrap();
    /// assert_eq!(specification.levels, 3);
    ///
    /// let wrong = DEMONSTRATION.replace("\"140 kHz\"", "\"140 kV\"");
    /// let problems = Specification::read(&wrong).unwrap_err();
    /// assert!(problems.to_string().starts_with("14:23: stage.switching_frequency: \"kV\" is a unit"));
    /// ```
    pub fn read(source: &str) -> Result<Self, Problems> {
        Self::read_with(source, None)
    }

    /// The path of the parts file that a specification names, as it stands there.
    ///
    /// ```
    /// use slewbook::stage::Specification;
    /// let text = "[parts]\nfile = \"parts.toml\"";
    /// assert_eq!(Specification::parts_file(text).as_deref(), Some("parts.toml"));
    /// ```
    #[must_use]
    pub fn parts_file(source: &str) -> Option<String> {
        let table = DeTable::parse(source).ok()?;
        let mut tables = table.get_ref().iter();
        let (_, parts) = tables.find(|(own, _)| own.get_ref() == "parts")?;
        let mut keys = parts.get_ref().as_table()?.iter();
        let (_, file) = keys.find(|(own, _)| own.get_ref() == "file")?;
        file.get_ref().as_str().map(str::to_owned)
    }

    /// Reads a specification with the text of its parts file, which the caller has
    /// read: see [`Specification::parts_file`].
    ///
    /// # Errors
    /// As [`Specification::read`]; a parts file with problems, which
    /// [`super::check_parts`] lists.
    ///
    /// ```
    /// use slewbook::stage::{DEMONSTRATION, PARTS, Specification};
    /// let text = DEMONSTRATION
    ///     .replace("[clamp]", "[parts]\nfile = \"parts.toml\"\n\n[clamp]")
    ///     .replace("[transistors.low]", "[transistors.low]\npart = \"low-resistance\"");
    /// let specification = Specification::read_with(&text, Some(PARTS)).unwrap();
    /// assert!(specification.low.data.gate_charge.is_some());
    /// ```
    pub fn read_with(source: &str, parts: Option<&str>) -> Result<Self, Problems> {
        let whole = |message: String| Problems(vec![Problem::at(source, &(0..0), "", message)]);
        if source.len() > LARGEST {
            return Err(whole(format!(
                "the file has {} bytes; expected a specification of a few kilobytes, {LARGEST} at most",
                source.len()
            )));
        }
        if source.trim().is_empty() {
            return Err(whole(
                "the file is empty; `slewbook example` prints a specification to start from"
                    .to_owned(),
            ));
        }
        let table = DeTable::parse(source).map_err(|error| {
            let span = error.span().unwrap_or(0..0);
            // Where the parser names no text of its own, the text it stopped at.
            let stopped = source
                .get(span.clone())
                .and_then(|text| text.lines().next());
            let at = stopped
                .filter(|text| !text.trim().is_empty())
                .map_or_else(String::new, |text| format!(" (at `{text}`)"));
            let advice = match error.message() {
                "duplicate key" => "; give each key and each table once",
                _ => "",
            };
            let message = format!(
                "not valid TOML: {}{at}{advice}",
                error.message().replace('\n', "; ")
            );
            Problems(vec![Problem::at(source, &span, "", message)])
        })?;
        let reader = Reader::new(source);
        let catalogue = parts.map(Catalogue::read).transpose();
        let root = Section::root(&reader, &table);
        let file = root.section("parts");
        let named = file.text("file");
        file.close();
        if let Some(named) = named {
            match &catalogue {
                Ok(Some(_)) => {}
                Ok(None) => file.problem(
                    &named.span,
                    "file",
                    "names a parts file, and its text was not handed over; read the specification \
                     with its parts",
                ),
                Err(problems) => {
                    let first = problems
                        .0
                        .first()
                        .map_or_else(String::new, ToString::to_string);
                    let message = format!("has {} problems, first {first}", problems.0.len());
                    file.problem(&named.span, "file", message);
                }
            }
        }
        let catalogue = catalogue.ok().flatten();
        let mut specification = read::read_all(&root, &reader, catalogue.as_ref());
        source.clone_into(&mut specification.source);
        specification.parts_source = parts.map(str::to_owned);
        reader.finish().map(|()| specification)
    }

    /// The text it was read from.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
    }

    /// Whether a start finds every capacitor of the leg at its level: where it has none, or
    /// they are charged before.
    #[must_use]
    pub fn starts_charged(&self) -> bool {
        self.levels == 2 || self.start_up.precharged
    }

    /// The part of a rated voltage that the voltage margin leaves.
    pub(crate) fn part_of_rated_voltage(&self) -> f64 {
        1.0 - self.voltage_margin.map_or(0.0, |margin| margin.value)
    }

    /// The nominal voltages with the greatest output current.
    #[must_use]
    pub fn nominal_point(&self) -> OperatingPoint {
        OperatingPoint {
            input_voltage: self.input_voltage.nominal,
            output_voltage: self.output_voltage.nominal,
            output_current: self.output_current.max,
        }
    }

    /// The band: the number of whole steps below the output voltage. The ranges
    /// contain no band edge, so it is the same everywhere.
    #[must_use]
    pub fn band(&self) -> u8 {
        let pairs = self.levels - 1;
        let ratio = (self.output_voltage.nominal / self.input_voltage.nominal).coherent();
        (0..pairs)
            .rev()
            .find(|k| f64::from(*k) <= ratio * f64::from(pairs))
            .unwrap_or(0)
    }

    /// Capacitance of each flying capacitor at its working voltage, where stated: its
    /// value times what is left of it there.
    #[must_use]
    pub fn flying_capacitance_in_operation(&self) -> Option<Capacitance> {
        let left = self.parts.flying_remaining.unwrap_or(1.0.into());
        self.flying_capacitance
            .map(|capacitance| capacitance * left)
    }

    /// Output capacitance at its working voltage: its value times what is left of it there.
    #[must_use]
    pub fn output_capacitance_in_operation(&self) -> Capacitance {
        self.output_capacitance * self.parts.output_remaining.unwrap_or(1.0.into())
    }

    /// The capacitance curves with what each belongs to.
    pub(crate) fn curves(&self) -> Vec<(&'static Curve, &'static str)> {
        let mut curves = vec![
            (
                self.low.output_capacitance,
                "output capacitance of the low-side transistor",
            ),
            (
                self.high.output_capacitance,
                "output capacitance of the high-side transistor",
            ),
        ];
        if let Some(clamp) = self.clamp.output_capacitance {
            curves.push((clamp, "output capacitance of the clamp"));
        }
        curves
    }

    /// A problem at the place of one of its texts.
    pub(crate) fn problem_at(&self, placed: &Placed, key: &str, message: String) -> Problem {
        Problem::at(&self.source, &(placed.offset..placed.offset), key, message)
    }
}
