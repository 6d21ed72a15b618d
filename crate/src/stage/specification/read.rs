//! Reading the specification's tables, and what must hold across them.

use super::{
    Clamp, ClampDiode, Decision, GREATEST_VOLTAGE, Placed, Range, Rejected, Specification, StartUp,
    Transistor, Trip,
};
use crate::equation::Curve;
use crate::quantity::{
    Capacitance, Current, Dimensioned as _, Frequency, Inductance, Ratio, Time, Voltage,
};
use crate::stage::catalogue::{self, Catalogue};
use crate::stage::reader::{Bounds, Read, Reader, Section};
use crate::stage::spread::{self, Spreads};
use crate::stage::uncertain::UncertainInput;
use crate::stage::{check, control, correlation, part};

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

pub(super) fn read_all<'s, 'r>(
    root: &Section<'s, 'r>,
    reader: &Reader,
    catalogue: Option<&'r Catalogue<'s>>,
) -> Specification {
    let part = |section, kind| catalogue::with_part(section, catalogue, kind);
    let title = root.required_line("title", "\"...\"");
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
    let inductance = stage.uncertain::<Inductance>(
        UncertainInput::Inductance,
        &Bounds::positive(1.0),
        "\"0.68 uH\"",
        &mut spreads,
    );
    let inductance = inductance.map(|l| l.value);
    let inductance_tolerance = spread::tolerance(
        spreads.get(UncertainInput::Inductance),
        inductance.map_or(1.0, Inductance::coherent),
    );
    let flying_capacitance =
        stage.quantity::<Capacitance>("flying_capacitance", &Bounds::positive(1.0));
    let flying_ripple = stage.quantity::<Ratio>("flying_ripple", &Bounds::positive(1.0));
    let output_capacitance =
        stage.required::<Capacitance>("output_capacitance", &Bounds::positive(10.0), "\"100 uF\"");
    let node_capacitance = stage.required_uncertain::<Capacitance>(
        UncertainInput::NodeCapacitance,
        &Bounds::from_zero(1e-3),
        "\"50 pF\"",
        &mut spreads,
    );
    stage.close();

    let clamp = read_clamp(&part(root.section("clamp"), "clamp"), &mut spreads);
    let trip = read_trip(&root.section("trip"), &mut spreads);

    let timing = root.section("timing");
    let dead_time = timing.quantity::<Time>("dead_time", &Bounds::positive(1e-2));
    let minimum_on_time = timing.quantity::<Time>("minimum_on_time", &Bounds::from_zero(1e-2));
    timing.close();
    let voltage_margin = read_limits(&root.section("limits"));
    let start_up = read_start_up(&root.section("start_up"));

    let transistors = root.section("transistors");
    let mut transistor = |key, curve, scale| {
        let section = part(transistors.section(key), "transistor");
        read_transistor(&section, curve, scale, &mut spreads)
    };
    let high = transistor("high", "C_H", UncertainInput::HighScale);
    let low = transistor("low", "C_L", UncertainInput::LowScale);
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
        parts_source: None,
        title: title.value,
        input_voltage: range(&input_voltage),
        output_voltage: range(&output_voltage),
        output_current: range(&output_current),
        output_ripple: output_ripple.map(|r| r.value),
        levels: u8::try_from(levels.value).unwrap_or(2),
        switching_frequency: switching_frequency.value,
        inductance,
        inductance_tolerance,
        start_up,
        flying_capacitance: flying_capacitance.map(|c| c.value),
        flying_ripple: flying_ripple.map(|r| r.value),
        output_capacitance: output_capacitance.value,
        parts,
        control,
        node_capacitance: node_capacitance.value,
        clamp,
        trip,
        dead_time: dead_time.as_ref().map(|t| t.value),
        minimum_on_time: minimum_on_time.map(|t| t.value),
        voltage_margin,
        high,
        low,
        spreads,
        correlations,
        author,
        revision,
        decisions,
        notes: vec![],
        edits: vec![],
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
    check::capacitance(&specification, reader, &node_capacitance.span);
    check::notes(&mut specification);
    specification
}

fn read_clamp(section: &Section, spreads: &mut Spreads) -> Clamp {
    let resistance = section.required_uncertain(
        UncertainInput::ClampResistance,
        &Bounds::positive(1e3),
        "\"12 mohm\"",
        spreads,
    );
    let scale = section.scale("output_capacitance", UncertainInput::ClampScale, spreads);
    let clamp = Clamp {
        resistance: resistance.value,
        drop: section
            .quantity::<Voltage>("drop", &Bounds::from_zero(100.0))
            .map_or_else(|| Voltage::from_coherent(0.0), |d| d.value),
        output_capacitance: section
            .curve("output_capacitance", "C_cl")
            .map(|curve| curve.value.shared()),
        scale,
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
    let delay = section.required_uncertain(
        UncertainInput::TripDelay,
        &Bounds::from_zero(1e-3),
        "\"35 ns\"",
        spreads,
    );
    let threshold = section.uncertain::<Current>(
        UncertainInput::TripThreshold,
        &amperes,
        "\"0.4 A\"",
        spreads,
    );
    let trip = Trip {
        delay: delay.value,
        offset: section
            .quantity::<Current>("offset", &either_sign)
            .map_or_else(|| Current::from_coherent(0.0), |o| o.value),
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
        threshold: threshold.map(|t| t.value),
    };
    section.close();
    trip
}

fn read_transistor(
    section: &Section,
    curve: &str,
    scale: UncertainInput,
    spreads: &mut Spreads,
) -> Transistor {
    let on_resistance = section.required("on_resistance", &Bounds::from_zero(1e3), "\"4 mohm\"");
    if !section.has("output_capacitance") {
        section.missing("output_capacitance", "{ constant = \"300 pF\" }");
    }
    let scale = section.scale("output_capacitance", scale, spreads);
    // A curve without capacitance stands in for one that could not be read.
    let output_capacitance = section
        .curve("output_capacitance", curve)
        .map_or_else(|| Curve::empty(curve), |read| read.value);
    let diode_drop = section.quantity("diode_drop", &Bounds::from_zero(100.0));
    let rated_voltage = section.quantity("rated_voltage", &Bounds::positive(1e5));
    let data = part::read_switch(section);
    section.close();
    Transistor {
        on_resistance: on_resistance.value,
        output_capacitance: output_capacitance.shared(),
        scale,
        diode_drop: diode_drop.map(|v| v.value),
        rated_voltage: rated_voltage.map(|v| v.value),
        data,
    }
}

fn read_start_up(section: &Section) -> StartUp {
    let start_up = StartUp {
        precharged: section.flag("flying_capacitors_precharged"),
        slow_input: section.flag("input_slew_limited"),
    };
    section.close();
    start_up
}

/// The margin asked for between blocking and rated voltage.
fn read_limits(section: &Section) -> Option<Ratio> {
    let margin = section.quantity::<Ratio>(
        "voltage_margin",
        &Bounds {
            range: 0.0..=0.9,
            above: false,
        },
    );
    section.close();
    margin.map(|m| m.value)
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
