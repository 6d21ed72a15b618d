//! One cell by a general-purpose integrator of ordinary differential equations
//! (DOP853, relative tolerance 1e-10), as it comes.

use ode_solvers::dop_shared::OutputType;
use ode_solvers::{Dop853, System, Vector3};
use slewbook::cycle::Solver;
use slewbook::quantity::{Dimensioned as _, Time, Voltage};
use slewbook::stage::{Circuit, OperatingPoint};

/// A stretch of the cell: the node free, or held with a voltage across the inductor.
#[derive(Clone)]
enum Stretch {
    Free { below: f64, above: f64 },
    Held { drive: f64, resistance: f64 },
}

/// Node voltage from the output, current, its integral; nanosecond, nanofarad,
/// nanohenry.
type Y = Vector3<f64>;

struct Plant {
    circuit: Circuit,
    stretch: Stretch,
    event: (usize, f64),
    before: Y,
}

impl Plant {
    fn rates(&self, node: f64, current: f64) -> Y {
        let inductance = self.circuit.inductance.coherent() * 1e9;
        match self.stretch {
            Stretch::Free { below, above } => {
                let c = &self.circuit;
                let at = |v: f64| Voltage::from_coherent(v.max(0.0));
                let sum = c.low.output_capacitance.capacitance(at(node + below))
                    + c.high.output_capacitance.capacitance(at(above - node))
                    + c.clamp_capacitance.map_or(c.node_capacitance, |curve| {
                        curve.capacitance(at(node.abs())) + c.node_capacitance
                    });
                Y::new(
                    -current / (sum.coherent() * 1e9),
                    node / inductance,
                    current,
                )
            }
            Stretch::Held { drive, resistance } => {
                Y::new(0.0, (drive - resistance * current) / inductance, current)
            }
        }
    }
}

impl System<f64, Y> for Plant {
    fn system(&self, _: f64, y: &Y, dy: &mut Y) {
        *dy = self.rates(y[0], y[1]);
    }

    fn solout(&mut self, _: f64, y: &Y, _: &Y) -> bool {
        let (k, value) = self.event;
        let passed = (self.before[k] - value) * (y[k] - value) < 0.0;
        self.before = *y;
        passed
    }
}

fn ns(time: Time) -> f64 {
    time.coherent() * 1e9
}

/// What the integrator is told of a cell: peak current in ampere, hold and dead time
/// in nanoseconds.
#[derive(Clone, Copy)]
pub struct Cell {
    pub peak: f64,
    pub hold: f64,
    pub dead: f64,
}

impl Cell {
    /// The cell of the steady state at a point.
    pub fn steady(solver: &mut Solver, at: OperatingPoint) -> Self {
        let course = solver
            .solve(at)
            .expect("sound")
            .course
            .expect("a whole cell");
        Self {
            peak: course.peak_current.coherent(),
            hold: course.hold.map_or(0.0, |hold| ns(hold.duration)),
            dead: ns(course.dead_time),
        }
    }
}

/// One cell by the integrator, its seven stretches with their events, the high side on
/// for the rest of the cell: how far from the peak current it comes back, and the
/// average current that reaches the output.
pub fn integrated(circuit: &Circuit, at: OperatingPoint, cell: Cell) -> [f64; 2] {
    let Cell { peak, hold, dead } = cell;
    let step = at.input_voltage.coherent() / f64::from(circuit.pairs);
    let below = at.output_voltage.coherent() - step * f64::from(circuit.band);
    let above = step - below;
    let free = Stretch::Free { below, above };
    let held = |drive: f64, resistance: f64| Stretch::Held { drive, resistance };
    let never = (0, 1e9);
    let period = ns(circuit.cell_time());
    let mut y = Vector3::new(above, peak, 0.0);
    let mut now = 0.0;
    let mut charge = 0.0;
    let mut run = |stretch: Stretch, event: (usize, f64), time: f64, counts: bool| {
        let before = y[2];
        let plant = |stretch: Stretch, event: (usize, f64), y: &Y| Plant {
            circuit: *circuit,
            stretch,
            event,
            before: *y,
        };
        let solve = |plant: Plant, from: f64, to: f64, y: Y| {
            let mut solver = Dop853::from_param(
                plant,
                from,
                to,
                0.0,
                y,
                1e-10,
                1e-10,
                0.9,
                0.0,
                0.333,
                6.0,
                to - from,
                0.0,
                100_000,
                100_000,
                OutputType::Sparse,
            );
            solver.integrate().expect("a smooth stretch");
            let (x, out) = (solver.x_out().clone(), solver.y_out().clone());
            (x, out)
        };
        let (x, out) = solve(plant(stretch.clone(), event, &y), 0.0, time, y);
        let last = out.len() - 1;
        let (k, value) = event;
        let passed = last > 0 && (out[last - 1][k] - value) * (out[last][k] - value) < 0.0;
        if passed {
            // The event inside the last step, by the secant rule.
            let (from, at) = (out[last - 1], x[last - 1]);
            let (mut before, mut after) =
                ((0.0, from[k] - value), (x[last] - at, out[last][k] - value));
            let mut end = out[last];
            for _ in 0..8 {
                if after.1.abs() < 1e-11 || after.1 == before.1 {
                    break;
                }
                let step = after.0 - after.1 * (after.0 - before.0) / (after.1 - before.1);
                let (_, out) = solve(plant(stretch.clone(), never, &from), 0.0, step, from);
                end = out[out.len() - 1];
                before = after;
                after = (step, end[k] - value);
            }
            now += at + after.0;
            end[k] = value;
            y = end;
        } else {
            now += x[last];
            y = out[last];
        }
        if counts {
            charge += y[2] - before;
        }
        period - now
    };
    run(free.clone(), (0, -below), 1e3, true);
    run(
        held(-below, 8e-3),
        (1, -circuit.trip_threshold.coherent()),
        1e5,
        true,
    );
    run(held(-below, 8e-3), never, ns(circuit.trip_delay), true);
    run(free.clone(), (0, 0.0), 1e3, true);
    run(held(0.0, 12e-3), never, hold, false);
    let left = run(free, (0, above), dead, true);
    run(held(above, 8e-3), never, left.max(1.0), true);
    [y[1] - peak, charge / period]
}
