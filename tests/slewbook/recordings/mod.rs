//! Records of oscilloscopes and loggers: measured files from outside where they are
//! there, forms met in practice, and random damage. Every record that is written here is
//! invented; its forms are common practice, from memory, without a source.

mod damage;
mod forms;
mod heads;
mod program;

use slewbook::quantity::{Current, Dimensioned, Exponents, Time, Voltage};
use slewbook::recording::{Decimal, Options, Recording, RecordingError, Separator, TimeSource};
use slewbook::table::{Column, Table};

use crate::support::Random;

fn read(text: &str) -> Result<Recording, RecordingError> {
    Recording::read(text.as_bytes(), &Options::default())
}

/// Rows, interval, first and last time, first and last value of a column.
fn assert_record(
    recording: &Recording,
    rows: usize,
    times: [f64; 3],
    column: &str,
    ends: [f64; 2],
) {
    let [interval, first, last] = times;
    let near = |found: f64, expected: f64, what: &str| {
        assert!(
            (found - expected).abs() < 1e-4 * interval,
            "{what}: {found}, not {expected}"
        );
    };
    assert_eq!(recording.table.rows(), rows);
    near(recording.axis.interval, interval, "interval");
    let time = recording.table.column("time").unwrap();
    near(time.get(0).unwrap(), first, "first time");
    near(time.get(rows - 1).unwrap(), last, "last time");
    assert_eq!(recording.axis.gaps, 0);
    let column = recording.table.column(column).unwrap();
    assert_eq!([column.get(0), column.get(rows - 1)], ends.map(Some));
}

/// A measured file from outside the project, which a fresh clone has not.
fn outside(name: &str) -> Option<Vec<u8>> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/evidence/scope/");
    let bytes = std::fs::read(format!("{folder}{name}")).ok();
    if bytes.is_none() {
        println!("{name}: skipped, there is no {folder}");
    }
    bytes
}

/// First, last, count and interval were read in the files themselves.
#[test]
fn measured_files_from_outside_are_read_or_refused() {
    let plain = Options::default();
    if let Some(bytes) = outside("a-one-channel.csv") {
        let found = Recording::read(&bytes, &plain).unwrap();
        let times = [2e-8, -5.999_999_8e-6, 5.98e-6];
        assert_record(
            &found,
            600,
            [times[0], times[1], 5.980_000_2e-6],
            "CH1",
            [4.4, -1.36],
        );
        assert_eq!(found.table.column("CH1").unwrap().unit(), "V");
    }
    if let Some(bytes) = outside("b-four-channels-index.csv") {
        let found = Recording::read(&bytes, &plain).unwrap();
        assert_record(&found, 1200, [5e-10, -3e-7, 2.995e-7], "CH1", [3.28, 4.08]);
        let last = found.table.column("CH4").unwrap().get(1199);
        assert_eq!((found.table.columns().len(), last), (5, Some(-0.2)));
    }
    if let Some(bytes) = outside("c-index-from-22.csv") {
        let found = Recording::read(&bytes, &plain).unwrap();
        assert_record(
            &found,
            1356,
            [2e-6, -1.356e-3, 1.354e-3],
            "CH1",
            [0.03125, 3.0],
        );
    }
    if let Some(bytes) = outside("d-no-header.csv") {
        let refused = Recording::read(&bytes, &plain).unwrap_err();
        assert!(matches!(refused, RecordingError::NoTime), "{refused}");
        let stated = |channels| Options {
            channels: Some(channels),
            interval: Some(1e-6),
            ..Options::default()
        };
        let one = Recording::read(&bytes, &stated(1)).unwrap();
        assert_record(
            &one,
            4000,
            [1e-6, 0.0, 3999e-6],
            "column_1",
            [-0.031_620_555, 1.027_668],
        );
        let two = Recording::read(&bytes, &stated(2)).unwrap();
        assert_record(
            &two,
            2000,
            [1e-6, 0.0, 1999e-6],
            "channel_2",
            [0.0, 1.027_668],
        );
    }
    if let Some(bytes) = outside("e-key-value-digital.csv") {
        let found = Recording::read(&bytes, &plain).unwrap();
        let ends = [-4.996_203_12e-8, 4.999_796_87e-8];
        assert_record(
            &found,
            2500,
            [4e-11, ends[0], ends[1]],
            "REF1_D7",
            [1.0, 1.0],
        );
        assert_eq!(found.table.columns().len(), 9);
        assert!(found.surveys.iter().flatten().all(|survey| survey.digital));
    }
    for name in ["f-invalid-1.csv", "f-invalid-2.csv"] {
        if let Some(bytes) = outside(name) {
            let refused = Recording::read(&bytes, &plain).unwrap_err();
            let expected = match name {
                "f-invalid-1.csv" => matches!(refused, RecordingError::Cells { line: 8, .. }),
                _ => matches!(refused, RecordingError::NoNames { columns: 2, .. }),
            };
            assert!(expected, "{refused}");
        }
    }
}

/// What nothing says is assumed only where it is told, and what is stated is used.
#[test]
fn a_first_column_without_name_is_told_in_words() {
    let counted = ",u (V)\n0,1\n1,2.5\n2,3\n3,4\n";
    let refused = read(counted).unwrap_err();
    assert!(matches!(refused, RecordingError::NoTime), "{refused}");
    let options = Options {
        interval: Some(1e-3),
        ..Options::default()
    };
    let found = Recording::read(counted.as_bytes(), &options).unwrap();
    assert_eq!(found.axis.source, TimeSource::Index);
    assert_record(&found, 4, [1e-3, 0.0, 3e-3], "u", [1.0, 4.0]);
    assert!(
        found
            .notes
            .iter()
            .any(|note| note.contains("count of samples"))
    );
    let timed = read("0.5,1\n0.75,2\n1,3\n1.25,4\n").unwrap();
    assert_record(&timed, 4, [0.25, 0.5, 1.25], "column_2", [1.0, 4.0]);
    assert!(
        timed
            .notes
            .iter()
            .any(|note| note.contains("time in seconds"))
    );
    // Without names for two columns and more the place of the samples has to be stated.
    let title = "a title\n0.5,1\n0.75,2\n1,3\n1.25,4\n";
    let refused = read(title).unwrap_err();
    assert!(
        matches!(refused, RecordingError::NoNames { columns: 2, .. }),
        "{refused}"
    );
    let options = Options {
        first_line: Some(2),
        ..Options::default()
    };
    let found = Recording::read(title.as_bytes(), &options).unwrap();
    assert_record(&found, 4, [0.25, 0.5, 1.25], "column_2", [1.0, 4.0]);
}

/// Columns of one name stay apart, whatever the others are called.
#[test]
fn names_stay_apart() {
    let text = "t (s),time,time_2,u,u,u_2\n0,1,2,3,4,5\n1,2,3,4,5,6\n2,3,4,5,6,7\n";
    let found = read(text).unwrap();
    let first: Vec<_> = found.table.columns().iter().map(|own| own.get(0)).collect();
    let expected = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0].map(Some);
    assert_eq!(first, expected);
}

/// The program's own tables are records too: random ones are read to the same values.
#[test]
fn tables_of_the_program_are_read_as_records() {
    let mut random = Random(11);
    for _ in 0..50 {
        let rows = 4 + random.below(40);
        let step = 10f64.powi(-i32::try_from(random.below(9)).unwrap());
        let mut values = || -> Vec<f64> {
            let value =
                |_| f64::from(u32::try_from(random.below(1 << 20)).unwrap()) / 977.0 - 500.0;
            (0..rows).map(value).collect()
        };
        let time = (0..rows).map(|k| step * f64::from(u32::try_from(k).unwrap()));
        let columns = [
            ("time", Time::EXPONENTS, time.collect()),
            ("node_voltage", Voltage::EXPONENTS, values()),
            ("inductor_current", Current::EXPONENTS, values()),
            ("share", Exponents::NONE, values()),
        ];
        let table =
            columns
                .into_iter()
                .fold(Table::default(), |table, (name, exponents, values)| {
                    let words = if name == "time" { name } else { "" };
                    table
                        .with(Column::new(name, words, exponents, values).unwrap())
                        .unwrap()
                });
        assert_eq!(read(&table.to_csv()).unwrap().table, table);
    }
}

#[test]
fn what_may_be_read_in_two_ways_is_refused_until_it_is_stated() {
    let text = "0,5\n0,6\n0,7\n0,8\n";
    assert!(matches!(
        read(text),
        Err(RecordingError::Ambiguous { line: 1, .. })
    ));
    let options = Options {
        separator: Some(Separator::Semicolon),
        decimal: Some(Decimal::Comma),
        interval: Some(1e-3),
        ..Options::default()
    };
    let found = Recording::read(text.as_bytes(), &options).unwrap();
    assert_record(&found, 4, [1e-3, 0.0, 3e-3], "column_1", [0.5, 0.8]);
}
