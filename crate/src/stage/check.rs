//! Conditions that span several keys of the specification.

use std::ops::Range as Span;

use super::circuit::OperatingPoint;
use super::reader::Reader;
use super::specification::{Range, Specification};
use super::uncertain::UncertainInput;
use crate::quantity::{Dimensioned, Voltage, print, print_value};

/// How close to a band edge, as a part of a step, the reader is told.
const NEAR: f64 = 0.05;

/// The greatest output current is above zero.
pub(crate) fn load(specification: &Specification, reader: &Reader, span: &Span<usize>) {
    if specification.output_current.max.coherent() <= 0.0 {
        reader.problem(
            span,
            "output.current",
            "is 0 A at most; expected a maximum output current above 0 A",
        );
    }
}

/// The node has some capacitance.
pub(crate) fn capacitance(specification: &Specification, reader: &Reader, span: &Span<usize>) {
    let none = specification
        .curves()
        .iter()
        .all(|(curve, _)| curve.is_zero());
    if none && specification.node_capacitance.coherent() == 0.0 && !reader.has_problems() {
        reader.problem(
            span,
            "stage.node_capacitance",
            "the switch node has no capacitance at all; give the transistors an \
             output_capacitance above 0 F",
        );
    }
}

/// The dead time is shorter than a cell.
pub(crate) fn dead_time(specification: &Specification, reader: &Reader, span: &Span<usize>) {
    let Some(dead_time) = specification.dead_time else {
        return;
    };
    let pairs = f64::from(specification.levels - 1);
    let cell = 1.0 / (pairs * specification.switching_frequency.coherent());
    if dead_time.coherent() >= cell {
        let cell: crate::quantity::Time = Dimensioned::from_coherent(cell);
        reader.problem(
            span,
            "timing.dead_time",
            format!(
                "is {}, not shorter than a cell of {}; shorten it, or leave it out: the high side \
                 then turns on soon after the node has arrived",
                print(dead_time),
                print(cell)
            ),
        );
    }
}

/// What a sound specification leaves its reader to know.
pub(crate) fn notes(specification: &mut Specification) {
    two_level(specification);
    tolerance(specification);
    tables(specification);
}

/// What has no meaning for two levels.
fn two_level(specification: &mut Specification) {
    if specification.levels == 2
        && (specification.flying_capacitance.is_some() || specification.flying_ripple.is_some())
    {
        specification.notes.push(
            "A stage of two levels has no flying capacitor: flying_capacitance and flying_ripple \
             are not used."
                .to_owned(),
        );
    }
}

/// A capacitance table goes on as at its ends where it does not reach as far as the
/// voltages from zero up to a step of the node.
fn tables(specification: &mut Specification) {
    let pairs = f64::from(specification.levels - 1);
    let step = specification.input_voltage.max.coherent() / pairs;
    let volts = |v| print_value(v, Voltage::EXPONENTS, 4);
    for (curve, words) in specification.curves() {
        let Some((first, last)) = curve.table_ends() else {
            continue;
        };
        if curve.is_stepped() {
            specification.notes.push(format!(
                "Points of the {words}'s table lie closer together than a billionth of their \
                 voltage, or than 1 nV: they are taken as one step of that width."
            ));
        }
        let (first, last) = (first.coherent(), last.coherent());
        let beyond = match (first > 0.0, last < step) {
            (false, false) => continue,
            (true, false) => format!("below {}", volts(first)),
            (false, true) => format!("above {}", volts(last)),
            (true, true) => format!("below {} and above {}", volts(first), volts(last)),
        };
        specification.notes.push(format!(
            "The {words} is taken as constant {beyond}, where its table ends; a step of the node \
             is up to {}. Extend the table if the part's data go further.",
            volts(step)
        ));
    }
}

/// A standard uncertainty sets no limits that a requirement could be checked at.
fn tolerance(specification: &mut Specification) {
    let stated = specification.spreads.get(UncertainInput::Inductance);
    if stated.is_some_and(|d| d.half_width().is_none()) {
        specification.notes.push(
            "The inductance has a standard uncertainty and no tolerance: the requirements take its \
             value as it is, and its uncertainty shows in the results' standard uncertainties."
                .to_owned(),
        );
    }
}

/// The ranges contain no band edge: the node alternates between the same two
/// levels everywhere.
pub(crate) fn bands(specification: &mut Specification, reader: &Reader, span: &Span<usize>) {
    let pairs = f64::from(specification.levels - 1);
    let (input, output) = (specification.input_voltage, specification.output_voltage);
    let least = output.min.coherent() * pairs / input.max.coherent();
    let greatest = output.max.coherent() * pairs / input.min.coherent();
    let volts = |v: f64| print(<Voltage as Dimensioned>::from_coherent(v));
    if least >= pairs {
        reader.problem(
            span,
            "output.voltage",
            format!(
                "is {} at least and does not lie below the input voltage, {} at most; a buck \
                 stage cannot give it",
                print(output.min),
                print(input.max)
            ),
        );
        return;
    }
    let edge = least.ceil();
    if edge <= greatest {
        let below = output.max.coherent() * pairs / edge;
        let above = output.min.coherent() * pairs / edge;
        let name = if edge >= pairs {
            "the output voltage reaches the input voltage".to_owned()
        } else {
            format!("the output voltage is {edge} of {pairs} parts of the input voltage")
        };
        let mut ranges = vec![format!("an input voltage above {}", volts(below))];
        if edge < pairs {
            ranges.push(format!("an input voltage below {}", volts(above)));
        }
        reader.problem(
            span,
            "output.voltage",
            format!(
                "with this input voltage the ranges contain a band edge, where {name} and the \
                 stage works differently on either side; nearest ranges that avoid it, for this \
                 output voltage: {}",
                ranges.join(", or ")
            ),
        );
        return;
    }
    let band = least.floor();
    let distance = (least - band).min(band + 1.0 - greatest);
    specification
        .notes
        .extend(near_edge("The range comes", distance));
}

/// The note on a band edge that is near, at a distance in parts of a step.
fn near_edge(what: &str, distance: f64) -> Option<String> {
    (distance < NEAR).then(|| {
        format!(
            "{what} within {:.1} % of a step to a band edge: there the current slopes and with \
             them every limit change quickly.",
            distance * 100.0
        )
    })
}

/// What a reader must know of a point of operation, beyond the specification's notes: a
/// band edge that is near, and what lies outside the stated ranges.
pub(crate) fn point_notes(specification: &Specification, at: &OperatingPoint) -> Vec<String> {
    let s = specification;
    let pairs = f64::from(s.levels - 1);
    let place = at.output_voltage.coherent() * pairs / at.input_voltage.coherent();
    let edge = near_edge("The point comes", (place - place.round()).abs());
    let outside = [
        outside("input voltage", at.input_voltage, s.input_voltage),
        outside("output voltage", at.output_voltage, s.output_voltage),
        outside("output current", at.output_current, s.output_current),
    ];
    edge.into_iter()
        .chain(outside.into_iter().flatten())
        .collect()
}

/// The note on a value outside its stated range.
fn outside<Q: Dimensioned>(what: &str, value: Q, range: Range<Q>) -> Option<String> {
    let [low, own, high] = [range.min, value, range.max].map(Dimensioned::coherent);
    (own < low || own > high).then(|| {
        format!(
            "The {what} of {} is outside the specification's range from {} to {}: its \
             requirements do not cover this point.",
            print(value),
            print(range.min),
            print(range.max)
        )
    })
}
