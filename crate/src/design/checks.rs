//! The requirements that the results decide.

use super::Design;
use super::finding::Finding;
use super::requirement::Requirement;
use crate::cycle::{self, State};
use crate::quantity::{
    Capacitance, Current, Dimensioned, Inductance, Time, Voltage, number, print,
};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint};

/// The requirements, in the order of the derivation.
pub(crate) fn all(design: &Design) -> Vec<Requirement> {
    let mut list = vec![inductance(design)];
    trip(design, &mut list);
    dead_time(design, &mut list);
    list.push(on_time(design));
    ratings(design, &mut list);
    ripples(design, &mut list);
    list
}

fn value(finding: Option<&Finding>) -> Option<f64> {
    finding.and_then(Finding::value)
}

fn inductance(design: &Design) -> Requirement {
    let tolerance = design.stage.specification.inductance_tolerance.coherent();
    let upper = design.stage.axes.inductance.value() * (1.0 + tolerance);
    let name = "inductance_ceiling_operating";
    let ceiling = design.finding(name);
    Requirement::on(
        name,
        ceiling,
        "Inductance at the upper end of its tolerance, against the ceiling in operation",
    )
    .at_most(Some(upper), value(ceiling), Inductance::EXPONENTS)
}

fn trip(design: &Design, list: &mut Vec<Requirement>) {
    let set = Some(design.in_force.trip.value.coherent());
    for (name, words) in [
        (
            "trip_current",
            "Trip threshold in force, against the need at nominal inductance",
        ),
        (
            "trip_current_least_inductance",
            "Trip threshold in force, against the need at the least inductance",
        ),
        (
            "trip_current_greatest_inductance",
            "Trip threshold in force, against the need at the greatest inductance",
        ),
    ] {
        if let Some(need) = design.finding(name) {
            list.push(Requirement::on(name, Some(need), words).at_least(
                set,
                need.value(),
                Current::EXPONENTS,
            ));
        }
    }
    let name = "release_path_current";
    if let Some(path) = design.finding(name) {
        let words = "Trip threshold, against what the release path can reach";
        let requirement = Requirement::on(name, Some(path), words);
        list.push(requirement.at_most(set, path.value(), Current::EXPONENTS));
    }
}

fn dead_time(design: &Design, list: &mut Vec<Requirement>) {
    let stated = design.stage.specification.dead_time;
    for (name, words, at_least) in [
        (
            "dead_time_earliest",
            "Dead time, against the node's arrival at the upper level",
            true,
        ),
        (
            "dead_time_latest",
            "Dead time, against the node's ringing back",
            false,
        ),
    ] {
        for end in design.all(name) {
            list.push(in_window(end, words, at_least, stated));
        }
    }
    let circuit = circuit(design);
    let stated = circuit.as_ref().and_then(Circuit::dead_time_of_fall);
    for (name, words, at_least) in [
        (
            "fall_time_least_load",
            "Dead time of the low side, against the node's arrival at the lower level",
            true,
        ),
        (
            "fall_latest",
            "Dead time of the low side, against the reversal of the current",
            false,
        ),
    ] {
        for end in design.all(name) {
            let requirement = in_window(end, words, at_least, stated);
            list.push(
                match circuit.as_ref().and_then(|c| incomplete(design, c, end)) {
                    Some(words) => requirement.note(&words),
                    None => requirement,
                },
            );
        }
    }
}

/// A dead time against one end of its window.
fn in_window(end: &Finding, words: &str, at_least: bool, stated: Option<Time>) -> Requirement {
    let dead_time = stated.map(Time::coherent);
    let requirement = Requirement::on(end.name(), Some(end), words);
    let requirement = if at_least {
        requirement.at_least(dead_time, end.value(), Time::EXPONENTS)
    } else {
        requirement.at_most(dead_time, end.value(), Time::EXPONENTS)
    };
    if stated.is_some() {
        requirement
    } else {
        requirement
            .stated(false)
            .note("the best instant at each point counts as the dead time")
    }
}

/// The circuit that the results are about.
fn circuit(design: &Design) -> Option<Circuit> {
    let specification = &design.stage.specification;
    let circuit = design
        .in_force
        .circuit(specification, Scheme::FreewheelTransistors);
    circuit.ok()
}

/// Where a result on the fall has no value because the node does not come to its lower
/// level at all: the exact steady state's words for that.
fn incomplete(design: &Design, circuit: &Circuit, end: &Finding) -> Option<String> {
    if end.value().is_some() {
        return None;
    }
    let axes = &design.stage.axes;
    let at = OperatingPoint {
        input_voltage: Voltage::from_coherent(end.point.value_of(axes.input_voltage)),
        output_voltage: Voltage::from_coherent(end.point.value_of(axes.output_voltage)),
        output_current: Current::from_coherent(end.point.value_of(axes.output_current)),
    };
    let steady = cycle::steady_state(circuit, at).ok()?;
    (steady.state == State::IncompleteFall)
        .then(|| format!("at {}: {}", end.place(), steady.state.words(steady.scheme)))
}

fn on_time(design: &Design) -> Requirement {
    let name = "on_time_least";
    let on_time = design.finding(name);
    let least = design.stage.specification.minimum_on_time;
    Requirement::on(
        name,
        on_time,
        "On-time at the least output current, against the least that the control gives",
    )
    .at_least(value(on_time), least.map(Time::coherent), Time::EXPONENTS)
    .stated(least.is_some())
}

fn ratings(design: &Design, list: &mut Vec<Requirement>) {
    let s = &design.stage.specification;
    let keep = 1.0 - s.voltage_margin.map_or(0.0, Dimensioned::coherent);
    let margin = s.voltage_margin.map_or_else(
        || "no margin stated: the full rating counts".to_owned(),
        |m| {
            format!(
                "rating less the margin of {} %",
                number(m.coherent() * 100.0, 4)
            )
        },
    );
    let start = if s.levels > 2 {
        format!(
            "{margin}; checked against one step. With the flying capacitors not yet charged the \
             clamp may see the whole input voltage, {} at most: charge them first, or rate the \
             clamp for it",
            print(s.input_voltage.max)
        )
    } else {
        margin.clone()
    };
    let transistor = "transistor_blocking_voltage";
    for (name, words, rated, note) in [
        (
            transistor,
            "Voltage blocked by a high-side transistor",
            s.high.rated_voltage,
            &margin,
        ),
        (
            transistor,
            "Voltage blocked by a low-side transistor",
            s.low.rated_voltage,
            &margin,
        ),
        (
            "clamp_blocking_voltage",
            "Voltage blocked by the clamp in operation",
            s.clamp.rated_voltage,
            &margin,
        ),
        (
            "clamp_blocking_voltage_start",
            "Voltage blocked by the clamp at start-up",
            s.clamp.rated_voltage,
            &start,
        ),
    ] {
        let blocked = design.finding(name);
        let limit = rated.map(|r: Voltage| r.coherent() * keep);
        let requirement = Requirement::on(name, blocked, words)
            .at_most(value(blocked), limit, Voltage::EXPONENTS)
            .stated(rated.is_some());
        list.push(requirement.note(note));
    }
}

fn ripples(design: &Design, list: &mut Vec<Requirement>) {
    let s = &design.stage.specification;
    if s.levels > 2 {
        let name = "flying_capacitance_needed";
        let needed = design.finding(name);
        let words = "Flying capacitance, against the need for its ripple";
        list.push(
            Requirement::on(name, needed, words)
                .at_least(
                    s.flying_capacitance_in_operation()
                        .map(Capacitance::coherent),
                    value(needed),
                    Capacitance::EXPONENTS,
                )
                .stated(s.flying_ripple.is_some() && s.flying_capacitance.is_some()),
        );
    }
    let name = "output_ripple";
    let ripple = design.finding(name);
    let words =
        "Ripple of the output, peak to peak, without the step of the capacitor's resistance";
    list.push(
        Requirement::on(name, ripple, words)
            .at_most(
                value(ripple),
                s.output_ripple.map(Voltage::coherent),
                Voltage::EXPONENTS,
            )
            .stated(s.output_ripple.is_some()),
    );
}
