//! Check figures of one cell, computed outside this project by event-driven
//! integration of the differential equations and by quadrature: lossless ramps,
//! exact edges, N = 3, 140 kHz, 0.68 µH, 6 A, a release current of 0.6 A and a
//! clamp of 12 mΩ. Good to half a unit of the last printed digit.

use slewbook::cycle::{self, Cell, State};
use slewbook::edge;
use slewbook::equation::{Derivation, Point, Program, Term};
use slewbook::quantity::unit::{ampere, uH};
use slewbook::quantity::{Current, Dimensioned, Resistance, Time};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint, Specification, Stage};

use crate::support::{assert_printed, specification_with};

/// Constant 600 pF at the node, or the junction law on both transistors.
fn stage(law: bool, v_in: &str, v_out: &str) -> Stage {
    let curve = if law {
        "{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\" }"
    } else {
        "{ constant = \"0 pF\" }"
    };
    let node = if law { "50 pF" } else { "600 pF" };
    let text = specification_with(&[
        ("input.voltage", &format!("\"{v_in}\"")),
        ("output.voltage", &format!("\"{v_out}\"")),
        ("stage.node_capacitance", &format!("\"{node}\"")),
        ("clamp.output_capacitance", "{ constant = \"0 pF\" }"),
        ("transistors.high.output_capacitance", curve),
        ("transistors.low.output_capacitance", curve),
        ("trip.delay", "\"0 ns\""),
        ("inductor.resistance", "\"0 ohm\""),
    ]);
    Stage::new(
        Specification::read(&text).unwrap(),
        0.68 * uH,
        "check figures",
    )
}

fn cell(stage: &Stage) -> Cell {
    cycle::cell(stage, Term::input("I_trip", "trip threshold", 0.6 * ampere))
}

/// Input, output, law; then I_pk, I_after, I_c, I_h, I_r in ampere, and t_rise,
/// t_on, t_fall, t_release, t_partial, t_hold in nanosecond, as printed.
type Row = (
    &'static str,
    &'static str,
    bool,
    [&'static str; 5],
    [&'static str; 6],
);

const ROWS: [Row; 5] = [
    (
        "30 V",
        "6 V",
        false,
        [
            "15.073412864",
            "15.074729890",
            "0.62591110062",
            "0.61933599158",
            "0.55866491051",
        ],
        [
            "9.0153705261",
            "1181.0903207",
            "0.5970082391",
            "1776.4693875",
            "5.8323208496",
            "598.42416358",
        ],
    ),
    (
        "36 V",
        "6 V",
        false,
        [
            "15.885909245",
            "15.888908290",
            "0.62591110062",
            "0.6176274622",
            "0.50438562483",
        ],
        [
            "12.426703287",
            "928.78337596",
            "0.67971945457",
            "1868.7429396",
            "5.8323208496",
            "754.96351229",
        ],
    ),
    (
        "44 V",
        "6 V",
        false,
        [
            "16.588602286",
            "16.594452189",
            "0.62591110062",
            "0.61630294958",
            "0.39236076858",
        ],
        [
            "17.788620251",
            "721.69092981",
            "0.79548396618",
            "1948.7045814",
            "5.8323208496",
            "876.61663516",
        ],
    ),
    (
        "44 V",
        "6 V",
        true,
        [
            "16.587253616",
            "16.594448844",
            "0.63770507994",
            "0.62795326025",
            "0.33001156902",
        ],
        [
            "21.727360199",
            "718.98377037",
            "0.97838464225",
            "1948.7042023",
            "7.7912088246",
            "873.24364513",
        ],
    ),
    (
        "44 V",
        "30 V",
        true,
        [
            "17.918326026",
            "17.922322883",
            "0.66273007385",
            "0.6502523566",
            "0.44762377176",
        ],
        [
            "17.330998068",
            "892.06041875",
            "0.90582221962",
            "1574.397445",
            "9.6563655402",
            "1077.0775218",
        ],
    ),
];

#[test]
fn currents_and_durations_of_one_cell() {
    for (v_in, v_out, law, currents, times) in ROWS {
        let stage = stage(law, v_in, v_out);
        let cell = cell(&stage);
        let terms = [
            cell.peak_current,
            cell.current_after_fall,
            cell.clamp_on_current,
            cell.freewheel_current,
            cell.residual_current,
        ];
        for (term, printed) in terms.into_iter().zip(currents) {
            let value = term.value().unwrap();
            assert_printed(
                value.coherent(),
                printed,
                1.0,
                &format!("{} at {v_in}", term.text()),
            );
        }
        let terms = [
            cell.rise_time,
            cell.on_time,
            cell.fall_time,
            cell.release_time,
            cell.partial_rise_time,
            cell.hold_time,
        ];
        for (term, printed) in terms.into_iter().zip(times) {
            let value = term.value().unwrap();
            assert_printed(
                value.coherent(),
                printed,
                1e-9,
                &format!("{} at {v_in}", term.text()),
            );
        }
    }
}

#[test]
fn the_numeric_cell_has_the_same_currents_and_durations() {
    for (v_in, v_out, law, currents, times) in ROWS {
        let specification = stage(law, v_in, v_out).specification;
        let point = OperatingPoint {
            input_voltage: specification.input_voltage.nominal,
            output_voltage: specification.output_voltage.nominal,
            output_current: 6.0 * ampere,
        };
        let scheme = Scheme::FreewheelTransistors;
        let mut circuit = Circuit::new(&specification, scheme, 0.68 * uH, 0.6 * ampere).unwrap();
        circuit = crate::support::without_part_data(circuit);
        circuit.high.on_resistance = Resistance::from_coherent(0.0);
        circuit.low.on_resistance = Resistance::from_coherent(0.0);
        circuit.dead_time = None;
        let steady = cycle::steady_state(&circuit, point).unwrap();
        assert_eq!(steady.state, State::ZeroVoltage);
        let course = steady.course.unwrap();
        let found = [
            course.peak_current,
            course.fall.end_current,
            steady.clamp_on_current.unwrap(),
            course.freewheel_current.unwrap(),
            course.residual_current,
        ];
        for (current, printed) in found.into_iter().zip(currents) {
            assert_printed(
                current.coherent(),
                printed,
                1.0,
                &format!("current at {v_in}"),
            );
        }
        let found = [
            course.rise.duration,
            course.on_time,
            course.fall.duration,
            course.release.duration,
            course.partial_rise.unwrap().duration,
            course.hold.unwrap().duration,
        ];
        for (time, printed) in found.into_iter().zip(times) {
            assert_printed(
                time.coherent(),
                printed,
                1e-9,
                &format!("duration at {v_in}"),
            );
        }
        let sum: f64 = found.iter().map(|time| time.coherent()).sum();
        assert!((sum / course.cell_time.coherent() - 1.0).abs() < 1e-12);
        let lost = course.input_power - course.output_power - course.dissipation.total();
        assert!(lost.coherent().abs() < 1e-9 * course.output_power.coherent());
    }
}

/// The energies of a turn-on with the junction law at 44 V.
#[test]
fn turn_on_energies() {
    let specification = stage(true, "44 V", "6 V").specification;
    let mut circuit = Circuit::new(
        &specification,
        Scheme::FreewheelTransistors,
        0.68 * uH,
        0.0 * ampere,
    )
    .unwrap();
    circuit.dead_time = Some(Time::from_coherent(0.0));
    let point = OperatingPoint {
        input_voltage: specification.input_voltage.nominal,
        output_voltage: specification.output_voltage.nominal,
        output_current: 6.0 * ampere,
    };
    let course = cycle::steady_state(&circuit, point)
        .unwrap()
        .course
        .unwrap();
    assert_printed(
        course.turn_on.energy.coherent(),
        "84.8479",
        1e-9,
        "from 6 V",
    );
}

#[test]
fn floors_and_the_inductances_that_follow() {
    for (v_in, floor, inductance) in [
        ("30 V", "0.2673398366", "1.0257256821"),
        ("36 V", "0.3564531155", "1.1237174275"),
        ("44 V", "0.4752708206", "1.2033794428"),
    ] {
        let stage = stage(false, v_in, "6 V");
        let current = slewbook::freewheel::floor(&stage).value().unwrap();
        assert_printed(current.coherent(), floor, 1.0, "floor");
        let I_0 = Term::input("I_0", "reverse current", current);
        let (a, b) = (stage.a, stage.b);
        let L = stage.T * a * b / ((a + b) * (2.0 * (stage.I_out + I_0)));
        assert_printed(
            L.value().unwrap().coherent(),
            inductance,
            1e-6,
            "inductance",
        );
    }
    let stage = stage(true, "44 V", "6 V");
    let current = slewbook::freewheel::floor(&stage).value().unwrap();
    assert_printed(
        current.coherent(),
        "0.5342449451",
        1.0,
        "floor with the junction law",
    );
}

/// The rising edge at 44 V with the junction law, from a multiple of the floor.
fn rise_from(factor: f64) -> (Stage, Derivation<Time>) {
    let stage = stage(true, "44 V", "6 V");
    let floor = slewbook::freewheel::floor(&stage).value().unwrap();
    let current = Term::input("I_h", "freewheel current", factor * floor);
    let derivation = edge::rise_time(&stage, current);
    (stage, derivation)
}

#[test]
fn the_rising_edge_from_multiples_of_the_floor() {
    let (_, rise) = rise_from(1.1);
    assert_printed(
        rise.value().unwrap().coherent(),
        "24.399208533",
        1e-9,
        "1.1 I_min",
    );
    let (_, rise) = rise_from(1.001);
    assert_printed(
        rise.value().unwrap().coherent(),
        "32.872608564",
        1e-9,
        "1.001 I_min",
    );

    let (stage, rise) = rise_from(0.999);
    let error = rise.value().unwrap_err().to_string();
    assert!(
        error.contains("the freewheel current carries the node"),
        "{error}"
    );
    let floor = slewbook::freewheel::floor(&stage).value().unwrap();
    let short = Term::input("I_h", "freewheel current", 0.999 * floor);
    let reached = edge::reached_voltage(&stage, short).value().unwrap();
    assert_printed(reached.coherent(), "21.990186673", 1.0, "0.999 I_min");
}

#[test]
fn a_program_gives_the_same_as_the_terms_it_is_compiled_from() {
    let stage = stage(true, "44 V", "6 V");
    let cell = cell(&stage);
    let program =
        Program::compile(&[cell.peak_current.expression(), cell.hold_time.expression()]).unwrap();
    let outputs = program.evaluate(&Point::own().inputs(&program)).unwrap();
    let peak: Current = cell.peak_current.value().unwrap();
    assert_eq!(outputs[0].to_bits(), peak.coherent().to_bits());
}
