//! Limits that are quoted with a warning; no verdict of safety is computed from
//! them. Those with a computation are recomputed, the others must read as
//! quantities of the library.

use slewbook::quantity::{Current, Dimensioned, Voltage, parse, parse_temperature};

use super::row::{Row, input, value};
use super::{Check, Results};

pub const ROWS: &[(&str, Check)] = &[
    ("iec-60065-touch-limit", touch),
    ("iec-62368-1-energy-class-limits", |row| {
        let peak = |rms: f64| value(input("U", rms) * input("two", 2.0).sqrt());
        vec![
            ("ES1_peak", peak(row.v("ES1_rms"))),
            ("ES2_peak", peak(row.v("ES2_rms"))),
        ]
    }),
    ("iec-62368-1-touch-temperature", temperatures),
    ("iso-13732-1-bare-metal", temperatures),
];

fn touch(row: &Row) -> Results {
    row.expected
        .iter()
        .map(|e| match e.name.as_str() {
            "V_dc" => ("V_dc", parse::<Voltage>(&e.printed).unwrap().coherent()),
            "V_ac_peak" => (
                "V_ac_peak",
                parse::<Voltage>(&e.printed).unwrap().coherent(),
            ),
            _ => ("I_dc", parse::<Current>(&e.printed).unwrap().coherent()),
        })
        .collect()
}

fn temperatures(row: &Row) -> Results {
    let names = ["T_TS1_plastic", "T_half_second", "T_one_second"];
    row.expected
        .iter()
        .map(|e| {
            let name = names.into_iter().find(|own| *own == e.name).unwrap();
            (name, parse_temperature(&e.printed).unwrap().value)
        })
        .collect()
}
