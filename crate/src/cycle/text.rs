//! The steady state as plain text.

use std::fmt::Write as _;

use super::course::{Course, Interval, Paths, Stretch, Switching};
use super::output::notes;
use super::state::SteadyState;
use crate::quantity::{Charge, Current, Dimensioned as _, Ratio, print};
use crate::stage::Specification;

/// The steady state as plain text, with the notes on the specification and the point.
#[must_use]
pub fn text(steady: &SteadyState, specification: &Specification) -> String {
    let at = &steady.at;
    let mut text = format!(
        "{}\n{} ({}) at {} in, {} out, {}\n{}: {}\n",
        specification.title,
        steady.scheme,
        steady.scheme.words(),
        print(at.input_voltage),
        print(at.output_voltage),
        print(at.output_current),
        steady.state,
        steady.explanation(),
    );
    if let Some(current) = steady.release_current {
        let (direction, size) = if current.coherent() < 0.0 {
            ("to the output", -current)
        } else {
            ("back into the node", current)
        };
        let words = format!("current at release, {direction}");
        line(&mut text, &words, &print(size));
    }
    if let Some(current) = steady.clamp_on_current {
        line(
            &mut text,
            "current when the clamp turns on",
            &print(current),
        );
    }
    if let Some(course) = &steady.course {
        if let Some(current) = course.freewheel_current {
            let words = "freewheel current when the clamp opens";
            line(&mut text, words, &print(current));
            line(
                &mut text,
                "minimum for a complete rise (floor)",
                &print(steady.floor),
            );
        }
        values(&mut text, course, specification);
        intervals(&mut text, course);
        paths(&mut text, &course.paths);
    }
    for note in notes(steady, specification) {
        let _ = writeln!(text, "  {note}");
    }
    text
}

fn line(text: &mut String, words: &str, value: &str) {
    let _ = writeln!(text, "  {words:<44} {value}");
}

fn values(text: &mut String, c: &Course, specification: &Specification) {
    if c.first() == Stretch::Rise {
        let words = "residual current after the rising edge";
        line(text, words, &print(c.residual_current));
    }
    line(text, "peak current", &print(c.peak_current));
    if c.highest_peak_current > c.peak_current {
        let words = "highest peak of the pairs' cells";
        line(text, words, &print(c.highest_peak_current));
    }
    line(
        text,
        "cell; switching frequency of each pair",
        &format!(
            "{}; {}",
            print(c.cell_time),
            print(c.switching_frequency(specification.levels - 1))
        ),
    );
    line(text, "on-time, body diode included", &print(c.on_time));
    if c.first() != Stretch::Ring {
        line(text, "dead time in force", &print(c.dead_time));
        if let (Some(start), Some(end)) = (c.window_start, c.window_end) {
            let window = format!("{} to {}", print(start), print(end));
            line(text, "window for that dead time", &window);
        }
    }
    line(text, "dead time of the low side", &print(c.low_dead_time));
    if let Some((start, end)) = c.low_window {
        let window = format!("{} to {}", print(start), print(end));
        line(text, "window for that dead time", &window);
    }
    line(
        text,
        "left across the high side at turn-on",
        &format!("{}, {}", print(c.turn_on.voltage), print(c.turn_on.energy)),
    );
    let degree = match c.switching() {
        Switching::ZeroVoltage => "at zero voltage".to_owned(),
        Switching::Partial(share) => format!("partial, {} of a full turn-on", percent(share)),
        Switching::Hard(share) => format!("hard, {} of a full turn-on", percent(share)),
    };
    line(text, "it turns on", &degree);
    if c.low_turn_on.voltage.coherent() > 0.0 {
        line(
            text,
            "left across the low side at turn-on",
            &format!(
                "{}, {}",
                print(c.low_turn_on.voltage),
                print(c.low_turn_on.energy)
            ),
        );
    }
    if let Some([best, worst, mean]) = c.ring {
        line(
            text,
            "over the ring: best, worst, mean",
            &[best, worst, mean]
                .map(|t| format!("{} ({})", print(t.voltage), print(t.energy)))
                .join(", "),
        );
    }
    line(text, "duty of each pair", &print(c.duty));
    line(
        text,
        "average current to the output",
        &print(c.average_current),
    );
    if let Some(ripple) = c.paths.flying.and_then(|f| f.ripple) {
        let words = "flying capacitors, ripple peak to peak";
        line(text, words, &print(ripple));
    }
    let ripple = c.paths.output.ripple;
    let words = "output, ripple peak to peak";
    line(text, words, &print(ripple));
    let loss = c.dissipation.total();
    line(text, "conduction and turn-on loss", &print(loss));
}

fn percent(share: Ratio) -> String {
    format!("{:.3} %", 100.0 * share.coherent())
}

/// A row of a table: what, and three values to the right.
fn row(text: &mut String, words: &str, values: [&str; 3]) {
    let [first, second, third] = values;
    let line = format!("  {words:<30} {first:>12} {second:>12} {third:>12}");
    let _ = writeln!(text, "{}", line.trim_end());
}

fn intervals(text: &mut String, course: &Course) {
    row(text, "interval", ["duration", "current from", "to"]);
    for (stretch, interval) in course.intervals() {
        let Interval {
            duration,
            start_current,
            end_current,
        } = interval;
        let values = [print(duration), print(start_current), print(end_current)];
        row(text, stretch.words(), values.each_ref().map(String::as_str));
    }
}

fn paths(text: &mut String, paths: &Paths) {
    row(text, "path", ["average", "rms", "charge"]);
    for (_, words, flow) in flows(paths) {
        let values = [print(flow.average), print(flow.rms), print(flow.charge)];
        row(text, words, values.each_ref().map(String::as_str));
    }
}

/// What flows on a path.
pub(super) struct Flow {
    pub average: Current,
    pub rms: Current,
    pub charge: Charge,
}

/// The paths with their names for data and their words. A capacitor's current has no
/// average, and its charge is what goes in and out.
pub(super) fn flows(paths: &Paths) -> Vec<(&'static str, &'static str, Flow)> {
    let mut flows = Vec::new();
    let of = |path: &super::course::Path| Flow {
        average: path.average,
        rms: path.rms,
        charge: path.charge,
    };
    let capacitor = |rms, charge| Flow {
        average: Current::from_coherent(0.0),
        rms,
        charge,
    };
    flows.push((
        "inductor",
        "inductor, freewheel included",
        of(&paths.inductor),
    ));
    flows.push(("high", "each high side", of(&paths.high)));
    flows.push(("low", "each low side", of(&paths.low)));
    flows.push((
        "high_diode",
        "its body diode, high side",
        of(&paths.high_diode),
    ));
    flows.push((
        "low_diode",
        "its body diode, low side",
        of(&paths.low_diode),
    ));
    if let Some(clamp) = &paths.clamp {
        flows.push(("clamp", "clamp", of(clamp)));
    }
    if let Some(flying) = &paths.flying {
        let flow = capacitor(flying.rms, flying.charge);
        flows.push(("flying_capacitor", "each flying capacitor", flow));
    }
    let output = capacitor(paths.output.rms, paths.output.charge);
    flows.push(("output_capacitor", "output capacitor", output));
    flows
}
