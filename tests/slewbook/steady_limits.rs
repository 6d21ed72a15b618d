//! The steady state at the limits that handbooks describe, at hard corners, and
//! in the failure for which the low-drop clamp exists.

use slewbook::cycle::{self, Solver, State};
use slewbook::quantity::{
    Capacitance, Dimensioned, Frequency, Inductance, Resistance, Time, Voltage,
};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint};

use crate::steady_stage::{Case, amperes, demonstration, point};
use crate::support::Random;

/// A two-level stage without losses, with so little capacitance that its edges
/// take no time.
fn textbook(scheme: Scheme, inductance: f64, frequency: f64) -> Circuit {
    let mut circuit = demonstration(scheme);
    let none = Resistance::from_coherent(0.0);
    circuit.pairs = 1;
    circuit.band = 0;
    circuit.switching_frequency = Frequency::from_coherent(frequency);
    circuit.inductance = Inductance::from_coherent(inductance);
    circuit.high.on_resistance = none;
    circuit.low.on_resistance = none;
    circuit.high.scale = 1e-9;
    circuit.low.scale = 1e-9;
    circuit.node_capacitance = Capacitance::from_coherent(1e-21);
    circuit.dead_time = None;
    circuit.output_capacitance = Capacitance::from_coherent(100e-6);
    circuit
}

fn near(found: f64, expected: f64, relative: f64) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "{found} is not {expected}"
    );
}

/// Hart, Power Electronics (2011), example 6-1, from memory: 50 V, duty 0.4,
/// 400 µH, 100 µF, 20 kHz, 20 Ω give 20 V, 1.75 A and 0.25 A, a ripple of 0.469 %.
#[test]
fn a_textbook_stage_in_continuous_conduction() {
    let circuit = textbook(Scheme::Continuous, 400e-6, 20e3);
    let steady = cycle::steady_state(&circuit, point(50.0, 20.0, 1.0)).unwrap();
    let course = steady.course.unwrap();
    near(course.duty.coherent(), 0.4, 1e-6);
    near(course.peak_current.coherent(), 1.75, 1e-6);
    near(course.rise.start_current.coherent(), 0.25, 1e-6);
    let ripple = course.paths.output.ripple.coherent() / 20.0;
    assert_eq!(format!("{:.3}", 100.0 * ripple), "0.469");
}

/// Hart, Power Electronics (2011), example 6-9, from memory: 24 V, duty 0.4,
/// 200 µH, 10 kHz, 20 Ω give 13.9 V in discontinuous conduction. The conversion
/// ratio 2/(1 + √(1 + 8L/(R·T·D²))) stands in Erickson and Maksimović too.
#[test]
fn a_textbook_stage_in_discontinuous_conduction() {
    let duty = 0.4_f64;
    let ratio = 2.0 / (1.0 + (1.0 + 8.0 * 200e-6 * 10e3 / (20.0 * duty * duty)).sqrt());
    let output = 24.0 * ratio;
    assert_eq!(format!("{output:.1}"), "13.9");
    let circuit = textbook(Scheme::Discontinuous, 200e-6, 10e3);
    let steady = cycle::steady_state(&circuit, point(24.0, output, output / 20.0)).unwrap();
    let course = steady.course.unwrap();
    near(course.duty.coherent(), duty, 1e-5);
    // The peak of the triangle, and the time for which current flows.
    let peak = (24.0 - output) * duty / (200e-6 * 10e3);
    near(course.peak_current.coherent(), peak, 1e-5);
    let flows = course.gate_on_time + course.release.duration;
    near(
        course.peak_current.coherent() * flows.coherent() / 2.0 * 10e3,
        output / 20.0,
        1e-5,
    );
}

/// Discontinuous conduction ends where the inductance reaches
/// `V_out·(1 - D)·T/(2·I_out)` (Hart, 2011, equation 6-14, from memory).
#[test]
fn the_boundary_of_discontinuous_conduction() {
    let (input, output, load, frequency) = (50.0, 20.0, 2.0, 20e3);
    let limit = output * (1.0 - output / input) / (2.0 * load * frequency);
    let state = |inductance: f64| {
        let circuit = textbook(Scheme::Discontinuous, inductance, frequency);
        let steady = cycle::steady_state(&circuit, point(input, output, load)).unwrap();
        (steady.state, steady.course.is_some())
    };
    assert!(state(limit * 0.999).1);
    assert_eq!(state(limit * 1.001), (State::BeyondDiscontinuous, false));
}

/// A demagnetising clamp, a small inductance: the share of 1 001 loads from 5 % to
/// full at which zero voltage holds, at the best instant.
fn share(scheme: Scheme, inductance: f64, trip: f64) -> f64 {
    let mut circuit = demonstration(scheme);
    circuit.inductance = Inductance::from_coherent(inductance);
    circuit.trip_threshold = amperes(trip);
    circuit.dead_time = None;
    let mut solver = Solver::new(&circuit).unwrap();
    let held = (0..=1000_u32)
        .filter(|k| {
            let at = point(36.0, 6.0, 0.3 + 5.7e-3 * f64::from(*k));
            solver.solve(at).unwrap().state == State::ZeroVoltage
        })
        .fold(0.0, |sum, _| sum + 1.0);
    held / 1001.0
}

/// With 0.7 V of drop the clamp takes the current before a long hold ends: zero
/// voltage is lost from light load up, the more the smaller the inductance; the
/// low-drop clamp and the trip keep it everywhere.
#[test]
fn a_high_drop_clamp_loses_zero_voltage_over_part_of_the_load() {
    let mut table = Vec::new();
    for inductance in [0.47e-6, 0.56e-6, 0.68e-6] {
        for trip in [0.4, 1.0, 2.0] {
            let high = share(Scheme::FreewheelDiode, inductance, trip);
            let low = share(Scheme::FreewheelTransistors, inductance, trip);
            println!(
                "{:.2} µH, {trip} A: {high:.3} against {low:.3}",
                inductance * 1e6
            );
            assert_eq!(low, 1.0);
            assert!(high < 0.8);
            table.push(high);
        }
    }
    // Rows of three trips: a larger trip helps, a smaller inductance hurts.
    for row in table.chunks(3) {
        assert!(row[0] <= row[1] && row[1] <= row[2]);
    }
    for column in 0..3 {
        assert!(table[column] <= table[column + 3] && table[column + 3] <= table[column + 6]);
    }
    assert!((table[8] - 0.722).abs() < 0.005, "{}", table[8]);
    assert!((table[7] - 0.100).abs() < 0.005, "{}", table[7]);
}

fn state(circuit: &Circuit, at: OperatingPoint) -> State {
    cycle::steady_state(circuit, at).unwrap().state
}

#[test]
fn zero_load_has_a_cell_or_a_state() {
    for scheme in Scheme::ALL {
        let steady = cycle::steady_state(&demonstration(scheme), point(36.0, 6.0, 0.0)).unwrap();
        match steady.course {
            None => assert_eq!(steady.state, State::BelowLeastOnTime, "{scheme}"),
            Some(course) => assert!(course.output_power.coherent() == 0.0),
        }
    }
}

#[test]
fn a_band_edge_is_refused_with_the_levels_around_it() {
    let circuit = demonstration(Scheme::FreewheelTransistors);
    for output in [0.0, -3.0, 18.0, 20.0, f64::NAN, f64::INFINITY] {
        let error = cycle::steady_state(&circuit, point(36.0, output, 6.0)).unwrap_err();
        assert_eq!(error.field, "output voltage");
        let text = error.to_string();
        assert!(
            text.contains("above 0 V and below 18 V, the two levels of its band"),
            "{text}"
        );
        assert!(!text.contains("NaN"), "{text}");
    }
    let error = cycle::steady_state(&circuit, point(36.0, 6.0, -1.0)).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the output current is −1 A; expected a value of zero or more"
    );
}

#[test]
fn a_trip_that_is_never_reached_leaves_no_hold() {
    let mut circuit = demonstration(Scheme::FreewheelTransistors);
    // The release ramp ends at 6 V over two channels of 1 Ω.
    circuit.low.on_resistance = Resistance::from_coherent(1.0);
    circuit.trip_threshold = amperes(3.1);
    assert_eq!(state(&circuit, point(36.0, 6.0, 0.5)), State::NoHoldTime);
    circuit.trip_threshold = amperes(0.4);
    assert_ne!(state(&circuit, point(36.0, 6.0, 0.5)), State::NoHoldTime);
}

#[test]
fn a_dead_time_longer_than_the_cell_leaves_no_hold() {
    let mut circuit = demonstration(Scheme::FreewheelTransistors);
    circuit.dead_time = Some(Time::from_coherent(4e-6));
    assert_eq!(state(&circuit, point(36.0, 6.0, 6.0)), State::NoHoldTime);
}

#[test]
fn more_load_than_discontinuous_conduction_gives() {
    let circuit = demonstration(Scheme::FreewheelTransistors);
    assert_eq!(
        state(&circuit, point(36.0, 6.0, 12.0)),
        State::BeyondDiscontinuous
    );
    // Between them, the edges and the trip take what was left for the hold.
    assert_eq!(state(&circuit, point(36.0, 6.0, 10.0)), State::NoHoldTime);
}

/// The more load the shorter the hold: up to the last load with a cell it comes down
/// to nothing.
#[test]
fn a_hold_may_be_as_short_as_nothing() {
    let mut random = Random(1_302);
    let mut compared = 0;
    while compared < 200 {
        let scheme = *random.pick(&[Scheme::FreewheelTransistors, Scheme::FreewheelDiode]);
        let case = Case::new(&mut random, scheme);
        let mut solver = Solver::new(&case.circuit).unwrap();
        let mut hold = |load: f64| {
            let mut at = case.at;
            at.output_current *= load;
            let course = solver.solve(at).unwrap().course;
            course.map(|c| c.hold.unwrap().duration.coherent() / c.cell_time.coherent())
        };
        let (mut low, mut high) = (0.2, 20.0);
        if hold(low).is_none() || hold(high).is_some() {
            continue;
        }
        for _ in 0..50 {
            let middle = f64::midpoint(low, high);
            if hold(middle).is_some() {
                low = middle;
            } else {
                high = middle;
            }
        }
        let last = hold(low).unwrap();
        assert!(
            last < 1e-6,
            "{last} of a cell at {low} of the load: {case:?}"
        );
        compared += 1;
    }
}

#[test]
fn an_upper_half_of_a_band_at_light_load_does_not_fall() {
    // A clamp that takes all current, so that the peak is small too.
    let mut circuit = demonstration(Scheme::FreewheelDiode);
    circuit.trip_threshold = amperes(0.0);
    circuit.trip_delay = Time::from_coherent(0.0);
    let steady = cycle::steady_state(&circuit, point(36.0, 15.0, 0.001)).unwrap();
    assert_eq!(steady.state, State::IncompleteFall);
    let course = steady.course.unwrap();
    assert!(course.low_turn_on.voltage.coherent() > 0.1);
    assert!(course.low_turn_on.energy.coherent() > 0.0);
}

#[test]
fn the_least_on_time_is_a_state_of_its_own() {
    let mut circuit = demonstration(Scheme::FreewheelTransistors);
    let at = point(36.0, 6.0, 0.5);
    let gate = cycle::steady_state(&circuit, at)
        .unwrap()
        .course
        .unwrap()
        .gate_on_time;
    circuit.minimum_on_time = 1.01 * gate;
    assert_eq!(state(&circuit, at), State::BelowLeastOnTime);
    circuit.minimum_on_time = 0.99 * gate;
    assert_eq!(state(&circuit, at), State::ZeroVoltage);
}

/// Early, in its window, late: the turn-on voltage comes back with the ring.
#[test]
fn a_missed_window_leaves_a_voltage() {
    let mut circuit = demonstration(Scheme::FreewheelTransistors);
    let at = point(36.0, 6.0, 3.0);
    let mut left = |nanoseconds: f64| {
        circuit.dead_time = Some(Time::from_coherent(nanoseconds * 1e-9));
        let steady = cycle::steady_state(&circuit, at).unwrap();
        (
            steady.state,
            steady.course.unwrap().turn_on.voltage.coherent(),
        )
    };
    assert_eq!(left(0.0), (State::Partial, 12.0));
    let (early, earlier) = (left(15.0), left(10.0));
    assert_eq!(early.0, State::Partial);
    assert!(early.1 > 0.0 && early.1 < earlier.1 && earlier.1 < 12.0);
    assert_eq!(left(30.0), (State::ZeroVoltage, 0.0));
    let (late, later) = (left(60.0), left(70.0));
    assert_eq!(late.0, State::Partial);
    assert!(late.1 > 0.0 && later.1 > late.1, "{late:?} {later:?}");
}

/// The ring without a clamp, as long as nothing clamps it: the node swings to as
/// far above the output as it starts below, for a constant capacitance.
#[test]
fn the_ring_of_a_constant_capacitance() {
    let mut circuit = textbook(Scheme::Discontinuous, 10e-6, 100e3);
    circuit.node_capacitance = Capacitance::from_coherent(1e-9);
    circuit.high.scale = 0.0;
    circuit.low.scale = 0.0;
    let steady = cycle::steady_state(&circuit, point(50.0, 20.0, 0.5)).unwrap();
    let [best, worst, mean] = steady.course.unwrap().ring.unwrap();
    // Up to 2·V_out, down to zero; C·(V_hi - v)²/2 at each, and over a whole ring
    // C·((V_hi - V_out)² + V_out²/2)/2.
    near(best.voltage.coherent(), 10.0, 1e-9);
    near(worst.voltage.coherent(), 50.0, 1e-9);
    near(mean.voltage.coherent(), 30.0, 1e-9);
    near(best.energy.coherent(), 0.5e-9 * 100.0, 1e-9);
    near(worst.energy.coherent(), 0.5e-9 * 2500.0, 1e-9);
    near(mean.energy.coherent(), 0.5e-9 * (900.0 + 200.0), 1e-9);
}

/// A constant capacitance moves on a circle of node voltage and `Z·i`: the durations of
/// all edges are arcs. Down to a current that only just suffices.
#[test]
fn the_edges_of_a_constant_capacitance_are_arcs() {
    let (inductance, capacitance) = (0.68e-6_f64, 1e-9_f64);
    let impedance = (inductance / capacitance).sqrt();
    let turn = (inductance * capacitance).sqrt();
    let (above, below) = (12.0_f64, 6.0);
    let mut circuit = demonstration(Scheme::FreewheelTransistors);
    circuit.inductance = Inductance::from_coherent(inductance);
    circuit.node_capacitance = Capacitance::from_coherent(capacitance);
    (circuit.high.scale, circuit.low.scale, circuit.clamp_scale) = (0.0, 0.0, 0.0);
    circuit.dead_time = None;
    let at = point(36.0, 6.0, 3.0);
    let margin = |trip: f64| {
        let mut circuit = circuit;
        circuit.trip_threshold = amperes(trip);
        let course = cycle::steady_state(&circuit, at).unwrap().course.unwrap();
        (course.margin.coherent(), course)
    };
    // The trip with which the current just suffices.
    let (mut low, mut high) = (0.0, 3.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if margin(middle).0 < 1.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let mut near_floor = 0;
    for k in 0..40_i32 {
        let (margin, course) = margin(high + 1e-6 * 1.4_f64.powi(k));
        let current = course.rise.start_current.coherent().abs();
        near(margin, current * impedance / above, 1e-9);
        let rise = turn * (above / impedance / current).asin();
        near(course.rise.duration.coherent(), rise, 1e-8);
        let peak = course.peak_current.coherent() * impedance;
        let radius = above.hypot(peak);
        let fall = turn * (above.atan2(peak) + (below / radius).asin());
        near(course.fall.duration.coherent(), fall, 1e-8);
        let partial = course.partial_rise.unwrap();
        let clamped = partial.end_current.coherent().abs() * impedance;
        let duration = turn * (below / clamped).asin();
        near(partial.duration.coherent(), duration, 1e-8);
        near_floor += i32::from(margin < 1.02);
    }
    assert!(near_floor > 10, "{near_floor} near the floor");
}

#[test]
fn a_part_that_is_no_part_is_named() {
    let at = point(36.0, 6.0, 6.0);
    let error = |change: &dyn Fn(&mut Circuit)| {
        let mut circuit = demonstration(Scheme::FreewheelTransistors);
        change(&mut circuit);
        cycle::steady_state(&circuit, at).unwrap_err().to_string()
    };
    for (text, found) in [
        (
            "the inductance is 0 H; expected a value above zero",
            error(&|c| c.inductance = Inductance::from_coherent(0.0)),
        ),
        (
            "the trip delay is not a finite number; expected a value of zero or more",
            error(&|c| c.trip_delay = Time::from_coherent(f64::NAN)),
        ),
        (
            "the diode drop of the low side is −1 V; expected a value of zero or more",
            error(&|c| c.low.diode_drop = Voltage::from_coherent(-1.0)),
        ),
        (
            "the band is 2; expected a number below that of the switch pairs, 2",
            error(&|c| c.band = 2),
        ),
        (
            "the number of switch pairs is 0; expected one at least",
            error(&|c| c.pairs = 0),
        ),
    ] {
        assert_eq!(found, text);
    }
}

/// The energise ramp against a step-by-step integration of inductance and flying
/// capacitance (Runge and Kutta's fourth order), and the floor against its square
/// root of twice the work over the inductance: `a/Z` for a constant capacitance.
#[test]
fn the_ripple_of_the_flying_capacitors() {
    let mut circuit = demonstration(Scheme::FreewheelTransistors);
    circuit.high.on_resistance = Resistance::from_coherent(0.0);
    circuit.low.on_resistance = Resistance::from_coherent(0.0);
    circuit.high.scale = 0.0;
    circuit.low.scale = 0.0;
    circuit.clamp_scale = 0.0;
    circuit.node_capacitance = Capacitance::from_coherent(600e-12);
    circuit.dead_time = None;
    let at = point(44.0, 6.0, 6.0);
    let mut solver = Solver::new(&circuit).unwrap();
    let steady = solver.solve_with_ripple(at).unwrap().unwrap();
    let course = steady.course.unwrap();
    let flying = course.paths.flying.unwrap();
    let (inductance, capacitance) = (0.68e-6, 10e-6);
    let half = flying.charge.coherent() / capacitance / 2.0;
    let floor = (16.0 + half) / (inductance / 600e-12_f64).sqrt();
    near(steady.floor.coherent(), floor, 1e-9);
    // 0.6 V on 22 V: about two parts in a hundred.
    let effect = cycle::ripple_effect(&circuit, at).unwrap().unwrap();
    assert!((effect.ripple.coherent() - 0.6).abs() < 0.02);
    assert!((effect.floor.coherent() - 0.02).abs() < 0.003);
    assert!(effect.on_time.coherent() < 0.0 && effect.margin.coherent() < 0.0);

    let (mut current, mut charge) = (course.rise.end_current.coherent(), 0.0);
    let steps = 2000;
    let step = course.on_time.coherent() / f64::from(steps);
    let slope = |charge: f64| (16.0 + half - charge / capacitance) / inductance;
    for _ in 0..steps {
        let k1 = (slope(charge), current);
        let k2 = (
            slope(charge + step / 2.0 * k1.1),
            current + step / 2.0 * k1.0,
        );
        let k3 = (
            slope(charge + step / 2.0 * k2.1),
            current + step / 2.0 * k2.0,
        );
        let k4 = (slope(charge + step * k3.1), current + step * k3.0);
        current += step / 6.0 * (k1.0 + 2.0 * k2.0 + 2.0 * k3.0 + k4.0);
        charge += step / 6.0 * (k1.1 + 2.0 * k2.1 + 2.0 * k3.1 + k4.1);
    }
    near(current, course.peak_current.coherent(), 2e-4);
    near(charge, 2.0 * half * capacitance, 1e-3);
    // Ten times the capacitance, a tenth of the effect.
    circuit.flying_capacitance = Some(Capacitance::from_coherent(100e-6));
    let less = cycle::ripple_effect(&circuit, at).unwrap().unwrap();
    near(10.0 * less.floor.coherent(), effect.floor.coherent(), 0.01);
    near(
        10.0 * less.on_time.coherent(),
        effect.on_time.coherent(),
        0.03,
    );
}

/// With the ripple in it a cell's energy closes to a thousandth, or the cell is refused;
/// both occur, the second where the ripple is a large part of the step.
#[test]
fn with_the_ripple_energy_closes_or_the_cell_is_refused() {
    let (mut closed, mut refused) = (0, 0);
    for scheme in [Scheme::FreewheelTransistors, Scheme::NegativeValley] {
        for capacitance in [0.05e-6, 0.1e-6, 0.2e-6, 0.5e-6, 1e-6, 3e-6, 10e-6, 100e-6] {
            for (input, load) in [(30.0, 6.0), (36.0, 1.0), (44.0, 6.0), (44.0, 20.0)] {
                let mut circuit = demonstration(scheme);
                circuit.flying_capacitance = Some(Capacitance::from_coherent(capacitance));
                let at = point(input, 6.0, load);
                let found = Solver::new(&circuit).unwrap().solve_with_ripple(at);
                let told = format!("{scheme}, {capacitance} F, {input} V, {load} A: {found:?}");
                match found {
                    Ok(None) => {}
                    Ok(Some(steady)) => {
                        let Some(course) = steady.course else {
                            continue;
                        };
                        closed += 1;
                        let input = course.input_power.coherent();
                        let rest = input
                            - course.output_power.coherent()
                            - course.dissipation.total().coherent();
                        assert!(rest.abs() <= 1e-3 * input, "{rest}: {told}");
                    }
                    Err(error) => {
                        refused += 1;
                        assert!(error.to_string().contains("energy of the cell"), "{told}");
                        assert!(capacitance < 10e-6, "{told}");
                    }
                }
            }
        }
    }
    println!("{closed} close, {refused} refused");
    assert!(
        closed > 15 && refused > 0,
        "{closed} close, {refused} refused"
    );
}

/// The names of the states as data call them, by a second way: serde's.
#[test]
fn states_have_the_names_that_data_call_them() {
    for state in State::ALL {
        assert_eq!(
            serde_json::to_value(state).unwrap(),
            serde_json::json!(state.name())
        );
        for scheme in Scheme::ALL {
            assert!(state.words(scheme).ends_with('.'), "{}", state.name());
        }
    }
}
