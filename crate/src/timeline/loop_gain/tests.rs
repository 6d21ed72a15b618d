//! Check figures computed elsewhere, with another model, and an injected disturbance.

use super::*;
use crate::quantity::unit::{ampere, kHz, mohm, ns, pF, uF, uH, volt};
use crate::quantity::{Resistance, Time};
use crate::scheme::Scheme;
use crate::stage::{DEMONSTRATION, Freewheel, Specification, Switch};
use crate::timeline::regulator::{OnTime, Seen};
use crate::timeline::settings::on_time;
use crate::timeline::simulation::Simulation;
use crate::timeline::steady_state;

/// Three levels free of resistance but for the clamp, 600 pF at the node, trip and delay
/// that release at 0.6 A.
fn plain() -> (Circuit, OperatingPoint) {
    let specification = Specification::read(DEMONSTRATION).unwrap();
    let scheme = Scheme::FreewheelTransistors;
    let mut circuit = Circuit::new(&specification, scheme, 0.68 * uH, 0.6 * ampere).unwrap();
    let none = Resistance::from_coherent(0.0);
    let curve = crate::equation::Curve::constant("C", 300.0 * pF).unwrap();
    let curve: &'static crate::equation::Curve = Box::leak(Box::new(curve));
    let switch = Switch {
        on_resistance: none,
        diode_drop: 0.0 * volt,
        output_capacitance: curve,
        scale: 1.0,
    };
    circuit.high = switch;
    circuit.low = switch;
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
    circuit.trip_threshold = 0.291_176_47 * ampere;
    circuit.trip_offset = 0.0 * ampere;
    circuit.trip_delay = 35.0 * ns;
    circuit.dead_time = Some(25.0 * ns);
    circuit.low_dead_time = None;
    circuit.minimum_on_time = Time::from_coherent(0.0);
    circuit.band = 0;
    let point = OperatingPoint {
        input_voltage: 36.0 * volt,
        output_voltage: 6.0 * volt,
        output_current: 6.0 * ampere,
    };
    (circuit, point)
}

fn settings(kp: f64, ki: f64) -> Settings {
    Settings {
        on_time: Loop::Regulated {
            target: 6.0 * volt,
            proportional: kp.into(),
            integral: Frequency::from_coherent(ki),
            soft_start: Time::from_coherent(0.0),
        },
        ..Settings::fixed(0.1.into())
    }
}

/// How near a figure printed with so many digits must be: half a unit of the last.
fn printed(value: f64, figure: &str) {
    let digits = figure.split_once('.').map_or(0, |(_, after)| after.len());
    let half = 0.5 * 10f64.powi(-i32::try_from(digits).unwrap());
    let expected: f64 = figure.parse().unwrap();
    assert!(
        (value - expected).abs() <= 1.02 * half,
        "{value}, expected {figure}"
    );
}

/// At 6 A, with 100 uF in the circuit: figures of an independent model, the derivatives of
/// the closed-form cell.
#[test]
fn the_check_figures_of_the_loop() {
    let (circuit, point) = plain();
    let gain = LoopGain::new(&circuit, &settings(1.108_028, 19_493.45), point).unwrap();
    let cell = gain.cell_time().coherent();
    printed(gain.open_eigenvalue().coherent(), "0.944763");
    for (part, magnitude, degrees) in [(20.0, "1.50515", "-80.06"), (5.0, "0.333331", "-88.80")] {
        let [re, im] = gain.control_to_output(Frequency::from_coherent(1.0 / (part * cell)));
        // In volts per microsecond; the independent model's edges last a little longer.
        let expected: f64 = magnitude.parse().unwrap();
        assert!((re.hypot(im) / (cell * 1e6) / expected - 1.0).abs() < 1e-5);
        printed(im.atan2(re).to_degrees(), degrees);
    }
    let still = gain.response(0.0).re / (cell * 1e6);
    assert!((still / 8.526_68 - 1.0).abs() < 1e-5, "{still}");
    // The pole of the fed output: (G + g)/(2 pi C) with no load conductance.
    let pole = -gain.open_eigenvalue().coherent().ln() / (std::f64::consts::TAU * cell);
    assert!((pole / 2494.05 - 1.0).abs() < 0.02, "{pole}");

    let examined = gain.examine();
    printed(examined.crossover.unwrap().coherent() / 1e3, "14.584");
    printed(examined.phase_margin.unwrap().to_degrees(), "70.33");
    printed(
        20.0 * examined.gain_margin.unwrap().coherent().log10(),
        "15.42",
    );
    printed(examined.eigenvalue.coherent(), "0.940055");
    assert_eq!(examined.soundness(), Soundness::Sound);
}

/// Up to 5.9034 times both gains it is stable, and not beyond: by the eigenvalue of the
/// product of maps, which knows nothing of the margins.
#[test]
fn the_gain_margin_is_where_the_eigenvalue_reaches_one() {
    let (circuit, point) = plain();
    let gain = LoopGain::new(&circuit, &settings(1.108_028, 19_493.45), point).unwrap();
    let eigenvalue = |factor: f64| {
        let ki = Frequency::from_coherent(factor * 19_493.45);
        gain.with_gains((factor * 1.108_028).into(), ki)
            .eigenvalue()
            .coherent()
    };
    let at = eigenvalue(5.9034);
    assert!((at - 1.0).abs() < 2e-5, "{at}");
    assert!(eigenvalue(5.903) < 1.0 && eigenvalue(5.904) > 1.0);
}

/// What a cell with an ideal output and stiff flying capacitors gives when its start is
/// moved: the output current, the freewheel current after it, the time of the rise.
struct Bench {
    look: Simulation,
    on: f64,
}

impl Bench {
    fn new(circuit: &Circuit, point: OperatingPoint) -> Self {
        let settings = Settings::fixed(0.1.into());
        let steady = steady_state(circuit, point, &settings).unwrap();
        let mut look = steady.simulation;
        period::to_look(&mut look).unwrap();
        let on = steady.duty.coherent() * f64::from(circuit.pairs);
        Self { look, on }
    }

    /// Moves are of the gate on-time, the output and the input voltage, and the freewheel
    /// current, in coherent units.
    fn cell(&self, [on, output, input, current]: [f64; 4]) -> [f64; 3] {
        let mut s = self.look.clone();
        s.output += output;
        let pairs = s.leg.pairs;
        for k in 1..=pairs {
            s.leg.voltage[k] += input * k as f64 / pairs as f64;
        }
        s.current -= current;
        s.node = s.terminal(0.0);
        s.recharge();
        let charge = s.ledger.output_charge;
        let cell = s.carriers.cell;
        period::cell(&mut s, self.on, self.on + on / cell).unwrap();
        let through = (s.ledger.output_charge - charge) / cell;
        [through, -s.current, s.draft.record.rise_time.unwrap()]
    }

    /// Central differences by one of the moves, per coherent unit.
    fn by(&self, what: usize, step: f64) -> [f64; 3] {
        let side = |by: f64| {
            let mut moves = [0.0; 4];
            moves[what] = by;
            self.cell(moves)
        };
        let (above, below) = (side(step), side(-step));
        std::array::from_fn(|k| (above[k] - below[k]) / (2.0 * step))
    }
}

/// Figures of the closed-form cell, derivatives in A per us, V, V and A.
#[test]
fn the_check_figures_of_the_cell() {
    let (circuit, point) = plain();
    let mut fixed = circuit;
    fixed.trip_threshold = 0.6 * ampere;
    fixed.trip_delay = 0.0 * ns;
    let (trip, fixed) = (Bench::new(&circuit, point), Bench::new(&fixed, point));
    let on = trip.on * circuit.cell_time().coherent();
    assert!((on / 916.210_079e-9 - 1.0).abs() < 1e-8, "{on}");

    let steps = [1e-11, 3e-4, 1e-3, 1e-5];
    let found: Vec<[f64; 3]> = (0..4).map(|k| trip.by(k, steps[k])).collect();
    let held = fixed.by(1, steps[1]);
    let near = |value: f64, expected: f64, what: &str| {
        let off = (value / expected - 1.0).abs();
        assert!(off < 2e-5, "{what}: {value}, expected {expected}");
    };
    let us = 1e-6;
    near(found[0][0] * us, 13.344_163_8, "I_out by the on-time");
    near(held[0], -1.533_478_17, "I_out by V_out, I_s fixed");
    near(found[1][0], -1.534_458_17, "I_out by V_out, trip fixed");
    near(found[2][0], 0.433_326_291, "I_out by V_in");
    near(found[3][0], -0.627_325_525, "I_out by I_h");

    near(found[0][1] * us, 0.032_685_583_3, "I_h+ by the on-time");
    near(held[1], 0.003_274_203_09, "I_h+ by V_out, I_s fixed");
    near(found[1][1], 0.052_019_476_8, "I_h+ by V_out, trip fixed");
    near(found[2][1], 0.000_843_731_013, "I_h+ by V_in");
    near(found[3][1], -0.001_008_200_14, "I_h+ by I_h");

    // From the node's arrival on: the gate's time less that of the rise.
    let slope = found[0][0];
    let node = |d: &[f64; 3]| d[0] + slope * d[2];
    near(
        node(&held),
        -1.549_351_93,
        "I_out by V_out from the node's arrival, I_s",
    );
    near(
        node(&found[1]),
        -1.550_331_93,
        "I_out by V_out from the node's arrival",
    );
    near(
        node(&found[2]),
        0.441_263_173,
        "I_out by V_in from the node's arrival",
    );
    near(
        node(&found[3]),
        -0.935_739_864,
        "I_out by I_h from the node's arrival",
    );

    // With the freewheel current settled.
    let settled = |d: &[f64; 3]| d[0] + found[3][0] * d[1] / (1.0 - found[3][1]);
    near(
        settled(&found[0]) * us,
        13.323_679_9,
        "I_out by the on-time, I_h following",
    );
    near(
        settled(&held),
        -1.535_530_09,
        "I_out by V_out, I_s, I_h following",
    );
    near(
        settled(&found[1]),
        -1.567_058_45,
        "I_out by V_out, I_h following",
    );
    near(
        settled(&found[2]),
        0.432_797_530,
        "I_out by V_in, I_h following",
    );

    // The poles of the fed output, K and G being those settled: 1 ohm, and 6 A.
    let drain = -settled(&found[1]);
    for (load, figure) in [(1.0, "4085.60"), (0.0, "2494.05")] {
        let pole = (drain + load) / (std::f64::consts::TAU * 100e-6);
        let expected: f64 = figure.parse().unwrap();
        near(pole, expected, "pole");
    }
}

/// The alternation of the freewheel current: `-(V_c + R_f I_h) I_r/(b I_h)`, nearly.
#[test]
fn the_freewheel_current_alternates() {
    let (circuit, point) = plain();
    let bench = Bench::new(&circuit, point);
    let [_, current, _] = bench.cell([0.0; 4]);
    let residual = (current * current - 0.356_453_115_5_f64.powi(2)).sqrt();
    let estimate = -0.012 * residual / 6.0;
    let found = bench.by(3, 1e-5)[1];
    assert!(
        (found / estimate - 1.0).abs() < 0.05,
        "{found}, about {estimate}"
    );
}

/// What a small sine on the on-time does to the loop of the controller itself: the loop gain,
/// from what the controller answers and what the stage gets, and how long it took.
fn injected(circuit: &Circuit, settings: &Settings, point: OperatingPoint) -> (Complex, f64) {
    let examined = LoopGain::new(circuit, settings, point).unwrap().examine();
    let period = Period::find(circuit, settings, point).unwrap();
    let (mut s, on) = (period.start, period.on);
    let step = point.input_voltage.coherent() / f64::from(circuit.pairs);
    let target = point.output_voltage.coherent();
    let mut control = on_time(settings, circuit, point.output_voltage);
    let OnTime::Regulated(regulator) = &mut control else {
        panic!("a fixed duty");
    };
    regulator.settle(on, target, step);
    regulator.last = s.time;
    regulator.area = s.ledger.output_area;

    let cell = examined.cell_time.coherent();
    let turns_per_cell = examined.crossover.unwrap().coherent() * cell;
    let cells = (10.0 / turns_per_cell).max(400.0).round();
    let turns = (turns_per_cell * cells).round();
    let angle = std::f64::consts::TAU * turns / cells;
    let fading = (1e-4f64.ln() / examined.eigenvalue.coherent().ln()).ceil();
    let (mut answer, mut whole) = (Complex::ZERO, Complex::ZERO);
    let mut k = 0.0;
    while k < fading + cells {
        let seen = Seen {
            voltage: s.terminal(s.to_output()),
            area: s.ledger.output_area,
        };
        let set = control.sample(s.time, seen, step);
        let disturbed = set + 1e-4 * (angle * k).cos();
        if k >= fading {
            let turned = Complex::turn(-angle * k);
            answer = answer + Complex::from(set - on) * turned;
            whole = whole + Complex::from(disturbed - on) * turned;
        }
        period::cell(&mut s, on, disturbed).unwrap();
        k += 1.0;
    }
    (-answer / whole, angle / (std::f64::consts::TAU * cell))
}

/// The controller itself, run cell by cell with a disturbance: ten designs, two of every
/// scheme, their phase margins within 3 degrees.
#[test]
fn an_injected_disturbance_finds_the_same_margins() {
    let text = DEMONSTRATION.replace("\"1.5 mohm\"", "\"8 mohm\"");
    let mut worst: f64 = 0.0;
    for scheme in Scheme::ALL {
        for (pairs, band, input, output, load) in [(2, 0, 36.0, 6.0, 5.0), (3, 1, 36.0, 17.0, 2.0)]
        {
            let specification = Specification::read(&text).unwrap();
            let mut circuit = Circuit::new(&specification, scheme, 0.5 * uH, 0.8 * ampere).unwrap();
            (circuit.pairs, circuit.band) = (pairs, band);
            let point = OperatingPoint {
                input_voltage: input * volt,
                output_voltage: output * volt,
                output_current: load * ampere,
            };
            let settings = Settings::new(&specification.control, &circuit, point).unwrap();
            let gain = LoopGain::new(&circuit, &settings, point).unwrap();
            let examined = gain.examine();
            let (seen, at) = injected(&circuit, &settings, point);
            let [re, im] = gain.at(Frequency::from_coherent(at));
            let margin = (-seen).angle().to_degrees();
            let printed = examined.phase_margin.unwrap().to_degrees();
            let off = margin - printed;
            println!(
                "{scheme}, {pairs} pairs, band {band}: {}; injected at {:.2} kHz: {margin:.2} degrees, gain {:.4}",
                examined.text(),
                at / 1e3,
                seen.abs()
            );
            assert!(off.abs() < 3.0, "{scheme}: {margin}, printed {printed}");
            assert!(
                (seen.abs() / re.hypot(im) - 1.0).abs() < 0.02,
                "{scheme}: {}",
                seen.abs()
            );
            worst = worst.max(off.abs());
        }
    }
    println!("worst: {worst:.2} degrees");
}
