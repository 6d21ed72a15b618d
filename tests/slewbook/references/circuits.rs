//! Circuit rows without a formula of their own in the library, as expressions.

use std::f64::consts::PI;

use slewbook::equation::Term;
use slewbook::quantity::{
    Capacitance, Charge, Inductance, Power, Ratio, Resistance, Time, Voltage,
};

use super::Check;
use super::row::{Row, input, numbered, value};
use super::stages::conversion;

pub const ROWS: &[(&str, Check)] = &[
    ("erickson-2020-dcm-conversion-ratio", |r| {
        let pairs = r.list("D").into_iter().zip(r.list("K"));
        numbered(
            "M",
            pairs.map(|(d, k)| value(conversion(input("D", d), input("K", k)))),
        )
    }),
    ("erickson-2020-boundary-continuity", |r| {
        numbered(
            "M",
            r.list("D").into_iter().map(|d| {
                let d = input("D", d);
                value(conversion(d, 1.0 - d))
            }),
        )
    }),
    ("erickson-2020-dcm-small-signal", |r| {
        let (d, res) = (r.n("D"), r.n("R"));
        let m = conversion(d, 2.0 * r.n("L") * r.n("f_sw") / res);
        let out = r.n("V_in") * m;
        let gain = out
            .gradient()
            .unwrap()
            .iter()
            .find(|g| g.0.words() == "input of the row" && g.0.glyph().name() == "D")
            .unwrap()
            .1;
        let pole = (2.0 - m) / (1.0 - m) / (2.0 * PI * (res * r.n("C")));
        vec![("G_d0", gain), ("f_pole", value(pole))]
    }),
    ("hart-2011-ccm-ripple", |r| {
        let (v_in, d, l, f) = (r.n("V_in"), r.n("D"), r.n("L"), r.n("f_sw"));
        let out = v_in * d;
        let mean = out / r.n("R");
        let swing = (v_in - out) * d / (l * f);
        let (a, b) = (v_in - out, out);
        let charge = 0.5 * l * (swing / 2.0).squared() * (1.0 / a + 1.0 / b);
        vec![
            ("V_out", value(out)),
            ("I_L", value(mean)),
            ("delta_i_L", value(swing)),
            ("I_max", value(mean + swing / 2.0)),
            ("I_min", value(mean - swing / 2.0)),
            ("delta_V_out_ratio", value(charge / r.n("C") / out)),
        ]
    }),
    ("rashid-2014-buck-filter-is-discontinuous", |r| {
        let k = 2.0 * r.n("L") * r.n("f_sw") / r.n("R");
        vec![("V_out", value(r.n("V_in") * conversion(r.n("k"), k)))]
    }),
    ("rashid-2014-buck-boost-ripple", |r| {
        let (v, k, f, i) = (r.n("V_in"), r.n("k"), r.n("f_sw"), r.n("I_a"));
        let swing = v * k / (f * r.n("L"));
        let source = i * k / (1.0 - k);
        vec![
            ("V_out", value(-(v * k / (1.0 - k)))),
            ("delta_V_c", value(i * k / (f * r.n("C")))),
            ("delta_i_L", value(swing)),
            ("I_s", value(source)),
            ("I_p", value(source / k + swing / 2.0)),
        ]
    }),
    ("rashid-2014-chopper", |r| {
        let (v, k, res) = (r.n("V_in"), r.n("k"), r.n("R"));
        let on = v - r.n("V_switch");
        let (out, into) = (k * on.squared() / res, k * v * on / res);
        vec![
            ("V_mean", value(k * on)),
            ("V_rms", value(k.sqrt() * on)),
            ("P_out", value(out)),
            ("P_in", value(into)),
            ("efficiency", value(out / into)),
            ("R_in", value(v / (k * on / res))),
        ]
    }),
    ("rashid-2014-interleaved-ripple", |r| {
        let f = r.n("f_sw");
        vec![
            ("f_effective", value(r.n("phases") * f)),
            (
                "delta_i_max",
                value(r.n("V_in") / (4.0 * r.n("phases") * f * r.n("L"))),
            ),
        ]
    }),
    ("rashid-2014-reverse-recovery", |r| {
        let charge = 0.5 * r.n("slope") * r.n("t_rr").squared();
        vec![
            ("Q_rr", value(charge)),
            ("I_rr", value((2.0 * charge * r.n("slope")).sqrt())),
        ]
    }),
    ("openstax-up2-lc-doubled-capacitance", |r| {
        let c = 1.0 / (r.n("omega").squared() * r.n("L"));
        vec![
            ("C", value(c)),
            ("omega_doubled", value(1.0 / (r.n("L") * (2.0 * c)).sqrt())),
        ]
    }),
    ("openstax-up2-lc-small-capacitance", |r| {
        let root: Term<Time> = (r.q::<Inductance>("L") * r.q::<Capacitance>("C")).sqrt();
        vec![("omega", (1.0 / root).value().unwrap().value)]
    }),
    ("openstax-up2-lc-tuner", |r| {
        let at = |f: Term<Ratio>| value(1.0 / ((2.0 * PI * f).squared() * r.n("L")));
        vec![("C_1", at(r.n("f_1"))), ("C_2", at(r.n("f_2")))]
    }),
    ("openstax-up2-lc-charge-and-current", |r| {
        let period = 2.0 * PI * r.n("q_m") / r.n("I_m");
        vec![("T", value(period)), ("t_quarter", value(period / 4.0))]
    }),
    ("openstax-up2-rl-growth", |r| {
        let (v, res) = (r.n("V"), r.n("R"));
        let left = (-r.n("t_over_tau")).exp();
        vec![
            ("tau", value(r.n("L") / res)),
            ("I", value(v / res * (1.0 - left))),
            ("V_L", value(v * left)),
        ]
    }),
    ("openstax-up2-rl-half-and-one-percent-energy", |r| {
        let tau = r.n("L") / r.n("R");
        vec![
            ("t_half", value(-(tau * r.n("current_ratio").ln()))),
            ("t_energy", value(-(tau / 2.0 * r.n("energy_ratio").ln()))),
        ]
    }),
    ("openstax-up2-rl-time-constant-from-half", |r| {
        let tau = r.n("t_half") / input("two", 2.0).ln();
        vec![("tau", value(tau)), ("R", value(r.n("L") / tau))]
    }),
    ("openstax-up2-rl-ninety-percent", |r| {
        let decades = -(1.0 - r.n("ratio")).ln();
        let tau = r.n("t") / decades;
        let l = tau * r.n("R");
        vec![
            ("tau", value(tau)),
            ("L", value(l)),
            ("t_2", value(l / r.n("R_2") * decades)),
        ]
    }),
    ("openstax-cp-rl-fractions", |r| {
        vec![
            ("left_after_one", value((-r.n("n_1")).exp())),
            ("reached_after_three", value(1.0 - (-r.n("n_3")).exp())),
        ]
    }),
    ("openstax-cp-rl-ninety-nine-percent", |r| {
        let tau = r.n("L") / r.n("R");
        vec![
            ("t_exact", value(-(tau * (1.0 - r.n("ratio")).ln()))),
            ("t_five_tau", value(5.0 * tau)),
        ]
    }),
    ("openstax-cp-solenoid-inductance", |r| {
        let area = std::f64::consts::PI * r.v("d") * r.v("d") / 4.0;
        let constant = slewbook::loss::winding::MAGNETIC_CONSTANT;
        vec![("L", constant * r.v("N") * r.v("N") * area / r.v("l"))]
    }),
    ("openstax-cp-capacitor-energy", |r| {
        let (c, v) = (r.q::<Capacitance>("C"), r.q::<Voltage>("V"));
        let charge: Term<Charge> = c * v;
        let curve = slewbook::equation::Curve::constant("C", c.value().unwrap()).unwrap();
        assert_eq!(curve.charge(v.value().unwrap()), charge.value().unwrap());
        vec![
            ("E", curve.energy(v.value().unwrap()).value),
            ("Q", charge.value().unwrap().value),
        ]
    }),
    ("nise-2019-overshoot", |r| {
        numbered(
            "overshoot",
            r.list("zeta").into_iter().map(|zeta| {
                let zeta = input("zeta", zeta);
                value((-(PI * zeta / (1.0 - zeta.squared()).sqrt())).exp())
            }),
        )
    }),
    ("application-note-buck-efficiency-capacitor-rms", |r| {
        let (v, out) = (r.n("V_in"), r.n("V_out"));
        let rms = r.n("I_out") * ((v - out) * out).sqrt() / v;
        vec![
            ("I_C_in", value(rms)),
            ("P_C_in", value(rms.squared() * r.n("R_esr_in"))),
            (
                "P_C_out",
                value(swing(r).squared() / 12.0 * r.n("R_esr_out")),
            ),
            ("P_ic", value(v * r.n("I_cc"))),
        ]
    }),
    ("venable-1983-k-factor", |r| {
        let tan = |angle: Term<Ratio>| angle.sin() / angle.cos();
        let three = |name| value(tan(r.n(name) / 4.0 + PI / 4.0).squared());
        vec![
            ("K_type_2", value(tan(r.n("boost_type_2") / 2.0 + PI / 4.0))),
            ("K_type_3", three("boost_type_3")),
            ("K_type_3b", three("boost_type_3b")),
        ]
    }),
    ("data-sheet-wide-input-controller-filter-corner", |r| {
        let c = r.n("C");
        vec![
            ("f_LC", value(1.0 / (2.0 * PI * (r.n("L") * c).sqrt()))),
            ("f_ESR", value(1.0 / (2.0 * PI * (r.n("R_esr") * c)))),
        ]
    }),
    ("data-sheet-controller-compensation-zeros", |r| {
        vec![("f_Z1", value(r.n("f_res") / 2.0))]
    }),
    ("application-report-full-bridge-power-budget", |r| {
        let efficiency: Term<Ratio> = r.q("efficiency");
        let budget: Term<Power> = r.q::<Power>("P_out") * ((1.0 - efficiency) / efficiency);
        vec![("P_budget", budget.value().unwrap().value)]
    }),
    (
        "application-note-transistor-selection-node-capacitance-ceiling",
        |r| {
            let c: Term<Capacitance> = r.q::<Charge>("product") / r.q::<Voltage>("V_in");
            vec![("C_sw", c.value().unwrap().value)]
        },
    ),
    ("data-sheet-isolated-driver-dead-time-resistor", |r| {
        let resistance = r.q::<Resistance>("R_DT").value().unwrap().value;
        vec![("t_dead", resistance * value(r.n("slope")))]
    }),
    ("application-note-gate-charge-plateau-times", |r| {
        let slew = r.n("R_g") * (r.n("Q_gd") / r.n("V_gd")) * r.n("V_DS");
        let plateau = r.n("V_plateau");
        vec![
            ("t_vf", value(slew / (r.n("V_GS") - plateau))),
            ("t_vr", value(slew / plateau)),
        ]
    }),
];

pub(super) fn duty(r: &Row) -> Term<Ratio> {
    r.n("V_out") / r.n("V_in")
}

pub(super) fn swing(r: &Row) -> Term<Ratio> {
    let (v, out) = (r.n("V_in"), r.n("V_out"));
    (v - out) * out / (v * r.n("L") * r.n("f_sw"))
}
