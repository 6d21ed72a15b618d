//! The cell with the flying capacitors' ripple in it against the simulation, in every
//! band: no cell of the simulation is worse than it says, and one comes near.

use slewbook::cycle::{Course, Solver};
use slewbook::quantity::unit::{ampere, mohm, ns, volt};
use slewbook::quantity::{Capacitance, Dimensioned as _};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint};
use slewbook::timeline::{Observer, Row, Settings, Steady, steady_state};

use super::stage::{at, with_law};
use crate::support::Random;

/// A stage of three to eight levels, in any band, whose flying capacitors ripple by up to
/// a tenth of the step.
fn case(random: &mut Random) -> (Circuit, OperatingPoint) {
    let mut circuit = with_law();
    circuit.scheme = Scheme::FreewheelTransistors;
    circuit.pairs = 2 + u8::try_from(random.below(6)).unwrap();
    let band = random.below(usize::from(circuit.pairs));
    circuit.high.on_resistance = 2.0 * mohm;
    circuit.low.on_resistance = 3.0 * mohm;
    circuit.high.diode_drop = random.between(0.0, 1.0) * volt;
    circuit.low.diode_drop = random.between(0.0, 1.0) * volt;
    circuit.inductor_resistance = 2.0 * mohm;
    circuit.trip_threshold = random.between(0.4, 1.2) * ampere;
    circuit.trip_delay = 25.0 * ns;
    let step = 16.0;
    let part = random.between(0.25, 0.75);
    let input = step * f64::from(circuit.pairs);
    let (circuit, mut point) = at(circuit, input * volt, (band as f64 + part) * step * volt);
    let mut circuit = circuit;
    let voltage = part * (1.0 - part) * step;
    let largest = circuit.cell_time() * voltage * volt / (2.0 * circuit.inductance);
    point.output_current = random.between(0.3, 0.8) * largest;
    let ripple = random.decades(0.01, 0.1) * step;
    let charge = (point.output_current * circuit.cell_time()).coherent();
    circuit.flying_capacitance = Some(Capacitance::from_coherent(charge / ripple));
    (circuit, point)
}

/// The lowest and the highest voltage of every flying capacitor over a period.
#[derive(Default)]
struct Extremes(Vec<(f64, f64)>);

impl Observer for Extremes {
    fn spacing(&self) -> Option<f64> {
        Some(5e-9)
    }

    fn row(&mut self, row: &Row) {
        for (k, voltage) in row.flying.iter().enumerate() {
            if self.0.len() <= k {
                self.0.push((*voltage, *voltage));
            }
            let (low, high) = &mut self.0[k];
            *low = low.min(*voltage);
            *high = high.max(*voltage);
        }
    }
}

fn ripple(steady: &Steady, circuit: &Circuit) -> f64 {
    let mut simulation = steady.simulation.clone();
    let mut seen = Extremes::default();
    let end = simulation.time() + circuit.cell_time() * f64::from(circuit.pairs);
    simulation.run_until(end, &mut seen).unwrap();
    let of = seen.0.iter().map(|(low, high)| high - low);
    of.fold(0.0, f64::max)
}

/// By how much the simulation's worst cell is beyond what the course says, as a part of
/// it.
fn beyond(steady: &Steady, circuit: &Circuit, course: &Course) -> [(&'static str, f64); 5] {
    let most = |of: fn(&slewbook::timeline::CellRecord) -> Option<f64>| {
        let all = steady.cells.iter().map(|cell| of(cell).unwrap());
        all.fold(f64::NEG_INFINITY, f64::max)
    };
    let step = course.full_turn_on.voltage.coherent();
    let peak = course.highest_peak_current.coherent();
    let flying = course.paths.flying.unwrap().ripple.unwrap().coherent();
    [
        ("peak", most(|cell| cell.peak_current) / peak - 1.0),
        ("flying", ripple(steady, circuit) / flying - 1.0),
        (
            "rise",
            most(|cell| Some(cell.rise_time.unwrap_or(0.0))) / course.rise.duration.coherent()
                - 1.0,
        ),
        (
            "residual",
            (course.residual_current.coherent()
                + most(|cell| cell.residual_current.map(|own| -own)))
                / peak,
        ),
        (
            "turn-on",
            (most(|cell| cell.turn_on_voltage) - course.turn_on.voltage.coherent()) / step,
        ),
    ]
}

/// Beyond what is said of a cell, up to this part of it: the residual current of the peak,
/// what is left at turn-on of the step.
const NO_WORSE: f64 = 2e-3;
/// How far what is said may be beyond the simulation, where the cells of all pairs are one.
const NEAR: f64 = 4e-3;

#[test]
fn no_cell_is_worse_than_the_one_with_the_ripple() {
    let mut random = Random(97);
    let (mut compared, mut still_worse, mut bands) = (0, 0.0_f64, [0; 3]);
    for _ in 0..500 {
        let (circuit, point) = case(&mut random);
        let mut solver = Solver::new(&circuit).unwrap();
        let still = solver.solve(point).unwrap();
        // A ripple that is too large for its model is refused.
        let Ok(Some(with)) = solver.solve_with_ripple(point) else {
            continue;
        };
        let (Some(still), Some(with)) = (still.course, with.course) else {
            continue;
        };
        let Ok(steady) = steady_state(&circuit, point, &Settings::fixed(0.1.into())) else {
            continue;
        };
        let what = format!("{} pairs, band {}, {point:?}", circuit.pairs, circuit.band);
        for (name, beyond) in beyond(&steady, &circuit, &with) {
            assert!(beyond < NO_WORSE, "{name} by {beyond}: {what}");
            let whole = circuit.pairs == 2;
            assert!(!whole || beyond > -NEAR, "{name} by {beyond}: {what}");
        }
        for (_, beyond) in beyond(&steady, &circuit, &still) {
            still_worse = still_worse.max(beyond);
        }
        let last = circuit.band + 1 == circuit.pairs;
        bands[if circuit.band == 0 {
            0
        } else if last {
            2
        } else {
            1
        }] += 1;
        compared += 1;
    }
    // Held still, the flying capacitors would hide a third of a value.
    assert!(still_worse > 0.2, "{still_worse}");
    assert!(
        compared > 300 && bands.iter().all(|own| *own > 80),
        "{bands:?}"
    );
}
