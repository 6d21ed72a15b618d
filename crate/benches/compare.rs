//! A million operating points of three schemes, losses and settled temperatures and
//! all, on all cores; then the same rows written, as CSV and as Parquet where frames
//! are built; then some of them beside NumPy, where Python has it, on as many cores
//! (`compare.py`).
//!
//! `cargo bench --bench compare`; `SLEWBOOK_POINTS` sets another number of points,
//! `SLEWBOOK_PYTHON` names another Python. Beside the time stands that of all
//! processors together, which says more where others use them too.

use std::num::NonZero;
use std::time::Instant;

use slewbook::loss::Model;
use slewbook::quantity::unit::{ampere, uH, volt};
use slewbook::quantity::{Current, Dimensioned as _, Power, Voltage};
use slewbook::scheme::Scheme;
use slewbook::stage::{DEMONSTRATION, OperatingPoint, Specification};
use slewbook::table::{Column, Table};

mod memory;

const SCHEMES: [Scheme; 3] = [
    Scheme::FreewheelTransistors,
    Scheme::Discontinuous,
    Scheme::Continuous,
];

/// Input voltage, load, and the loss of each scheme where it has one.
type Row = [f64; 5];

fn row(models: &mut [Model], side: u32, k: u32) -> Row {
    let part = |k: u32| f64::from(k) / f64::from(side - 1);
    let (input, load) = (30.0 + 14.0 * part(k / side), 0.3 + 5.7 * part(k % side));
    let at = OperatingPoint {
        input_voltage: input * volt,
        output_voltage: 6.0 * volt,
        output_current: load * ampere,
    };
    let mut row = [input, load, f64::NAN, f64::NAN, f64::NAN];
    for (model, loss) in models.iter_mut().zip(&mut row[2..]) {
        let outcome = model.at(at).expect("the range is described");
        *loss = outcome
            .losses
            .map_or(f64::NAN, |losses| losses.total().coherent());
    }
    row
}

fn compared(models: &[Model], side: u32) -> Vec<Row> {
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    let mut rows = vec![[f64::NAN; 5]; (side * side) as usize];
    let share = rows.len().div_ceil(cores);
    std::thread::scope(|scope| {
        for (place, rows) in rows.chunks_mut(share).enumerate() {
            let mut models = models.to_vec();
            scope.spawn(move || {
                let first = u32::try_from(place * share).expect("a grid of u32");
                for (k, own) in (first..).zip(rows) {
                    *own = row(&mut models, side, k);
                }
            });
        }
    });
    rows
}

/// Points along each side of the grid that NumPy computes too.
const BESIDE: u32 = 300;
/// Difference from NumPy's losses, as a part, that all but one in a hundred keep: where
/// continuous conduction turns on near zero current, so that a little of it decides
/// whether the node moves, a search of a fixed number of steps has not come to its end.
const ALIKE: f64 = 1e-3;

/// The best time of several runs, with the rows.
fn timed(models: &[Model], side: u32, runs: u32) -> (f64, Vec<Row>) {
    let (mut best, mut rows) = (f64::INFINITY, Vec::new());
    for _ in 0..runs {
        let start = Instant::now();
        rows = compared(models, side);
        best = best.min(start.elapsed().as_secs_f64());
    }
    (best, rows)
}

/// Seconds that all processors together have spent on this process, in the hundredths
/// in which Linux counts them.
fn processor_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = stat.rsplit(')').next().unwrap_or_default();
    let ticks = fields.split_whitespace().skip(11).take(2);
    ticks.filter_map(|t| t.parse::<f64>().ok()).sum::<f64>() / 100.0
}

/// NumPy's best seconds and losses over a grid, where it is there.
fn numpy(side: u32, path: &std::path::Path) -> Option<(f64, Vec<f64>)> {
    let python = std::env::var("SLEWBOOK_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/crate/benches/compare.py");
    let mut command = std::process::Command::new(python);
    let printed = command.arg(script).arg(side.to_string()).arg(path).output();
    let printed = printed.ok().filter(|output| output.status.success())?;
    let seconds = String::from_utf8_lossy(&printed.stdout).trim().parse();
    let bytes = std::fs::read(path).ok()?;
    let losses = bytes.chunks_exact(8).map(|chunk| {
        let chunk = chunk.try_into().expect("eight bytes");
        f64::from_ne_bytes(chunk)
    });
    Some((seconds.ok()?, losses.collect()))
}

fn beside_numpy(models: &[Model], side: u32, path: &std::path::Path) {
    let Some((seconds, losses)) = numpy(side, path) else {
        println!("(no Python with NumPy found: set SLEWBOOK_PYTHON to one that has it)");
        return;
    };
    let (own, rows) = timed(models, side, 3);
    let own_losses = (2..5).flat_map(|scheme| rows.iter().map(move |row| row[scheme]));
    let mut apart: Vec<f64> = own_losses
        .zip(&losses)
        .filter(|(own, _)| own.is_finite())
        .map(|(own, peer)| (peer / own - 1.0).abs())
        .collect();
    apart.sort_unstable_by(f64::total_cmp);
    let at = |part: usize| apart[(apart.len() - 1) * part / 100];
    let scheme_points = 3.0 * f64::from(side * side);
    println!(
        "{} points with NumPy on as many cores: {:.2} µs each against {:.2} µs, {:.1} times as long; \
         losses differ by {:.1e} in the middle, {:.1e} at 99 of a hundred, {:.1e} at most",
        rows.len(),
        1e6 * seconds / scheme_points,
        1e6 * own / scheme_points,
        seconds / own,
        at(50),
        at(99),
        at(100),
    );
    assert!(at(99) < ALIKE, "the two do not compute the same");
}

fn table(rows: &[Row]) -> Table {
    let column = |place: usize, name: &str, exponents| {
        let values = rows.iter().map(|row| row[place]).collect();
        Column::new(name, name, exponents, values).expect("a name")
    };
    let mut table = Table::default();
    for (place, (name, exponents)) in [
        ("input_voltage", Voltage::EXPONENTS),
        ("output_current", Current::EXPONENTS),
        ("loss_clamp", Power::EXPONENTS),
        ("loss_discontinuous", Power::EXPONENTS),
        ("loss_continuous", Power::EXPONENTS),
    ]
    .into_iter()
    .enumerate()
    {
        table = table
            .with(column(place, name, exponents))
            .expect("columns of one length");
    }
    table
}

fn main() {
    // `cargo test --benches` only asks whether it runs.
    let test = std::env::args().any(|argument| argument == "--test");
    let points: u32 = std::env::var("SLEWBOOK_POINTS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(if test { 100 } else { 1_000_000 });
    let side = points.isqrt().max(2);
    let specification = Specification::read(DEMONSTRATION).expect("the demonstration is sound");
    let models = SCHEMES.map(|scheme| {
        Model::new(&specification, scheme, 0.68 * uH, 0.4 * ampere).expect("it has the parts")
    });
    let runs = if test { 1 } else { 3 };
    let (best, rows) = timed(&models, side, runs);
    let processors = processor_seconds() / f64::from(runs);
    let known = rows
        .iter()
        .flat_map(|row| &row[2..])
        .filter(|w| w.is_finite());
    let soft = rows.iter().filter(|row| row[2] < row[3]).count();
    println!(
        "{} points of three schemes in {best:.2} s, {:.2} µs of all processors each; {} have losses, at \
         {soft} points the clamp loses less than no clamp",
        rows.len(),
        1e6 * processors / (3.0 * f64::from(side * side)),
        known.count(),
    );
    let table = table(&rows);
    let path = std::env::temp_dir().join(format!("slewbook-bench-{}", std::process::id()));
    let written = |name: &str, write: &dyn Fn(std::fs::File)| {
        let start = Instant::now();
        write(std::fs::File::create(&path).expect("the temporary folder is writable"));
        let took = start.elapsed().as_secs_f64();
        println!(
            "{name}: {took:.2} s more, {:.0} % of the comparison",
            100.0 * took / best
        );
    };
    written("as CSV", &|file| table.write_csv(file).expect("written"));
    #[cfg(feature = "frames")]
    written("as Parquet", &|file| {
        table.write_parquet(file).expect("written")
    });
    memory::print();
    if !test {
        beside_numpy(&models, side.min(BESIDE), &path);
    }
    let _ = std::fs::remove_file(path);
}
