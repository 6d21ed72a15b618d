//! Heads that say the same otherwise, or what cannot be: each is read to the right
//! samples or refused with its reason.

use super::read;

/// What has to come of a record: names with units, and the values of the last row,
/// time included.
struct Expected {
    columns: &'static [&'static str],
    last: &'static [f64],
}

fn assert_read(text: &str, expected: &Expected) {
    let found = read(text).unwrap_or_else(|error| panic!("{text}\n{error}"));
    let columns = found.table.columns().iter();
    let names: Vec<String> = columns
        .clone()
        .map(|column| format!("{} {}", column.name(), column.unit()))
        .collect();
    assert_eq!(names, expected.columns, "{text}");
    let rows = found.table.rows();
    for (column, expected) in columns.zip(expected.last) {
        let value = column.get(rows - 1).unwrap_or(f64::NAN);
        let near = (value - expected).abs() <= 1e-12 * expected.abs();
        assert!(near, "{text}: {value}, not {expected}");
    }
}

#[test]
fn names_and_units_stand_where_they_may() {
    let volts: &[&str] = &["time s", "u V"];
    let two: &[&str] = &["time s", "u V", "i A"];
    for (text, columns, last) in [
        // Units in the names and once more below them, and in a row of their own.
        ("t (s),u (V)\ns,V\n0,1\n1,2\n2,3\n", volts, &[2.0, 3.0][..]),
        ("t,u\n(ms),(mV)\n\n0,1\n1,2\n2,3\n", volts, &[2e-3, 3e-3]),
        ("Time (Sec),u (Volts)\n0,1\n1,2\n2,3\n", volts, &[2.0, 3.0]),
        (
            "Time (uS);u (V)\n0;1,5\n1;2,5\n2;3,5\n",
            volts,
            &[2e-6, 3.5],
        ),
        (
            "min,V\n0,1\n1,2\n2,3\n",
            &["time s", "column_2 V"],
            &[120.0, 3.0],
        ),
        ("ms,mV\nt,u\n0,1\n1,2\n2,3\n", volts, &[2e-3, 3e-3]),
        // Empty cells at the end of every line, rules, and a line of nothing.
        ("t (s),u (V),,\n0,1,,\n1,2,,\n2,3,,\n", volts, &[2.0, 3.0]),
        (
            "t (s),u (V)\n-----,-----\n0,1\n1,2\n2,3\n",
            volts,
            &[2.0, 3.0],
        ),
        ("t (s),u (V)\n,\n0,1\n1,2\n2,3\n", volts, &[2.0, 3.0]),
        // Line ends of two kinds, and a carriage return alone.
        ("t (s),u (V)\r0,1\r1,2\r2,3\r", volts, &[2.0, 3.0]),
        ("t (s),u (V)\r\n0,1\n1,2\r\n2,3\n", volts, &[2.0, 3.0]),
        // Lines that are marked as no samples.
        (
            "# dt = 1 ms\n# t (ms), u (V)\n0,1\n1,2\n2,3\n",
            volts,
            &[2e-3, 3.0],
        ),
        (
            "% invented\n% t (s) u (V)\n0 1\n1 2\n2 3\n",
            volts,
            &[2.0, 3.0],
        ),
        ("; dt: 1 ms\n; u (V)\n1\n2\n3\n", volts, &[2e-3, 3.0]),
        ("sep=;\nt (s);u (V)\n0;1\n1;2\n2;3\n", volts, &[2.0, 3.0]),
        // Tabs among spaces, and a decimal comma between spaces.
        (
            "t (s) \t u (V) \n 0 \t 1.5 \n 1 \t 2.5 \n 2 \t 3.5 \n",
            volts,
            &[2.0, 3.5],
        ),
        ("t/s u/V\n0,0 1,5\n0,5 2,5\n1,0 3,5\n", volts, &[1.0, 3.5]),
        // Time zero between two samples.
        (
            "dt,1e-3\nZero Index,-0.0005\nu (V)\n1\n2\n3\n",
            volts,
            &[2.0005e-3, 3.0],
        ),
        ("dt,1 s\nt (s),u (V)\n5,1\n", volts, &[5.0, 1.0]),
        (
            "Start,-1,ms\nIncrement,1,us\nu,i\nV,A\n1,2\n2,3\n3,4\n",
            two,
            &[-998e-6, 3.0, 4.0],
        ),
        // Two channels whose units stand in the head, one for each.
        (
            "Vertical Units,mV,A\nSample Interval,1 ms,1 ms\nCH1,CH2\n1,2\n2,3\n3,4\n",
            &["time s", "CH1 V", "CH2 A"],
            &[2e-3, 3e-3, 4.0],
        ),
        // A letter in brackets that counts channels, brackets that are part of a name, and
        // a unit in the middle of one.
        (
            "t (s),channel (A),channel (B)\n0,5,6\n1,6,7\n2,7,8\n",
            &["time s", "channel (A) 1", "channel (B) 1"],
            &[2.0, 7.0, 8.0],
        ),
        (
            "t (s),voltage (node) (V),current (mA) inductor\n0,5,6\n1,6,7\n2,7,8\n",
            &["time s", "voltage (node) V", "current inductor A"],
            &[2.0, 7.0, 8e-3],
        ),
        (
            "t (s),u,u\n0,5,6\n1,6,7\n2,7,8\n",
            &["time s", "u 1", "u_2 1"],
            &[2.0, 7.0, 8.0],
        ),
        ("t (s),u (V),i (A)\n0,5,\n1,6,\n2,7,\n", volts, &[2.0, 7.0]),
        (
            "\"t (s)\";\"u; node (V)\"\n\"0\";\"1\"\n\"1\";\"2\"\n\"2\";\"3\"\n",
            &["time s", "u; node V"],
            &[2.0, 3.0],
        ),
    ] {
        assert_read(text, &Expected { columns, last });
    }
}

/// What instruments write where they have no value is none.
#[test]
fn a_value_out_of_range_is_none() {
    let found =
        read("t (s),u (V)\n0,1\n1,9.9E+37\n2,-9.9E+37\n3,INF\n4,NaN\n5,OVLD\n6,\n7,---\n8,2\n")
            .unwrap();
    let survey = found.surveys[0].as_ref().unwrap();
    assert_eq!(
        (survey.minimum, survey.maximum, survey.without_value),
        (1.0, 2.0, 7)
    );
}

/// What is not understood or not exact is told.
#[test]
fn what_is_kept_as_written_is_told() {
    for (text, note) in [
        (
            "t (s),u (mv)\n0,1\n1,2\n2,3\n",
            "\"mv\" is no unit that is converted",
        ),
        (
            "t (s),u (°F)\n0,1\n1,2\n2,3\n",
            "in \"°F\", which is no unit that is converted",
        ),
        (
            "t (s),u (V),i (A)\n0,5,\n1,6,\n2,7,\n",
            "column i (A): without any value",
        ),
        (
            "timestamp (s),u (V)\n1772000000.001,1\n1772000000.002,2\n",
            "so far from zero",
        ),
        (
            "t (s)\tu (V)\n1\t1,234\n2\t2,345\n3\t3,456\n",
            "every comma has three figures",
        ),
        ("t (s),u (V)\n0,1\n1,2\n2,3.", "may be cut off"),
        ("dt,1\nu (V)\n0\n1\n2\n", "the start is not stated"),
    ] {
        let notes = read(text)
            .unwrap_or_else(|error| panic!("{text}\n{error}"))
            .notes;
        assert!(
            notes.iter().any(|own| own.contains(note)),
            "{text}: {notes:?}"
        );
    }
}

#[test]
fn what_cannot_be_a_record_is_refused_with_its_reason() {
    for (text, reason) in [
        ("", "no lines of numbers"),
        ("\n\n", "no lines of numbers"),
        ("t (s),u (V)\n", "no lines of numbers"),
        ("t (s),u (V)\n0,1\n", "nothing says when"),
        // Numbers in ways that are not read, dates, and units in the cells.
        (
            "t (s),u (V)\n0,\"1,234.5\"\n1,\"2,345.5\"\n2,\"3,456.5\"\n",
            "no lines of numbers",
        ),
        (
            "t (s);u (V)\n0;1.234,5\n1;2.345,5\n2;3.456,5\n",
            "no lines of numbers",
        ),
        (
            "t (s);u (V)\n0,0;1.5\n0,5;2.5\n1,0;3.5\n",
            "no lines of numbers",
        ),
        (
            "time,u\n2026-03-01 10:00:00,1\n2026-03-01 10:00:01,2\n",
            "dates and times of day",
        ),
        ("t,u\n0 s,1 V\n1 s,2 V\n2 s,3 V\n", "no lines of numbers"),
        // Time that stands still or goes back.
        (
            "t (s),u (V)\n2,1\n1,2\n0,3\n",
            "line 3: time goes from 2 s to 1 s",
        ),
        (
            "t (s),u (V)\n1,1\n1,2\n1,3\n",
            "line 3: time goes from 1 s to 1 s",
        ),
        (
            "dt,1 ms\nstart,0\nzero index,50\nu (V)\n1\n2\n3\n",
            "time of the first sample twice, as 0 s and as −50 ms",
        ),
        // Units that contradict each other or are none of time.
        (
            "t (s),u (V)\nms,mV\n0,1\n1,2\n2,3\n",
            "column t: the unit is \"s\"",
        ),
        (
            "Horizontal Units,weeks\ntime,u\n0,1\n1,2\n2,3\n",
            "\"weeks\" is no unit of time",
        ),
        (
            "time (V),u (V)\n0,1\n1,2\n2,3\n",
            "column time: \"V\" is no unit of time",
        ),
        (
            "Horizontal Units,ms\nSample Interval,4\nu (V)\n1\n2\n3\n",
            "Sample Interval: \"4\" cannot be read; expected a value with its unit",
        ),
        (
            "Vertical Units,V,A,W\ntime (s),u,i\n0,1,2\n1,2,3\n2,3,4\n",
            "expected one unit, or one for each column",
        ),
        (
            "dt,1 us,2 us\nu (V),i (A)\n1,2\n2,3\n3,4\n",
            "sample interval twice",
        ),
        ("dt,-1e-3\nu (V)\n1\n2\n3\n", "expected a time above zero"),
        // A column more or less than names.
        (
            "t (s),u (V),i (A)\n0,1\n1,2\n2,3\n",
            "line 1: 3 names where the samples have 2",
        ),
        (
            "t (s),u (V)\n0,1,5\n1,2,6\n2,3,7\n",
            "line 1: \"t (s) u (V)\" above the samples",
        ),
        (
            "t (s),u (V)\n0,0,1,5\n0,5,2,5\n1,0,3,5\n",
            "does not name their 4 columns",
        ),
        // What stands among the samples or below them.
        ("t (s),u (V)\n0,1\n# here\n1,2\n2,3\n3,4\n", "line 3"),
        ("t (s),u (V)\n0,1\n1,2\n2,3\nthe end\n", "line 5"),
        ("t (s),u (V)\n0,1\n1,2\n2,3\n\nsamples,3\n", "line 5"),
        (
            "t (s),u (V)\n0,1\n1,2\n2,3\n\nt (s),u (V)\n0,1\n1,2\n",
            "line 5",
        ),
        ("t (s),u (V)\n0,1\n1,2\n,\n2,3\n3,4\n4,5\n", "line 4"),
        ("t (s),u (V)\n0,1\n1,\"2\n2,3\n3,4\n", "line 3"),
        ("t\0,u\n0,1\n", "line 1: a zero byte"),
    ] {
        let refused = read(text).expect_err(text).to_string();
        assert!(refused.contains(reason), "{text}: {refused}");
    }
}
