//! Damage and contradictions are refused, gaps and clipping told.

use slewbook::recording::{Key, Options, Recording, RecordingError, TimeSource};

use super::read;
use crate::support::Random;

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
        ("u (V)", "u \r(V)", "line 1: a carriage return"),
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

/// How a record to be damaged is written: what stands between cells, whether in
/// quotation marks, and whether with decimal commas.
#[derive(Clone, Copy)]
struct Form {
    separator: &'static str,
    quoted: bool,
    comma: bool,
}

impl Form {
    const ALL: [Self; 5] = [
        Self::of(",", false, false),
        Self::of(";", false, true),
        Self::of("\t", false, true),
        Self::of(",", true, false),
        Self::of(",", true, true),
    ];

    const fn of(separator: &'static str, quoted: bool, comma: bool) -> Self {
        Self {
            separator,
            quoted,
            comma,
        }
    }

    fn line(self, cells: [&str; 2]) -> String {
        let cells = cells.map(|cell| {
            let cell = if self.comma {
                cell.replace('.', ",")
            } else {
                cell.to_owned()
            };
            if self.quoted {
                format!("\"{cell}\"")
            } else {
                cell
            }
        });
        cells.join(self.separator) + "\n"
    }

    /// The number in a cell.
    fn number(self, cell: &str) -> Option<f64> {
        let cell = cell.trim();
        if self.comma && !cell.contains('.') {
            cell.replacen(',', ".", 1).parse().ok()
        } else {
            cell.parse().ok()
        }
    }

    /// The cells of a line of samples; what is in quotation marks is one.
    fn cells(self, line: &str) -> Vec<String> {
        let mut inside = false;
        let between = |c: char| {
            inside ^= c == '"';
            !inside && self.separator.contains(c)
        };
        let bare = |cell: &str| cell.replace('"', "").trim().to_owned();
        line.split(between).map(bare).collect()
    }
}

/// Two hundred records, each damaged at places drawn by lot. What is accepted has the
/// samples that the damaged text has, read line by line.
#[test]
fn random_damage_never_panics_and_is_never_read_wrongly() {
    let mut random = Random(20_26);
    let (mut refused, mut compared) = (0, 0);
    for _ in 0..200 {
        let count = 5 + random.below(60);
        let form = *random.pick(&Form::ALL);
        let rows: String = (0..count)
            .map(|k| form.line([&format!("{k}.0E-06"), &format!("{}.25", random.below(100))]))
            .collect();
        let head = [
            ["Record Length", &count.to_string()],
            ["Sample Interval", "1.0E-06"],
            ["time", "u (V)"],
        ];
        let head = head.map(|cells| form.line(cells)).concat();
        let mut bytes = (head + &rows).into_bytes();
        for _ in 0..=random.below(5) / 3 {
            damage(&mut bytes, &mut random);
        }
        match Recording::read(&bytes, &Options::default()) {
            Err(error) => {
                refused += 1;
                assert!(!error.to_string().is_empty());
            }
            Ok(found) => compared += usize::from(compare(&bytes, &found, form)),
        }
    }
    assert!(
        refused > 60 && compared > 20,
        "{refused} refused, {compared} compared"
    );
}

/// Removes, adds or changes a byte, cuts the end off or exchanges two lines.
fn damage(bytes: &mut Vec<u8>, random: &mut Random) {
    if bytes.is_empty() {
        return;
    }
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
            *bytes = lines.concat();
        }
    }
}

/// That the cells of the lines are the values; says whether the column was found, since
/// a damaged name is shown as it stands.
fn compare(bytes: &[u8], found: &Recording, form: Form) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let lines = text.lines().skip(found.dialect.first_line - 1);
    let lines: Vec<&str> = lines.filter(|line| !line.is_empty()).collect();
    assert_eq!(lines.len(), found.table.rows(), "{text}");
    let Some(values) = found.table.column("u") else {
        return false;
    };
    assert_eq!(values.unit(), "V", "{text}");
    let times = &found.table.columns()[0];
    for (row, line) in lines.iter().enumerate() {
        let cells = form.cells(line);
        let number = |k: usize| cells.get(k).and_then(|cell| form.number(cell));
        let own = number(1).filter(|v| v.is_finite());
        assert_eq!(values.get(row), own, "{line} in\n{text}");
        if found.axis.source == TimeSource::Column {
            assert_eq!(times.get(row), number(0), "{line} in\n{text}");
        }
    }
    true
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
