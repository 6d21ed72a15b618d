//! The requirements that the results decide.

use super::Design;
use super::finding::{At, Finding};
use super::requirement::{Direction, Requirement};
use crate::quantity::{Capacitance, Current, Dimensioned, Inductance, Time, Voltage};

/// The requirements, in the order of the derivation.
pub(crate) fn all(design: &Design) -> Vec<Requirement> {
    let mut list = vec![inductance(design)];
    trip(design, &mut list);
    timing(design, &mut list);
    ratings(design, &mut list);
    ripples(design, &mut list);
    list
}

fn value(finding: Option<&Finding>) -> Option<f64> {
    finding.and_then(Finding::value)
}

fn at(finding: Option<&Finding>) -> At {
    finding.map(|f| f.at).unwrap_or_default()
}

fn inductance(design: &Design) -> Requirement {
    let s = &design.stage.specification;
    let upper = design.stage.axes.inductance.value() * (1.0 + s.inductance_tolerance.coherent());
    let ceiling = design.finding("inductance_ceiling_operating");
    Requirement::new(
        "Inductance at the upper end of its tolerance, against the ceiling in operation",
        Some(upper),
        Direction::AtMost,
        value(ceiling),
        Inductance::EXPONENTS,
        at(ceiling),
    )
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
            "The same at the least inductance",
        ),
        (
            "trip_current_greatest_inductance",
            "The same at the greatest inductance",
        ),
    ] {
        if let Some(need) = design.finding(name) {
            let requirement = Requirement::new(
                words,
                set,
                Direction::AtLeast,
                need.value(),
                Current::EXPONENTS,
                need.at,
            );
            list.push(requirement);
        }
    }
    if let Some(path) = design.finding("release_path_current") {
        list.push(Requirement::new(
            "Trip threshold, against what the release path can reach",
            set,
            Direction::AtMost,
            path.value(),
            Current::EXPONENTS,
            path.at,
        ));
    }
    for time in design.all("demagnetisation_time") {
        let cell = 1.0
            / (design.stage.pairs() * design.stage.specification.switching_frequency.coherent());
        list.push(Requirement::new(
            "Time to demagnetise the inductor, against a whole cell",
            time.value(),
            Direction::AtLeast,
            Some(cell),
            Time::EXPONENTS,
            time.at,
        ));
    }
}

fn timing(design: &Design, list: &mut Vec<Requirement>) {
    let s = &design.stage.specification;
    let stated = s.dead_time.is_some();
    let dead_time = s.dead_time.map(Time::coherent);
    for (name, words, direction) in [
        (
            "dead_time_earliest",
            "Dead time, against the node's arrival at the upper level",
            Direction::AtLeast,
        ),
        (
            "dead_time_latest",
            "Dead time, against the node's ringing back",
            Direction::AtMost,
        ),
        (
            "fall_time",
            "Dead time of the low side, against the node's arrival at the lower level",
            Direction::AtLeast,
        ),
        (
            "fall_latest",
            "Dead time of the low side, against the reversal of the current",
            Direction::AtMost,
        ),
    ] {
        for end in design.all(name) {
            let requirement = Requirement::new(
                words,
                dead_time,
                direction,
                end.value(),
                Time::EXPONENTS,
                end.at,
            );
            let note = "without it the best instant at each point counts as the dead time";
            list.push(
                requirement
                    .stated(stated)
                    .note(if stated { "" } else { note }),
            );
        }
    }
    let on_time = design.finding("on_time_least");
    list.push(
        Requirement::new(
            "On-time at the least output current, against the least that the control gives",
            value(on_time),
            Direction::AtLeast,
            s.minimum_on_time.map(Time::coherent),
            Time::EXPONENTS,
            at(on_time),
        )
        .stated(s.minimum_on_time.is_some()),
    );
}

fn ratings(design: &Design, list: &mut Vec<Requirement>) {
    let s = &design.stage.specification;
    let keep = 1.0 - s.voltage_margin.map_or(0.0, |m| m.coherent());
    let margin = s.voltage_margin.map_or_else(
        || "no margin stated, the full rating counts".to_owned(),
        |m| format!("rating less the margin of {:.4} %", m.coherent() * 100.0),
    );
    let mut check = |name: &str, words: &str, rated: Option<Voltage>, note: &str| {
        let blocked = design.finding(name);
        list.push(
            Requirement::new(
                words,
                value(blocked),
                Direction::AtMost,
                rated.map(|r| r.coherent() * keep),
                Voltage::EXPONENTS,
                at(blocked),
            )
            .stated(rated.is_some())
            .note(note),
        );
    };
    let transistor = "transistor_blocking_voltage";
    check(
        transistor,
        "Voltage blocked by a high-side transistor",
        s.high.rated_voltage,
        &margin,
    );
    check(
        transistor,
        "Voltage blocked by a low-side transistor",
        s.low.rated_voltage,
        &margin,
    );
    let clamp = s.clamp.rated_voltage;
    check(
        "clamp_blocking_voltage",
        "Voltage blocked by the clamp in operation",
        clamp,
        &margin,
    );
    let start = if s.levels > 2 {
        format!(
            "{margin}; the rating is checked against one step. With the flying capacitors not yet \
             charged the clamp may see the whole input voltage, {} at most: charge them first, or \
             rate the clamp for it",
            crate::quantity::print(s.input_voltage.max)
        )
    } else {
        margin.clone()
    };
    check(
        "clamp_blocking_voltage_start",
        "Voltage blocked by the clamp at start-up",
        clamp,
        &start,
    );
}

fn ripples(design: &Design, list: &mut Vec<Requirement>) {
    let s = &design.stage.specification;
    if s.levels > 2 {
        let needed = design.finding("flying_capacitance_needed");
        let stated = s.flying_ripple.is_some() && s.flying_capacitance.is_some();
        list.push(
            Requirement::new(
                "Flying capacitance, against the need for its ripple",
                s.flying_capacitance.map(Capacitance::coherent),
                Direction::AtLeast,
                value(needed),
                Capacitance::EXPONENTS,
                at(needed),
            )
            .stated(stated),
        );
    }
    let ripple = design.finding("output_ripple");
    list.push(
        Requirement::new(
            "Ripple of the output, peak to peak, without the step of the capacitor's resistance",
            value(ripple),
            Direction::AtMost,
            s.output_ripple.map(Voltage::coherent),
            Voltage::EXPONENTS,
            at(ripple),
        )
        .stated(s.output_ripple.is_some()),
    );
}
