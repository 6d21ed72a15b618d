//! The steady state per point, beside a general-purpose integrator of ordinary
//! differential equations that runs one cell of the same point, and a map.
//!
//! The integrator (DOP853, relative tolerance 1e-10) has to find the peak current
//! and the hold too, each trial a cell, the solver as it comes; one cell alone is
//! timed beside it. Where it ends is printed beside the steady state.

use criterion::{Criterion, criterion_group, criterion_main};
use ode_solvers::dop_shared::OutputType;
use ode_solvers::{Dop853, System, Vector3};
use slewbook::cycle::Solver;
use slewbook::map::{Axis, Map, Span};
use slewbook::quantity::unit::{ampere, uH, volt};
use slewbook::quantity::{Dimensioned as _, Time, Voltage};
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

/// One cell by the integrator, its seven stretches with their events, from a peak
/// current and a hold in nanoseconds, the high side on for the rest of the cell:
/// the current it comes back to, and the charge that reaches the output.
fn integrated(circuit: &Circuit, at: OperatingPoint, peak: f64, hold: f64, dead: f64) -> [f64; 2] {
    let step = at.input_voltage.coherent() / f64::from(circuit.pairs);
    let below = at.output_voltage.coherent() - step * f64::from(circuit.band);
    let above = step - below;
    let ns = |time: slewbook::quantity::Time| time.coherent() * 1e9;
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

/// The steady state by the integrator: Newton's rule in peak current and hold, its
/// slopes taken once by differences, to the accuracy that the integrator's own
/// tolerance leaves.
fn searched(circuit: &Circuit, at: OperatingPoint, dead: f64, start: [f64; 2]) -> [f64; 2] {
    let load = at.output_current.coherent();
    let of = |peak, hold| {
        let [back, average] = integrated(circuit, at, peak, hold, dead);
        [back, average - load]
    };
    let [mut peak, mut hold] = start;
    let mut here = of(peak, hold);
    let (dp, dh) = (peak * 1e-4, hold * 1e-4);
    let (by_peak, by_hold) = (of(peak + dp, hold), of(peak, hold + dh));
    let slopes = [
        [(by_peak[0] - here[0]) / dp, (by_hold[0] - here[0]) / dh],
        [(by_peak[1] - here[1]) / dp, (by_hold[1] - here[1]) / dh],
    ];
    let determinant = slopes[0][0] * slopes[1][1] - slopes[0][1] * slopes[1][0];
    for _ in 0..8 {
        peak -= (here[0] * slopes[1][1] - here[1] * slopes[0][1]) / determinant;
        hold -= (slopes[0][0] * here[1] - slopes[1][0] * here[0]) / determinant;
        here = of(peak, hold);
        if here[0].abs() < 1e-7 * peak && here[1].abs() < 1e-7 * load {
            break;
        }
    }
    [peak, hold]
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
    let ns = |time: Time| time.coherent() * 1e9;
    let (peak, dead) = (course.peak_current.coherent(), ns(course.dead_time));
    let hold = course.hold.map_or(0.0, |hold| ns(hold.duration));
    let start = [peak * 1.02, hold * 0.9];
    let [found, _] = searched(&best, at, dead, start);
    println!("DOP853 finds {found:.9} A, the steady state {peak:.9} A");
    group.sample_size(20);
    group.bench_function("one cell by DOP853 to 1e-10", |b| {
        b.iter(|| black_box(integrated(&best, at, peak, hold, dead)));
    });
    group.bench_function("steady state by DOP853 to 1e-10", |b| {
        b.iter(|| black_box(searched(&best, at, dead, start)));
    });
    group.finish();
}

/// A million points of voltage and load, computed and reduced to how many hold zero
/// voltage, on all cores; with `SLEWBOOK_POINTS` so many points once, timed by hand.
fn map(criterion: &mut Criterion) {
    let mut circuit = circuit();
    circuit.dead_time = None;
    let wanted = std::env::var("SLEWBOOK_POINTS").ok();
    let side = wanted.and_then(|text| text.parse::<usize>().ok().map(usize::isqrt));
    let span = |axis, low, high| Span {
        axis,
        low,
        high,
        points: side.unwrap_or(1000),
    };
    let map = Map {
        circuit,
        at: point(36.0, 6.0),
        x: span(Axis::InputVoltage, 30.0, 44.0),
        y: span(Axis::OutputCurrent, 0.3, 6.0),
        units: vec![],
        random: false,
    };
    let reduced = || {
        let mut held = 0;
        map.run(None, |table| {
            let slack = table.column("zero_voltage_slack");
            held += slack.map_or(0, |c| c.values().iter().filter(|s| **s >= 0.0).count());
            Ok(())
        })
        .expect("a sound map");
        black_box(held)
    };
    if let Some(side) = side {
        let start = std::time::Instant::now();
        let held = reduced();
        let took = start.elapsed().as_secs_f64();
        println!(
            "{} points in {took:.1} s, zero voltage at {held}",
            side * side
        );
    } else {
        let mut group = criterion.benchmark_group("map");
        group.sample_size(10);
        group.bench_function("a million points", |b| b.iter(reduced));
        group.finish();
    }
    // The greatest memory so far, of this whole process.
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    if let Some(line) = status.lines().find(|line| line.starts_with("VmHWM")) {
        println!("memory: {line}");
    }
}

criterion_group!(benches, per_point, map);
criterion_main!(benches);
