//! Tables as polars data frames, and in and out of Parquet files.
//!
//! A frame's columns carry name and unit in their header, as in CSV; a Parquet
//! file keeps names, units and words in its key-value metadata too, as JSON
//! under [`DESCRIPTION`]. A row without value is a null.

use std::io::Write;

use polars::io::mmap::MmapBytesReader;
use polars::io::parquet::write::BatchedWriter;
use polars::prelude::{
    DataFrame, DataType, Float64Chunked, IntoColumn, KeyValueMetadata, NewChunkedArray,
    ParquetReader, ParquetWriter, PolarsError, SerReader,
};
use serde::{Deserialize, Serialize};

use super::{Column, Table, TableError, csv};

/// The key under which a Parquet file describes its columns.
pub const DESCRIPTION: &str = "slewbook.columns";

/// Rows of a row group: what a writer of a long file holds in memory.
const GROUP: usize = 1 << 18;

/// A column's entry in the description.
#[derive(Debug, Serialize, Deserialize)]
struct Entry {
    header: String,
    name: String,
    unit: String,
    words: String,
}

impl From<PolarsError> for TableError {
    fn from(error: PolarsError) -> Self {
        Self::Frame(error.to_string())
    }
}

impl Table {
    /// The table as a data frame; headers as in CSV.
    ///
    /// # Errors
    /// What the data-frame library refuses.
    pub fn to_frame(&self) -> Result<DataFrame, TableError> {
        let column = |column: &Column| {
            Float64Chunked::from_iter_options(column.header().into(), column.iter()).into_column()
        };
        let columns = self.columns().iter().map(column).collect();
        Ok(DataFrame::new(self.rows(), columns)?)
    }

    /// A data frame as a table: numbers of any kind, headers as in CSV.
    ///
    /// # Errors
    /// A header without unit, a column that does not hold numbers.
    pub fn from_frame(frame: &DataFrame) -> Result<Self, TableError> {
        let mut table = Self::default();
        for column in frame.columns() {
            let header = column.name().as_str();
            let head = csv::head(header)?;
            let numeric = column.dtype().is_primitive_numeric();
            if !numeric && column.null_count() < column.len() {
                return Err(TableError::NotNumbers {
                    header: header.to_owned(),
                    found: column.dtype().to_string(),
                });
            }
            let values = if numeric {
                let cast = column.cast(&DataType::Float64)?;
                let value = |value: Option<f64>| value.map_or(f64::NAN, |v| head.unit.apply(v));
                cast.f64()?.iter().map(value).collect()
            } else {
                vec![f64::NAN; column.len()]
            };
            table = table.with(head.column(values)?)?;
        }
        Ok(table)
    }

    /// Writes the table as a Parquet file.
    ///
    /// # Errors
    /// What the writer or the data-frame library reports.
    ///
    /// ```
    /// use slewbook::quantity::{Dimensioned, Voltage};
    /// use slewbook::table::{Column, Table};
    /// let voltage = Column::new("input_voltage", "V_in: input voltage", Voltage::EXPONENTS, vec![36.0]);
    /// let table = Table::default().with(voltage.unwrap()).unwrap();
    /// let mut file = Vec::new();
    /// table.write_parquet(&mut file).unwrap();
    /// assert_eq!(Table::read_parquet(std::io::Cursor::new(file)).unwrap(), table);
    /// ```
    pub fn write_parquet(&self, writer: impl Write) -> Result<(), TableError> {
        let mut rows = ParquetRows::new(writer, self)?;
        rows.write(self)?;
        rows.finish()
    }

    /// Reads a Parquet file; the words come from its description, where it has one.
    ///
    /// # Errors
    /// As [`Table::from_frame`]; a description that does not fit the columns.
    pub fn read_parquet(reader: impl MmapBytesReader) -> Result<Self, TableError> {
        let mut reader = ParquetReader::new(reader);
        let pairs = reader.get_metadata()?.key_value_metadata();
        let description = pairs
            .iter()
            .flatten()
            .find(|pair| pair.key == DESCRIPTION)
            .and_then(|pair| pair.value.clone());
        let mut table = Self::from_frame(&reader.finish()?)?;
        let Some(description) = description else {
            return Ok(table);
        };
        let wrong = |problem: String| TableError::Description { problem };
        let entries: Vec<Entry> =
            serde_json::from_str(&description).map_err(|error| wrong(error.to_string()))?;
        for entry in entries {
            // A column may have been left out or its header renamed since.
            let own = table
                .columns
                .iter_mut()
                .find(|column| column.header() == entry.header);
            let Some(column) = own else { continue };
            if (column.name(), column.unit()) != (&entry.name, entry.unit.clone()) {
                return Err(wrong(format!(
                    "it calls {} the {} in {}",
                    entry.header, entry.name, entry.unit
                )));
            }
            column.words = entry.words;
        }
        Ok(table)
    }
}

/// A column like another without its rows.
fn emptied(column: &Column) -> Column {
    Column {
        name: column.name.clone(),
        words: column.words.clone(),
        exponents: column.exponents,
        celsius: column.celsius,
        values: vec![],
        names: column.names.clone(),
    }
}

/// A Parquet file written as its rows come, however many: no more of them are held
/// than make a row group. The file depends on the rows alone, not on how they came.
///
/// ```
/// use slewbook::quantity::{Dimensioned, Voltage};
/// use slewbook::table::{Column, ParquetRows, Table};
/// let block = |values| {
///     let column = Column::new("input_voltage", "input voltage", Voltage::EXPONENTS, values);
///     Table::default().with(column.unwrap()).unwrap()
/// };
/// let mut file = Vec::new();
/// let mut rows = ParquetRows::new(&mut file, &block(vec![])).unwrap();
/// rows.write(&block(vec![36.0, f64::NAN])).unwrap();
/// rows.write(&block(vec![44.0])).unwrap();
/// rows.finish().unwrap();
/// let read = Table::read_parquet(std::io::Cursor::new(file)).unwrap();
/// assert_eq!(read, block(vec![36.0, f64::NAN, 44.0]));
/// ```
pub struct ParquetRows<W: Write> {
    writer: BatchedWriter<W>,
    /// The rows of the next group.
    held: Table,
}

impl<W: Write> ParquetRows<W> {
    /// Starts a file of tables that have the columns of `like`, whose own rows do not
    /// matter.
    ///
    /// # Errors
    /// What the writer or the data-frame library reports.
    pub fn new(writer: W, like: &Table) -> Result<Self, TableError> {
        let held = Table {
            columns: like.columns.iter().map(emptied).collect(),
        };
        let entries: Vec<_> = held
            .columns()
            .iter()
            .map(|column| Entry {
                header: column.header(),
                name: column.name().to_owned(),
                unit: column.unit(),
                words: column.words().to_owned(),
            })
            .collect();
        let description = serde_json::to_string(&entries).map_err(std::io::Error::from)?;
        let pairs = vec![(DESCRIPTION.to_owned(), description)];
        let writer = ParquetWriter::new(writer)
            .with_key_value_metadata(Some(KeyValueMetadata::from_static(pairs)))
            .batched(held.to_frame()?.schema())?;
        Ok(Self { writer, held })
    }

    /// Writes the rows of a table after those before.
    ///
    /// # Errors
    /// A table with other columns; what the writer or the data-frame library reports.
    pub fn write(&mut self, table: &Table) -> Result<(), TableError> {
        let headers =
            |table: &Table| -> Vec<String> { table.columns().iter().map(Column::header).collect() };
        let (found, expected) = (headers(table), headers(&self.held));
        if found != expected {
            return Err(TableError::Columns {
                found: found.join(", "),
                expected: expected.join(", "),
            });
        }
        let mut first = 0;
        while first < table.rows() {
            let last = table.rows().min(first + GROUP - self.held.rows());
            for (own, other) in self.held.columns.iter_mut().zip(table.columns()) {
                own.values.extend_from_slice(&other.values()[first..last]);
            }
            first = last;
            if self.held.rows() == GROUP {
                self.write_group()?;
            }
        }
        Ok(())
    }

    /// Writes what is still held and ends the file.
    ///
    /// # Errors
    /// What the writer or the data-frame library reports.
    pub fn finish(mut self) -> Result<(), TableError> {
        self.write_group()?;
        self.writer.finish()?;
        Ok(())
    }

    /// Writes the rows held, if any, as a row group.
    fn write_group(&mut self) -> Result<(), TableError> {
        self.writer.write_batch(&self.held.to_frame()?)?;
        for column in &mut self.held.columns {
            column.values.clear();
        }
        Ok(())
    }
}
