//! Columns against the same formula written by hand, against NumPy where Python
//! has it, and against the program run point by point; tables into files.
//!
//! `cargo bench` prints criterion's statistics, then the ratios of the best
//! times of this very run. `SLEWBOOK_PYTHON` names another Python.
#![allow(non_snake_case, reason = "the symbols of the equations")]

use std::collections::BTreeMap;
use std::hint::black_box;
use std::num::NonZero;
use std::process::Command;
use std::time::{Duration, Instant};

use criterion::Criterion;
use slewbook::column::{Columns, Sweep};
use slewbook::cycle;
use slewbook::equation::{Expression, Program, Symbol, Term};
use slewbook::freewheel;
use slewbook::quantity::unit::{ampere, kHz, ns, pF, uH, volt};
use slewbook::quantity::{Frequency, Ratio};
use slewbook::stage::{DEMONSTRATION, Specification, Stage};
use slewbook::table::Table;

const POINTS: usize = 1_000_000;
/// Points where each costs an equation's solution.
const FEW: usize = 200;

/// Best seconds of each benchmark.
type Best = BTreeMap<&'static str, f64>;

fn measure(c: &mut Criterion, best: &mut Best, name: &'static str, mut run: impl FnMut()) {
    let mut least = f64::INFINITY;
    c.bench_function(name, |b| {
        b.iter_custom(|rounds| {
            let mut total = Duration::ZERO;
            for _ in 0..rounds {
                let start = Instant::now();
                run();
                let once = start.elapsed();
                least = least.min(once.as_secs_f64());
                total += once;
            }
            total
        });
    });
    if least.is_finite() {
        best.insert(name, least);
    }
}

/// A formula of three columns, and the same by hand.
struct Case {
    names: [&'static str; 4],
    formula: Expression,
    by_hand: fn(f64, f64, f64) -> f64,
}

const STEPS: f64 = 2.0;
const BAND: f64 = 0.0;
const SWITCHING: f64 = 140e3;
const INDUCTANCE: f64 = 0.68e-6;
const CAPACITANCE: f64 = 600e-12;

fn steps(V_in: f64, V_out: f64) -> (f64, f64) {
    let V_lo = BAND * V_in / STEPS;
    let V_hi = (BAND + 1.0) * V_in / STEPS;
    (V_hi - V_out, V_out - V_lo)
}

fn boundary(V_in: f64, V_out: f64, I_out: f64) -> f64 {
    let (a, b) = steps(V_in, V_out);
    a * b / (a + b) / (2.0 * STEPS * SWITCHING * I_out)
}

fn peak(V_in: f64, V_out: f64, I_out: f64) -> f64 {
    let (a, b) = steps(V_in, V_out);
    (I_out * I_out + 2.0 * a * b / (a + b) * I_out / (STEPS * SWITCHING * INDUCTANCE)).sqrt()
}

fn swing(V_in: f64, V_out: f64, I_out: f64) -> f64 {
    let (a, b) = steps(V_in, V_out);
    let Z = (INDUCTANCE / CAPACITANCE).sqrt();
    (b / (a + I_out * Z)).asin() * Z * CAPACITANCE
}

fn cases() -> ([&'static Symbol; 3], [Case; 3]) {
    let (V_in, input) = Term::with_symbol("V_in", "input voltage", 36.0 * volt, "bench");
    let (V_out, output) = Term::with_symbol("V_out", "output voltage", 6.0 * volt, "bench");
    let (I_out, current) = Term::with_symbol("I_out", "output current", 6.0 * ampere, "bench");
    let n: Term<Ratio> = Term::input("n", "steps", STEPS.into());
    let m: Term<Ratio> = Term::input("m", "band", BAND.into());
    let f: Term<Frequency> = Term::input("f", "switching frequency", 140.0 * kHz);
    let L = Term::input("L", "inductance", 0.68 * uH);
    let C = Term::input("C", "capacitance", 600.0 * pF);
    let V_lo = m * V_in / n;
    let V_hi = (m + 1.0) * V_in / n;
    let (a, b) = (V_hi - V_out, V_out - V_lo);
    let Z = (L / C).sqrt();
    let boundary_term = a * b / (a + b) / (2.0 * n * f * I_out);
    let peak_term = (I_out * I_out + 2.0 * a * b / (a + b) * I_out / (n * f * L)).sqrt();
    let swing_term = (b / (a + I_out * Z)).asin() * Z * C;
    let case = |names, formula, by_hand| Case {
        names,
        formula,
        by_hand,
    };
    let cases = [
        case(
            [
                "arithmetic by hand",
                "arithmetic, one thread",
                "arithmetic, all cores",
                "arithmetic",
            ],
            boundary_term.expression(),
            boundary,
        ),
        case(
            [
                "root by hand",
                "root, one thread",
                "root, all cores",
                "root",
            ],
            peak_term.expression(),
            peak,
        ),
        case(
            [
                "arcsine by hand",
                "arcsine, one thread",
                "arcsine, all cores",
                "arcsine",
            ],
            swing_term.expression(),
            swing,
        ),
    ];
    ([input, output, current], cases)
}

/// Evenly spread values, another order for each column.
fn spread(low: f64, high: f64, stride: usize) -> Vec<f64> {
    #[expect(clippy::cast_precision_loss, reason = "a million is exact")]
    let at = |k: usize| low + (high - low) * ((k * stride) % POINTS) as f64 / POINTS as f64;
    (0..POINTS).map(at).collect()
}

fn formulas(c: &mut Criterion, best: &mut Best) {
    let (symbols, cases) = cases();
    let inputs = [
        spread(30.0, 44.0, 1),
        spread(5.0, 7.0, 7),
        spread(1.0, 10.0, 13),
    ];
    let mut out = vec![0.0; POINTS];
    for case in &cases {
        let columns = Columns::compile(&[case.formula]).expect("compiles");
        let binding = symbols
            .iter()
            .zip(&inputs)
            .fold(columns.bind(), |b, (s, v)| {
                b.column(s, v).expect("an input")
            });
        let one = binding.clone().threads(NonZero::<usize>::MIN);
        measure(c, best, case.names[0], || {
            let zipped = inputs[0].iter().zip(&inputs[1]).zip(&inputs[2]);
            for (out, ((x, y), z)) in out.iter_mut().zip(zipped) {
                *out = (case.by_hand)(*x, *y, *z);
            }
            black_box(&mut out);
        });
        let by_hand = out.clone();
        measure(c, best, case.names[1], || {
            one.run_into(&mut [&mut out]).expect("fits");
        });
        let furthest = by_hand
            .iter()
            .zip(&out)
            .map(|(hand, own)| ((hand - own) / hand).abs())
            .fold(0.0, f64::max);
        assert!(
            furthest < 1e-12,
            "{}: by hand and in columns differ by {furthest:e}",
            case.names[3]
        );
        measure(c, best, case.names[2], || {
            binding.run_into(&mut [&mut out]).expect("fits");
        });
    }
}

/// An integral over capacitance curves in every point, and an equation.
fn derivations(c: &mut Criterion, best: &mut Best) {
    let stage = Stage::new(
        Specification::read(DEMONSTRATION).expect("the demonstration reads"),
        0.68 * uH,
        "bench",
    );
    let floor = freewheel::floor(&stage).into_record();
    let hold = cycle::peak_current(&stage, Term::input("I_trip", "trip", 0.4 * ampere));
    let inputs = spread(30.0, 44.0, 1);
    for (record, points, names) in [
        (
            &floor,
            100_000,
            ["integral, point by point", "integral, one thread"],
        ),
        (
            &hold,
            FEW,
            ["equation, point by point", "equation, one thread"],
        ),
    ] {
        let outputs = [record.result()];
        let program = Program::compile(&outputs).expect("compiles");
        let place = program
            .position(stage.axes.input_voltage)
            .expect("an input");
        let mut values = program.defaults();
        measure(c, best, names[0], || {
            for voltage in &inputs[..points] {
                values[place] = *voltage;
                black_box(program.run(&values));
            }
        });
        let columns = Columns::compile(&outputs).expect("compiles");
        let binding = columns
            .bind()
            .column(stage.axes.input_voltage, &inputs[..points])
            .expect("an input")
            .threads(NonZero::<usize>::MIN);
        measure(c, best, names[1], || {
            black_box(binding.run());
        });
    }
}

fn million_points() -> Table {
    let stage = Stage::new(
        Specification::read(DEMONSTRATION).expect("the demonstration reads"),
        0.68 * uH,
        "bench",
    );
    let floor = freewheel::floor(&stage).into_record();
    let sweep = Sweep::new().linear(stage.V_in, 30.0 * volt, 44.0 * volt, 1000);
    let sweep = sweep.and_then(|s| s.linear(stage.t_d, 10.0 * ns, 40.0 * ns, 1000));
    let trip = freewheel::trip_current(&stage).into_record();
    sweep
        .and_then(|s| s.table(&[&floor, &trip]))
        .expect("sweeps")
}

fn files(c: &mut Criterion, best: &mut Best) {
    let table = million_points();
    let path = std::env::temp_dir().join(format!("slewbook-bench-{}", std::process::id()));
    measure(c, best, "million points to CSV", || {
        let file = std::fs::File::create(&path).expect("the temporary folder is writable");
        table.write_csv(file).expect("written");
    });
    #[cfg(feature = "frames")]
    measure(c, best, "million points to Parquet", || {
        let file = std::fs::File::create(&path).expect("the temporary folder is writable");
        table.write_parquet(file).expect("written");
    });
    let _ = std::fs::remove_file(path);
}

/// NumPy's best seconds for the same formulas and points, where it is there.
fn numpy() -> Best {
    let python = std::env::var("SLEWBOOK_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/crate/benches/columns.py");
    let printed = Command::new(python).arg(script).output();
    let Some(printed) = printed.ok().filter(|output| output.status.success()) else {
        return Best::new();
    };
    let text = String::from_utf8_lossy(&printed.stdout).into_owned();
    ["arithmetic", "root", "arcsine"]
        .into_iter()
        .zip(text.lines())
        .filter_map(|(name, line)| Some((name, line.trim().parse().ok()?)))
        .collect()
}

fn report(best: &Best, numpy: &Best) {
    println!("\nRatios of the best times of this run (one million points):");
    let ratio = |what: &str, above: Option<&f64>, below: Option<&f64>| match (above, below) {
        (Some(above), Some(below)) => println!(
            "  {what}: {:.2} ({:.2} ms against {:.2} ms)",
            above / below,
            above * 1e3,
            below * 1e3
        ),
        _ => println!("  {what}: not measured"),
    };
    let (_, cases) = cases();
    for Case { names, .. } in &cases {
        let title = format!("{}, columns on one thread against by hand", names[3]);
        ratio(&title, best.get(names[1]), best.get(names[0]));
        let title = format!("{}, columns on all cores against NumPy", names[3]);
        ratio(&title, best.get(names[2]), numpy.get(names[3]));
    }
    for what in ["integral", "equation"] {
        let find = |end: &str| best.iter().find(|(n, _)| **n == format!("{what}, {end}"));
        ratio(
            &format!("{what}, columns on one thread against point by point"),
            find("one thread").map(|(_, t)| t),
            find("point by point").map(|(_, t)| t),
        );
    }
    for (name, seconds) in best.iter().filter(|(name, _)| name.starts_with("million")) {
        println!("  {name}: {:.0} ms", seconds * 1e3);
    }
    if numpy.is_empty() {
        println!("  (no Python with NumPy found: set SLEWBOOK_PYTHON to one that has it)");
    }
}

fn main() {
    let mut criterion = Criterion::default()
        .sample_size(10)
        .warm_up_time(Duration::from_millis(300))
        .measurement_time(Duration::from_secs(1))
        .configure_from_args();
    let mut best = Best::new();
    formulas(&mut criterion, &mut best);
    derivations(&mut criterion, &mut best);
    files(&mut criterion, &mut best);
    report(&best, &numpy());
    criterion.final_summary();
}
