//! Tables, their files, and the sweeps that fill them.

use proptest::prelude::*;
use slewbook::column::{ColumnError, Sweep};
use slewbook::equation::{Derivation, Term};
use slewbook::quantity::unit::{ohm, volt};
use slewbook::quantity::{Current, Dimensioned, Exponents, Resistance, Time, Voltage};
use slewbook::table::{Column, Table, TableError};

fn column(name: &str, exponents: Exponents, values: &[f64]) -> Column {
    Column::new(name, "", exponents, values.to_vec()).unwrap()
}

fn table(columns: impl IntoIterator<Item = Column>) -> Table {
    columns.into_iter().fold(Table::default(), |table, column| {
        table.with(column).unwrap()
    })
}

/// Lines end with a carriage return and a line feed, cells with commas or
/// quotation marks stand in quotation marks, doubled inside
/// (RFC 4180, October 2005, section 2, rules 1, 6 and 7).
#[test]
fn comma_separated_values_follow_their_standard() {
    let written = table([
        column("v, \"filtered\"", Voltage::EXPONENTS, &[1.5, -0.0]),
        column("duty", Exponents::NONE, &[0.25, f64::INFINITY]),
    ]);
    let text = written.to_csv();
    assert_eq!(
        text,
        "\"v, \"\"filtered\"\"_V\",duty\r\n1.5,0.25\r\n-0,\r\n"
    );
    assert_eq!(Table::read_csv(text.as_bytes()).unwrap(), written);
}

/// Any double, by its bits.
fn any_double() -> impl Strategy<Value = f64> {
    any::<u64>().prop_map(f64::from_bits)
}

proptest! {
    #[test]
    fn a_table_survives_the_round_trip_byte_for_byte(
        rows in prop::collection::vec((any_double(), any_double(), -1e3_f64..1e3), 0..40),
        single in prop::collection::vec(any_double(), 0..10),
    ) {
        let list = |pick: fn(&(f64, f64, f64)) -> f64| rows.iter().map(pick).collect::<Vec<_>>();
        let written = [
            table([
                column("a", Resistance::EXPONENTS, &list(|r| r.0)),
                column("b_c", Exponents::NONE, &list(|r| r.1)),
                column("slope", Voltage::EXPONENTS.divided_by(Time::EXPONENTS), &list(|r| r.2)),
            ]),
            table([column("alone", Current::EXPONENTS, &single)]),
        ];
        for written in written {
            let text = written.to_csv();
            prop_assert!(!text.contains("NaN") && !text.contains("inf"));
            let read = Table::read_csv(text.as_bytes()).unwrap();
            prop_assert_eq!(&read, &written);
            prop_assert_eq!(read.to_csv(), text);
            for (a, b) in read.columns().iter().zip(written.columns()) {
                for (a, b) in a.iter().flatten().zip(b.iter().flatten()) {
                    prop_assert_eq!(a.to_bits(), b.to_bits());
                }
            }
        }
    }

    /// Whatever the text, reading ends with a table or an error.
    #[test]
    fn no_text_makes_reading_panic(text in "[a_V1,\"\r\n.e-]{0,60}") {
        let _ = Table::read_csv(text.as_bytes());
    }
}

#[test]
fn more_than_one_buffer_is_written_whole() {
    let values: Vec<f64> = (0..20_000).map(|k| f64::from(k) / 7.0).collect();
    let written = table([column("x", Voltage::EXPONENTS, &values)]);
    assert_eq!(
        Table::read_csv(written.to_csv().as_bytes()).unwrap(),
        written
    );
}

#[test]
fn units_with_prefixes_are_read_into_the_coherent_unit() {
    let text = "\u{feff}time_ns,resistance_mohm\n0.68,12\n\n1,2\n";
    let read = Table::read_csv(text.as_bytes()).unwrap();
    assert_eq!(read.column("time").unwrap().values(), [0.68e-9, 1e-9]);
    assert_eq!(read.column("resistance").unwrap().header(), "resistance_Ω");
    assert_eq!(read.rows(), 2);
}

/// Powers that a unit is written with are read.
#[test]
fn the_unit_of_any_dimension_is_read_back() {
    for power in 1..=3 {
        for place in 0..5 {
            let mut exponents = Exponents::NONE;
            exponents.0[place] = power;
            let written = table([column("v", exponents, &[2.5])]);
            let text = written.to_csv();
            assert_eq!(Table::read_csv(text.as_bytes()).unwrap(), written, "{text}");
        }
    }
}

#[test]
fn temperatures_are_read_in_degrees_celsius() {
    let text = "a_°C,b_degC,c_K\n-40,41.5,300\n";
    let read = Table::read_csv(text.as_bytes()).unwrap();
    let value = |name: &str| read.column(name).unwrap().get(0);
    assert_eq!([value("a"), value("b")], [Some(-40.0), Some(41.5)]);
    assert_eq!(value("c"), Some(300.0));
    assert_eq!(read.to_csv(), "a_degC,b_degC,c_K\r\n-40,41.5,300\r\n");
    // Not the same as a rise by so many kelvin.
    let rise = column("b", read.column("b").unwrap().exponents(), &[41.5]);
    assert!(*read.column("b").unwrap() != rise);
}

#[test]
fn what_cannot_be_read_says_where() {
    for (text, expected) in [
        ("voltage_V,\n1,2\n", "\"\" does not head a column"),
        // Numbers and words in one column: one of them is a slip.
        ("share\n1\n0,5\n", "line 3 has 2 cells for 1 columns"),
        (
            "share\n1\nhalf\n",
            "line 3, column share: \"half\" is not a finite number",
        ),
        ("v_V,i_A\n1,2\n1\n", "line 3 has 1 cells for 2 columns"),
        ("v_V,i_A\n1,2,3\n", "line 2 has 3 cells for 2 columns"),
        (
            "v_V\n\n1\nnan\n",
            "line 4, column v_V: \"nan\" is not a finite number",
        ),
        (
            "v_V\n1e999\n",
            "line 2, column v_V: \"1e999\" is not a finite number",
        ),
        ("v_V\n\"1\n", "line 2: a quotation mark is not closed"),
        (
            "v_V\n1\"2\n",
            "line 2: a quotation mark is not closed, or stands inside a cell",
        ),
        ("v_V,v_V\n1,2\n", "two columns are named v"),
    ] {
        let error = Table::read_csv(text.as_bytes()).unwrap_err().to_string();
        assert!(error.starts_with(expected), "{error}");
    }
}

#[test]
fn an_empty_table_is_an_empty_file_and_a_table_without_rows_a_header() {
    assert_eq!(Table::default().to_csv(), "");
    assert_eq!(Table::read_csv("".as_bytes()).unwrap(), Table::default());
    let headed = table([column("v", Voltage::EXPONENTS, &[])]);
    assert_eq!(headed.to_csv(), "v_V\r\n");
    assert_eq!(Table::read_csv("v_V\r\n".as_bytes()).unwrap(), headed);
    assert_eq!((headed.rows(), headed.without_value()), (0, 0));
}

#[test]
fn columns_that_do_not_fit_are_refused() {
    let one = table([column("v", Voltage::EXPONENTS, &[1.0])]);
    let error = one
        .clone()
        .with(column("i", Current::EXPONENTS, &[]))
        .unwrap_err();
    assert!(matches!(
        error,
        TableError::Length {
            found: 0,
            expected: 1,
            ..
        }
    ));
    let error = one
        .with(column("v", Current::EXPONENTS, &[1.0]))
        .unwrap_err();
    assert_eq!(error.to_string(), "two columns are named v; rename one");
    assert!(Column::new(" ", "", Exponents::NONE, vec![]).is_err());
    assert!(Column::new("a\nb", "", Exponents::NONE, vec![]).is_err());
}

fn ohms_law() -> (Term<Voltage>, Term<Resistance>, slewbook::equation::Record) {
    let V = Term::input("V", "voltage of the source: as set", 12.0 * volt);
    let R = Term::input("R", "resistance", 4.0 * ohm);
    let I = (V / R).named("I", "current");
    let current = Derivation::<Current>::new("current", "How much current flows?", I).requires(
        V.above(Term::constant(0.0 * volt)),
        "the source feeds",
        "Turn it round.",
    );
    (V, R, current.into_record())
}

#[test]
fn a_sweep_combines_every_value_with_every_other() {
    let (V, R, current) = ohms_law();
    let sweep = Sweep::new().linear(V, -6.0 * volt, 6.0 * volt, 3).unwrap();
    let sweep = sweep.values(R, &[2.0 * ohm, 3.0 * ohm]).unwrap();
    let table = sweep.table(&[&current]).unwrap();
    assert_eq!(
        table.to_csv(),
        "voltage_of_the_source_V,resistance_Ω,current_A\r\n\
         -6,2,\r\n-6,3,\r\n0,2,\r\n0,3,\r\n6,2,3\r\n6,3,2\r\n"
    );
    assert_eq!(table.without_value(), 4);
    assert_eq!(
        table.column("current").unwrap().words(),
        "How much current flows?"
    );
    assert_eq!(
        table.columns()[0].words(),
        "V: voltage of the source: as set"
    );
    assert_eq!(table.column("current").unwrap().get(0), None);
}

#[test]
fn a_sweep_refuses_what_it_cannot_combine() {
    let (V, R, current) = ohms_law();
    let new = Sweep::new;
    assert!(matches!(
        new().linear(
            V / R,
            V.value().unwrap() / R.value().unwrap(),
            V.value().unwrap() / R.value().unwrap(),
            2
        ),
        Err(ColumnError::NotAnInput { .. })
    ));
    assert!(matches!(
        new().linear(V, 0.0 * volt, 1.0 * volt, 1),
        Err(ColumnError::Axis { .. })
    ));
    assert!(matches!(
        new().values(V, &[]),
        Err(ColumnError::Axis { .. })
    ));
    assert!(matches!(
        new().values(V, &[f64::NAN * volt]),
        Err(ColumnError::Axis { .. })
    ));
    let once = new().values(V, &[1.0 * volt]).unwrap();
    let error = once.values(V, &[1.0 * volt]).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the axis of V is there twice; give each input one axis"
    );
    let elsewhere = Term::input("L", "length", 1.0 * volt);
    let error = new()
        .values(elsewhere, &[1.0 * volt])
        .unwrap()
        .table(&[&current])
        .unwrap_err();
    assert_eq!(
        error.to_string(),
        "the expression has no input L; its inputs are V, R"
    );
    assert!(matches!(
        new()
            .at(slewbook::equation::Point::own())
            .table(&[&current, &current]),
        Err(ColumnError::Table(TableError::DuplicateName { .. }))
    ));
    let wide = new().linear(V, 0.0 * volt, 1.0 * volt, 1 << 20).unwrap();
    let wide = wide.linear(R, 1.0 * ohm, 2.0 * ohm, 1 << 10).unwrap();
    assert!(matches!(
        wide.rows(),
        Err(ColumnError::TooManyPoints { .. })
    ));
}

#[test]
fn plain_numbers_have_a_name_alone() {
    let headers = [
        ("duty", "duty"),
        ("flying_voltage_1", "flying_voltage_1"),
        // Names that would be read as another name with a unit.
        ("share_V", "share_V_1"),
        ("share_V_1", "share_V_1_1"),
        ("share_%", "share_%_1"),
    ];
    for (name, header) in headers {
        let written = table([column(name, Exponents::NONE, &[0.25, 1.0])]);
        assert_eq!(written.columns()[0].header(), header);
        let read = Table::read_csv(written.to_csv().as_bytes()).unwrap();
        assert_eq!(read.columns()[0].name(), name);
        assert_eq!(read, written);
    }
    let read = Table::read_csv("share_%\n25\n".as_bytes()).unwrap();
    assert_eq!(read.column("share").unwrap().get(0), Some(0.25));
}
