//! Tables as polars data frames, and in and out of Parquet files.
//!
//! A frame's columns carry name and unit in their header, as in CSV; a Parquet
//! file keeps names, units and words in its key-value metadata too, as JSON
//! under [`DESCRIPTION`]. A row without value is a null.

use std::io::Write;

use polars::io::mmap::MmapBytesReader;
use polars::prelude::{
    DataFrame, DataType, Float64Chunked, IntoColumn, KeyValueMetadata, NewChunkedArray,
    ParquetReader, ParquetWriter, PolarsError, SerReader,
};
use serde::{Deserialize, Serialize};

use super::{Column, Table, TableError, csv};

/// The key under which a Parquet file describes its columns.
pub const DESCRIPTION: &str = "slewbook.columns";

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
            table = table.with(Column::new(head.name, "", head.exponents, values)?)?;
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
        let entries: Vec<_> = self
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
        ParquetWriter::new(writer)
            .with_key_value_metadata(Some(KeyValueMetadata::from_static(pairs)))
            .finish(&mut self.to_frame()?)?;
        Ok(())
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
