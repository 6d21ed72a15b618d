//! Records of oscilloscopes and loggers: measured files from outside where they are
//! there, forms met in practice, and random damage. Every record that is written here is
//! invented; its forms are common practice, from memory, without a source.

use slewbook::quantity::{Current, Dimensioned, Exponents, Time, Voltage};
use slewbook::recording::{
    Decimal, Encoding, Key, Options, Recording, RecordingError, Separator, TimeSource,
};
use slewbook::table::{Column, Table};

use crate::program::{folder, run, succeed};
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
                _ => matches!(refused, RecordingError::NoNames { columns: 2 }),
            };
            assert!(expected, "{refused}");
        }
    }
}

/// The same samples in many forms: 20 ns, from −40 ns, in volts.
#[test]
fn every_form_of_the_same_samples_is_the_same_record() {
    let values = [0.5, 1.5, -0.25, 2.0, 1e-5];
    let rows = |form: &dyn Fn(usize, f64) -> String| -> String {
        values
            .iter()
            .enumerate()
            .map(|(k, v)| form(k, *v))
            .collect()
    };
    let ns = |k: usize| -40 + 20 * i32::try_from(k).unwrap();
    let comma = |number: String| number.replace('.', ",");
    let timed = rows(&|k, v| format!("{}E-09,{v}\n", ns(k)));
    let forms = [
        format!("time (s),u (V)\n{timed}"),
        format!("\u{feff}time (s),u (V)\n{timed}"),
        format!("a title of the record\n\ntime,u\ns,V\n{timed}"),
        rows(&|k, v| format!("{};{}\r\n", ns(k), comma(v.to_string())))
            .replacen("-40", "time in ns;u in V\r\n-40", 1),
        "time/ns\tu/mV\n".to_owned() + &rows(&|k, v| format!("{}\t{}\n", ns(k), v * 1e3)),
        "time[ns],u[V],\n".to_owned() + &rows(&|k, v| format!("\"{}\",\"{v}\",\n", ns(k))),
        "x,u,start,increment,\nsequence,volt,-4.0E-08,2.0E-08,\n".to_owned()
            + &rows(&|k, v| format!("{k},{v},\n")),
        "x,u,start,increment\nsequence,volts,-140 ns,20 ns\n".to_owned()
            + &rows(&|k, v| format!("{},{v}\n", k + 5)),
        "# sample rate: 50 MSa/s\n# start = -40 ns\nu (V)\n".to_owned() + &rows(&|_, v| format!("{v}\n")),
        "Sample Interval,20,ns\nZero Index,2\nRecord Length,5\nu (V)\n".to_owned()
            + &rows(&|_, v| format!("{v}\n")),
        "time (ns)   u (V)\n".replace(" (", "(") + &rows(&|k, v| format!("  {}   {v}\n", ns(k))),
        "Record Length,5,,time (ns),u (V)\n,,,-40,0.5\n,,,-20,1.5\n,,,0,-0.25\n,,,20,2\n,,,40,1e-5\n".to_owned(),
    ];
    for form in &forms {
        let found = read(form).unwrap_or_else(|error| panic!("{form}\n{error}"));
        assert_record(&found, 5, [20e-9, -40e-9, 40e-9], "u", [0.5, 1e-5]);
        assert_eq!(found.table.column("u").unwrap().unit(), "V", "{form}");
    }
    let latin = b"\xb5: note\ntime (\xb5s),u (V)\n0,1\n1,2\n2,3\n3,4\n";
    let found = Recording::read(latin, &Options::default()).unwrap();
    assert_record(&found, 4, [1e-6, 0.0, 3e-6], "u", [1.0, 4.0]);
    assert_eq!(found.dialect.encoding, Encoding::Latin1);
    let wide: Vec<u8> = forms[0].encode_utf16().flat_map(u16::to_le_bytes).collect();
    let found = Recording::read(&[vec![0xff, 0xfe], wide].concat(), &Options::default()).unwrap();
    assert_eq!(found.dialect.encoding, Encoding::Utf16);
}

/// Heads of other kinds, with what has to come of them: rows, interval, first time, the
/// second column with its unit and last value.
#[test]
fn heads_of_many_kinds_are_understood() {
    for (text, rows, interval, first, name, unit, last) in [
        // Keys beside the first samples, and no names at all.
        (
            "Record Length,5.0e+00,,-5.0e-04,0.1,\nSample Interval,1.0e-03,,5.0e-04,0.2,\n\
             Trigger Point,5.0e-01,,1.5e-03,0.3,\nVertical Units,mV,,2.5e-03,0.4,\n\
             ,,,3.5e-03,0.5,\n",
            5,
            1e-3,
            -5e-4,
            "column_2",
            "V",
            0.5e-3,
        ),
        // Units in the head alone.
        (
            "Horizontal Units,ms\nVertical Units,mV\nTIME,CH1\n0,1\n1,2\n2,3\n",
            3,
            1e-3,
            0.0,
            "CH1",
            "V",
            3e-3,
        ),
        // Units without names.
        ("s,mA\n0,1\n1,2\n2,3\n", 3, 1.0, 0.0, "column_2", "A", 3e-3),
        // Minutes, and temperatures as a thermometer shows them.
        (
            "Time (min),T (°C)\n0,20\n1,21\n2,22\n",
            3,
            60.0,
            0.0,
            "T",
            "degC",
            22.0,
        ),
        // One unit among known ones is unknown.
        (
            "time,u,phase\ns,V,deg\n0,1,2\n1,2,3\n2,3,4\n",
            3,
            1.0,
            0.0,
            "phase",
            "1",
            4.0,
        ),
        // Dates and times of day in the head say when, not where time counts from.
        (
            "Start time,12/03/2020 10:11:12\nInterval,0:00:01\ntime (s),u (V)\n5,1\n6,2\n7,3\n",
            3,
            1.0,
            5.0,
            "u",
            "V",
            3.0,
        ),
        // Another separator in the head than below it.
        (
            "Sample interval; 5 ns\nRecord Length; 3 points\nu (V)\n1\n2\n3\n",
            3,
            5e-9,
            0.0,
            "u",
            "V",
            3.0,
        ),
        // Line ends written twice.
        (
            "t (s),u (V)\r\r\n0,1\r\r\n1,2\r\r\n2,3\r\r\n",
            3,
            1.0,
            0.0,
            "u",
            "V",
            3.0,
        ),
        // A duration that was measured is not the time of its sample.
        (
            "sample,delay (ns)\n0,30\n1,10\n2,20\n\n"
                .replacen("sample,", "dt,1 s\nsample,", 1)
                .as_str(),
            3,
            1.0,
            0.0,
            "delay",
            "s",
            20e-9,
        ),
        // A number that is written as text in quotation marks, with a decimal comma.
        (
            "\"t (s)\",\"u (V)\"\n\"0,0\",\"1,5\"\n\"0,5\",\"2,5\"\n\"1,0\",\"3,5\"\n",
            3,
            0.5,
            0.0,
            "u",
            "V",
            3.5,
        ),
        // Out of range, and not measured.
        (
            "t (s),u (V)\n0,OL\n1,9.9E+37\n2,\n3,4\n",
            4,
            1.0,
            0.0,
            "u",
            "V",
            4.0,
        ),
        // Words behind the name that hold no unit.
        (
            "a title\n;;\nZeit (ms);Spannung (V);\n0;1,5;\n0,1;2,5;\n0,2;3,5;\n",
            3,
            1e-4,
            0.0,
            "Spannung",
            "V",
            3.5,
        ),
    ] {
        let found = read(text).unwrap_or_else(|error| panic!("{text}\n{error}"));
        let time = found.table.column("time").unwrap();
        let column = found.table.column(name);
        let column = column.unwrap_or_else(|| panic!("{text}\n{:?}", found.table));
        assert_eq!(
            (found.table.rows(), column.unit().as_str()),
            (rows, unit),
            "{text}"
        );
        assert!(
            (found.axis.interval / interval - 1.0).abs() < 1e-9,
            "{text}"
        );
        assert!(
            (time.get(0).unwrap() - first).abs() < 1e-9 * interval,
            "{text}"
        );
        let value = column.get(rows - 1).unwrap();
        assert!((value / last - 1.0).abs() < 1e-12, "{text}: {value}");
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
        matches!(refused, RecordingError::NoNames { columns: 2 }),
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

#[test]
fn damage_is_refused_with_its_line() {
    let good = "t (s),u (V)\n0,1\n1,2\n2,3\n3,4\n4,5\n";
    assert!(read(good).is_ok());
    // In a single column what is damaged might pass for a name.
    let single = "sample interval,1 s\nu (V)\n1\n2\nx\n3\n4\n5\n6\n";
    let refused = read(single).unwrap_err();
    assert!(
        matches!(refused, RecordingError::Cell { line: 5, .. }),
        "{refused}"
    );
    for (from, to, line) in [
        ("3,4", "3", "line 5"),
        ("3,4", "3,4,5", "line 5"),
        ("3,4", "3,x", "line 5, column 2"),
        ("3,4", "1.5,4", "line 5"),
        ("3,4", "2,4", "line 5"),
        ("3,4", ",4", "line 5"),
        ("3,4", "", "line 5"),
        ("3,4", "3,4.5.6", "line 5, column 2"),
        ("3,4", "3,1e999", "line 5, column 2"),
        ("0,1", "0,x", "line 2, column 2"),
        ("1,2", "1,x", "line 3, column 2"),
        ("1,2", "1,2,3", "line 3"),
        ("t (s)", "t (weeks)", "weeks"),
        ("t (s)", "samples,6\nt (s)", "number of samples"),
        ("t (s)", "samples,many\nt (s)", "samples: \"many\""),
        ("t (s)", "dt,1\ndt,3\nt (s)", "twice"),
        ("t (s)", "dt,2\nt (s)", "sample interval"),
        ("t (s)", "start,7\nt (s)", "time of the first sample"),
    ] {
        let message = read(&good.replacen(from, to, 1)).unwrap_err().to_string();
        assert!(message.contains(line), "{to:?}: {message}");
    }
}

#[test]
fn gaps_clipping_and_steps_are_told() {
    let mut random = Random(7);
    let rows: String = (0..4000)
        .filter(|k| *k != 100)
        .map(|k| {
            let code = 40.0 * (f64::from(k) * 0.05).sin()
                + f64::from(u32::try_from(random.below(9)).unwrap());
            format!("{k},{}\n", code.round().min(30.0) * 0.25)
        })
        .collect();
    let found = read(&format!("t (ms),u (V)\n{rows}")).unwrap();
    assert_eq!((found.axis.gaps, found.axis.first_gap), (1, Some(101)));
    let survey = found.surveys[0].clone().unwrap();
    assert_eq!(survey.quantisation, Some(0.25));
    assert!(
        survey.clipped_high > 500 && survey.clipped_low == 0,
        "{survey:?}"
    );
}

/// Two hundred records, each damaged at a place drawn by lot. What is accepted has
/// the samples that the damaged text has, read line by line, or says what it lacks.
#[test]
fn random_damage_never_panics_and_is_never_read_wrongly() {
    let mut random = Random(20_26);
    let mut refused = 0;
    for _ in 0..200 {
        let count = 5 + random.below(60);
        let separator = *random.pick(&[",", ";", "\t"]);
        let rows: String = (0..count)
            .map(|k| format!("{}.0E-06{separator}{}.25\n", k, random.below(100)))
            .collect();
        let text = format!(
            "Record Length{separator}{count}\nSample Interval{separator}1.0E-06\ntime{separator}u (V)\n{rows}"
        );
        let mut bytes = text.into_bytes();
        for _ in 0..=random.below(3) {
            let place = random.below(bytes.len());
            match random.below(5) {
                0 => drop(bytes.remove(place)),
                1 => bytes.insert(place, *random.pick(b",;.\n\r\"\t 0-xE\xb5\0")),
                2 => bytes[place] = *random.pick(b",;.\n\r\"\t 09-xE\xff\0"),
                3 => bytes.truncate(place),
                _ => {
                    let lines: Vec<&[u8]> = bytes.split_inclusive(|b| *b == b'\n').collect();
                    let mut lines: Vec<Vec<u8>> = lines.into_iter().map(<[u8]>::to_vec).collect();
                    let (a, b) = (random.below(lines.len()), random.below(lines.len()));
                    lines.swap(a, b);
                    bytes = lines.concat();
                }
            }
            if bytes.is_empty() {
                break;
            }
        }
        match Recording::read(&bytes, &Options::default()) {
            Err(error) => {
                refused += 1;
                assert!(!error.to_string().is_empty());
            }
            Ok(found) => compare(&bytes, &found, separator),
        }
    }
    assert!(refused > 60, "{refused}");
}

/// That the last cells of the lines are the values of the last column.
fn compare(bytes: &[u8], found: &Recording, separator: &str) {
    let text = String::from_utf8_lossy(bytes);
    let lines = text.lines().skip(found.dialect.first_line - 1);
    let lines: Vec<&str> = lines.filter(|line| !line.is_empty()).collect();
    assert_eq!(lines.len(), found.table.rows(), "{text}");
    let Some(values) = found.table.column("u") else {
        // A damaged name is shown as it stands.
        return;
    };
    for (row, line) in lines.iter().enumerate() {
        let cells: Vec<&str> = line
            .split(separator)
            .map(|c| c.trim_matches(['"', ' ']))
            .collect();
        let value = cells.get(1).and_then(|cell| cell.parse::<f64>().ok());
        assert_eq!(
            values.get(row),
            value.filter(|v| v.is_finite()),
            "{line} in\n{text}"
        );
    }
}

#[test]
fn the_program_tells_what_it_understands_of_a_record() {
    let folder = folder("recording");
    let write = |name: &str, text: &str| std::fs::write(folder.join(name), text).unwrap();
    write(
        "waves.csv",
        "Sample Interval,2e-9\nRecord Length,4\nTIME,CH1 (mV),D0\n\
         -2e-9,10,0\n0,12.5,1\n2e-9,15,1\n4e-9,,0\n",
    );
    let said = succeed(&folder, &["recording", "waves.csv"]);
    for line in [
        "written as: UTF-8, cells separated by comma, decimal point, samples from line 4",
        "samples: 4, from −2 ns to 4 ns",
        "time from: a column of times",
        "interval: 2 ns",
        "gaps: none",
        "column CH1 (V): 10 mV to 15 mV, 1 samples without value",
        "column D0 (digital): 0 to 1",
        "note: column TIME: no unit; seconds are assumed",
        "head: Record Length = 4",
    ] {
        assert!(said.lines().any(|own| own == line), "{line} in\n{said}");
    }
    let json = succeed(&folder, &["recording", "waves.csv", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!((&json["format"], &json["samples"]), (&1.into(), &4.into()));
    assert_eq!(json["time"]["even"], true);
    assert_eq!(json["columns"][0]["survey"]["maximum"], 15e-3);
    assert_eq!(json["columns"][0]["last"], serde_json::Value::Null);
    assert_eq!(json["columns"][1]["name"], "D0");

    // What is stated is used; what does not fit is refused with the option.
    write("turns.csv", "1,5\n-1,5\n2,5\n-2,5\n");
    let stated = |more: &[&str]| {
        let arguments = [&["recording", "turns.csv"], more].concat();
        run(&folder, &arguments)
    };
    let all = [
        "--separator",
        "semicolon",
        "--decimal",
        "comma",
        "--channels",
        "2",
    ];
    let output = stated(&[&all[..], &["--interval", "4ns", "--start=-4ns"]].concat());
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("samples: 2, from −4 ns to 0 s"), "{said}");
    assert!(
        said.contains("column channel_2 (no unit): −2.5 to −1.5"),
        "{said}"
    );
    for (more, words) in [
        (
            &["--separator", "bar"][..],
            "--separator bar: not understood; expected comma",
        ),
        (
            &["--decimal", "dot"],
            "--decimal dot: not understood; expected point or comma",
        ),
        (
            &["--channels", "two"],
            "--channels two: not understood; expected a whole number",
        ),
        (
            &["--channels", "0", "--interval", "1s"],
            "channels: expected 1 to 64",
        ),
        (
            &["--channels", "3", "--interval", "1s", "--decimal", "comma"],
            "channels: 4 samples",
        ),
        (
            &["--first-line", "0"],
            "first line: lines are counted from 1",
        ),
        (&["--interval", "4V"], "--interval 4V"),
        (&["--interval", "0s"], "interval: 0 s is no interval"),
        (
            &["--json", "--interval", "1s", "--interval", "2s"],
            "--interval is given twice",
        ),
        (&[], "turns.csv: line 1: the comma in \"1,5\""),
        (&["--scheme", "none"], "--scheme"),
        (&["turns.csv"], "turns.csv"),
    ] {
        let output = stated(more);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{more:?}: {said}");
        assert!(
            output.stdout.is_empty() && said.contains(words),
            "{more:?}: {said}"
        );
    }
    for missing in [
        &["recording"][..],
        &["recording", "nowhere.csv"],
        &["recording", "."],
    ] {
        assert_eq!(run(&folder, missing).status.code(), Some(2));
    }
    // A name that turns the direction of text or clears the screen is shown, not done.
    write("name.csv", "t (s),u\u{1b}[2J\u{202e}\n0,1\n1,2\n2,3\n");
    let said = succeed(&folder, &["recording", "name.csv"]);
    assert!(said.contains("column u\\u{1b}[2J\\u{202e} ("), "{said}");
    let json = succeed(&folder, &["recording", "name.csv", "--json"]);
    assert!(!json.contains(['\u{1b}', '\u{202e}']));
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["columns"][0]["name"], "u\u{1b}[2J\u{202e}");
}

/// What the head states is held against the samples, and the error carries both.
#[test]
fn a_contradiction_names_both_values() {
    let refused = read("Sample Interval,2e-9\nt (s),u\n0,1\n1e-9,2\n2e-9,3\n").unwrap_err();
    let RecordingError::Contradiction {
        what,
        stated,
        found,
    } = &refused
    else {
        panic!("{refused}");
    };
    assert_eq!((*what, *stated), (Key::Interval, 2e-9));
    assert!((found - 1e-9).abs() < 1e-18);
    let said = refused.to_string();
    assert!(
        said.contains("stated as 2 ns, but the samples have 1 ns"),
        "{said}"
    );
}
