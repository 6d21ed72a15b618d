//! Rows that the library's own formulas of losses reproduce.

use std::f64::consts::PI;

use slewbook::equation::{Derivation, Term};
use slewbook::loss::{conduction, core, drive, heat, turn_on, winding};
use slewbook::quantity::{
    Charge, Current, Dimensioned, ElectricalResistivity, Frequency, Power, Resistance,
    TemperatureInterval, ThermalResistance, Time, Voltage,
};
use slewbook::stage::{Specification, Stage};

use super::row::{Row, numbered};
use super::{Results, circuits, parts};
use crate::loss_formulas::{input, steinmetz};
use crate::support::specification_with;

type Owned = (&'static str, &'static [&'static str], fn(&Row) -> Results);

pub const ROWS: &[Owned] = &[
    ("erickson-2020-rms-segments", &["trapezoid_rms"], |r| {
        let (one, two) = (r.v("I_1"), r.v("I_2"));
        vec![
            ("rectangle", square(one, one)),
            ("triangle", square(0.0, one)),
            ("trapezoid", square(one, two)),
            // A half sine has no straight lines: its own mean square.
            ("half_sine", one * one / 2.0),
        ]
    }),
    (
        "application-note-buck-efficiency-high-side-conduction",
        &["trapezoid_rms", "conduction_power"],
        |r| vec![("P_high", conducted(r, r.v("R_high"), duty(r)))],
    ),
    (
        "application-note-buck-efficiency-low-side-and-inductor",
        &["trapezoid_rms", "conduction_power"],
        |r| {
            vec![
                ("P_low", conducted(r, r.v("R_low"), 1.0 - duty(r))),
                ("P_inductor", conducted(r, r.v("R_dc"), 1.0)),
            ]
        },
    ),
    (
        "application-note-buck-efficiency-overlap",
        &["overlap_energy"],
        |r| {
            let time = r.q::<Time>("t_r") + r.q::<Time>("t_f");
            let energy = value(&drive::overlap_energy(r.q("V_in"), r.q("I_out"), time));
            vec![("P_overlap", energy * r.v("f_sw"))]
        },
    ),
    (
        "application-note-buck-efficiency-output-capacitance",
        &["turn_on_energy"],
        |r| {
            let stage = hard_stage(r.v("V_in"), r.v("C_high") + r.v("C_low"));
            let ground: Term<Voltage> = input("v_0", "node voltage at turn-on", 0.0);
            vec![(
                "P_oss",
                value(&turn_on::energy(&stage, ground)) * r.v("f_sw"),
            )]
        },
    ),
    (
        "application-note-buck-efficiency-dead-time-and-recovery",
        &["diode_energy", "recovery_energy"],
        |r| {
            let current = r.q::<Current>("I_out");
            let time = r.q::<Time>("t_dead_1") + r.q::<Time>("t_dead_2");
            let dead = value(&drive::diode_energy(r.q("V_F"), current, current, time));
            // The note takes the recovery as a triangle of current: its charge, at the step.
            let charge = input(
                "Q_rr",
                "charge of the triangle",
                r.v("I_rr") * r.v("t_rr") / 2.0,
            );
            let recovery = value(&drive::recovery_energy(charge, r.q("V_in")));
            vec![
                ("P_dead", dead * r.v("f_sw")),
                ("P_rr", recovery * r.v("f_sw")),
            ]
        },
    ),
    (
        "application-note-buck-efficiency-gate",
        &["gate_power"],
        |r| {
            let charge = r.q::<Charge>("Q_g_high") + r.q::<Charge>("Q_g_low");
            vec![(
                "P_gate",
                value(&drive::gate_power(charge, r.q("V_drive"), r.q("f_sw"))),
            )]
        },
    ),
    (
        "application-report-losses-driver-loss",
        &["gate_power"],
        |r| {
            vec![(
                "P_gate",
                value(&drive::gate_power(r.q("Q_g"), r.q("V_drive"), r.q("f_sw"))),
            )]
        },
    ),
    ("dowell-1966-layer-factor", &["layer_factor"], |r| {
        let pairs = r.list("phi").into_iter().zip(r.list("m"));
        numbered("F", pairs.map(|(phi, m)| layer_factor(phi, m)))
    }),
    ("hurley-2000-optimum-foil-exact", &["layer_factor"], |r| {
        let layers = r.list("p").into_iter();
        numbered(
            "F",
            layers.map(|p| layer_factor(super::row::value(parts::optimum(p)), p)),
        )
    }),
    (
        "iec-60028-copper-temperature",
        &["winding_resistance"],
        |r| {
            let rise: Term<TemperatureInterval> =
                input("Delta T", "above 20 °C", r.v("T") - 293.15);
            let ratio = value(&winding::warm_resistance(input("R_20", "cold", 1.0), rise));
            vec![("ratio", ratio), ("rho_100", r.v("rho_20") * ratio)]
        },
    ),
    (
        "skin-depth-web-table-cold-copper",
        &["skin_depth"],
        skin_depths,
    ),
    (
        "skin-depth-web-table-hot-copper",
        &["skin_depth"],
        skin_depths,
    ),
    ("skin-depth-table-100c", &["skin_depth"], skin_depths),
    ("meinke-gundlach-1986-skin-depth", &["skin_depth"], |r| {
        vec![("delta", skin_depth(r.v("rho"), r.v("f")))]
    }),
    (
        "venkatachalam-2002-sinusoid",
        &["core_loss_sinusoidal", "core_loss_triangular"],
        |r| {
            let pairs = r.list("alpha").into_iter().zip(r.list("beta"));
            numbered(
                "ratio",
                pairs.map(|(alpha, beta)| staircase_of_a_sinusoid(alpha, beta)),
            )
        },
    ),
    (
        "venkatachalam-2002-triangle",
        &["core_loss_sinusoidal", "core_loss_triangular"],
        |r| {
            numbered(
                "ratio",
                r.list("alpha").into_iter().map(|alpha| {
                    let (law, half) = (steinmetz(2.0, alpha, 2.5), |name| {
                        input(name, "half a period", 5e-6)
                    });
                    let swing = input("Delta B", "swing", 0.2);
                    let period = input("T", "period", 1e-5);
                    value(&core::triangular(
                        &law,
                        swing,
                        half("t_1"),
                        half("t_2"),
                        period,
                    )) / sinusoid(&law)
                }),
            )
        },
    ),
    ("openstax-cp-solenoid-field", &["flux_swing"], |r| {
        // The inductance of the solenoid, of any area, brings the field with the current.
        let (turns, area) = (r.v("N"), 1e-3);
        let inductance = winding::MAGNETIC_CONSTANT * turns * turns * area / r.v("l");
        let flux = core::flux_swing(
            input("L", "inductance", inductance),
            r.q("I"),
            r.n("N"),
            input("A_e", "area", area),
        );
        vec![("B", value(&flux))]
    }),
    (
        "data-sheet-small-transistor-dissipation",
        &["temperature_rise"],
        dissipation,
    ),
    (
        "data-sheet-two-packages-dissipation",
        &["temperature_rise"],
        dissipation,
    ),
];

fn value<Q: Dimensioned>(derivation: &Derivation<Q>) -> f64 {
    derivation.value().unwrap().coherent()
}

fn duty(r: &Row) -> f64 {
    super::row::value(circuits::duty(r))
}

/// The square of the rms value of a straight line over the whole period.
fn square(from: f64, to: f64) -> f64 {
    let (one, two) = (input("i_1", "start", from), input("i_2", "end", to));
    value(&conduction::trapezoid_rms(one, two, 1.0.into())).powi(2)
}

/// What the ripple current dissipates in a resistance over a part of the period.
fn conducted(r: &Row, resistance: f64, part: f64) -> f64 {
    let (mean, half) = (r.v("I_out"), super::row::value(circuits::swing(r)) / 2.0);
    let rms = conduction::trapezoid_rms(
        input("i_1", "valley", mean - half),
        input("i_2", "peak", mean + half),
        input("d", "part", part),
    );
    let resistance: Term<Resistance> = input("R", "resistance", resistance);
    value(&conduction::power(resistance, rms.term()))
}

/// Two levels and a constant capacitance.
fn hard_stage(input_voltage: f64, capacitance: f64) -> Stage {
    let nothing = "{ constant = \"0 pF\" }";
    let text = specification_with(&[
        ("stage.levels", "2"),
        ("input.voltage", &format!("\"{input_voltage} V\"")),
        ("output.voltage", "\"5 V\""),
        ("stage.node_capacitance", &format!("\"{capacitance:e} F\"")),
        ("clamp.output_capacitance", nothing),
        ("transistors.high.output_capacitance", nothing),
        ("transistors.low.output_capacitance", nothing),
    ]);
    let specification = Specification::read(&text).unwrap();
    Stage::new(
        specification,
        slewbook::quantity::Inductance::from_coherent(1e-6),
        "row",
    )
}

fn layer_factor(thickness: f64, layers: f64) -> f64 {
    let derivation = winding::layer_factor(
        input("phi", "thickness", thickness),
        input("p", "layers", layers),
    );
    if let Ok(factor) = derivation.value() {
        return factor.coherent();
    }
    // Refused where the closed form cancels to nothing; its series does not.
    assert!(thickness < 0.01);
    1.0 + (5.0 * layers * layers - 1.0) / 45.0 * thickness.powi(4)
}

fn skin_depth(resistivity: f64, frequency: f64) -> f64 {
    let resistivity: Term<ElectricalResistivity> = input("rho", "resistivity", resistivity);
    let frequency: Term<Frequency> = input("f", "frequency", frequency);
    value(&winding::skin_depth(resistivity, frequency))
}

fn skin_depths(r: &Row) -> Results {
    numbered(
        "delta",
        r.list("f").into_iter().map(|f| skin_depth(r.v("rho"), f)),
    )
}

/// A sinusoid of 100 kHz and 0.1 T.
fn sinusoid(law: &core::Steinmetz) -> f64 {
    value(&core::sinusoidal(
        law,
        input("f", "frequency", 1e5),
        input("B", "amplitude", 0.1),
    ))
}

/// The generalised method's loss of a sinusoid over the power law's: the loss of its
/// flanks, each of the whole swing's weight, summed over short straight pieces. The
/// library's form has straight flanks only, so a flank of the sinusoid is the limit of
/// many, each with its own part of the time.
fn staircase_of_a_sinusoid(alpha: f64, beta: f64) -> f64 {
    const PIECES: u32 = 20_000;
    let law = steinmetz(2.0, alpha, beta);
    let period = 1e-5;
    let straight = {
        let half = |name| input(name, "half a period", period / 2.0);
        let swing = input("Delta B", "swing", 0.2);
        value(&core::triangular(
            &law,
            swing,
            half("t_1"),
            half("t_2"),
            input("T", "period", period),
        ))
    };
    // Mean of |slope|^alpha of the sinusoid over that of the triangle, whose slope is
    // 4·B·f throughout: by the midpoint rule, whose error falls with PIECES squared.
    let mean = (0..PIECES)
        .map(|k| {
            let angle = PI / 2.0 * (f64::from(k) + 0.5) / f64::from(PIECES);
            (PI / 2.0 * angle.cos()).powf(alpha)
        })
        .sum::<f64>()
        / f64::from(PIECES);
    straight * mean / sinusoid(&law)
}

fn dissipation(r: &Row) -> Results {
    // The power at which the rise is that of the row, without any growth.
    let power = |name: &str| -> f64 {
        let rise = heat::rise(
            input::<ThermalResistance>("R_th", "thermal resistance", r.v(name)),
            input::<Power>("P_0", "loss", 1.0),
            input("I_rms", "none", 0.0),
            input("R_0", "none", 0.0),
            input("s", "none", 0.0),
        );
        r.v("delta_T") / value(&rise)
    };
    vec![("P_1", power("R_theta_1")), ("P_2", power("R_theta_2"))]
}
