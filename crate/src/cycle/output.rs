//! The steady state for machines.

use serde_json::{Map, Value, json};

use super::course::{Course, Path, Paths, Stretch};
use super::state::SteadyState;
use super::text::flows;
use crate::caution;
use crate::identity::Program;
use crate::quantity::Dimensioned;
use crate::stage::{Specification, point_notes};
use crate::visible::json_document;

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
        Self {
            course,
            rises: course.is_some_and(|course| course.first() == Stretch::Rise),
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

/// The notes on the specification that a steady state is one of, and on its point.
pub(super) fn notes(steady: &SteadyState, specification: &Specification) -> Vec<String> {
    let mut notes = specification.notes.clone();
    notes.extend(point_notes(specification, &steady.at));
    notes
}

/// The intervals in the order of the cell.
fn intervals(course: &Course) -> Value {
    let each = course.intervals().into_iter().map(|(stretch, interval)| {
        json!({
            "name": stretch,
            "duration": interval.duration.coherent(),
            "start_current": interval.start_current.coherent(),
            "end_current": interval.end_current.coherent(),
        })
    });
    Value::Array(each.collect())
}

/// What flows on every path, by its name.
fn paths(paths: &Paths) -> Value {
    let each = flows(paths).into_iter().map(|(name, _, flow)| {
        let flow = json!({
            "average": flow.average.coherent(),
            "rms": flow.rms.coherent(),
            "charge": flow.charge.coherent(),
        });
        (name.to_owned(), flow)
    });
    Value::Object(each.collect::<Map<_, _>>())
}

/// The steady state as one JSON object in coherent units, with the notes on the
/// specification that it is one of and on its point.
///
/// `intervals` stand in the order of the cell, their currents positive from the node
/// to the output. Under `paths` average, rms value and charge of a transistor are
/// those of [`super::Paths`]; a capacitor has the charge that goes in and out.
/// Without a clamp at zero current the node rings until the high side turns on:
/// `ring_time`, and no `dead_time`.
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
/// A value that the state leaves without meaning is null. Under `units` each name of a
/// number has its unit.
#[must_use]
pub fn json(steady: &SteadyState, specification: &Specification) -> String {
    json_document(&document(steady, specification))
}

/// As [`json()`], with the requirements at the point under `requirements`.
#[must_use]
pub fn json_with(
    steady: &SteadyState,
    specification: &Specification,
    requirements: &impl serde::Serialize,
) -> String {
    let mut value = document(steady, specification);
    value["requirements"] = json!(requirements);
    json_document(&value)
}

/// Units of the numbers, by their names wherever these stand.
const UNITS: [(&str, &str); 54] = [
    ("average", "A"),
    ("average_current", "A"),
    ("cell_time", "s"),
    ("charge", "C"),
    ("clamp_on_current", "A"),
    ("clamp_rms", "A"),
    ("conduction_and_turn_on_loss", "W"),
    ("dead_time", "s"),
    ("dead_time_earliest", "s"),
    ("dead_time_latest", "s"),
    ("duration", "s"),
    ("duty", "1"),
    ("end_current", "A"),
    ("energy", "J"),
    ("fall_time", "s"),
    ("flying_capacitor_ripple", "V"),
    ("flying_capacitor_rms", "A"),
    ("freewheel_current", "A"),
    ("freewheel_floor", "A"),
    ("frequency", "Hz"),
    ("gate_on_time", "s"),
    ("high_rms", "A"),
    ("highest_peak_current", "A"),
    ("hold_time", "s"),
    ("inductor_average", "A"),
    ("inductor_rms", "A"),
    ("input_current", "A"),
    ("input_voltage", "V"),
    ("low_dead_time", "s"),
    ("low_dead_time_earliest", "s"),
    ("low_dead_time_latest", "s"),
    ("low_rms", "A"),
    ("low_turn_on_energy", "J"),
    ("low_turn_on_voltage", "V"),
    ("margin", "1"),
    ("on_time", "s"),
    ("output_capacitor_ripple", "V"),
    ("output_capacitor_ripple_of_charge", "V"),
    ("output_capacitor_rms", "A"),
    ("output_current", "A"),
    ("output_voltage", "V"),
    ("partial_rise_time", "s"),
    ("peak_current", "A"),
    ("release_current", "A"),
    ("release_time", "s"),
    ("residual_current", "A"),
    ("ring_time", "s"),
    ("rise_time", "s"),
    ("rms", "A"),
    ("start_current", "A"),
    ("turn_on_energy", "J"),
    ("turn_on_share", "1"),
    ("turn_on_voltage", "V"),
    ("voltage", "V"),
];

fn document(steady: &SteadyState, specification: &Specification) -> Value {
    let m = Meaning::of(steady);
    let rms = |path: Path| path.rms;
    let at = &steady.at;
    let mut value = json!({
        "format": FORMAT,
        "program": Program::own(),
        "input_hash": specification.hash(),
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
        "dead_time": m.optional(|c| (c.first() != Stretch::Ring).then_some(c.dead_time)),
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
    let caution = caution::line(specification);
    let notes = notes(steady, specification).into_iter().chain(caution);
    value["title"] = json!(specification.title);
    value["settings"] = json!(specification.edits);
    value["notes"] = notes.collect();
    value["explanation"] = json!(steady.explanation());
    value["frequency"] = m.value(|c| c.switching_frequency(specification.levels - 1));
    value["ring_time"] = m.optional(|c| (c.first() == Stretch::Ring).then_some(c.rise.duration));
    value["low_dead_time"] = m.value(|c| c.low_dead_time);
    value["low_dead_time_earliest"] = m.optional(|c| c.low_window.map(|(start, _)| start));
    value["low_dead_time_latest"] = m.optional(|c| c.low_window.map(|(_, end)| end));
    value["switching"] = json!(m.course.map(|c| c.switching().name()));
    value["turn_on_share"] = m.value(Course::turn_on_share);
    value["output_capacitor_ripple_of_charge"] = m.value(|c| c.paths.output.ripple_of_charge);
    value["intervals"] = m.course.map_or(Value::Null, intervals);
    value["paths"] = m.course.map_or(Value::Null, |c| paths(&c.paths));
    value["highest_peak_current"] = m.value(|c| c.highest_peak_current);
    value["inductor_average"] = m.value(|c| c.paths.inductor.average);
    value["units"] = UNITS
        .iter()
        .map(|(name, unit)| ((*name).to_owned(), json!(unit)))
        .collect::<Map<_, _>>()
        .into();
    value
}
