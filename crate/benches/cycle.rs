//! The steady state per point, beside a general-purpose integrator of ordinary
//! differential equations that runs one cell of the same point, and a map.
//!
//! The integrator (DOP853, relative tolerance 1e-10) is given the peak current and
//! the hold: it only has to follow the cell once, where a search for the steady
//! state would follow it many times.

use criterion::{Criterion, criterion_group, criterion_main};
use ode_solvers::dop_shared::OutputType;
use ode_solvers::{Dop853, System, Vector2};
use slewbook::cycle::{Course, Solver};
use slewbook::quantity::unit::{ampere, uH, volt};
use slewbook::quantity::{Dimensioned as _, Voltage};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
use std::hint::black_box;

fn circuit() -> Circuit {
    let specification = Specification::read(DEMONSTRATION).expect("the demonstration is sound");
    Circuit::new(
        &specification,
        Scheme::FreewheelTransistors,
        0.68 * uH,
        0.4 * ampere,
    )
    .expect("the demonstration has a clamp")
}

fn point(input: f64, load: f64) -> OperatingPoint {
    OperatingPoint {
        input_voltage: input * volt,
        output_voltage: 6.0 * volt,
        output_current: load * ampere,
    }
}

/// A stretch of the cell: the node free, or held with a voltage across the inductor.
#[derive(Clone)]
enum Stretch {
    Free { below: f64, above: f64 },
    Held { drive: f64, resistance: f64 },
}

/// Node voltage from the output, and current; nanosecond, nanofarad, nanohenry.
struct Plant {
    circuit: Circuit,
    stretch: Stretch,
    event: (usize, f64),
    before: Vector2<f64>,
}

impl System<f64, Vector2<f64>> for Plant {
    fn system(&self, _: f64, y: &Vector2<f64>, dy: &mut Vector2<f64>) {
        let inductance = self.circuit.inductance.coherent() * 1e9;
        match self.stretch {
            Stretch::Free { below, above } => {
                let c = &self.circuit;
                let at = |v: f64| Voltage::from_coherent(v.max(0.0));
                let sum = c.low.output_capacitance.capacitance(at(y[0] + below))
                    + c.high.output_capacitance.capacitance(at(above - y[0]))
                    + c.clamp_capacitance.map_or(c.node_capacitance, |curve| {
                        curve.capacitance(at(y[0].abs())) + c.node_capacitance
                    });
                dy[0] = -y[1] / (sum.coherent() * 1e9);
                dy[1] = y[0] / inductance;
            }
            Stretch::Held { drive, resistance } => {
                dy[0] = 0.0;
                dy[1] = (drive - resistance * y[1]) / inductance;
            }
        }
    }

    fn solout(&mut self, _: f64, y: &Vector2<f64>, _: &Vector2<f64>) -> bool {
        let (k, value) = self.event;
        let passed = (self.before[k] - value) * (y[k] - value) < 0.0;
        self.before = *y;
        passed
    }
}

/// One cell by the integrator, its six stretches with their events.
fn integrated(circuit: &Circuit, at: OperatingPoint, course: &Course) -> f64 {
    let step = at.input_voltage.coherent() / f64::from(circuit.pairs);
    let below = at.output_voltage.coherent() - step * f64::from(circuit.band);
    let above = step - below;
    let ns = |time: slewbook::quantity::Time| time.coherent() * 1e9;
    let (peak, hold) = (
        course.peak_current.coherent(),
        course.hold.map_or(0.0, |hold| ns(hold.duration)),
    );
    let free = Stretch::Free { below, above };
    let held = |drive: f64, resistance: f64| Stretch::Held { drive, resistance };
    let never = (0, 1e9);
    let stretches = [
        (free.clone(), (0, -below), 1e3),
        (
            held(-below, 8e-3),
            (1, -circuit.trip_threshold.coherent()),
            1e5,
        ),
        (held(-below, 8e-3), never, ns(circuit.trip_delay)),
        (free.clone(), (0, 0.0), 1e3),
        (held(0.0, 12e-3), never, hold),
        (free, (0, above), ns(course.dead_time)),
        (held(above, 8e-3), never, ns(course.gate_on_time)),
    ];
    let mut y = Vector2::new(above, peak);
    for (stretch, event, time) in stretches {
        let plant = Plant {
            circuit: *circuit,
            stretch,
            event,
            before: y,
        };
        let mut solver = Dop853::from_param(
            plant,
            0.0,
            time,
            0.0,
            y,
            1e-10,
            1e-10,
            0.9,
            0.0,
            0.333,
            6.0,
            time,
            0.0,
            100_000,
            1000,
            OutputType::Sparse,
        );
        if solver.integrate().is_ok() {
            y = solver.y_out()[solver.y_out().len() - 1];
        }
    }
    y[1]
}

fn per_point(criterion: &mut Criterion) {
    let circuit = circuit();
    let mut solver = Solver::new(&circuit).expect("sound");
    let mut group = criterion.benchmark_group("cycle");
    let mut k = 0_u32;
    let mut next = move || {
        k = (k + 1) % 1000;
        point(
            30.0 + 0.014 * f64::from(k),
            0.5 + 0.0055 * f64::from((k * 7) % 1000),
        )
    };
    group.bench_function("steady state, dead time before arrival", |b| {
        b.iter(|| black_box(solver.solve(next())));
    });
    let mut best = circuit;
    best.dead_time = None;
    let mut solver = Solver::new(&best).expect("sound");
    let mut k = 0_u32;
    let mut next = move || {
        k = (k + 1) % 1000;
        point(
            30.0 + 0.014 * f64::from(k),
            0.5 + 0.0055 * f64::from((k * 7) % 1000),
        )
    };
    group.bench_function("steady state, best instant", |b| {
        b.iter(|| black_box(solver.solve(next())));
    });
    let at = point(36.0, 6.0);
    let course = solver
        .solve(at)
        .expect("sound")
        .course
        .expect("a whole cell");
    group.sample_size(20);
    group.bench_function("one cell by DOP853 to 1e-10", |b| {
        b.iter(|| black_box(integrated(&best, at, &course)));
    });
    group.finish();
}

criterion_group!(benches, per_point);
criterion_main!(benches);
