//! The steady state for machines and as text.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::course::{Course, Path};
use super::state::{State, SteadyState};
use crate::design::input_hash;
use crate::quantity::{Dimensioned, print};
use crate::scheme::Scheme;
use crate::stage::Specification;

/// The version of the machine-readable form.
const FORMAT: u32 = 1;

fn number<Q: Dimensioned>(quantity: Option<Q>) -> Value {
    quantity
        .map(Q::coherent)
        .filter(|value| value.is_finite())
        .map_or(Value::Null, Value::from)
}

/// What of a cell a state and a scheme leave meaningful.
struct Meaning<'s> {
    course: Option<&'s Course>,
    /// The node moves by itself up to the turn-on.
    rises: bool,
}

impl<'s> Meaning<'s> {
    fn of(steady: &'s SteadyState) -> Self {
        let course = steady.course.as_ref();
        let ring = steady.scheme == Scheme::Discontinuous;
        Self {
            course,
            rises: course.is_some() && steady.state != State::ClampDemagnetised && !ring,
        }
    }

    fn value<Q: Dimensioned>(&self, of: impl Fn(&Course) -> Q) -> Value {
        number(self.course.map(of))
    }

    fn optional<Q: Dimensioned>(&self, of: impl Fn(&Course) -> Option<Q>) -> Value {
        number(self.course.and_then(of))
    }

    fn rising<Q: Dimensioned>(&self, of: impl Fn(&Course) -> Q) -> Value {
        if self.rises {
            self.value(of)
        } else {
            Value::Null
        }
    }
}

/// The steady state as one JSON object in coherent units, with the notes on the
/// specification that it is one of.
///
/// Currents are averages and rms values over these times:
/// - `average_current`: to the output, over the cell. While the clamp conducts the
///   inductor's current circulates in it and does not count; the charge of an edge
///   that a switch completes does. In steady state it is the output current.
/// - `inductor_average`, `inductor_rms`: of the inductor over the cell, freewheel
///   included.
/// - `clamp_rms`: over the cell.
/// - `high_rms`, `low_rms`: of each transistor's channel over a switching period of
///   its pair, which is as many cells as there are pairs.
///
/// A value that the state leaves without meaning is null.
#[must_use]
pub fn json(steady: &SteadyState, specification: &Specification) -> String {
    let m = Meaning::of(steady);
    let rms = |path: Path| path.rms;
    let at = &steady.at;
    let mut value = json!({
        "format": FORMAT,
        "version": crate::VERSION,
        "input_hash": input_hash(&[specification.source().as_bytes()]),
        "scheme": steady.scheme.name(),
        "at": {
            "input_voltage": at.input_voltage.coherent(),
            "output_voltage": at.output_voltage.coherent(),
            "output_current": at.output_current.coherent(),
        },
        "state": steady.state.name(),
        "cell_time": m.value(|c| c.cell_time),
        "on_time": m.value(|c| c.on_time),
        "gate_on_time": m.value(|c| c.gate_on_time),
        "duty": m.value(|c| c.duty),
        "dead_time": m.value(|c| c.dead_time),
        "dead_time_earliest": m.optional(|c| c.window_start),
        "dead_time_latest": m.optional(|c| c.window_end),
        "peak_current": m.value(|c| c.peak_current),
        "release_current": number(steady.release_current),
        "clamp_on_current": number(steady.clamp_on_current),
        "freewheel_floor": number(Some(steady.floor)),
        "freewheel_current": m.optional(|c| c.freewheel_current),
        "residual_current": m.rising(|c| c.residual_current),
        "margin": m.value(|c| c.margin),
        "rise_time": m.rising(|c| c.rise.duration),
        "fall_time": m.value(|c| c.fall.duration),
        "release_time": m.value(|c| c.release.duration),
        "partial_rise_time": number(steady.partial_rise_time),
        "hold_time": m.optional(|c| c.hold.map(|hold| hold.duration)),
        "turn_on_voltage": m.value(|c| c.turn_on.voltage),
        "turn_on_energy": m.value(|c| c.turn_on.energy),
        "low_turn_on_voltage": m.value(|c| c.low_turn_on.voltage),
        "low_turn_on_energy": m.value(|c| c.low_turn_on.energy),
        "ring_turn_on": m.course.and_then(|c| c.ring).map_or(Value::Null, |ring| {
            let [best, worst, mean] = ring.map(|turn_on| json!({
                "voltage": turn_on.voltage.coherent(),
                "energy": turn_on.energy.coherent(),
            }));
            json!({ "best": best, "worst": worst, "mean": mean })
        }),
        "average_current": m.value(|c| c.average_current),
        "inductor_rms": m.value(|c| rms(c.paths.inductor)),
        "high_rms": m.value(|c| rms(c.paths.high)),
        "low_rms": m.value(|c| rms(c.paths.low)),
        "clamp_rms": m.optional(|c| c.paths.clamp.map(rms)),
        "flying_capacitor_rms": m.optional(|c| c.paths.flying.map(|f| f.rms)),
        "flying_capacitor_ripple": m.optional(|c| c.paths.flying.and_then(|f| f.ripple)),
        "output_capacitor_rms": m.value(|c| c.paths.output.rms),
        "output_capacitor_ripple": m.value(|c| c.paths.output.ripple),
        "input_current": m.value(|c| c.input_current),
        "conduction_and_turn_on_loss": m.value(|c| c.dissipation.total()),
    });
    // More keys than the macro takes.
    value["notes"] = json!(specification.notes);
    value["inductor_average"] = m.value(|c| c.paths.inductor.average);
    // Plain structures of numbers and texts always serialise.
    serde_json::to_string_pretty(&value).unwrap_or_default()
}

/// The steady state as plain text, with the notes on the specification.
#[must_use]
pub fn text(steady: &SteadyState, specification: &Specification) -> String {
    let mut text = values(steady);
    for note in &specification.notes {
        let _ = writeln!(text, "  {note}");
    }
    text
}

fn values(steady: &SteadyState) -> String {
    let at = &steady.at;
    let mut text = format!(
        "{} ({}) at {} in, {} out, {}\n{}: {}\n",
        steady.scheme,
        steady.scheme.words(),
        print(at.input_voltage),
        print(at.output_voltage),
        print(at.output_current),
        steady.state,
        steady.state.words(steady.scheme),
    );
    let mut line = |words: &str, value: String| {
        let _ = writeln!(text, "  {words:<44} {value}");
    };
    if let Some(current) = steady.release_current {
        let (direction, size) = if current.coherent() < 0.0 {
            ("to the output", -current)
        } else {
            ("back into the node", current)
        };
        line(&format!("current at release, {direction}"), print(size));
    }
    if let Some(current) = steady.clamp_on_current {
        line("current when the clamp turns on", print(current));
    }
    let Some(c) = &steady.course else {
        return text;
    };
    if let Some(current) = c.freewheel_current {
        line("freewheel current when the clamp opens", print(current));
        line("its floor", print(steady.floor));
    }
    line("peak current", print(c.peak_current));
    line("cell", print(c.cell_time));
    line("rising edge", print(c.rise.duration));
    line("on-time, body diode included", print(c.on_time));
    line("falling edge", print(c.fall.duration));
    line("release", print(c.release.duration));
    if let Some(partial) = c.partial_rise {
        line("partial rise", print(partial.duration));
    }
    if let Some(hold) = c.hold {
        line("hold", print(hold.duration));
    }
    line("dead time in force", print(c.dead_time));
    if let (Some(start), Some(end)) = (c.window_start, c.window_end) {
        line("its window", format!("{} to {}", print(start), print(end)));
    }
    line(
        "left across the high side at turn-on",
        format!("{}, {}", print(c.turn_on.voltage), print(c.turn_on.energy)),
    );
    if let Some([best, worst, mean]) = c.ring {
        line(
            "over the ring: best, worst, mean",
            [best, worst, mean]
                .map(|t| format!("{} ({})", print(t.voltage), print(t.energy)))
                .join(", "),
        );
    }
    line("duty of each pair", print(c.duty));
    line("average to the output", print(c.average_current));
    line(
        "inductor, average and rms, freewheel included",
        format!(
            "{}, {}",
            print(c.paths.inductor.average),
            print(c.paths.inductor.rms)
        ),
    );
    line("each high side, rms", print(c.paths.high.rms));
    line("each low side, rms", print(c.paths.low.rms));
    if let Some(clamp) = c.paths.clamp {
        line("clamp, rms", print(clamp.rms));
    }
    if let Some(ripple) = c.paths.flying.and_then(|f| f.ripple) {
        line("flying capacitors, ripple peak to peak", print(ripple));
    }
    line("conduction and turn-on loss", print(c.dissipation.total()));
    text
}
