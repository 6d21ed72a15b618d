//! Check figures of a running cell: the freewheel loop with its winding, the window of
//! the dead time with the body diode's drop, the ripple with the capacitor's series
//! resistance. Computed outside this project by quadrature and by a stiff integrator:
//! three levels, 140 kHz, 0.68 µH, 36 V to 6 V at 6 A, a constant 600 pF, a release
//! current of 0.6 A, lossless ramps, exact edges. Good to half a unit of the last digit.

use slewbook::cycle::{self, Course, State, SteadyState};
use slewbook::equation::Term;
use slewbook::quantity::unit::{ampere, mohm, ns, uF, uH, volt};
use slewbook::quantity::{Resistance, Voltage};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint, Specification, Stage};

use crate::support::{assert_printed, specification_with, without_part_data};

fn specification(winding: &str) -> Specification {
    let none = "{ constant = \"0 pF\" }";
    let text = specification_with(&[
        ("stage.node_capacitance", "\"600 pF\""),
        ("clamp.output_capacitance", none),
        ("transistors.high.output_capacitance", none),
        ("transistors.low.output_capacitance", none),
        ("trip.delay", "\"0 ns\""),
        ("inductor.resistance", winding),
    ]);
    Specification::read(&text).unwrap()
}

fn circuit() -> Circuit {
    let scheme = Scheme::FreewheelTransistors;
    let circuit = Circuit::new(&specification("\"0 ohm\""), scheme, 0.68 * uH, 0.6 * ampere);
    let mut circuit = without_part_data(circuit.unwrap());
    circuit.high.on_resistance = 0.0 * mohm;
    circuit.low.on_resistance = 0.0 * mohm;
    circuit.dead_time = None;
    circuit
}

fn point() -> OperatingPoint {
    OperatingPoint {
        input_voltage: 36.0 * volt,
        output_voltage: 6.0 * volt,
        output_current: 6.0 * ampere,
    }
}

fn steady(circuit: &Circuit) -> (SteadyState, Course) {
    let steady = cycle::steady_state(circuit, point()).unwrap();
    (steady, steady.course.unwrap())
}

/// The current of the hold decays through clamp and winding.
#[test]
fn the_winding_is_part_of_the_freewheel_loop() {
    // The ramps without resistance: the loop's 22 mΩ stand in the clamp there.
    let mut loop_alone = circuit();
    loop_alone.freewheel.as_mut().unwrap().resistance = 22.0 * mohm;
    let (_, course) = steady(&loop_alone);
    let hold = course.hold.unwrap();
    let found = [
        (course.freewheel_current.unwrap().value, "0.610801717", 1.0),
        (course.residual_current.value, "0.496003946", 1.0),
        (course.rise.duration.value, "12.586674", 1e-9),
        (hold.duration.value, "755.293453", 1e-9),
    ];
    for (value, printed, unit) in found {
        assert_printed(value, printed, unit, "numeric cell");
    }
    // With 10 mΩ of winding the typed cell, its ramps lossless, is the same.
    let stage = Stage::new(specification("\"10 mohm\""), 0.68 * uH, "check figures");
    let cell = cycle::cell(
        &stage,
        Term::input("I_trip", "trip threshold", 0.6 * ampere),
    );
    let value = cell.freewheel_current.value().unwrap();
    assert_printed(value.value, "0.610801717", 1.0, "I_h");
    let value = cell.residual_current.value().unwrap();
    assert_printed(value.value, "0.496003946", 1.0, "I_r");
    let value = cell.rise_time.value().unwrap();
    assert_printed(value.value, "12.586674", 1e-9, "t_r");
    let value = cell.hold_time.value().unwrap();
    assert_printed(value.value, "755.293453", 1e-9, "t_h");
}

/// A winding takes the same from the hold's current as as much in the clamp, and what it
/// dissipates then is its own.
#[test]
fn the_winding_dissipates_during_the_hold() {
    let mut wound = circuit();
    wound.inductor_resistance = 10.0 * mohm;
    let (_, course) = steady(&wound);
    let Some(hold) = course.hold else {
        panic!("no hold");
    };
    let rate = (22.0 * mohm / (0.68 * uH) * hold.duration).value;
    let decayed = hold.start_current.value * (-rate).exp();
    assert!((hold.end_current.value / decayed - 1.0).abs() < 1e-12);
    let clamp = course.paths.clamp.unwrap();
    let lost = course.dissipation;
    assert!((lost.clamp / (clamp.rms * clamp.rms * 12.0 * mohm)).value > 1.0 - 1e-12);
    // Energy closes to rounding.
    let open = course.input_power - course.output_power - lost.total();
    assert!(
        open.value.abs() < 1e-11 * course.input_power.value,
        "{open:?}"
    );
}

/// The node stays at its level longer the larger the diode's drop: it has to ring back.
#[test]
fn the_window_ends_when_the_node_is_back() {
    for (drop, printed) in [(0.0, "28.582"), (0.8, "34.005"), (3.0, "36.238")] {
        let mut circuit = circuit();
        circuit.high.diode_drop = drop * volt;
        // Turned on as soon as the node has arrived: the diode's drop does not change
        // the current of the row.
        circuit.dead_time = Some(12.427 * ns);
        let (_, course) = steady(&circuit);
        let stays = course.window_end.unwrap() - course.window_start.unwrap();
        assert_printed(stays.value, printed, 1e-9, &format!("{drop} V"));
    }
}

/// Inside the window nothing is left across the high side, outside it something is; the
/// energy closes wherever the node stands at the turn-on.
#[test]
fn the_states_follow_the_window() {
    for drop in [0.0, 0.8, 3.0] {
        let mut circuit = circuit();
        circuit.high.diode_drop = drop * volt;
        for after in [0.5, 15.0, 28.0, 33.0, 36.0, 50.0] {
            circuit.dead_time = Some((12.5 + after) * ns);
            let (steady, course) = steady(&circuit);
            let window = course.window_start.unwrap()..=course.window_end.unwrap();
            let inside = window.contains(&course.dead_time);
            let none = course.turn_on.voltage == Voltage::default();
            assert_eq!(inside, none, "{drop} V, {after} ns after");
            if inside {
                assert_eq!(steady.state, State::ZeroVoltage);
            }
            let lost = course.dissipation.total();
            let open = course.input_power - course.output_power - lost;
            assert!(
                open.value.abs() < 1e-10 * course.input_power.value,
                "{drop} V, {after} ns after: {open:?}"
            );
        }
    }
}

/// Peak to peak at the output, charge and series resistance as they coincide.
#[test]
fn the_output_ripple_with_its_resistance() {
    let rows = [(0.0, "83.172"), (1.5, "86.150"), (10.0, "180.807")];
    for (resistance, printed) in rows {
        let resistance: Resistance = resistance * mohm;
        let mut circuit = circuit();
        circuit.output_capacitance = 100.0 * uF;
        circuit.output_capacitor_resistance = resistance;
        let (_, course) = steady(&circuit);
        let output = course.paths.output;
        assert_printed(output.ripple.value, printed, 1e-3, "numeric");
        assert_printed(output.ripple_of_charge.value, "83.172", 1e-3, "charge");
    }
}

/// Two levels, 48 V to 34 V: 20 mΩ of channel and 10 mΩ of winding bring the ceiling down
/// by more than a thousandth.
#[test]
fn the_ceiling_counts_the_resistances() {
    let none = "{ constant = \"0 pF\" }";
    let text = specification_with(&[
        ("input.voltage", "\"48 V\""),
        ("output.voltage", "\"34 V\""),
        ("stage.levels", "2"),
        ("stage.node_capacitance", "\"600 pF\""),
        ("clamp.output_capacitance", none),
        ("transistors.high.output_capacitance", none),
        ("transistors.low.output_capacitance", none),
    ]);
    let specification = Specification::read(&text).unwrap();
    let scheme = Scheme::FreewheelTransistors;
    let circuit = Circuit::new(&specification, scheme, 1.84 * uH, 0.4 * ampere).unwrap();
    let at = OperatingPoint {
        input_voltage: 48.0 * volt,
        output_voltage: 34.0 * volt,
        output_current: 6.0 * ampere,
    };
    let ceiling = |channel: f64, winding: f64| {
        let mut circuit = without_part_data(circuit);
        circuit.high.on_resistance = channel * mohm;
        circuit.low.on_resistance = channel * mohm;
        circuit.inductor_resistance = winding * mohm;
        let ceiling = cycle::ceiling_in_operation(&circuit, at).unwrap().unwrap();
        // It holds just below and not just above.
        for (part, holds) in [(1.0 - 1e-9, true), (1.0 + 1e-9, false)] {
            circuit.inductance = part * ceiling;
            let steady = cycle::steady_state(&circuit, at).unwrap();
            assert_eq!(steady.course.is_some(), holds, "{part}: {}", steady.state);
        }
        ceiling
    };
    let (lossless, real) = (ceiling(0.0, 0.0), ceiling(20.0, 10.0));
    assert!(real < 0.999 * lossless, "{real:?} {lossless:?}");
}

/// Ripple and its capacitances are examined with what is left of a capacitor.
#[test]
fn verdicts_use_what_is_left_of_a_capacitor() {
    let whole = crate::support::specification_with(&[]);
    let derated = specification_with(&[
        ("capacitors.flying.remaining", "\"45 %\""),
        ("capacitors.output.remaining", "\"50 %\""),
    ]);
    let value = |text: &str, name: &str| {
        let design = slewbook::design::Design::derive(text).unwrap();
        design.finding(name).unwrap().value().unwrap()
    };
    for (name, left) in [("flying_ripple", 0.45), ("output_ripple", 0.5)] {
        let ratio = value(&whole, name) / value(&derated, name);
        assert!((ratio - left).abs() < 1e-9, "{name}: {ratio}");
    }
}
