//! The steady state against figures from two independent computations: closed
//! forms or quadrature, and event-driven integration of explicit networks of four
//! and six transistors. Lossless ramps, exact edges, release at 0.6 A.

use slewbook::quantity::unit::volt;
use slewbook::timeline::{CellRecord, Settings, steady_state};

use super::stage::{at, plain, with_law};
use crate::support::assert_printed;

struct Row {
    input: f64,
    output: f64,
    law: bool,
    currents: [&'static str; 5],
    durations: [&'static str; 6],
}

const ROWS: [Row; 5] = [
    Row {
        input: 30.0,
        output: 6.0,
        law: false,
        currents: [
            "15.073412864",
            "15.074729890",
            "0.62591110062",
            "0.61933599158",
            "0.55866491051",
        ],
        durations: [
            "9.0153705261",
            "1181.0903207",
            "0.5970082391",
            "1776.4693875",
            "5.8323208496",
            "598.42416358",
        ],
    },
    Row {
        input: 36.0,
        output: 6.0,
        law: false,
        currents: [
            "15.885909245",
            "15.888908290",
            "0.62591110062",
            "0.6176274622",
            "0.50438562483",
        ],
        durations: [
            "12.426703287",
            "928.78337596",
            "0.67971945457",
            "1868.7429396",
            "5.8323208496",
            "754.96351229",
        ],
    },
    Row {
        input: 44.0,
        output: 6.0,
        law: false,
        currents: [
            "16.588602286",
            "16.594452189",
            "0.62591110062",
            "0.61630294958",
            "0.39236076858",
        ],
        durations: [
            "17.788620251",
            "721.69092981",
            "0.79548396618",
            "1948.7045814",
            "5.8323208496",
            "876.61663516",
        ],
    },
    Row {
        input: 44.0,
        output: 6.0,
        law: true,
        currents: [
            "16.587253616",
            "16.594448844",
            "0.63770507994",
            "0.62795326025",
            "0.33001156902",
        ],
        durations: [
            "21.727360199",
            "718.98377037",
            "0.97838464225",
            "1948.7042023",
            "7.7912088246",
            "873.24364513",
        ],
    },
    Row {
        input: 44.0,
        output: 30.0,
        law: true,
        currents: [
            "17.918326026",
            "17.922322883",
            "0.66273007385",
            "0.6502523566",
            "0.44762377176",
        ],
        durations: [
            "17.330998068",
            "892.06041875",
            "0.90582221962",
            "1574.397445",
            "9.6563655402",
            "1077.0775218",
        ],
    },
];

fn currents(cell: &CellRecord) -> [Option<f64>; 5] {
    [
        cell.peak_current,
        cell.current_after_fall,
        cell.clamp_on_current,
        cell.freewheel_current,
        cell.residual_current,
    ]
}

fn durations(cell: &CellRecord) -> [Option<f64>; 6] {
    [
        cell.rise_time,
        cell.on_time,
        cell.fall_time,
        cell.release_time,
        cell.partial_rise_time,
        cell.hold_time,
    ]
}

/// Durations are differences on the simulation's clock, which by then has run
/// for up to 60 µs: twice its unit in the last place is added to half a unit of
/// the last printed digit.
fn assert_duration(value: f64, printed: &str, what: &str) {
    let expected: f64 = printed.parse().unwrap();
    let decimals = printed.split_once('.').map_or(0, |(_, d)| d.len());
    let half = 0.5 * 10f64.powi(-i32::try_from(decimals).unwrap());
    let clock = 2.0 * 60e-6 * f64::EPSILON * 1e9;
    let found = value * 1e9;
    assert!(
        (found - expected).abs() <= half + clock,
        "{what}: {found} ns is not {printed} ns"
    );
}

#[test]
fn steady_state_has_the_check_figures() {
    for row in &ROWS {
        let circuit = if row.law { with_law() } else { plain() };
        let (circuit, point) = at(circuit, row.input * volt, row.output * volt);
        let steady = steady_state(&circuit, point, &Settings::fixed(0.1.into())).unwrap();
        assert_eq!(steady.cells.len(), 2);
        for cell in &steady.cells {
            let what = format!("{} V to {} V, law {}", row.input, row.output, row.law);
            for (value, printed) in currents(cell).into_iter().zip(row.currents) {
                assert_printed(value.unwrap(), printed, 1.0, &what);
            }
            for (value, printed) in durations(cell).into_iter().zip(row.durations) {
                assert_duration(value.unwrap(), printed, &what);
            }
            assert!(cell.turn_on_voltage.unwrap() < 1e-9, "{what}");
        }
    }
}
