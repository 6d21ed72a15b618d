//! Tables: columns of one length, each with a name, a unit and words, kept in
//! coherent units and written to open formats. Temperatures alone are in degrees
//! Celsius, as everywhere where people read them.
//!
//! A point without value is an empty cell, never a number; [`Table::without_value`]
//! counts them.

mod csv;
mod error;
#[cfg(feature = "frames")]
mod frames;

use std::borrow::Cow;

use crate::quantity::{Dimensioned as _, Exponents, ThermodynamicTemperature, symbol::name_of};

pub use error::TableError;
#[cfg(feature = "frames")]
pub use frames::{DESCRIPTION, ParquetRows};

/// How files write the unit of temperatures.
const CELSIUS: &str = "degC";

/// A column of a table.
#[derive(Clone, Debug)]
pub struct Column {
    name: String,
    words: String,
    exponents: Exponents,
    /// Whether the values are temperatures in degrees Celsius.
    celsius: bool,
    values: Vec<f64>,
    /// What the values 0, 1, 2, … stand for; empty where they are numbers.
    names: Vec<Cow<'static, str>>,
}

impl Column {
    /// A column of values in the coherent unit of a dimension; what is not
    /// finite counts as without value.
    ///
    /// # Errors
    /// A name that is empty, or has a line break or a byte order mark.
    pub fn new(
        name: &str,
        words: &str,
        exponents: Exponents,
        values: Vec<f64>,
    ) -> Result<Self, TableError> {
        if name.trim().is_empty() || name.contains(['\n', '\r', '\u{feff}']) {
            return Err(TableError::Name {
                name: name.to_owned(),
            });
        }
        Ok(Self {
            name: name.to_owned(),
            words: words.to_owned(),
            exponents,
            celsius: false,
            values,
            names: Vec::new(),
        })
    }

    /// A column of temperatures as a thermometer shows them, in degrees Celsius; what is
    /// not finite counts as without value.
    ///
    /// # Errors
    /// As [`Column::new`].
    ///
    /// ```
    /// use slewbook::table::{Column, Table};
    /// let column = Column::celsius("winding", "temperature of the winding", vec![40.0]);
    /// let table = Table::default().with(column.unwrap()).unwrap();
    /// assert_eq!(table.to_csv(), "winding_degC\r\n40\r\n");
    /// let read = Table::read_csv(table.to_csv().as_bytes()).unwrap();
    /// assert_eq!(read.column("winding").unwrap().unit(), "degC");
    /// ```
    pub fn celsius(name: &str, words: &str, values: Vec<f64>) -> Result<Self, TableError> {
        let column = Self::new(name, words, ThermodynamicTemperature::EXPONENTS, values)?;
        Ok(Self {
            celsius: true,
            ..column
        })
    }

    /// The column with the names that its values 0, 1, 2, … stand for. CSV has the
    /// names; data frames and Parquet files have the numbers.
    ///
    /// ```
    /// use slewbook::quantity::Exponents;
    /// use slewbook::table::{Column, Table};
    /// let column = Column::new("state", "state", Exponents::NONE, vec![1.0, f64::NAN, 0.0]);
    /// let table = Table::default().with(column.unwrap().with_names(["off", "on"])).unwrap();
    /// assert_eq!(table.to_csv(), "state\r\non\r\n\"\"\r\noff\r\n");
    /// assert_eq!(table.column("state").unwrap().name_in(0), Some("on"));
    /// ```
    #[must_use]
    pub fn with_names(
        mut self,
        names: impl IntoIterator<Item = impl Into<Cow<'static, str>>>,
    ) -> Self {
        self.names = names.into_iter().map(Into::into).collect();
        self
    }

    /// The name that the value in a row stands for.
    #[must_use]
    pub fn name_in(&self, row: usize) -> Option<&str> {
        named(&self.names, *self.values.get(row)?).map(Cow::as_ref)
    }

    /// The name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What it holds, in words.
    #[must_use]
    pub fn words(&self) -> &str {
        &self.words
    }

    /// The dimension.
    #[must_use]
    pub fn exponents(&self) -> Exponents {
        self.exponents
    }

    /// Whether the values are temperatures in degrees Celsius.
    pub(crate) fn is_celsius(&self) -> bool {
        self.celsius
    }

    /// The coherent unit; `1` for plain numbers, `degC` for temperatures.
    #[must_use]
    pub fn unit(&self) -> String {
        if self.celsius {
            return CELSIUS.to_owned();
        }
        let unit = name_of(self.exponents).plain;
        if unit.is_empty() {
            "1".to_owned()
        } else {
            unit
        }
    }

    /// Name and unit as files head the column, `input_voltage_V`; plain numbers have the
    /// name alone.
    #[must_use]
    pub fn header(&self) -> String {
        if self.exponents == Exponents::NONE {
            csv::plain_header(&self.name)
        } else {
            format!("{}_{}", self.name, self.unit())
        }
    }

    /// The value in a row, where there is one.
    #[must_use]
    pub fn get(&self, row: usize) -> Option<f64> {
        self.values
            .get(row)
            .copied()
            .filter(|value| value.is_finite())
    }

    /// Name and unit as CSV heads the column: a column of names has no unit.
    fn csv_header(&self) -> String {
        if self.names.is_empty() {
            self.header()
        } else {
            self.name.clone()
        }
    }

    /// Every row's value, where there is one.
    #[must_use]
    pub fn iter(&self) -> impl ExactSizeIterator<Item = Option<f64>> + '_ {
        self.values
            .iter()
            .map(|value| value.is_finite().then_some(*value))
    }

    /// The values for further computing; not finite where there is none.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// How many rows have no value.
    #[must_use]
    pub fn without_value(&self) -> usize {
        self.values
            .iter()
            .filter(|value| !value.is_finite())
            .count()
    }
}

/// The name that a value stands for; other values than places in the list have none.
fn named<T>(names: &[T], value: f64) -> Option<&T> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a place in a short list"
    )]
    let place = value as usize;
    let whole = value >= 0.0 && value.fract() == 0.0;
    names.get(place).filter(|_| whole)
}

/// Two columns are alike where name, words, dimension and values are, or the names
/// that the values of both stand for; rows without value are alike.
impl PartialEq for Column {
    fn eq(&self, other: &Self) -> bool {
        let heads = (&self.name, &self.words, self.exponents)
            == (&other.name, &other.words, other.exponents)
            && self.celsius == other.celsius;
        let named = !self.names.is_empty() && !other.names.is_empty();
        let names = |column: &'_ Self| -> Vec<Option<String>> {
            let name = |k| column.name_in(k).map(str::to_owned);
            (0..column.values.len()).map(name).collect()
        };
        heads
            && if named {
                names(self) == names(other)
            } else {
                self.iter().eq(other.iter())
            }
    }
}

/// Columns of one length.
///
/// ```
/// use slewbook::quantity::{Dimensioned, Current, Voltage};
/// use slewbook::table::{Column, Table};
///
/// let voltage = vec![36.0, 44.0];
/// let current = vec![15.5, f64::NAN];
/// let table = Table::default()
///     .with(Column::new("input_voltage", "input voltage", Voltage::EXPONENTS, voltage).unwrap())
///     .unwrap()
///     .with(Column::new("peak_current", "peak current", Current::EXPONENTS, current).unwrap())
///     .unwrap();
/// assert_eq!(table.to_csv(), "input_voltage_V,peak_current_A\r\n36,15.5\r\n44,\r\n");
/// assert_eq!(table.without_value(), 1);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    columns: Vec<Column>,
}

impl Table {
    /// The table with one more column.
    ///
    /// # Errors
    /// A column of another length, or of a name that is there already.
    pub fn with(mut self, column: Column) -> Result<Self, TableError> {
        if let Some(first) = self.columns.first()
            && column.values.len() != first.values.len()
        {
            return Err(TableError::Length {
                name: column.name,
                found: column.values.len(),
                expected: first.values.len(),
            });
        }
        if self.column(&column.name).is_some() {
            return Err(TableError::DuplicateName { name: column.name });
        }
        self.columns.push(column);
        Ok(self)
    }

    /// The columns, in order.
    #[must_use]
    pub fn columns(&self) -> &[Column] {
        &self.columns
    }

    /// A column by name.
    #[must_use]
    pub fn column(&self, name: &str) -> Option<&Column> {
        self.columns.iter().find(|column| column.name == name)
    }

    /// The number of rows.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |column| column.values.len())
    }

    /// How many cells have no value.
    #[must_use]
    pub fn without_value(&self) -> usize {
        self.columns.iter().map(Column::without_value).sum()
    }
}
