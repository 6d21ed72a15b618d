//! Rows that the library's own converter formulas reproduce, on stages built for
//! the example: two levels, constant capacitance, the clamp as the decay's path.

use std::f64::consts::PI;

use slewbook::equation::{Derivation, Term};
use slewbook::quantity::{Current, Dimensioned, Inductance, Ratio, Voltage};
use slewbook::stage::{Specification, Stage};
use slewbook::{cycle, edge, freewheel, limit};

use super::Results;
use super::row::{Row, value};
use crate::support::specification_with;

/// What an example fixes; the rest stays out of the way.
#[derive(Clone, Copy)]
struct Example {
    levels: u8,
    input: f64,
    output: f64,
    current: f64,
    frequency: f64,
    inductance: f64,
    capacitance: f64,
    resistance: f64,
    drop: f64,
    margin: f64,
}

const PLAIN: Example = Example {
    levels: 2,
    input: 10.0,
    output: 4.0,
    current: 1.0,
    frequency: 1e5,
    inductance: 1e-6,
    capacitance: 1e-10,
    resistance: 0.01,
    drop: 0.0,
    margin: 1.0,
};

impl Example {
    fn stage(self) -> Stage {
        let quoted = |value: f64, unit: &str| format!("\"{value:e} {unit}\"");
        let nothing = "{ constant = \"0 pF\" }";
        let text = specification_with(&[
            ("stage.levels", &self.levels.to_string()),
            ("input.voltage", &quoted(self.input, "V")),
            ("output.voltage", &quoted(self.output, "V")),
            ("output.current", &quoted(self.current, "A")),
            ("stage.switching_frequency", &quoted(self.frequency, "Hz")),
            ("stage.node_capacitance", &quoted(self.capacitance, "F")),
            ("clamp.resistance", &quoted(self.resistance, "ohm")),
            ("clamp.drop", &quoted(self.drop, "V")),
            // The loop of the examples has the one resistance.
            ("inductor.resistance", "\"0 ohm\""),
            ("clamp.output_capacitance", nothing),
            ("transistors.high.output_capacitance", nothing),
            ("transistors.low.output_capacitance", nothing),
            ("trip.margin", &format!("{:?}", self.margin)),
            ("trip.delay", "\"0 ns\""),
        ]);
        let specification = Specification::read(&text).unwrap();
        Stage::new(
            specification,
            Inductance::from_coherent(self.inductance),
            "example",
        )
    }
}

fn of<Q: Dimensioned>(derivation: &Derivation<Q>) -> f64 {
    derivation.value().unwrap().coherent()
}

fn ampere(name: &str, value: f64) -> Term<Current> {
    Term::input(
        name,
        "current of the example",
        Current::from_coherent(value),
    )
}

/// The rows of this module: id, the formulas exercised, the computation.
pub const ROWS: &[(&str, &[&str], fn(&Row) -> Results)] = &[
    (
        "hart-2011-minimum-inductance",
        &["inductance_boundary"],
        minimum_inductance,
    ),
    (
        "hart-2011-dcm-conversion",
        &["peak_current", "on_time"],
        discontinuous,
    ),
    (
        "erickson-2020-hart-circuit",
        &["peak_current", "on_time"],
        discontinuous_ratio,
    ),
    (
        "rashid-2014-buck-filter",
        &["inductance_boundary"],
        buck_filter,
    ),
    (
        "meynard-foch-1992-levels",
        &["transistor_blocking_voltage", "inductance_boundary"],
        levels,
    ),
    (
        "meynard-foch-1992-capacitor-ripple",
        &["flying_ripple"],
        flying_ripple,
    ),
    (
        "lei-2017-seven-levels",
        &[
            "transistor_blocking_voltage",
            "clamp_blocking_voltage_start",
        ],
        seven_levels,
    ),
    ("marxgut-2014-negative-valley", &[], negative_valley),
    (
        "marxgut-2014-clamped-start",
        &["freewheel_floor", "rise_time", "reached_voltage"],
        clamped_start,
    ),
    (
        "marxgut-2014-demagnetisation-limits",
        &["demagnetisation_time"],
        demagnetisation,
    ),
    (
        "openstax-up2-lc-example",
        &["freewheel_floor", "rise_time"],
        lc_exchange,
    ),
    (
        "application-report-full-bridge-tank-quarter-period",
        &["rise_time"],
        tank,
    ),
    ("openstax-cp-rl-decay", &["clamp_on_current"], rl_decay),
    (
        "openstax-up2-rl-shorted-inductor",
        &["clamp_on_current"],
        rl_shorted,
    ),
];

fn minimum_inductance(row: &Row) -> Results {
    let (v_in, v_out, f) = (row.v("V_in"), row.v("V_out"), row.v("f_sw"));
    let current = v_out / row.v("R");
    let stage = Example {
        input: v_in,
        output: v_out,
        current,
        frequency: f,
        ..PLAIN
    }
    .stage();
    let least = of(&limit::boundary(&stage));
    let inductance = least * row.v("L_over_L_min");
    let duty = v_out / v_in;
    let swing = (v_in - v_out) * duty / (inductance * f);
    // Charge above the mean, as the library's output ripple has it.
    let charge = swing / 8.0 / f;
    vec![
        ("D", duty),
        ("L_min", least),
        ("L", inductance),
        ("delta_i_L", swing),
        ("I_max", current + swing / 2.0),
        ("I_min", current - swing / 2.0),
        ("I_L_rms", (current * current + swing * swing / 12.0).sqrt()),
        ("I_C_rms", swing / 12.0_f64.sqrt()),
        ("C", charge / (row.v("delta_V_out_ratio") * v_out)),
    ]
}

/// The conversion ratio in discontinuous conduction, in the expression core.
pub fn conversion(duty: Term<Ratio>, k: Term<Ratio>) -> Term<Ratio> {
    2.0 / (1.0 + (1.0 + 4.0 * k / duty.squared()).sqrt())
}

/// The cell without capacitance and without freewheel current is a plain stage in
/// discontinuous conduction. Gives the on- and the release time and the peak.
fn plain_cell(row: &Row, ratio: f64) -> (f64, f64, f64) {
    let output = ratio * row.v("V_in");
    let stage = Example {
        input: row.v("V_in"),
        output,
        current: output / row.v("R"),
        frequency: row.v("f_sw"),
        inductance: row.v("L"),
        capacitance: 1e-18,
        ..PLAIN
    }
    .stage();
    let cell = cycle::cell(&stage, ampere("I_set", 1e-4));
    let peak = of(&cycle::peak_current(&stage, ampere("I_set", 1e-4)));
    let on = cell.on_time.value().unwrap().coherent();
    (on, cell.release_time.value().unwrap().coherent(), peak)
}

fn ratio_of(row: &Row) -> (f64, f64) {
    let k = 2.0 * row.v("L") * row.v("f_sw") / row.v("R");
    let k_term = super::row::input("K", k);
    (k, value(conversion(row.n("D"), k_term)))
}

fn discontinuous(row: &Row) -> Results {
    let (_, ratio) = ratio_of(row);
    let (on, release, _) = plain_cell(row, ratio);
    let f = row.v("f_sw");
    // The book's duty comes out of the library's cell at the book's output.
    assert!((on * f / row.v("D") - 1.0).abs() < 1e-3, "{on}");
    vec![
        ("D_1", release * f),
        ("V_out", ratio * row.v("V_in")),
        ("D_plus_D_1", (on + release) * f),
    ]
}

fn discontinuous_ratio(row: &Row) -> Results {
    let (k, ratio) = ratio_of(row);
    let (_, _, peak) = plain_cell(row, ratio);
    vec![
        ("K", k),
        ("K_critical", 1.0 - row.v("D")),
        ("M", ratio),
        ("I_pk", peak),
    ]
}

fn buck_filter(row: &Row) -> Results {
    let (v_in, v_out, f) = (row.v("V_in"), row.v("V_out"), row.v("f_sw"));
    let current = v_out / row.v("R");
    let stage = Example {
        input: v_in,
        output: v_out,
        current,
        frequency: f,
        ..PLAIN
    }
    .stage();
    let k = v_out / v_in;
    let inductance = (v_in - v_out) * k / (f * row.v("delta_i_L"));
    vec![
        ("k", k),
        ("L", inductance),
        ("C", row.v("delta_i_L") / (8.0 * f * row.v("delta_V_c"))),
        ("L_critical", of(&limit::boundary(&stage))),
        ("C_critical", (1.0 - k) / (16.0 * inductance * f * f)),
    ]
}

fn levels(row: &Row) -> Results {
    let at = |output: f64| {
        Example {
            levels: 3,
            input: row.v("V_in"),
            output,
            ..PLAIN
        }
        .stage()
    };
    let (low, high) = (at(11.0), at(33.0));
    let level = |term: Term<Voltage>| term.value().unwrap().coherent();
    assert_eq!(
        level(low.V_hi).to_bits(),
        of(&limit::transistor_blocking(&low)).to_bits()
    );
    // Near the level the boundary inductance vanishes with the step.
    let near = of(&limit::boundary(&at(level(low.V_hi) - 1e-6)));
    assert!(near < 1e-6 * of(&limit::boundary(&low)), "{near}");
    let null = level(low.V_hi) / row.v("V_in");
    vec![
        ("level_1", level(low.V_hi)),
        ("level_2", level(high.V_hi)),
        ("D_null", null),
    ]
}

fn flying_ripple(row: &Row) -> Results {
    // The middle band of four levels, with the same cell T as the row's three.
    let pairs = row.v("levels") - 1.0;
    let stage = Example {
        levels: 4,
        input: 30.0,
        output: 15.0,
        current: row.v("I_out"),
        frequency: row.v("f_sw") * pairs / 3.0,
        inductance: 1e-7,
        ..PLAIN
    }
    .stage();
    let ripple = limit::flying_ripple(&stage, ampere("I_set", 1.0), row.q("C"));
    vec![("delta_V", of(&ripple.unwrap()))]
}

fn seven_levels(row: &Row) -> Results {
    let stage = Example {
        levels: 7,
        input: row.v("V_in"),
        output: 0.4 * row.v("V_in"),
        frequency: row.v("f_sw"),
        ..PLAIN
    }
    .stage();
    let cell = of(&limit::transistor_blocking(&stage));
    assert_eq!(
        cell.to_bits(),
        of(&limit::clamp_blocking_start(&stage)).to_bits()
    );
    vec![
        ("V_cell", cell),
        ("f_node", 1.0 / stage.T.value().unwrap().coherent()),
    ]
}

fn impedance(row: &Row) -> f64 {
    let root = (row.q::<Inductance>("L") / row.q::<slewbook::quantity::Capacitance>("C")).sqrt();
    root.value().unwrap().coherent()
}

fn negative_valley(row: &Row) -> Results {
    let (v_in, v_out, l, c) = (row.v("V_in"), row.v("V_out"), row.v("L"), row.v("C"));
    let stage = Example {
        input: v_in,
        output: v_out,
        inductance: l,
        capacitance: c,
        ..PLAIN
    }
    .stage();
    let energy = stage.work(stage.V_lo, stage.V_hi);
    let least = (2.0 * energy / stage.L).sqrt().value().unwrap().coherent();
    let z = impedance(row);
    let amplitude = v_out.hypot(z * least);
    let root = (l * c).sqrt();
    let peak = root * (PI / 2.0 + (v_out / amplitude).asin());
    vec![
        ("Z", z),
        ("I_0", least),
        ("amplitude", amplitude),
        ("t_peak", peak),
        ("t_quarter", root * PI / 2.0),
    ]
}

fn clamped_start(row: &Row) -> Results {
    let a = row.v("a");
    let stage = Example {
        input: 48.0,
        output: 48.0 - a,
        inductance: row.v("L"),
        capacitance: row.v("C"),
        ..PLAIN
    }
    .stage();
    let floor = of(&freewheel::floor(&stage));
    let rise = of(&edge::rise_time(&stage, ampere("I_h", 1.2 * floor)));
    let reached = of(&edge::reached_voltage(&stage, ampere("I_h", 0.9 * floor)));
    vec![
        ("I_min", floor),
        ("t_r", rise),
        ("residual", 48.0 - reached),
    ]
}

fn demagnetisation(row: &Row) -> Results {
    // Ten times the row's small resistance: its rounding and its effect are then both below the
    // tolerance. The time to demagnetise starts from the clamp current, here 2 A: after a cell
    // of 1 us this much is left, which the capacitance makes the floor.
    let (l, i, drop) = (row.v("L"), row.v("I"), row.v("V_c"));
    let time = |resistance: f64, cell: f64| {
        let left = (i + drop / resistance) * (-resistance * cell / l).exp() - drop / resistance;
        let example = Example {
            frequency: 1.0 / cell,
            inductance: l,
            capacitance: l * (left / (PLAIN.input - PLAIN.output)).powi(2),
            resistance,
            drop,
            ..PLAIN
        };
        of(&freewheel::demagnetisation_time(&example.stage()).unwrap())
    };
    vec![
        ("t_0_small", time(row.v("R_small") * 10.0, 1e-6)),
        ("t_0_equal", time(row.v("R_equal"), 1e-6)),
    ]
}

fn lc_exchange(row: &Row) -> Results {
    let step = row.v("q_0") / row.v("C");
    let stage = Example {
        output: PLAIN.input - step,
        inductance: row.v("L"),
        capacitance: row.v("C"),
        ..PLAIN
    }
    .stage();
    let floor = of(&freewheel::floor(&stage));
    let quarter = of(&edge::rise_time(
        &stage,
        ampere("I_h", floor * (1.0 + 1e-9)),
    ));
    let root = (row.v("L") * row.v("C")).sqrt();
    vec![
        ("omega", 1.0 / root),
        ("I_0", floor),
        ("T", 2.0 * PI * root),
        ("t_quarter", quarter),
    ]
}

fn tank(row: &Row) -> Results {
    let stage = Example {
        inductance: row.v("L_S"),
        capacitance: 2.0 * row.v("C_oss_avg"),
        ..PLAIN
    }
    .stage();
    let floor = of(&freewheel::floor(&stage));
    let quarter = of(&edge::rise_time(
        &stage,
        ampere("I_h", floor * (1.0 + 1e-9)),
    ));
    vec![("f_R", 0.25 / quarter), ("t_quarter", quarter)]
}

/// What a clamp of resistance `r` leaves of a current after a time: the clamp-on
/// current over the freewheel current it provides, turned round.
fn left_after(time: f64, l: f64, r: f64) -> f64 {
    let stage = Example {
        frequency: 1.0 / time,
        inductance: l,
        resistance: r,
        ..PLAIN
    }
    .stage();
    of(&freewheel::floor(&stage)) / of(&freewheel::clamp_on_current(&stage))
}

fn rl_decay(row: &Row) -> Results {
    let (l, r, start) = (row.v("L"), row.v("R"), row.v("I_0"));
    let after = |name: &str| start * left_after(row.v(name), l, r);
    vec![
        ("tau", l / r),
        ("I_1", after("t_1")),
        ("I_2", after("t_2")),
        ("I_3", after("t_3")),
    ]
}

fn rl_shorted(row: &Row) -> Results {
    let (l, r) = (row.v("L"), row.v("R"));
    let start = row.v("V") / r;
    let left = start * left_after(row.v("t"), l, r);
    vec![("I_0", start), ("I", left), ("V_R", left * r)]
}
