//! Sweeps: derivations over every combination of values of some inputs.

use super::{ColumnError, Columns};
use crate::equation::{Point, Record, Symbol, Term};
use crate::quantity::Dimensioned;
use crate::table::{Column, Table};

/// The most points that a sweep may have: a column of them takes 2 GiB.
pub const MOST_POINTS: usize = 1 << 28;

/// Axes to be combined: every value of the first with every value of the
/// second, and so on; the last axis runs fastest.
///
/// ```
/// use slewbook::column::Sweep;
/// use slewbook::quantity::unit::{uH, volt};
/// use slewbook::stage::{DEMONSTRATION, Specification, Stage};
/// use slewbook::freewheel;
///
/// let stage = Stage::new(Specification::read(DEMONSTRATION).unwrap(), 0.68 * uH, "specification");
/// let floor = freewheel::floor(&stage).into_record();
/// let table = Sweep::new()
///     .linear(stage.V_in, 30.0 * volt, 44.0 * volt, 8)
///     .unwrap()
///     .values(stage.L, &[0.47 * uH, 0.68 * uH])
///     .unwrap()
///     .table(&[&floor])
///     .unwrap();
/// assert_eq!(table.rows(), 16);
/// assert_eq!(
///     table.to_csv().lines().next(),
///     Some("input_voltage_V,inductance_H,freewheel_floor_A")
/// );
/// ```
#[derive(Clone, Debug, Default)]
pub struct Sweep {
    axes: Vec<(&'static Symbol, Vec<f64>)>,
    point: Point,
}

impl Sweep {
    /// A sweep without axes yet: one point.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Sets the inputs that no axis covers.
    #[must_use]
    pub fn at(mut self, point: Point) -> Self {
        self.point = point;
        self
    }

    /// Adds an axis of evenly spaced values, both ends included.
    ///
    /// # Errors
    /// As [`Sweep::axis`]; a term that is a formula; fewer than two points.
    pub fn linear<Q: Dimensioned>(
        self,
        input: Term<Q>,
        from: Q,
        to: Q,
        points: u32,
    ) -> Result<Self, ColumnError> {
        let symbol = symbol(input)?;
        if points < 2 {
            return Err(ColumnError::Axis {
                name: symbol.glyph().to_string(),
                problem: "has fewer than two points; give at least both ends",
            });
        }
        let (from, to) = (from.coherent(), to.coherent());
        let parts = f64::from(points - 1);
        let at = |k: u32| {
            let (before, after) = (f64::from(points - 1 - k), f64::from(k));
            (from * before + to * after) / parts
        };
        self.axis(symbol, (0..points).map(at).collect())
    }

    /// Adds an axis of given values.
    ///
    /// # Errors
    /// As [`Sweep::axis`]; a term that is a formula.
    pub fn values<Q: Dimensioned>(self, input: Term<Q>, values: &[Q]) -> Result<Self, ColumnError> {
        self.axis(
            symbol(input)?,
            values.iter().map(|value| value.coherent()).collect(),
        )
    }

    /// Adds an axis of given values in the coherent unit.
    ///
    /// # Errors
    /// No values, a value that is not finite, an input that has an axis already.
    pub fn axis(mut self, symbol: &'static Symbol, values: Vec<f64>) -> Result<Self, ColumnError> {
        let problem = if values.is_empty() {
            Some("has no values; give at least one")
        } else if values.iter().any(|value| !value.is_finite()) {
            Some("has a value that is not a finite number; give numbers only")
        } else if self.axes.iter().any(|(own, _)| std::ptr::eq(*own, symbol)) {
            Some("is there twice; give each input one axis")
        } else {
            None
        };
        if let Some(problem) = problem {
            return Err(ColumnError::Axis {
                name: symbol.glyph().to_string(),
                problem,
            });
        }
        self.axes.push((symbol, values));
        Ok(self)
    }

    /// The number of points.
    ///
    /// # Errors
    /// More than [`MOST_POINTS`].
    pub fn rows(&self) -> Result<usize, ColumnError> {
        let lengths = self.axes.iter().map(|(_, values)| values.len());
        lengths
            .clone()
            .try_fold(1_usize, usize::checked_mul)
            .filter(|rows| *rows <= MOST_POINTS)
            .ok_or_else(|| ColumnError::TooManyPoints {
                axes: lengths.collect(),
                most: MOST_POINTS,
            })
    }

    /// Evaluates derivations at every point: a column for each axis, then one
    /// for each result, without value where a condition is violated.
    ///
    /// # Errors
    /// An axis that no result depends on, two results of one name, more points
    /// than [`MOST_POINTS`], a derivation that cannot be compiled.
    pub fn table(&self, records: &[&Record]) -> Result<Table, ColumnError> {
        let rows = self.rows()?;
        let columns = Columns::of(records)?;
        let mut axes = Vec::with_capacity(self.axes.len());
        let mut repeat = rows;
        for (_, values) in &self.axes {
            repeat /= values.len();
            let cycle = || values.iter().flat_map(|v| std::iter::repeat_n(*v, repeat));
            let cycles = rows / (repeat * values.len());
            axes.push((0..cycles).flat_map(|_| cycle()).collect::<Vec<f64>>());
        }
        let mut binding = columns.bind().point(&self.point);
        for ((symbol, _), values) in self.axes.iter().zip(&axes) {
            binding = binding.column(symbol, values)?;
        }
        let results = binding.run();
        let mut table = Table::default();
        for ((symbol, _), values) in self.axes.iter().zip(axes) {
            let words = format!("{}: {}", symbol.glyph(), symbol.words());
            table = table.with(Column::new(
                &name(symbol),
                &words,
                symbol.exponents(),
                values,
            )?)?;
        }
        for (record, values) in records.iter().zip(results) {
            let exponents = record.result().exponents();
            table = table.with(Column::new(
                record.name(),
                record.question(),
                exponents,
                values,
            )?)?;
        }
        Ok(table)
    }
}

fn symbol<Q: Dimensioned>(input: Term<Q>) -> Result<&'static Symbol, ColumnError> {
    input.symbol().ok_or_else(|| ColumnError::NotAnInput {
        formula: input.text(),
    })
}

/// A symbol's name as a column's: its words up to the first mark that is neither
/// letter nor digit nor space, joined by low lines; its glyph without words.
fn name(symbol: &Symbol) -> String {
    let words = symbol.words();
    let plain = |c: char| c.is_alphanumeric() || c.is_whitespace();
    let end = words.find(|c| !plain(c)).unwrap_or(words.len());
    let name = words[..end]
        .split_whitespace()
        .collect::<Vec<_>>()
        .join("_");
    if name.is_empty() {
        symbol.glyph().to_string()
    } else {
        name
    }
}
