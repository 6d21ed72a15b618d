//! Capacitance curves, units, preferred values, and the copper, core and heat of
//! parts, the latter as expressions.

use std::f64::consts::PI;

use slewbook::equation::{Curve, Term};
use slewbook::limit::{Series, at_least, at_most};
use slewbook::quantity::{Capacitance, Charge, Dimensioned, Ratio, Voltage};

use super::row::{Row, coherent, input, numbered, value};
use super::{Check, Results};

pub const ROWS: &[(&str, Check)] = &[
    ("data-sheet-500v-transistor-equivalent-capacitances", |r| {
        let v = r.q::<Voltage>("V").value().unwrap();
        let constant = |name: &str| Curve::constant(name, r.q("C_er").value().unwrap()).unwrap();
        let charge: Term<Charge> = r.q::<Capacitance>("C_tr") * r.q::<Voltage>("V");
        vec![
            ("E_oss", constant("C").energy(v).value),
            ("Q_oss", charge.value().unwrap().value),
            ("ratio", value(r.n("C_tr") / r.n("C_er"))),
        ]
    }),
    (
        "data-sheet-500v-transistor-on-resistance-temperature",
        |r| {
            vec![
                ("factor_typ", value(r.n("R_typ_150") / r.n("R_typ_25"))),
                ("factor_max", value(r.n("R_max_150") / r.n("R_max_25"))),
            ]
        },
    ),
    ("data-sheet-600v-transistor-time-equivalent", |r| {
        let v = 0.8 * r.q::<Voltage>("V_DSS");
        let charge: Term<Charge> = r.q::<Capacitance>("C_eq") * v;
        vec![
            ("V_80", v.value().unwrap().value),
            ("Q", charge.value().unwrap().value),
        ]
    }),
    ("data-sheet-40v-transistor-charge-equivalent", equivalent),
    ("data-sheet-80v-transistor-charge-equivalent", equivalent),
    ("application-report-full-bridge-capacitance-scaling", |r| {
        vec![("C_point", point(r))]
    }),
    (
        "application-report-full-bridge-capacitance-not-equivalent",
        |r| {
            // A junction law whose built-in voltage is next to nothing is the root law.
            let v = r.q::<Voltage>("V").value().unwrap();
            let built_in = 1e-9;
            let zero = r.v("C_spec") * (1.0 + r.v("V_spec") / built_in).sqrt();
            let curve = Curve::law(
                "C",
                Capacitance::from_coherent(zero),
                Voltage::from_coherent(built_in),
                0.5.into(),
                Capacitance::from_coherent(0.0),
            )
            .unwrap();
            let volts = v.value;
            vec![
                ("C_charge", curve.charge(v).value / volts),
                ("C_energy", 2.0 * curve.energy(v).value / volts.powi(2)),
            ]
        },
    ),
    ("rabaey-2003-junction-capacitance", |r| {
        let c = junction(r).capacitance(r.q("V_R").value().unwrap()).value;
        vec![("C_j", c), ("C", c * r.v("area"))]
    }),
    ("rabaey-2003-charge-average", |r| {
        let v = r.q::<Voltage>("V_R").value().unwrap();
        let mean = junction(r).charge(v).value / v.value;
        vec![("K_eq", mean / r.v("C_j0")), ("C_avg", mean)]
    }),
    ("iec-60063-e24-departures", |r| {
        let law = |index: f64| (10.0 * 10f64.powf(index / 24.0)).round();
        numbered(
            "E24",
            r.list("index")
                .into_iter()
                .inspect(|i| series_has(r, *i))
                .map(law),
        )
    }),
    ("iec-60063-e96-law", |r| {
        numbered(
            "E96",
            r.list("index")
                .into_iter()
                .map(|i| (100.0 * value(input("ten", 10.0).power(input("i", i) / 96.0))).round()),
        )
    }),
    ("iec-60063-e192-exception", |r| {
        let power = value(input("ten", 10.0).power(r.n("index") / 192.0));
        vec![("E192", (100.0 * power).round())]
    }),
    ("data-sheet-controller-not-the-nearest", |r| {
        let nearest = |ohms: f64| {
            let list = e96();
            let scale = 1000.0 / 100.0;
            let near = |a: &f64| (a * scale - ohms).abs();
            scale
                * list
                    .into_iter()
                    .min_by(|a, b| near(a).total_cmp(&near(b)))
                    .unwrap()
        };
        vec![
            ("R_10_nearest", nearest(r.v("R_10"))),
            ("R_6_nearest", nearest(r.v("R_6"))),
        ]
    }),
    ("codata-2022-magnetic-constant", |_| {
        vec![("mu_0", 1.256_637_061_272_554_3e-6)]
    }),
    ("codata-2022-not-four-pi", |r| {
        vec![("mu_0_old", value(PI * r.n("four_pi")))]
    }),
    ("codata-2022-derived", |r| {
        let (c, mu) = (r.n("c"), r.n("mu_0"));
        vec![
            ("epsilon_0", value(1.0 / (mu * c.squared()))),
            ("Z_0", value(mu * c)),
        ]
    }),
    ("si-brochure-prefix-powers", |r| {
        vec![
            ("volume", r.v("volume")),
            ("rate", r.v("rate")),
            ("field", r.v("field")),
        ]
    }),
    ("nist-sp-811-calorie", |r| {
        vec![("ratio", value(r.n("btu") / r.n("calorie")))]
    }),
    ("nist-sp-811-conversions", |r| {
        vec![
            (
                "circular_mil",
                value(PI / 4.0 * (r.n("inch") / 1000.0).squared()),
            ),
            ("oersted", value(1000.0 / (4.0 * input("pi", PI)))),
            (
                "ounce_per_square_foot",
                value(r.n("pound") / 16.0 / r.n("foot").squared()),
            ),
        ]
    }),
    ("nist-sp-811-copper-foil", |r| {
        vec![("thickness", value(r.n("mass_per_area") / r.n("density")))]
    }),
    ("hurley-2000-optimum-foil", |r| {
        // The row prints one number for every p.
        let found: Vec<f64> = r
            .list("p")
            .into_iter()
            .map(|p| {
                let delta = value(optimum(p));
                1.0 + (5.0 * p * p - 1.0) / 45.0 * delta.powi(4)
            })
            .collect();
        assert!(found.iter().all(|f| (f - found[0]).abs() < 1e-12));
        vec![("F_series", found[0])]
    }),
    ("floyd-wire-table-diameter", |r| {
        numbered("d", r.list("gauge").into_iter().map(|n| value(gauge(n))))
    }),
    ("floyd-wire-table-resistance", |r| {
        numbered(
            "R",
            r.list("gauge").into_iter().map(|n| {
                let area = PI / 4.0 * gauge(n).squared();
                value(1e-6 / (58.0 * area))
            }),
        )
    }),
    ("iec-60028-copper-resistivity", |r| {
        vec![("rho_20", value(1.0 / r.n("conductivity")))]
    }),
    ("iec-60228-maximum-resistance", |r| {
        numbered(
            "R",
            r.list("area")
                .into_iter()
                .map(|a| value(1e-6 / (58.0 * input("A", a)))),
        )
    }),
    ("iec-60228-temperature-correction", |r| {
        let alpha = r.n("alpha");
        numbered(
            "k",
            r.list("T")
                .into_iter()
                .map(|t| value(referred(alpha, input("T", t)))),
        )
    }),
    ("iec-60228-temperature-coefficient", |r| {
        vec![("k", value(referred(r.n("alpha"), r.n("T"))))]
    }),
    ("data-sheet-400w-transistor-derating", |r| {
        vec![("P", value(r.n("slope") * (r.n("T_j_max") - r.n("T_case"))))]
    }),
    ("data-sheet-400w-transistor-thermal-resistance", |r| {
        vec![("R_theta", value(1.0 / r.n("slope")))]
    }),
    ("venkatachalam-2002-fit-constant", |r| {
        numbered(
            "fit",
            r.list("alpha").into_iter().map(|alpha| {
                let fit = 0.2761 + 1.7061 / (alpha + 1.354);
                fit / value(cosine_quarter(alpha))
            }),
        )
    }),
];

/// The departures stand in the standard's list, which the library reads.
fn series_has(row: &Row, index: f64) {
    let place = row
        .list("index")
        .iter()
        .position(|own| own.to_bits() == index.to_bits())
        .unwrap();
    let printed = coherent(&row.expected[place].printed);
    assert_eq!(
        at_most(printed * 1e-6, Series::E24),
        at_least(printed * 1e-6, Series::E24)
    );
}

/// The first four and the last of E96 near the row's values, by the law of the
/// series, which [`iec-60063-e96-law`] confirms.
fn e96() -> Vec<f64> {
    (0..96)
        .map(|i| (100.0 * 10f64.powf(f64::from(i) / 96.0)).round())
        .collect()
}

fn equivalent(r: &Row) -> Results {
    let c: Term<Capacitance> = r.q::<Charge>("Q_oss") / r.q::<Voltage>("V");
    let found = c.value().unwrap().value;
    vec![("C_Q", found), ("ratio", found / r.v("C_oss"))]
}

fn point(r: &Row) -> f64 {
    value(r.n("C_spec") * (r.n("V_spec") / r.n("V")).sqrt())
}

fn junction(r: &Row) -> Curve {
    let zero = Capacitance::from_coherent(r.v("C_j0"));
    let built_in = r.q::<Voltage>("phi_0").value().unwrap();
    let none = Capacitance::from_coherent(0.0);
    Curve::law("C_j", zero, built_in, r.v("m").into(), none).unwrap()
}

pub(super) fn optimum(layers: f64) -> Term<Ratio> {
    (15.0 / (5.0 * input("p", layers).squared() - 1.0)).power(0.25.into())
}

fn gauge(n: f64) -> Term<Ratio> {
    0.005 * 0.0254 * input("b", 92.0).power((36.0 - input("n", n)) / 39.0)
}

fn referred(alpha: Term<Ratio>, temperature: Term<Ratio>) -> Term<Ratio> {
    1.0 / (1.0 + alpha * (temperature - coherent("20 degC")))
}

fn cosine_quarter(alpha: f64) -> Term<Ratio> {
    Term::integral("x", 0.0.into(), (PI / 2.0).into(), |x| {
        x.cos().power(alpha.into())
    })
}
