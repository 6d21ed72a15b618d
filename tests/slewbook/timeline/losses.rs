//! The simulation's books against the loss budget, which has its losses from the
//! exact steady state's rms and mean currents.

use slewbook::loss::{Mechanism, Model};
use slewbook::quantity::Dimensioned as _;
use slewbook::quantity::unit::{ampere, uF, uH, volt};
use slewbook::scheme::Scheme;
use slewbook::stage::{OperatingPoint, Specification};
use slewbook::timeline::{Ledger, Settings, steady_state};

use crate::support::{demonstration_without_part_data, set};

/// Invented parts with what both count, at the temperature of their data, and a dead
/// time of the low side.
fn specification(low_dead_time: Option<&str>) -> Specification {
    let mut text = demonstration_without_part_data();
    for (key, value) in [
        ("transistors.high.diode_drop", "\"0.8 V\""),
        ("transistors.low.diode_drop", "\"0.7 V\""),
        (
            "clamp.diode",
            "{ resistance = \"20 mohm\", drop = \"0.15 V\" }",
        ),
    ] {
        text = set(&text, key, value);
    }
    text += "\n[inductor]\nresistance = \"3 mohm\"\n[continuous]\ninductance = \"4.7 uH\"\n\
             [ambient]\ntemperature = \"20 °C\"\n";
    if let Some(time) = low_dead_time {
        text += &format!("[control]\nlow_dead_time = \"{time}\"\n");
    }
    Specification::read(&text).unwrap()
}

/// Conduction, body diodes and turn-on to a thousandth, with flying capacitors so
/// large that their ripple, which the budget does not count, is out of it.
#[test]
fn both_dissipate_the_same() {
    both_dissipate(&specification(None));
}

/// The same where the low side turns on before the node has fallen, and where its diode
/// conducts for long.
#[test]
fn both_dissipate_the_same_with_a_low_dead_time() {
    both_dissipate(&specification(Some("0.5 ns")));
    both_dissipate(&specification(Some("90 ns")));
}

fn both_dissipate(specification: &Specification) {
    for scheme in Scheme::ALL {
        for (input, load) in [(30.0, 6.0), (44.0, 6.0), (44.0, 1.5)] {
            let point = OperatingPoint {
                input_voltage: input * volt,
                output_voltage: 6.0 * volt,
                output_current: load * ampere,
            };
            let mut model = Model::new(specification, scheme, 0.68 * uH, 0.4 * ampere).unwrap();
            let outcome = model.at(point).unwrap();
            let losses = outcome
                .losses
                .unwrap_or_else(|| panic!("{scheme}: {outcome:?}"));
            let mut circuit = *model.circuit();
            circuit.flying_capacitance = Some(10_000.0 * uF);
            let steady = steady_state(&circuit, point, &Settings::fixed(0.1.into())).unwrap();
            let mut whole = Ledger::default();
            for cell in &steady.cells {
                whole = whole.plus(&cell.ledger);
            }
            let time: f64 = steady.cells.iter().map(|cell| cell.duration).sum();
            let all = losses.stage().coherent();
            let ringing = scheme == Scheme::Discontinuous;
            // Where the node rings, the budget has the range of the high side alone.
            let low = if ringing { 0.0 } else { whole.turn_on_low };
            let turn_on = whole.turn_on_high + low;
            let winding = losses.of(Mechanism::Winding).coherent();
            let clamp = losses.of(Mechanism::Clamp).coherent();
            let diodes = losses.of(Mechanism::Diodes).coherent();
            let channels = losses.of(Mechanism::Channels).coherent();
            let budgeted = losses.of(Mechanism::TurnOn).coherent();
            for (name, energy, power) in [
                (
                    "channels",
                    whole.high_channels + whole.low_channels,
                    channels,
                ),
                ("winding", whole.winding, winding),
                ("clamp", whole.clamp, clamp),
                ("body diodes", whole.diodes, diodes),
                ("turn-on", turn_on, budgeted),
            ] {
                let simulated = energy / time;
                let off = (simulated - power).abs();
                // Where the node rings, the budget has the mean over the ring.
                if name == "turn-on" && ringing {
                    let [best, worst] = losses.turn_on_over_ring().unwrap();
                    let range = 0.99 * best.coherent()..=1.01 * worst.coherent();
                    assert!(range.contains(&simulated), "{simulated} W, {range:?}");
                    continue;
                }
                assert!(
                    off <= 1e-3 * power + 1e-6 * all,
                    "{scheme} {input} V {load} A, {name}: {simulated} W, budget {power} W"
                );
            }
        }
    }
}
