//! The simulation's cells per second, beside a general-purpose integrator of
//! ordinary differential equations that runs one cell of the same point.
//!
//! The simulation has the flying capacitor, the output capacitor, the control and
//! its books beside what the integrator follows (node voltage, current, charge).

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use slewbook::cycle::Solver;
use slewbook::quantity::unit::{ampere, uH, volt};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
use slewbook::timeline::{Settings, Simulation, steady_state};
use std::hint::black_box;
use std::time::Instant;

mod peer;
use peer::{Cell, integrated};

/// Cells of one measured run.
const CELLS: u32 = 1000;

fn bench(criterion: &mut Criterion) {
    let specification = Specification::read(DEMONSTRATION).expect("the demonstration is sound");
    let scheme = Scheme::FreewheelTransistors;
    let mut circuit = Circuit::new(&specification, scheme, 0.68 * uH, 0.4 * ampere)
        .expect("the demonstration has a clamp");
    circuit.dead_time = None;
    let at = OperatingPoint {
        input_voltage: 36.0 * volt,
        output_voltage: 6.0 * volt,
        output_current: 6.0 * ampere,
    };
    let steady = steady_state(&circuit, at, &Settings::fixed(0.1.into())).expect("it settles");
    let simulated = |simulation: &Simulation| {
        let mut simulation = simulation.clone();
        simulation
            .run_cells(u64::from(CELLS), &mut ())
            .expect("it goes on");
        simulation
    };
    let cell = Cell::steady(&mut Solver::new(&circuit).expect("sound"), at);
    let peer = || integrated(&circuit, at, cell);

    // Both in one go, for their ratio.
    let started = Instant::now();
    black_box(simulated(&steady.simulation));
    let own = started.elapsed().as_secs_f64() / f64::from(CELLS);
    let started = Instant::now();
    let runs = 50;
    for _ in 0..runs {
        black_box(peer());
    }
    let other = started.elapsed().as_secs_f64() / f64::from(runs);
    println!(
        "a cell: simulated in {:.1} us ({:.0} a second), by DOP853 to 1e-10 in {:.1} us: {:.1} times",
        own * 1e6,
        1.0 / own,
        other * 1e6,
        other / own
    );

    let mut group = criterion.benchmark_group("timeline");
    group.sample_size(10);
    group.throughput(Throughput::Elements(u64::from(CELLS)));
    group.bench_function("cells simulated", |b| {
        b.iter(|| black_box(simulated(&steady.simulation)));
    });
    group.throughput(Throughput::Elements(1));
    group.bench_function("one cell by DOP853 to 1e-10", |b| {
        b.iter(|| black_box(peer()));
    });
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
