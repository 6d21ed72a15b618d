//! The same samples in many forms, and heads of many kinds.

use slewbook::recording::{Encoding, Options, Recording};

use super::{assert_record, read};

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
