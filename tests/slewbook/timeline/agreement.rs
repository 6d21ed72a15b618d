//! The simulation's steady state against the exact one, which is found in
//! another way: one cell with sources that stand still, solved for its unknown.

use slewbook::cycle;
use slewbook::quantity::Capacitance;
use slewbook::quantity::Dimensioned as _;
use slewbook::quantity::unit::{ampere, mohm, ns, pF, uF, volt};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, Freewheel, OperatingPoint};
use slewbook::timeline::{CellRecord, Settings, Steady, steady_state};

use super::stage::{at, constant, with_law};
use crate::support::Random;

/// Everything that both count: ramps with resistance, diodes, a trip delay, a
/// dead time.
fn circuit(scheme: Scheme, pairs: u8) -> Circuit {
    let mut circuit = with_law();
    circuit.scheme = scheme;
    circuit.pairs = pairs;
    circuit.high.on_resistance = 4.0 * mohm;
    circuit.low.on_resistance = 6.0 * mohm;
    circuit.high.diode_drop = 0.8 * volt;
    circuit.low.diode_drop = 0.7 * volt;
    circuit.inductor_resistance = 3.0 * mohm;
    circuit.dead_time = Some(22.0 * ns);
    circuit.trip_delay = 35.0 * ns;
    circuit.trip_threshold = 0.5 * ampere;
    circuit.freewheel = match scheme {
        Scheme::FreewheelTransistors => Some(Freewheel {
            resistance: 12.0 * mohm,
            drop: 0.0 * volt,
        }),
        Scheme::FreewheelDiode => Some(Freewheel {
            resistance: 20.0 * mohm,
            drop: 0.15 * volt,
        }),
        _ => None,
    };
    circuit.clamp_capacitance = scheme.has_clamp().then(|| constant(150.0 * pF));
    if scheme == Scheme::Continuous {
        circuit.inductance = 10.0 * circuit.inductance;
    }
    if scheme == Scheme::NegativeValley {
        circuit.trip_threshold = 1.5 * ampere;
    }
    circuit
}

/// The point in a band, with a load well inside discontinuous conduction.
fn point(circuit: Circuit, band: u8) -> (Circuit, OperatingPoint) {
    let step = 11.0;
    let input = step * f64::from(circuit.pairs);
    let (a, b) = (0.55 * step, 0.45 * step);
    let output = f64::from(band) * step + b;
    let (circuit, mut point) = at(circuit, input * volt, output * volt);
    let largest = circuit.cell_time() * (a * b / (a + b)) * volt / (2.0 * circuit.inductance);
    point.output_current = if circuit.scheme == Scheme::Continuous {
        2.0 * ampere
    } else {
        0.4 * largest
    };
    (circuit, point)
}

fn settle(circuit: &Circuit, point: OperatingPoint) -> Steady {
    steady_state(circuit, point, &Settings::fixed(0.1.into()))
        .unwrap_or_else(|error| panic!("{:?} {}: {error}", circuit.scheme, circuit.pairs))
}

/// What both give, in ampere, second and volt; each with the scale against which
/// it is compared.
fn compared(cell: &CellRecord, course: &cycle::Course) -> Vec<(&'static str, f64, f64, f64)> {
    let peak = course.peak_current.value;
    let time = course.cell_time.value;
    // A ring that just touches the lower level returns a little above or below it,
    // for which the diode then conducts: its phase goes with the root of that.
    let ring = if course.ring.is_some() { 100.0 } else { 1.0 };
    let mut pairs = vec![
        ("cell", cell.duration, time, time),
        ("peak", cell.peak_current.unwrap(), peak, peak),
        (
            "after",
            cell.current_after_fall.unwrap(),
            course.fall.end_current.value,
            peak,
        ),
        ("on", cell.on_time.unwrap(), course.on_time.value, time),
        (
            "turn-on",
            cell.turn_on_voltage.unwrap(),
            course.turn_on.voltage.value,
            ring * 11.0,
        ),
        (
            "residual",
            cell.residual_current.unwrap(),
            course.residual_current.value,
            ring * peak,
        ),
    ];
    if let (Some(mine), Some(theirs)) = (cell.fall_time, Some(course.fall.duration.value)) {
        pairs.push(("fall", mine, theirs, time));
    }
    if let (Some(mine), Some(theirs)) = (cell.hold_time, course.hold) {
        pairs.push(("hold", mine, theirs.duration.value, time));
        let held = course.freewheel_current.unwrap().value;
        pairs.push(("freewheel", cell.freewheel_current.unwrap(), held, peak));
    }
    pairs
}

fn worst(steady: &Steady, course: &cycle::Course) -> (f64, String) {
    let mut worst = (0.0, String::new());
    for cell in &steady.cells {
        for (name, mine, theirs, scale) in compared(cell, course) {
            let off = ((mine - theirs) / scale).abs();
            if off > worst.0 {
                worst = (off, format!("{name}: {mine:e} against {theirs:e}"));
            }
        }
    }
    worst
}

/// With flying capacitors that stand still the two are the same, in every scheme
/// and band, for two to five levels.
#[test]
fn with_stiff_capacitors_both_are_the_same() {
    for scheme in Scheme::ALL {
        for pairs in 1..=4 {
            for band in 0..pairs {
                let (circuit, point) = point(circuit(scheme, pairs), band);
                let exact = cycle::steady_state(&circuit, point).unwrap();
                let course = exact
                    .course
                    .unwrap_or_else(|| panic!("{scheme} {pairs} {band}: {}", exact.state));
                let steady = settle(&circuit, point);
                let (off, what) = worst(&steady, &course);
                assert!(off < 1e-8, "{scheme}, {pairs} pairs, band {band}: {what}");
            }
        }
    }
}

/// With flying capacitors of a finite size the difference falls in proportion to
/// their ripple, and they stand at equal steps of the input.
#[test]
fn the_difference_falls_with_the_flying_capacitance() {
    for scheme in Scheme::ALL {
        for pairs in 2..=4 {
            for band in 0..pairs {
                let (mut circuit, point) = point(circuit(scheme, pairs), band);
                let exact = cycle::steady_state(&circuit, point).unwrap();
                let course = exact.course.unwrap();
                let mut off = |capacitance: Capacitance| {
                    circuit.flying_capacitance = Some(capacitance);
                    let steady = settle(&circuit, point);
                    let ripple = point.output_current.value * course.cell_time.value * 2.0
                        / capacitance.value;
                    for k in 1..usize::from(pairs) {
                        let voltage = steady.simulation.flying_voltage(k).unwrap().value;
                        let ideal = 11.0 * k as f64;
                        assert!(
                            (voltage - ideal).abs() < ripple,
                            "{scheme}, {pairs} pairs, band {band}: {voltage} V for {ideal} V"
                        );
                    }
                    worst(&steady, &course)
                };
                let small = off(1e3 * uF);
                let large = off(1e4 * uF);
                assert!(
                    large.0 < 1e-4,
                    "{scheme}, {pairs} pairs, band {band}: {large:?}"
                );
                let ratio = small.0 / large.0;
                let proportional = if course.ring.is_some() {
                    7.0..13.0
                } else {
                    9.5..10.5
                };
                assert!(
                    proportional.contains(&ratio),
                    "{scheme}, {pairs} pairs, band {band}: {small:?}, {large:?}"
                );
            }
        }
    }
}

/// How many low-side dead times ended before the node's arrival, with its diode
/// conducting, after the node had left again, and with a fall that stops short.
#[derive(Default, Debug)]
struct Ended {
    early: u32,
    in_time: u32,
    late: u32,
    short: u32,
    not_found: u32,
}

/// Part of a current up to which both agree there. Where a cell of next to no load is all
/// ring, what both leave of their own searches is seen in it: 1.3e-8 in one of them.
const ENDS: f64 = 2e-8;

/// A low-side dead time of any length, in every scheme: the low side turns on where
/// the node then is.
#[test]
fn a_low_dead_time_of_any_length() {
    let mut random = Random(41);
    let mut ended = Ended::default();
    for scheme in Scheme::ALL {
        for pairs in 1..=3 {
            for band in 0..pairs {
                for draw in 0..9 {
                    let (mut circuit, mut point) = point(circuit(scheme, pairs), band);
                    if draw > 5 {
                        // In the upper half of a band light loads leave the fall incomplete.
                        point.output_voltage = (f64::from(band) + 0.85) * 11.0 * volt;
                        point.output_current *= 0.05;
                        circuit.trip_threshold = 0.0 * ampere;
                        circuit.trip_delay = 0.0 * ns;
                    }
                    if random.below(2) == 0 {
                        circuit.low.diode_drop = 0.0 * volt;
                    }
                    if scheme != Scheme::Continuous {
                        point.output_current *= random.decades(0.02, 1.0);
                    }
                    let at_ease = cycle::steady_state(&circuit, point).unwrap().course;
                    let Some(at_ease) = at_ease else {
                        continue;
                    };
                    circuit.low_dead_time = Some(match (at_ease.low_window, draw % 3) {
                        (None, _) => random.between(0.0, 3.0) * at_ease.fall.duration,
                        (Some((arrives, _)), 0) => random.between(0.0, 1.0) * arrives,
                        (Some((arrives, leaves)), 1) => {
                            arrives + random.between(0.0, 0.1) * (leaves - arrives)
                        }
                        (Some((_, leaves)), _) => leaves + random.between(0.0, 15.0) * ns,
                    });
                    let exact = cycle::steady_state(&circuit, point).unwrap();
                    let Some(course) = exact.course else {
                        continue;
                    };
                    let what = || {
                        format!(
                            "{scheme}, {pairs} pairs, band {band}, {:?}: {exact:?}",
                            circuit.low_dead_time
                        )
                    };
                    // Far below the load of a cell without hold the simulation's search for
                    // its period does not always come to an end.
                    let settings = Settings::fixed(0.1.into());
                    let Ok(steady) = steady_state(&circuit, point, &settings) else {
                        ended.not_found += 1;
                        continue;
                    };
                    let (off, which) = worst(&steady, &course);
                    assert!(off < ENDS, "{off:e} {which}: {}", what());
                    let left = course.low_turn_on.voltage.value;
                    let energy = course.low_turn_on.energy.value;
                    let time: f64 = steady.cells.iter().map(|c| c.duration).sum();
                    let cells = steady.cells.len() as f64;
                    for cell in &steady.cells {
                        let off = (cell.low_turn_on_voltage.unwrap() - left).abs();
                        assert!(off < 1e-7 * 11.0, "{off:e} V: {}", what());
                    }
                    let lost: f64 = steady.cells.iter().map(|c| c.ledger.turn_on_low).sum();
                    let off = (lost / cells - energy).abs();
                    assert!(off <= 1e-6 * energy + 1e-15, "{off:e} J: {}", what());
                    let diodes: f64 = steady.cells.iter().map(|c| c.ledger.diodes).sum();
                    let power = course.dissipation.diodes.value;
                    let off = (diodes / time - power).abs();
                    assert!(off <= 1e-6 * power + 1e-9, "{off:e} W: {}", what());
                    match (course.low_window, left > 0.0) {
                        (None, _) => ended.short += 1,
                        (Some(_), false) => ended.in_time += 1,
                        (Some((arrives, _)), true) if course.low_dead_time < arrives => {
                            ended.early += 1;
                        }
                        (Some(_), true) => ended.late += 1,
                    }
                }
            }
        }
    }
    println!("{ended:?}");
    assert!(
        ended.early > 30 && ended.in_time > 30 && ended.late > 10,
        "{ended:?}"
    );
    assert!(ended.short > 5, "{ended:?}");
    assert!(ended.not_found < 40, "{ended:?}");
}

/// Output current and load agree in the steady state.
#[test]
fn the_output_current_is_the_load() {
    for scheme in Scheme::ALL {
        let (mut circuit, point) = point(circuit(scheme, 2), 0);
        circuit.flying_capacitance = Some(10.0 * uF);
        let steady = settle(&circuit, point);
        let charge: f64 = steady.cells.iter().map(|c| c.ledger.output_charge).sum();
        let time: f64 = steady.cells.iter().map(|c| c.duration).sum();
        let load = point.output_current.coherent();
        assert!((charge / time - load).abs() < 1e-6 * load, "{scheme}");
    }
}
