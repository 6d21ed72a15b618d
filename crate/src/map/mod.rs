//! Maps: where zero-voltage switching holds, over any two inputs.
//!
//! Rows of points are computed on all cores and handed on in order, a few at a
//! time: a map needs the memory of those rows, however many it has, and is the same
//! for any number of threads. With units, each point also says which share of
//! them holds zero voltage, and how sure that is.

mod axis;
mod field;
mod unit;

use std::io::Write;
use std::ops::Range;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::cycle::{CycleError, Solver, State, SteadyState};
use crate::quantity::{Current, Dimensioned, Energy, Exponents, Ratio, Time, Voltage};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint};
#[cfg(feature = "frames")]
use crate::table::ParquetRows;
use crate::table::{Column, Table, TableError};

pub use axis::{Axis, Span, UnknownAxis, within_band};
pub use field::{Alone, Field};
pub use unit::{Unit, corners, drawn, share};

/// Rows between two writings, for each thread.
const ROWS: usize = 4;
/// Points of each of these rows that a thread takes at a time.
const PLACES: usize = 32;

/// Words of the state: CSV has its name, data frames and Parquet files its place.
pub(crate) const STATES: &str = "state of operation: 0 zero_voltage, 1 partial, 2 clamp_demagnetised, \
                      3 no_hold_time, 4 beyond_discontinuous, 5 incomplete_fall, \
                      6 below_least_on_time";

/// What a map tells of each point beside its place: name, words, dimension.
const COLUMNS: [(&str, &str, Exponents); 9] = [
    ("state", STATES, Exponents::NONE),
    (
        "zero_voltage_margin",
        "current that starts the rising edge over the one that just suffices",
        Exponents::NONE,
    ),
    (
        "zero_voltage_slack",
        "above zero: the lesser of the margin less one and the part of the dead time's window \
         between turn-on and its nearer end; below zero: the voltage left over the step",
        Exponents::NONE,
    ),
    (
        "turn_on_voltage",
        "voltage left across the high side at turn-on; under `discontinuous` its mean over the ring",
        Voltage::EXPONENTS,
    ),
    (
        "turn_on_energy",
        "energy lost at the turn-on; under `discontinuous` its mean over the ring",
        Energy::EXPONENTS,
    ),
    (
        "freewheel_current",
        "freewheel current when the clamp opens",
        Current::EXPONENTS,
    ),
    (
        "hold_time",
        "time for which the clamp holds",
        Time::EXPONENTS,
    ),
    ("peak_current", "peak current", Current::EXPONENTS),
    ("duty", "duty of each pair", Ratio::EXPONENTS),
];
const SLACK: usize = 2;

/// Units that are counted in one go, and units of a round for each thread: tens of
/// milliseconds of work.
const PART: usize = 512;
const ROUND: usize = 16_384;

/// The part that a number is of all.
#[expect(
    clippy::cast_precision_loss,
    reason = "numbers of points are far below 2⁵²"
)]
fn share_of(part: usize, all: usize) -> f64 {
    part as f64 / all.max(1) as f64
}

/// What is counted of units.
#[derive(Clone, Copy, Debug)]
struct Count {
    hits: usize,
    least: f64,
}

impl Count {
    const NONE: Self = Self {
        hits: 0,
        least: f64::INFINITY,
    };

    fn add(&mut self, other: Self) {
        self.hits += other.hits;
        self.least = self.least.min(other.least);
    }
}

/// What a map tells with units.
const UNIT_COLUMNS: [(&str, &str, Exponents); 4] = [
    (
        "zero_voltage_share",
        "share of the units with zero-voltage switching",
        Exponents::NONE,
    ),
    (
        "share_low",
        "lower end of its interval of 95 % confidence",
        Exponents::NONE,
    ),
    (
        "share_high",
        "upper end of its interval of 95 % confidence",
        Exponents::NONE,
    ),
    (
        "least_margin",
        "minimum margin of any unit that has one",
        Exponents::NONE,
    ),
];

/// A map to be made.
#[derive(Clone, Debug)]
pub struct Map {
    /// The circuit; the axes change it.
    pub circuit: Circuit,
    /// The operating point; the axes change it.
    pub at: OperatingPoint,
    /// The axis that runs along a row.
    pub x: Span,
    /// The axis from row to row.
    pub y: Span,
    /// Units whose share is counted at each point; none for the circuit alone.
    pub units: Vec<Unit>,
    /// Whether the units are random ones, for which a confidence interval has a
    /// meaning; corners are not.
    pub random: bool,
}

/// Why a map ended early.
#[derive(Debug)]
#[non_exhaustive]
pub enum MapError {
    /// A part or a point that the model does not describe.
    Cycle(CycleError),
    /// A span without points, or both on the same input.
    Span(String),
    /// What the receiver of the rows reported.
    Write(std::io::Error),
}

impl std::fmt::Display for MapError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Cycle(error) => error.fmt(f),
            Self::Span(message) => f.write_str(message),
            Self::Write(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for MapError {}

impl From<CycleError> for MapError {
    fn from(error: CycleError) -> Self {
        Self::Cycle(error)
    }
}

impl From<std::io::Error> for MapError {
    fn from(error: std::io::Error) -> Self {
        Self::Write(error)
    }
}

/// A part of a block of rows: the values of some of its places, row after row.
struct Tile {
    rows: Range<usize>,
    places: Range<usize>,
    columns: Vec<Vec<f64>>,
}

impl Tile {
    /// Where the values of a row lie.
    fn row(&self, row: usize) -> Range<usize> {
        let first = (row - self.rows.start) * self.places.len();
        first..first + self.places.len()
    }
}

impl Map {
    /// Computes the map, handing on a table for each block of rows, in order.
    /// `threads` is one per core unless given.
    ///
    /// # Errors
    /// A circuit that the model does not describe; spans that make no map; what
    /// the receiver reports. A point that lies outside the model has no values.
    ///
    /// ```
    /// use slewbook::map::{Axis, Map, Span};
    /// use slewbook::quantity::unit::{ampere, uH, volt};
    /// use slewbook::scheme::Scheme;
    /// use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
    /// let specification = Specification::read(DEMONSTRATION).unwrap();
    /// let circuit = Circuit::new(
    ///     &specification, Scheme::FreewheelTransistors, 0.68 * uH, 0.4 * ampere,
    /// ).unwrap();
    /// let map = Map {
    ///     circuit,
    ///     at: OperatingPoint {
    ///         input_voltage: 36.0 * volt, output_voltage: 6.0 * volt, output_current: 6.0 * ampere,
    ///     },
    ///     x: Span { axis: Axis::InputVoltage, low: 30.0, high: 44.0, points: 8 },
    ///     y: Span { axis: Axis::OutputCurrent, low: 0.3, high: 6.0, points: 5 },
    ///     units: vec![],
    ///     random: false,
    /// };
    /// let mut rows = 0;
    /// map.run(None, |table| { rows += table.rows(); Ok(()) }).unwrap();
    /// assert_eq!(rows, 40);
    /// ```
    pub fn run(
        &self,
        threads: Option<usize>,
        receive: impl FnMut(&Table) -> std::io::Result<()>,
    ) -> Result<(), MapError> {
        self.run_watched(threads, receive, |_| ())
    }

    /// As [`Map::run`]; `watch` is told which part of the work is done, also within
    /// a block of rows.
    ///
    /// # Errors
    /// As [`Map::run`].
    pub fn run_watched(
        &self,
        threads: Option<usize>,
        mut receive: impl FnMut(&Table) -> std::io::Result<()>,
        mut watch: impl FnMut(f64),
    ) -> Result<(), MapError> {
        for span in [&self.x, &self.y] {
            if span.points == 0 {
                return Err(MapError::Span(format!(
                    "the map has no points along the {}; give one at least",
                    span.axis.words()
                )));
            }
        }
        if self.x.axis == self.y.axis {
            return Err(MapError::Span(format!(
                "both axes of the map are the {}; choose two inputs",
                self.x.axis.words()
            )));
        }
        let solver = Solver::new(&self.circuit)?;
        let threads = threads
            .or_else(|| std::thread::available_parallelism().ok().map(usize::from))
            .unwrap_or(1)
            .max(1);
        let mut solvers = vec![solver; threads];
        let block = threads * ROWS;
        for first in (0..self.y.points).step_by(block) {
            let rows = first..(first + block).min(self.y.points);
            let tiles: Vec<Mutex<Tile>> = (0..self.x.points)
                .step_by(PLACES)
                .map(|place| Tile {
                    rows: rows.clone(),
                    places: place..(place + PLACES).min(self.x.points),
                    columns: vec![Vec::new(); 2 + COLUMNS.len()],
                })
                .map(Mutex::new)
                .collect();
            let next = AtomicUsize::new(0);
            std::thread::scope(|scope| {
                for solver in &mut solvers {
                    let (next, tiles) = (&next, &tiles);
                    scope.spawn(move || {
                        while let Some(tile) = tiles.get(next.fetch_add(1, Ordering::Relaxed)) {
                            if let Ok(mut tile) = tile.lock() {
                                self.fill(solver, &mut tile);
                            }
                        }
                    });
                }
            });
            let tiles = tiles.into_iter().filter_map(|tile| tile.into_inner().ok());
            let tiles: Vec<Tile> = tiles.collect();
            let mut columns = self.blank();
            for row in rows.clone() {
                for tile in &tiles {
                    for (all, own) in columns.iter_mut().zip(&tile.columns) {
                        all.extend_from_slice(&own[tile.row(row)]);
                    }
                }
            }
            let (start, whole) = (share_of(rows.start, self.y.points), rows.len());
            if !self.units.is_empty() {
                self.count_units(&mut solvers, &rows, &mut columns, |part| {
                    watch(start + part * share_of(whole, self.y.points));
                });
            }
            watch(share_of(rows.end, self.y.points));
            receive(&self.table(columns)?)?;
        }
        Ok(())
    }

    /// Writes the map as comma-separated values, as it comes.
    ///
    /// # Errors
    /// As [`Map::run`].
    pub fn write_csv(
        &self,
        threads: Option<usize>,
        writer: impl Write,
        receive: impl FnMut(&Table),
    ) -> Result<(), MapError> {
        self.write_csv_watched(threads, writer, receive, |_| ())
    }

    /// As [`Map::write_csv`]; `watch` is told which part of the work is done.
    ///
    /// # Errors
    /// As [`Map::run`].
    pub fn write_csv_watched(
        &self,
        threads: Option<usize>,
        mut writer: impl Write,
        mut receive: impl FnMut(&Table),
        watch: impl FnMut(f64),
    ) -> Result<(), MapError> {
        let mut bytes = Vec::new();
        let mut headed = false;
        let rows = |table: &Table| {
            bytes.clear();
            table.write_csv(&mut bytes)?;
            // Only the first block keeps its header line.
            let header = bytes.iter().position(|b| *b == b'\n').map_or(0, |k| k + 1);
            writer.write_all(&bytes[if headed { header } else { 0 }..])?;
            headed = true;
            receive(table);
            Ok(())
        };
        self.run_watched(threads, rows, watch)?;
        writer.flush()?;
        Ok(())
    }

    /// Writes the map as a Parquet file, as it comes, with names, units and words as
    /// [`Table::write_parquet`] does.
    ///
    /// # Errors
    /// As [`Map::run`].
    #[cfg(feature = "frames")]
    pub fn write_parquet(
        &self,
        threads: Option<usize>,
        writer: impl Write,
        receive: impl FnMut(&Table),
    ) -> Result<(), MapError> {
        self.write_parquet_watched(threads, writer, receive, |_| ())
    }

    /// As [`Map::write_parquet`]; `watch` is told which part of the work is done.
    ///
    /// # Errors
    /// As [`Map::run`].
    #[cfg(feature = "frames")]
    pub fn write_parquet_watched(
        &self,
        threads: Option<usize>,
        writer: impl Write,
        mut receive: impl FnMut(&Table),
        watch: impl FnMut(f64),
    ) -> Result<(), MapError> {
        let like = self.table(self.blank())?;
        let mut rows = ParquetRows::new(writer, &like).map_err(refused)?;
        let take = |table: &Table| {
            rows.write(table).map_err(refused)?;
            receive(table);
            Ok(())
        };
        self.run_watched(threads, take, watch)?;
        Ok(rows.finish().map_err(refused)?)
    }

    fn columns(&self) -> impl Iterator<Item = (&'static str, &'static str, Exponents)> {
        let axis = |span: &Span| (span.axis.name(), span.axis.words(), span.axis.exponents());
        let units = UNIT_COLUMNS.len() * usize::from(!self.units.is_empty());
        [axis(&self.x), axis(&self.y)]
            .into_iter()
            .chain(COLUMNS)
            .chain(UNIT_COLUMNS.into_iter().take(units))
    }

    fn blank(&self) -> Vec<Vec<f64>> {
        self.columns().map(|_| Vec::new()).collect()
    }

    fn table(&self, columns: Vec<Vec<f64>>) -> std::io::Result<Table> {
        let table = self.columns().zip(columns).try_fold(
            Table::default(),
            |table, ((name, words, exponents), values)| {
                let column = Column::new(name, words, exponents, values)?;
                table.with(with_states(column))
            },
        );
        table.map_err(refused)
    }

    /// The values of a tile. Points that differ in neither voltage share the sampling of
    /// their edges: such come after each other.
    fn fill(&self, solver: &mut Solver, tile: &mut Tile) {
        for column in &mut tile.columns {
            column.resize(tile.rows.len() * tile.places.len(), f64::NAN);
        }
        if self.y.axis.is_voltage() && !self.x.axis.is_voltage() {
            for row in tile.rows.clone() {
                for place in tile.places.clone() {
                    self.point(solver, tile, row, place);
                }
            }
        } else {
            for place in tile.places.clone() {
                for row in tile.rows.clone() {
                    self.point(solver, tile, row, place);
                }
            }
        }
    }

    /// The values of one point.
    fn point(&self, solver: &mut Solver, tile: &mut Tile, row: usize, place: usize) {
        let (x, y) = (self.x.value(place), self.y.value(row));
        let (circuit, at) = self.set(x, y);
        let index = tile.row(row).start + place - tile.places.start;
        let mut cells = tile.columns.iter_mut().map(|column| &mut column[index]);
        let mut put = |value: f64| {
            if let Some(cell) = cells.next() {
                *cell = value;
            }
        };
        put(x);
        put(y);
        let solved = solver.change(&circuit).and_then(|()| solver.solve(at)).ok();
        for value in told(solved.as_ref(), self.step(&at)) {
            put(value);
        }
    }

    /// Of some units at a place: how many hold zero voltage, and the least margin.
    fn count(&self, solver: &mut Solver, (x, y): (f64, f64), units: &[Unit]) -> Count {
        let (circuit, at) = self.set(x, y);
        let mut count = Count::NONE;
        for unit in units {
            let changed = solver.change(&unit.of(&circuit));
            let Ok(steady) = changed.and_then(|()| solver.solve(at)) else {
                continue;
            };
            count.hits += usize::from(steady.state == State::ZeroVoltage);
            if let Some(course) = steady.course {
                count.least = count.least.min(course.margin.coherent());
            }
        }
        count
    }

    /// Counts the units at every point of a block of rows, on all threads: points
    /// with many units are shared out in parts.
    fn count_units(
        &self,
        solvers: &mut [Solver],
        rows: &Range<usize>,
        columns: &mut [Vec<f64>],
        mut watch: impl FnMut(f64),
    ) {
        let points = rows.len() * self.x.points;
        let parts = self.units.len().div_ceil(PART);
        let counts = vec![Count::NONE; points];
        let counts = Mutex::new(counts);
        let jobs = points * parts;
        // A round is long enough that its end, where threads wait, costs nothing.
        let round = (solvers.len() * ROUND).div_ceil(PART.min(self.units.len()));
        for first in (0..jobs).step_by(round) {
            let last = (first + round).min(jobs);
            let next = AtomicUsize::new(first);
            std::thread::scope(|scope| {
                for solver in solvers.iter_mut() {
                    let (next, counts) = (&next, &counts);
                    scope.spawn(move || {
                        loop {
                            let job = next.fetch_add(1, Ordering::Relaxed);
                            if job >= last {
                                break;
                            }
                            let (point, part) = (job / parts, job % parts);
                            let place = (
                                self.x.value(point % self.x.points),
                                self.y.value(rows.start + point / self.x.points),
                            );
                            let from = part * PART;
                            let to = (from + PART).min(self.units.len());
                            let own = self.count(solver, place, &self.units[from..to]);
                            if let Ok(mut counts) = counts.lock() {
                                counts[point].add(own);
                            }
                        }
                    });
                }
            });
            watch(share_of(last, jobs));
        }
        let counts = counts.into_inner().unwrap_or_default();
        let first = columns.len() - UNIT_COLUMNS.len();
        for count in counts {
            let (low, high) = if self.random {
                share(count.hits, self.units.len())
            } else {
                (f64::NAN, f64::NAN)
            };
            let hold = share_of(count.hits, self.units.len());
            for (column, value) in columns[first..]
                .iter_mut()
                .zip([hold, low, high, count.least])
            {
                column.push(value);
            }
        }
    }

    /// Circuit and point at a place on both axes.
    fn set(&self, x: f64, y: f64) -> (Circuit, OperatingPoint) {
        let (mut circuit, mut at) = (self.circuit, self.at);
        self.x.axis.set(&mut circuit, &mut at, x);
        self.y.axis.set(&mut circuit, &mut at, y);
        (circuit, at)
    }

    fn step(&self, at: &OperatingPoint) -> f64 {
        at.input_voltage.coherent() / f64::from(self.circuit.pairs)
    }
}

/// A column of tables of operating points: that of the states has their names.
pub(crate) fn with_states(column: Column) -> Column {
    if column.name() == "state" {
        column.with_names(State::ALL.map(State::name))
    } else {
        column
    }
}

/// Why a table was not built or not written, as a writer's error.
fn refused(error: TableError) -> std::io::Error {
    match error {
        TableError::Io(error) => error,
        other => std::io::Error::other(other.to_string()),
    }
}

/// What a map tells of a steady state; not a number where there is none.
fn told(steady: Option<&SteadyState>, step: f64) -> [f64; COLUMNS.len()] {
    let mut values = [f64::NAN; COLUMNS.len()];
    let Some(steady) = steady else {
        return values;
    };
    values[0] = steady.state.place();
    values[SLACK] = -1.0;
    let Some(course) = &steady.course else {
        return values;
    };
    let turn_on = match course.ring {
        Some([_, _, mean]) if steady.scheme == Scheme::Discontinuous => mean,
        _ => course.turn_on,
    };
    values[1] = course.margin.coherent();
    values[SLACK] = slack(steady, step);
    values[3] = turn_on.voltage.coherent();
    values[4] = turn_on.energy.coherent();
    values[5] = course
        .freewheel_current
        .map_or(f64::NAN, Dimensioned::coherent);
    values[6] = course
        .hold
        .map_or(f64::NAN, |hold| hold.duration.coherent());
    values[7] = course.peak_current.coherent();
    values[8] = course.duty.coherent();
    values
}

/// How far a point lies inside the region of zero voltage, or outside it.
fn slack(steady: &SteadyState, step: f64) -> f64 {
    let Some(course) = &steady.course else {
        return -1.0;
    };
    let left = course.turn_on.voltage.coherent() + course.low_turn_on.voltage.coherent();
    if left > 0.0 {
        return -left / step;
    }
    let beyond = course.margin.coherent() - 1.0;
    let (Some(start), Some(end)) = (course.window_start, course.window_end) else {
        return beyond.max(0.0);
    };
    let dead = course.dead_time;
    let nearer = (dead - start).coherent().min((end - dead).coherent());
    beyond.min(nearer / (end - start).coherent().max(f64::MIN_POSITIVE))
}
