//! A million operating points of three schemes, losses and settled temperatures and
//! all, on all cores; then the same rows written, as CSV and as Parquet where frames
//! are built.
//!
//! `cargo bench --bench compare`; `SLEWBOOK_POINTS` sets another number of points.

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
    let (input, load) = (30.0 + 14.0 * part(k % side), 0.3 + 5.7 * part(k / side));
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
    let mut best = f64::INFINITY;
    let mut rows = Vec::new();
    for _ in 0..if test { 1 } else { 3 } {
        let start = Instant::now();
        rows = compared(&models, side);
        best = best.min(start.elapsed().as_secs_f64());
    }
    let known = rows
        .iter()
        .flat_map(|row| &row[2..])
        .filter(|w| w.is_finite());
    let soft = rows.iter().filter(|row| row[2] < row[3]).count();
    println!(
        "{} points of three schemes in {best:.2} s, {:.2} µs each; {} have losses, at {soft} points the \
         clamp loses less than no clamp",
        rows.len(),
        1e6 * best / (3.0 * f64::from(side * side)),
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
    let _ = std::fs::remove_file(path);
    memory::print();
}
