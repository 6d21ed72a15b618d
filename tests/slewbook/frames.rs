//! Tables as data frames and Parquet files.

use std::io::Cursor;

use polars::prelude::{
    CsvReader, DataFrame, IntoColumn, KeyValueMetadata, NamedFrom, ParquetReader, ParquetWriter,
    SerReader, Series,
};
use slewbook::quantity::{Current, Dimensioned, Exponents, Voltage};
use slewbook::table::{Column, DESCRIPTION, Table, TableError};

fn table() -> Table {
    let voltage = vec![36.0, f64::NAN, 1e-300];
    let voltage = Column::new(
        "input_voltage",
        "V_in: input voltage",
        Voltage::EXPONENTS,
        voltage,
    );
    let current = vec![0.1 + 0.2, -15.5, f64::INFINITY];
    let current = Column::new("peak_current", "How high?", Current::EXPONENTS, current);
    let ratio = Column::new("duty", "", Exponents::NONE, vec![f64::NAN; 3]);
    [voltage, current, ratio]
        .into_iter()
        .fold(Table::default(), |table, column| {
            table.with(column.unwrap()).unwrap()
        })
}

fn parquet(table: &Table) -> Vec<u8> {
    let mut file = Vec::new();
    table.write_parquet(&mut file).unwrap();
    file
}

#[test]
fn a_parquet_file_keeps_values_names_units_and_words() {
    let file = parquet(&table());
    assert_eq!(file, parquet(&table()));
    let mut reader = ParquetReader::new(Cursor::new(&file));
    let pairs = reader
        .get_metadata()
        .unwrap()
        .key_value_metadata()
        .clone()
        .unwrap();
    let description = pairs.iter().find(|pair| pair.key == DESCRIPTION).unwrap();
    assert!(description.value.as_deref().unwrap().starts_with(
        r#"[{"header":"input_voltage_V","name":"input_voltage","unit":"V","words":"V_in: input voltage"}"#
    ));
    assert_eq!(Table::read_parquet(Cursor::new(file)).unwrap(), table());
}

#[test]
fn a_frame_of_the_written_values_is_the_frame_of_the_table() {
    let csv = table().to_csv();
    let read = CsvReader::new(Cursor::new(csv.as_bytes()))
        .finish()
        .unwrap();
    let from_csv = Table::from_frame(&read).unwrap();
    assert_eq!(from_csv.to_csv(), csv);
    let frame = table().to_frame().unwrap();
    assert_eq!(frame.height(), 3);
    assert_eq!(frame.columns()[0].null_count(), 1);
    assert_eq!(Table::from_frame(&frame).unwrap().to_csv(), csv);
}

#[test]
fn an_empty_table_survives() {
    let empty = Column::new("v", "", Voltage::EXPONENTS, vec![]).unwrap();
    let empty = Table::default().with(empty).unwrap();
    assert_eq!(
        Table::read_parquet(Cursor::new(parquet(&empty))).unwrap(),
        empty
    );
}

#[test]
fn what_is_no_table_is_refused() {
    let frame = |header: &str| {
        let series = Series::new(header.into(), ["a", "b"]).into_column();
        DataFrame::new(2, vec![series]).unwrap()
    };
    assert!(matches!(
        Table::from_frame(&frame("v")),
        Err(TableError::Header { .. })
    ));
    let error = Table::from_frame(&frame("v_V")).unwrap_err();
    assert!(
        error
            .to_string()
            .starts_with("column v_V holds str, not numbers"),
        "{error}"
    );
    assert!(matches!(
        Table::read_parquet(Cursor::new(b"no such file".to_vec())),
        Err(TableError::Frame(_))
    ));
}

#[test]
fn whole_numbers_are_read_and_a_false_description_is_refused() {
    let series = Series::new("v_mV".into(), [1_i64, 2]).into_column();
    let mut frame = DataFrame::new(2, vec![series]).unwrap();
    assert_eq!(
        Table::from_frame(&frame).unwrap().to_csv(),
        "v_V\r\n0.001\r\n0.002\r\n"
    );
    let series = Series::new("v_V".into(), [1_i64, 2]).into_column();
    frame = DataFrame::new(2, vec![series]).unwrap();
    let mut file = Vec::new();
    let words = r#"[{"header":"v_V","name":"w","unit":"A","words":""}]"#;
    let pairs = vec![(DESCRIPTION.to_owned(), words.to_owned())];
    ParquetWriter::new(&mut file)
        .with_key_value_metadata(Some(KeyValueMetadata::from_static(pairs)))
        .finish(&mut frame)
        .unwrap();
    assert!(matches!(
        Table::read_parquet(Cursor::new(file)),
        Err(TableError::Description { .. })
    ));
}
