//! The specification: what the user describes, read and checked as a whole.

use toml::de::DeTable;

use super::catalogue::{self, Catalogue};
use super::check;
use super::control::{self, Control};
use super::correlation::{self, Correlation};
use super::part::{self, Parts, SwitchData};
use super::problem::{Problem, Problems};
use super::reader::{Bounds, Read, Reader, Section};
use super::spread::{self, Spreads};
use crate::equation::Curve;
use crate::quantity::{
    Capacitance, Current, Dimensioned as _, Frequency, Inductance, Ratio, Resistance, Time, Voltage,
};
use crate::uncertainty::Distribution;

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
    /// The parts file's text; empty without one.
    pub(crate) parts_source: String,
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
    /// What the reader should know about the specification itself.
    pub notes: Vec<String>,
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
        let mut specification = read_all(&root, &reader, catalogue.as_ref());
        source.clone_into(&mut specification.source);
        parts
            .unwrap_or_default()
            .clone_into(&mut specification.parts_source);
        reader.finish().map(|()| specification)
    }
}

impl Specification {
    /// The text it was read from.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
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

    /// A problem at the place of one of its texts.
    pub(crate) fn problem_at(&self, placed: &Placed, key: &str, message: String) -> Problem {
        Problem::at(&self.source, &(placed.offset..placed.offset), key, message)
    }
}

fn placed(read: Read<String>) -> Placed {
    Placed {
        text: read.value,
        offset: read.span.start,
    }
}

fn range<Q: Copy>(read: &Read<[Q; 3]>) -> Range<Q> {
    let [min, nominal, max] = read.value;
    Range { min, nominal, max }
}

fn read_all<'s, 'r>(
    root: &Section<'s, 'r>,
    reader: &Reader,
    catalogue: Option<&'r Catalogue<'s>>,
) -> Specification {
    let part = |section, kind| catalogue::with_part(section, catalogue, kind);
    let title = root.required_text("title", "\"...\"");
    let input = root.section("input");
    let input_voltage = input.range::<Voltage>(
        "voltage",
        &Bounds::positive(GREATEST_VOLTAGE),
        "{ min = \"30 V\", nominal = \"36 V\", max = \"44 V\" }",
    );
    input.close();

    let output = root.section("output");
    let output_voltage = output.range::<Voltage>(
        "voltage",
        &Bounds::positive(GREATEST_VOLTAGE),
        "{ min = \"5.8 V\", nominal = \"6 V\", max = \"6.2 V\" }",
    );
    let output_current = output.range::<Current>(
        "current",
        &Bounds::from_zero(1e4),
        "{ min = \"0.3 A\", max = \"6 A\" }",
    );
    let output_ripple = output.quantity::<Voltage>("ripple", &Bounds::positive(1e3));
    output.close();

    let stage = root.section("stage");
    let levels = stage.whole("levels", 2..=8, "3");
    let switching_frequency = stage.required::<Frequency>(
        "switching_frequency",
        &Bounds {
            range: 100.0..=1e8,
            above: false,
        },
        "\"140 kHz\"",
    );
    let mut spreads = Spreads::default();
    let inductance =
        stage.uncertain::<Inductance>("inductance", &Bounds::positive(1.0), "\"0.68 uH\"");
    spreads.inductance = inductance.as_ref().and_then(|l| l.distribution);
    let inductance = inductance.map(|l| l.read.value);
    let inductance_tolerance = spread::tolerance(
        spreads.inductance.as_ref(),
        inductance.map_or(1.0, Inductance::coherent),
    );
    let flying_capacitance =
        stage.quantity::<Capacitance>("flying_capacitance", &Bounds::positive(1.0));
    let flying_ripple = stage.quantity::<Ratio>("flying_ripple", &Bounds::positive(1.0));
    let output_capacitance =
        stage.required::<Capacitance>("output_capacitance", &Bounds::positive(10.0), "\"100 uF\"");
    let node_capacitance = stage.required_uncertain::<Capacitance>(
        "node_capacitance",
        &Bounds::from_zero(1e-3),
        "\"50 pF\"",
    );
    spreads.node_capacitance = node_capacitance.distribution;
    stage.close();

    let clamp = read_clamp(&part(root.section("clamp"), "clamp"), &mut spreads);
    let trip = read_trip(&root.section("trip"), &mut spreads);

    let timing = root.section("timing");
    let dead_time = timing.quantity::<Time>("dead_time", &Bounds::positive(1e-2));
    let minimum_on_time = timing.quantity::<Time>("minimum_on_time", &Bounds::from_zero(1e-2));
    timing.close();
    let limits = root.section("limits");
    let voltage_margin = limits.quantity::<Ratio>(
        "voltage_margin",
        &Bounds {
            range: 0.0..=0.9,
            above: false,
        },
    );
    limits.close();

    let transistors = root.section("transistors");
    let (high, high_scale) =
        read_transistor(&part(transistors.section("high"), "transistor"), "C_H");
    let (low, low_scale) = read_transistor(&part(transistors.section("low"), "transistor"), "C_L");
    (spreads.high_scale, spreads.low_scale) = (high_scale, low_scale);
    transistors.close();
    let correlations = correlation::read(root, reader, &spreads);

    let parts = part::read(root, part);
    let control = control::read(root);
    let [author, revision] = read_document(&root.section("document"));
    let decisions = root
        .sections("decision")
        .iter()
        .map(read_decision)
        .collect();
    root.close();

    let mut specification = Specification {
        source: String::new(),
        parts_source: String::new(),
        title: title.value,
        input_voltage: range(&input_voltage),
        output_voltage: range(&output_voltage),
        output_current: range(&output_current),
        output_ripple: output_ripple.map(|r| r.value),
        levels: u8::try_from(levels.value).unwrap_or(2),
        switching_frequency: switching_frequency.value,
        inductance,
        inductance_tolerance,
        flying_capacitance: flying_capacitance.map(|c| c.value),
        flying_ripple: flying_ripple.map(|r| r.value),
        output_capacitance: output_capacitance.value,
        parts,
        control,
        node_capacitance: node_capacitance.read.value,
        clamp,
        trip,
        dead_time: dead_time.as_ref().map(|t| t.value),
        minimum_on_time: minimum_on_time.map(|t| t.value),
        voltage_margin: voltage_margin.map(|m| m.value),
        high,
        low,
        spreads,
        correlations,
        author,
        revision,
        decisions,
        notes: vec![],
    };
    // Conditions across keys, on what was read without problem.
    let voltages = input_voltage.good && output_voltage.good;
    if output_current.good {
        check::load(&specification, reader, &output_current.span);
    }
    if voltages && levels.good {
        check::bands(&mut specification, reader, &output_voltage.span);
    }
    if let Some(read) = dead_time.filter(|r| r.good && switching_frequency.good && levels.good) {
        check::dead_time(&specification, reader, &read.span);
    }
    check::capacitance(&specification, reader, &node_capacitance.read.span);
    check::two_level(&mut specification);
    check::tolerance(&mut specification);
    specification
}

fn read_clamp(section: &Section, spreads: &mut Spreads) -> Clamp {
    let resistance =
        section.required_uncertain("resistance", &Bounds::positive(1e3), "\"12 mohm\"");
    spreads.clamp_resistance = resistance.distribution;
    spreads.clamp_scale = section.scale("output_capacitance");
    let clamp = Clamp {
        resistance: resistance.read.value,
        drop: section
            .quantity::<Voltage>("drop", &Bounds::from_zero(100.0))
            .map_or_else(
                || crate::quantity::Dimensioned::from_coherent(0.0),
                |d| d.value,
            ),
        output_capacitance: section
            .curve("output_capacitance", "C_cl")
            .map(|curve| curve.value.shared()),
        rated_voltage: section
            .quantity("rated_voltage", &Bounds::positive(1e5))
            .map(|v| v.value),
        data: part::read_switch(section),
        diode: section
            .has("diode")
            .then(|| read_clamp_diode(&section.section("diode"))),
    };
    section.close();
    clamp
}

fn read_clamp_diode(section: &Section) -> ClampDiode {
    let diode = ClampDiode {
        resistance: section
            .required("resistance", &Bounds::positive(1e3), "\"20 mohm\"")
            .value,
        drop: section
            .required("drop", &Bounds::from_zero(100.0), "\"0.7 V\"")
            .value,
    };
    section.close();
    diode
}

fn read_trip(section: &Section, spreads: &mut Spreads) -> Trip {
    let amperes = Bounds::from_zero(1e4);
    let either_sign = Bounds {
        range: -1e4..=1e4,
        above: false,
    };
    let delay = section.required_uncertain("delay", &Bounds::from_zero(1e-3), "\"35 ns\"");
    let threshold = section.uncertain::<Current>("threshold", &amperes, "\"0.4 A\"");
    spreads.trip_delay = delay.distribution;
    spreads.trip_threshold = threshold.as_ref().and_then(|t| t.distribution);
    let trip = Trip {
        delay: delay.read.value,
        offset: section
            .quantity::<Current>("offset", &either_sign)
            .map_or_else(
                || crate::quantity::Dimensioned::from_coherent(0.0),
                |o| o.value,
            ),
        margin: section
            .required(
                "margin",
                &Bounds {
                    range: 1.0..=100.0,
                    above: false,
                },
                "1.2",
            )
            .value,
        threshold: threshold.map(|t| t.read.value),
    };
    section.close();
    trip
}

fn read_transistor(section: &Section, curve: &str) -> (Transistor, Option<Distribution>) {
    let on_resistance = section.required("on_resistance", &Bounds::from_zero(1e3), "\"4 mohm\"");
    if !section.has("output_capacitance") {
        section.missing("output_capacitance", "{ constant = \"300 pF\" }");
    }
    let scale = section.scale("output_capacitance");
    // A curve without capacitance stands in for one that could not be read.
    let output_capacitance = section
        .curve("output_capacitance", curve)
        .map_or_else(|| Curve::empty(curve), |read| read.value);
    let diode_drop = section.quantity("diode_drop", &Bounds::from_zero(100.0));
    let rated_voltage = section.quantity("rated_voltage", &Bounds::positive(1e5));
    let data = part::read_switch(section);
    section.close();
    let transistor = Transistor {
        on_resistance: on_resistance.value,
        output_capacitance: output_capacitance.shared(),
        diode_drop: diode_drop.map(|v| v.value),
        rated_voltage: rated_voltage.map(|v| v.value),
        data,
    };
    (transistor, scale)
}

/// Author and revision.
fn read_document(section: &Section) -> [Option<String>; 2] {
    let texts = ["author", "revision"].map(|key| section.text(key).map(|t| t.value));
    section.close();
    texts
}

fn read_decision(section: &Section) -> Decision {
    let rejected = section
        .sections("rejected")
        .into_iter()
        .map(|item| {
            let rejected = Rejected {
                option: placed(item.required_text("option", "\"...\"")),
                because: placed(item.required_text("because", "\"...\"")),
            };
            item.close();
            rejected
        })
        .collect();
    let decision = Decision {
        question: placed(section.required_text("question", "\"...\"")),
        chosen: placed(section.required_text("chosen", "\"...\"")),
        rejected,
    };
    section.close();
    decision
}
