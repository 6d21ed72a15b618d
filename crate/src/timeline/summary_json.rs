//! A summary for machines.

use serde_json::{Value, json};

use super::ledger::Ledger;
use super::loop_gain::LoopReport;
use super::summary::{Extremes, Settled, Summary, TurnOns};
use crate::caution;
use crate::identity::Program;
use crate::quantity::Dimensioned;
use crate::quantity::symbol::name_of;
use crate::scheme::Scheme;
use crate::stage::{OperatingPoint, Specification};
use crate::visible::json_document;

/// The version of the machine-readable form.
const FORMAT: u32 = 1;

/// A value beside its unit; null where there is none.
pub(super) fn quantity(value: f64, unit: &str) -> Value {
    json!({ "value": value.is_finite().then_some(value), "unit": unit })
}

pub(super) fn of<Q: Dimensioned>(value: Q) -> Value {
    quantity(value.coherent(), &name_of(Q::EXPONENTS).plain)
}

/// Voltages and load.
pub(super) fn point(own: &OperatingPoint) -> Value {
    json!({
        "input_voltage": of(own.input_voltage),
        "output_voltage": of(own.output_voltage),
        "output_current": of(own.output_current),
    })
}

/// Greatest and least with their times, counted from the start of the run.
fn extremes(own: &Extremes, unit: &str) -> Value {
    json!({
        "least": quantity(own.least.0, unit),
        "least_at": quantity(own.least.1, "s"),
        "greatest": quantity(own.greatest.0, unit),
        "greatest_at": quantity(own.greatest.1, "s"),
    })
}

fn turn_ons(own: TurnOns) -> Value {
    json!({ "count": own.count, "at_zero_voltage": own.at_zero_voltage })
}

/// Energies of a ledger, or powers where they are divided by a duration.
fn ledger(own: &Ledger, over: f64, unit: &str) -> Value {
    let of = |energy: f64| quantity(energy / over, unit);
    json!({
        "input": of(own.input),
        "output": of(own.output),
        "lost": of(own.losses()),
        "high_side_channels": of(own.high_channels),
        "low_side_channels": of(own.low_channels),
        "winding": of(own.winding),
        "clamp": of(own.clamp),
        "body_diodes": of(own.diodes),
        "flying_capacitors": of(own.flying_resistance),
        "output_capacitor": of(own.output_resistance),
        "turn_on_of_high_sides": of(own.turn_on_high),
        "turn_on_of_low_sides": of(own.turn_on_low),
        "steps": of(own.steps),
    })
}

fn settled(own: &Settled, pairs: usize) -> Value {
    let flying = own.flying.iter().take(pairs - 1);
    json!({
        "cells": own.cells,
        "duration": quantity(own.duration, "s"),
        "output_voltage": of(own.output_voltage),
        "output_voltage_drift": of(own.drift),
        "output_current": of(own.output_current),
        "flying_capacitors": flying.map(|v| quantity(*v, "V")).collect::<Vec<_>>(),
        "turn_ons": turn_ons(own.turn_ons),
        "powers": ledger(&own.ledger, own.duration, "W"),
    })
}

/// Where a run starts from, and what it writes.
#[derive(Clone, Copy, Debug)]
pub struct Start<'s> {
    /// The scheme.
    pub scheme: Scheme,
    /// From which state, in words.
    pub from: &'s str,
    /// Voltages and load then.
    pub at: OperatingPoint,
    /// Rows of the waveforms.
    pub rows: u64,
    /// The voltage loop, where there is one.
    pub voltage_loop: Option<&'s LoopReport>,
    /// The points that the run starts from and comes to.
    pub points: &'s [OperatingPoint],
}

impl Summary {
    /// The summary of a run as one JSON object: every value beside its unit.
    ///
    /// ```
    /// use slewbook::quantity::unit::{ampere, uH, us};
    /// use slewbook::scheme::Scheme;
    /// use slewbook::stage::{Circuit, DEMONSTRATION, Specification};
    /// use slewbook::timeline::{Initial, Settings, Simulation, Start, run};
    ///
    /// let specification = Specification::read(DEMONSTRATION).unwrap();
    /// let scheme = Scheme::FreewheelTransistors;
    /// let circuit = Circuit::new(&specification, scheme, 0.68 * uH, 0.6 * ampere).unwrap();
    /// let at = specification.nominal_point();
    /// let settings = Settings::new(&specification.control, &circuit, at).unwrap();
    /// let mut simulation = Simulation::new(&circuit, &settings, &Initial::at(at)).unwrap();
    /// let summary = run(&mut simulation, 100.0 * us, &mut (), |_| {}).unwrap();
    /// let start = Start { scheme, from: "starting from rest", at, rows: 0, voltage_loop: None, points: &[at] };
    /// assert!(summary.json(&specification, &start).contains("\"skipped_pulses\": 0"));
    /// ```
    #[must_use]
    pub fn json(&self, specification: &Specification, start: &Start) -> String {
        let held = self.held.map(|(target, after)| {
            json!({
                "voltage": of(target),
                "within_1_percent_after": after.map(of),
            })
        });
        let mut notes = caution::notes(specification);
        notes.extend(self.exceeded(specification, start.points));
        let mut from = point(&start.at);
        from["from"] = start.from.into();
        let value = json!({
            "format": FORMAT,
            "program": Program::own(),
            "input_hash": specification.hash(),
            "title": specification.title,
            "settings": specification.edits,
            "notes": notes,
            "scheme": start.scheme.name(),
            "start": from,
            "voltage_loop": start.voltage_loop.map(LoopReport::json),
            "duration": of(self.duration),
            "rows": start.rows,
            "events": {
                "cells": self.cells,
                "skipped_pulses": self.skipped,
                "firings_without_trip": self.watchdogs,
                "turn_ons": turn_ons(self.turn_ons),
            },
            "greatest_turn_on_voltage": of(self.turn_on_voltage),
            "last_change": of(self.changed),
            "output_voltage": extremes(&self.output, "V"),
            "held": held,
            "inductor_current": extremes(&self.inductor, "A"),
            "voltage_across_leg_transistor": extremes(&self.step, "V"),
            "node_above_output": extremes(&self.clamp, "V"),
            "settled": self.settled.as_ref().map(|own| settled(own, self.pairs)),
            "energies": ledger(&self.ledger, 1.0, "J"),
            "energy_stored": of(self.stored),
            "energy_left_over": quantity(self.energy_left_over().coherent(), "1"),
        });
        json_document(&value)
    }
}
