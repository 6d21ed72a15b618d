//! Tables as data frames and Parquet files.

use std::io::Cursor;

use polars::prelude::{
    CsvReader, DataFrame, IntoColumn, KeyValueMetadata, NamedFrom, ParquetReader, ParquetWriter,
    SerReader, Series,
};
use slewbook::compare::Comparison;
use slewbook::design::Design;
use slewbook::quantity::{Current, Dimensioned, Exponents, Voltage};
use slewbook::table::{Column, DESCRIPTION, ParquetRows, Table, TableError};

use crate::program::{folder, succeed, write};
use crate::support::specification_with;

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
        Table::from_frame(&frame(" ")),
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

/// A file does not depend on how its rows came, and holds no more of them in a row
/// group than a group has.
#[test]
fn rows_come_in_any_blocks_and_leave_in_groups() {
    const ROWS: usize = 300_000;
    let value = |k: usize| match k % 7 {
        0 => f64::NAN,
        _ => f64::from(u32::try_from(k).unwrap()),
    };
    let block = |from: usize, to: usize| {
        let values = (from..to).map(value);
        let column = Column::new("v", "a voltage", Voltage::EXPONENTS, values.collect());
        Table::default().with(column.unwrap()).unwrap()
    };
    let written = |step: usize| {
        let mut file = Vec::new();
        let mut rows = ParquetRows::new(&mut file, &block(0, 0)).unwrap();
        for from in (0..ROWS).step_by(step) {
            rows.write(&block(from, ROWS.min(from + step))).unwrap();
        }
        rows.finish().unwrap();
        file
    };
    let file = written(1_000);
    assert!(file == written(ROWS) && file == parquet(&block(0, ROWS)));
    let mut reader = ParquetReader::new(Cursor::new(&file));
    let groups: Vec<usize> = reader
        .get_metadata()
        .unwrap()
        .row_groups
        .iter()
        .map(|group| group.num_rows())
        .collect();
    assert_eq!(groups, [1 << 18, ROWS - (1 << 18)]);
    assert_eq!(
        Table::read_parquet(Cursor::new(file)).unwrap(),
        block(0, ROWS)
    );

    let mut rows = ParquetRows::new(Vec::new(), &block(0, 0)).unwrap();
    let error = rows.write(&table()).unwrap_err().to_string();
    assert!(
        error.starts_with(
            "the rows have the columns input_voltage_V, peak_current_A, duty and the file has v_V"
        ),
        "{error}"
    );
}

/// What a table holds but for the words, which CSV does not carry.
fn bare(table: &Table) -> Vec<(String, Vec<Option<f64>>)> {
    table
        .columns()
        .iter()
        .map(|column| (column.header(), column.iter().collect()))
        .collect()
}

/// A map as a Parquet file is the map as CSV, and tells what its columns hold.
#[test]
fn a_map_is_written_as_parquet() {
    let folder = folder("map-parquet");
    let file = write(&folder, &specification_with(&[]));
    let map = |output: &str| {
        let arguments = [
            "map",
            file,
            "--grid",
            "9x40",
            "--corners",
            "--scheme",
            "negative-valley",
            "-o",
            output,
        ];
        let said = succeed(&folder, &arguments);
        assert!(said.starts_with(&format!("{output}: 360 points")), "{said}");
        std::fs::read(folder.join(output)).unwrap()
    };
    let csv = Table::read_csv(&map("map.csv")[..]).unwrap();
    let read = Table::read_parquet(Cursor::new(map("map.parquet"))).unwrap();
    assert_eq!(bare(&read), bare(&csv));
    assert!(read.without_value() > 0);
    let words = |name: &str| read.column(name).unwrap().words().to_owned();
    assert_eq!(words("input_voltage"), "input voltage");
    assert_eq!(words("peak_current"), "peak current");
    assert_eq!(map("again.PARQUET"), map("map.parquet"));
}

/// The tables of a comparison come back as they were, as frames and as files, with
/// nulls where a scheme has no losses; and so does what the program writes.
#[test]
fn the_tables_of_a_comparison_survive() {
    // So large an inductance leaves the clamp no time at full load: no losses there.
    let text = specification_with(&[("stage.inductance", "\"1.2 uH\"")]);
    let design = Design::derive(&text).unwrap();
    let comparison = Comparison::new(&design.stage.specification, &design.in_force).unwrap();
    let folder = folder("compare-parquet");
    succeed(&folder, &["compare", write(&folder, &text), "-o", "out"]);
    let schemes = comparison.schemes.iter().enumerate();
    let mut tables: Vec<(String, Table)> = schemes
        .map(|(place, scheme)| (format!("losses-{scheme}"), comparison.table(place).unwrap()))
        .collect();
    tables.push((
        "losses-over-inductance".to_owned(),
        comparison.inductance_table().unwrap(),
    ));
    tables.push((
        "losses-over-margin".to_owned(),
        comparison.margin_table().unwrap(),
    ));
    for (name, table) in &tables {
        let read = |path: String| std::fs::read(folder.join(path)).unwrap();
        let frame = Table::from_frame(&table.to_frame().unwrap()).unwrap();
        assert_eq!(bare(&frame), bare(table), "{name}");
        let file = parquet(table);
        assert_eq!(
            &Table::read_parquet(Cursor::new(&file)).unwrap(),
            table,
            "{name}"
        );
        assert!(file == read(format!("out/{name}.parquet")), "{name}");
        assert_eq!(
            read(format!("out/{name}.csv")),
            table.to_csv().as_bytes(),
            "{name}"
        );
    }
    let nulls = |name: &str| {
        let (_, table) = tables.iter().find(|(own, _)| own == name).unwrap();
        let frame = table.to_frame().unwrap();
        frame.column("loss_total_W").unwrap().null_count()
    };
    for (place, scheme) in comparison.schemes.iter().enumerate() {
        let over = comparison.over_load.iter().flat_map(|line| &line[place]);
        let without = std::iter::once(&comparison.nominal[place]).chain(over);
        let without = without.filter(|outcome| outcome.losses.is_none()).count();
        assert_eq!(nulls(&format!("losses-{scheme}")), without, "{scheme}");
    }
    assert!(nulls("losses-freewheel-transistors") > 0);
}
