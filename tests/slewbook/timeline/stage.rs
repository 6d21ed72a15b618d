//! Stages for the tests of the simulation: invented parts.

use slewbook::equation::Curve;
use slewbook::quantity::unit::{ampere, kHz, mohm, ns, pF, uF, uH, volt};
use slewbook::quantity::{Capacitance, Dimensioned as _, Resistance, Time, Voltage};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, DEMONSTRATION, Freewheel, OperatingPoint, Specification, Switch};

/// A curve that lives as long as the tests.
pub fn shared(curve: Curve) -> &'static Curve {
    Box::leak(Box::new(curve))
}

pub fn constant(capacitance: Capacitance) -> &'static Curve {
    shared(Curve::constant("C", capacitance).unwrap())
}

/// The junction law of the check figures.
pub fn law() -> &'static Curve {
    shared(Curve::law("C", 900.0 * pF, 0.8 * volt, 0.5.into(), 60.0 * pF).unwrap())
}

/// Three levels, free of resistance but for the clamp, 600 pF at the node.
pub fn plain() -> Circuit {
    let specification = Specification::read(DEMONSTRATION).unwrap();
    let mut circuit = Circuit::new(
        &specification,
        Scheme::FreewheelTransistors,
        0.68 * uH,
        0.6 * ampere,
    )
    .unwrap();
    let none = Resistance::from_coherent(0.0);
    let switch = |capacitance| Switch {
        on_resistance: none,
        diode_drop: 0.0 * volt,
        output_capacitance: constant(capacitance),
        scale: 1.0,
    };
    circuit.high = switch(300.0 * pF);
    circuit.low = switch(300.0 * pF);
    circuit.clamp_capacitance = None;
    circuit.node_capacitance = 0.0 * pF;
    circuit.freewheel = Some(Freewheel {
        resistance: 12.0 * mohm,
        drop: 0.0 * volt,
    });
    circuit.switching_frequency = 140.0 * kHz;
    circuit.inductor_resistance = none;
    circuit.flying_capacitor_resistance = none;
    circuit.output_capacitor_resistance = none;
    circuit.flying_capacitance = None;
    circuit.output_capacitance = 100.0 * uF;
    circuit.trip_delay = 0.0 * ns;
    circuit.dead_time = None;
    circuit.minimum_on_time = Time::from_coherent(0.0);
    circuit
}

/// The same with the junction law on both transistors and 50 pF.
pub fn with_law() -> Circuit {
    let mut circuit = plain();
    circuit.high.output_capacitance = law();
    circuit.low.output_capacitance = law();
    circuit.node_capacitance = 50.0 * pF;
    circuit
}

/// The circuit at another point of operation: its band follows.
pub fn at(mut circuit: Circuit, input: Voltage, output: Voltage) -> (Circuit, OperatingPoint) {
    let steps = output.value * f64::from(circuit.pairs) / input.value;
    circuit.band = (0..circuit.pairs)
        .rev()
        .find(|k| f64::from(*k) <= steps)
        .unwrap();
    let point = OperatingPoint {
        input_voltage: input,
        output_voltage: output,
        output_current: 6.0 * ampere,
    };
    (circuit, point)
}
