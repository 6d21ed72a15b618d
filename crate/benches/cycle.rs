//! The steady state per point, beside a general-purpose integrator of ordinary
//! differential equations that runs one cell of the same point, and a map.
//!
//! The integrator (DOP853, relative tolerance 1e-10) has to find the peak current
//! and the hold too, each trial a cell, the solver as it comes; one cell alone is
//! timed beside it. Where it ends is printed beside the steady state.

use criterion::{Criterion, criterion_group, criterion_main};
use slewbook::cycle::Solver;
use slewbook::map::{Axis, Map, Span};
use slewbook::quantity::Dimensioned as _;
use slewbook::quantity::unit::{ampere, uH, volt};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
use std::hint::black_box;

mod memory;
mod peer;
use peer::{Cell, integrated};

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

/// The steady state by the integrator: Newton's rule in peak current and hold, its
/// slopes taken once by differences, to the accuracy that the integrator's own
/// tolerance leaves.
fn searched(circuit: &Circuit, at: OperatingPoint, start: Cell) -> Cell {
    let load = at.output_current.coherent();
    let of = |peak, hold| {
        let [back, average] = integrated(
            circuit,
            at,
            Cell {
                peak,
                hold,
                ..start
            },
        );
        [back, average - load]
    };
    let Cell {
        mut peak, mut hold, ..
    } = start;
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
    Cell {
        peak,
        hold,
        ..start
    }
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
    let cell = Cell::steady(&mut solver, at);
    let start = Cell {
        peak: cell.peak * 1.02,
        hold: cell.hold * 0.9,
        ..cell
    };
    let found = searched(&best, at, start).peak;
    println!(
        "DOP853 finds {found:.9} A, the steady state {:.9} A",
        cell.peak
    );
    group.sample_size(20);
    group.bench_function("one cell by DOP853 to 1e-10", |b| {
        b.iter(|| black_box(integrated(&best, at, cell)));
    });
    group.bench_function("steady state by DOP853 to 1e-10", |b| {
        b.iter(|| black_box(searched(&best, at, start)));
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
    memory::print();
}

criterion_group!(benches, per_point, map);
criterion_main!(benches);
