//! A turn-on in its window is at zero voltage in the simulation too, and one that is
//! later or earlier is not, whatever the body diode's drop.

use slewbook::cycle::{Course, Solver};
use slewbook::quantity::unit::{ampere, mohm, ns, uF, volt};
use slewbook::quantity::{Dimensioned as _, Time};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint};
use slewbook::timeline::{CellRecord, Settings, steady_state};

use super::stage::{at, with_law};

const DROPS: [f64; 3] = [0.0, 0.8, 3.0];
/// How far inside and outside, in nanosecond, and up to which volts nothing counts as
/// left: with flying capacitors that stand still, and with those of a finite size.
const STIFF: (f64, f64) = (0.3, 1e-6);
const FINITE: (f64, f64) = (3.0, 0.01);

fn circuit(pairs: u8, drop: f64) -> Circuit {
    let mut circuit = with_law();
    circuit.scheme = Scheme::FreewheelTransistors;
    circuit.pairs = pairs;
    circuit.high.on_resistance = 4.0 * mohm;
    circuit.low.on_resistance = 6.0 * mohm;
    circuit.high.diode_drop = drop * volt;
    circuit.low.diode_drop = drop * volt;
    circuit.inductor_resistance = 3.0 * mohm;
    circuit.trip_threshold = 0.7 * ampere;
    circuit.trip_delay = 35.0 * ns;
    circuit.dead_time = Some(25.0 * ns);
    circuit.low_dead_time = Some(8.0 * ns);
    circuit
}

/// A point inside a band with a load well inside discontinuous conduction.
fn point(circuit: Circuit, band: u8) -> (Circuit, OperatingPoint) {
    let step = 16.0;
    let input = step * f64::from(circuit.pairs);
    let (a, b) = (0.5 * step, 0.5 * step);
    let (circuit, mut point) = at(circuit, input * volt, (f64::from(band) * step + b) * volt);
    let largest = circuit.cell_time() * (a * b / (a + b)) * volt / (2.0 * circuit.inductance);
    point.output_current = 0.4 * largest;
    (circuit, point)
}

fn course(circuit: &Circuit, point: OperatingPoint) -> Course {
    let mut solver = Solver::new(circuit).unwrap();
    let rippled = solver.solve_with_ripple(point).unwrap();
    let steady = rippled.unwrap_or_else(|| solver.solve(point).unwrap());
    steady
        .course
        .unwrap_or_else(|| panic!("no cell: {}", steady.state))
}

fn nanoseconds(time: Time) -> f64 {
    time.coherent() * 1e9
}

/// The window of the rising edge, and that of the falling one, in nanosecond.
fn windows(course: &Course) -> [[f64; 2]; 2] {
    let (first, last) = course.low_window.unwrap();
    let rising = [course.window_start.unwrap(), course.window_end.unwrap()];
    [rising, [first, last]].map(|window| window.map(nanoseconds))
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Side {
    High,
    Low,
}

/// The circuit with a side's dead time so long after, or before, an end of its window: the
/// window moves a little with the dead time.
fn with_dead_time(
    mut circuit: Circuit,
    point: OperatingPoint,
    side: Side,
    end: usize,
    by: f64,
) -> Circuit {
    for _ in 0..4 {
        let window = windows(&course(&circuit, point))[usize::from(side == Side::Low)];
        let time = Some((window[end] + by) * ns);
        match side {
            Side::High => circuit.dead_time = time,
            Side::Low => circuit.low_dead_time = time,
        }
    }
    circuit
}

fn cells(circuit: &Circuit, point: OperatingPoint, what: &str) -> Vec<CellRecord> {
    steady_state(circuit, point, &Settings::fixed(0.1.into()))
        .unwrap_or_else(|error| panic!("{what}: {error}"))
        .cells
}

/// The greatest voltage left across a side at its turn-on.
fn left(circuit: &Circuit, point: OperatingPoint, side: Side, what: &str) -> f64 {
    let cells = cells(circuit, point, what);
    let voltages = cells.iter().map(|cell| match side {
        Side::High => cell.turn_on_voltage.unwrap(),
        Side::Low => cell.low_turn_on_voltage.unwrap(),
    });
    voltages.fold(0.0, f64::max)
}

fn hold(
    circuit: Circuit,
    point: OperatingPoint,
    side: Side,
    (apart, none): (f64, f64),
    what: &str,
) {
    for (end, by, soft) in [
        (0, -apart, false),
        (0, apart, true),
        (1, -apart, true),
        (1, apart, false),
    ] {
        let what = format!("{what}, {side:?}, end {end}, {by} ns");
        let circuit = with_dead_time(circuit, point, side, end, by);
        let left = left(&circuit, point, side, &what);
        assert_eq!(left < none, soft, "{what}: {left} V left");
    }
}

/// With flying capacitors that stand still, two to five levels and every band.
#[test]
fn a_turn_on_within_its_window_is_at_zero_voltage() {
    for drop in DROPS {
        for pairs in 1..=4 {
            for band in 0..pairs {
                let (circuit, point) = point(circuit(pairs, drop), band);
                let what = format!("{drop} V, {pairs} pairs, band {band}");
                hold(circuit, point, Side::High, STIFF, &what);
                if pairs < 3 {
                    hold(circuit, point, Side::Low, STIFF, &what);
                }
            }
        }
    }
}

/// With flying capacitors of a finite size the windows of the lowest band hold, whose
/// cell has their ripple in it; in the other bands the middle of the window does, and
/// the simulation comes to its end wherever the turn-on lies.
#[test]
fn windows_hold_with_flying_capacitors_of_a_finite_size() {
    for drop in DROPS {
        for pairs in 2..=4 {
            for band in 0..pairs {
                let mut own = circuit(pairs, drop);
                own.flying_capacitance = Some(20.0 * uF);
                own.flying_capacitor_resistance = 2.0 * mohm;
                let (circuit, point) = point(own, band);
                let what = format!("{drop} V, {pairs} pairs, band {band}, finite");
                if band == 0 {
                    hold(circuit, point, Side::High, FINITE, &what);
                    continue;
                }
                let [[first, last], _] = windows(&course(&circuit, point));
                for part in [-0.2, 0.5, 1.3] {
                    let mut with = circuit;
                    with.dead_time = Some((first + part * (last - first)) * ns);
                    let left = left(&with, point, Side::High, &what);
                    let inside = (0.0..=1.0).contains(&part);
                    assert_eq!(left < FINITE.1, inside, "{what}, {part}: {left} V left");
                }
            }
        }
    }
}
