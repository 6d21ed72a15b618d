//! The requirements that the results decide.

use super::Design;
use super::finding::Finding;
use super::requirement::Requirement;
use crate::quantity::{Capacitance, Current, Dimensioned, Inductance, Time, Voltage, print};

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
    let set = Some(design.trip.coherent());
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
    let name = "demagnetisation_time";
    let cell =
        1.0 / (design.stage.pairs() * design.stage.specification.switching_frequency.coherent());
    for time in design.all(name) {
        let words = "Time to demagnetise the inductor, against a whole cell";
        let requirement = Requirement::on(name, Some(time), words);
        list.push(requirement.at_least(time.value(), Some(cell), Time::EXPONENTS));
    }
}

fn dead_time(design: &Design, list: &mut Vec<Requirement>) {
    let stated = design.stage.specification.dead_time;
    let dead_time = stated.map(Time::coherent);
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
        (
            "fall_time",
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
            let requirement = Requirement::on(name, Some(end), words);
            let requirement = if at_least {
                requirement.at_least(dead_time, end.value(), Time::EXPONENTS)
            } else {
                requirement.at_most(dead_time, end.value(), Time::EXPONENTS)
            };
            list.push(if stated.is_some() {
                requirement
            } else {
                requirement
                    .stated(false)
                    .note("the best instant at each point counts as the dead time")
            });
        }
    }
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
        |m| format!("rating less the margin of {:.4} %", m.coherent() * 100.0),
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
                    s.flying_capacitance.map(Capacitance::coherent),
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
