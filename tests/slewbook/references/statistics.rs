//! Uncertainty and special values, by exact gradients, integrals and solved steps.

use std::f64::consts::PI;

use slewbook::equation::Term;
use slewbook::quantity::Ratio;

use super::row::{Row, covariance, input, propagated, value};
use super::{Check, Results};

pub const ROWS: &[(&str, Check)] = &[
    ("jcgm-100-h2-type-a", |r| {
        let [v, i, phi] = ["V", "I", "phi"].map(|name| r.list(name));
        vec![
            ("V_mean", mean(&v)),
            ("I_mean", mean(&i)),
            ("phi_mean", mean(&phi)),
            ("u_V", of_mean(&v)),
            ("u_I", of_mean(&i)),
            ("u_phi", of_mean(&phi)),
            ("r_V_I", correlation(&v, &i)),
            ("r_V_phi", correlation(&v, &phi)),
            ("r_I_phi", correlation(&i, &phi)),
        ]
    }),
    ("jcgm-100-h2-results", |r| from_data(r).0),
    ("jcgm-100-h2-correlations", |r| from_data(r).0),
    ("jcgm-100-h2-full-precision", |r| from_data(r).0),
    ("jcgm-100-h2-rounded-inputs", |r| from_rounded(r)),
    ("jcgm-100-h2-correlations-matter", |r| from_rounded(r)),
    ("jcgm-100-h2-approach-two", |r| {
        let [v, i, phi] = ["V", "I", "phi"].map(|name| r.list(name));
        let single = |k: usize| impedance(v[k], i[k], phi[k]).0.map(value);
        let column =
            |which: usize| -> Vec<f64> { (0..v.len()).map(|k| single(k)[which]).collect() };
        let [x, y, z] = [0, 1, 2].map(column);
        vec![
            ("R", mean(&x)),
            ("X", mean(&y)),
            ("Z", mean(&z)),
            ("u_R", of_mean(&x)),
            ("u_X", of_mean(&y)),
            ("u_Z", of_mean(&z)),
        ]
    }),
    ("jcgm-100-h3-straight-line", straight_line),
    ("jcgm-100-h1-end-gauge", |r| {
        let [theta_part, alpha_part] = gauge_parts(r);
        let d = r.v("u_d_1").hypot(r.v("u_d_2")).hypot(r.v("u_d_3"));
        let all = r.v("u_l_S").hypot(d).hypot(theta_part).hypot(alpha_part);
        vec![
            ("l", value(r.n("l_S") + r.n("d"))),
            ("u_c", all),
            ("u_delta_theta_part", theta_part),
            ("u_delta_alpha_part", alpha_part),
        ]
    }),
    ("jcgm-100-h1-difference", |r| {
        let parts = [
            (r.v("s_pooled") / r.v("n").sqrt(), r.v("nu_1")),
            (r.v("U_95") / r.v("t_95"), r.v("nu_2")),
            (r.v("three_s") / 3.0, r.v("nu_3")),
        ];
        let (u, nu) = combined(&parts);
        vec![("u_d", u), ("nu_d", nu)]
    }),
    ("jcgm-100-h1-expanded", |r| {
        let parts: Vec<_> = r.list("u").into_iter().zip(r.list("nu")).collect();
        let (_, nu) = combined(&parts);
        let t = student(0.99, nu.floor());
        vec![
            ("nu_eff", nu),
            ("t_99", t),
            ("U_99", (t * 100.0).round() / 100.0 * 32e-9),
        ]
    }),
    ("jcgm-100-h1-second-order", |r| {
        // Products of the uncertainties of the difference and of the standard.
        let l = r.v("l_S");
        let third = |name: &str| r.v(name) / 3.0_f64.sqrt();
        let first = l * third("half_width_delta_alpha") * r.v("u_theta");
        let second = l * third("half_width_alpha_S") * third("half_width_delta_theta");
        vec![("u_c", r.v("u_1").hypot(first).hypot(second))]
    }),
    ("jcgm-100-4-3-certificate", |r| {
        let u = r.n("U_99") / r.n("k");
        vec![("u", value(u)), ("relative", value(u / r.n("R")))]
    }),
    ("jcgm-100-4-3-rectangular", |r| {
        let root = input("three", 3.0).sqrt();
        vec![
            ("u_symmetric", value(r.n("half_width") / root)),
            (
                "u_asymmetric",
                value((r.n("high") - r.n("low")) / 2.0 / root),
            ),
        ]
    }),
    ("jcgm-100-5-1-voltmeter", |r| {
        let a = r.n("of_reading") * r.n("V") + r.n("of_range") * r.n("range");
        let b = a / input("three", 3.0).sqrt();
        let all = (b.squared() + r.n("u_A").squared()).sqrt();
        vec![
            ("a", value(a)),
            ("u_B", value(b)),
            ("u_c", value(all)),
            ("relative", value(all / r.n("V"))),
        ]
    }),
    ("jcgm-100-5-2-correlated-series", |r| {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "ten"
        )]
        let parts: Vec<_> = (0..r.v("n") as usize)
            .map(|k| (input(&format!("R_{k}"), 1e3), r.v("u")))
            .collect();
        let sum = parts[1..]
            .iter()
            .fold(parts[0].0, |sum, (part, _)| sum + *part);
        vec![
            ("u_correlated", propagated(sum, &parts, |_, _| 1.0)),
            ("u_uncorrelated", propagated(sum, &parts, |_, _| 0.0)),
        ]
    }),
    ("jcgm-101-additive-normal", |r| {
        let u = (r.v("n")).sqrt() * r.v("u");
        let mass =
            |k: Term<Ratio>| Term::integral("x", 0.0.into(), k, |x| (-(x.squared() / 2.0)).exp());
        let k = Term::solve("k", "coverage factor", 0.0.into(), 10.0.into(), |k| {
            (mass(k) * (2.0 / PI).sqrt().into(), 0.95.into())
        });
        vec![("u", u), ("half_interval", u * value(k))]
    }),
    ("jcgm-101-additive-rectangular", |r| {
        // Irwin and Hall: the upper tail of the sum of four is (2 - x)^4/24 of the half-width.
        let half = 3.0_f64.sqrt() * r.v("u");
        let tail = Term::solve("x", "quantile", 0.0.into(), 4.0.into(), |x| {
            let left = 4.0 - x;
            ((left * left * left * left) / (16.0 * 24.0), 0.025.into())
        });
        vec![
            ("u", r.v("n").sqrt() * r.v("u")),
            ("half_interval", half * value(tail)),
        ]
    }),
    ("jcgm-102-magnitude-near-zero", |r| {
        let (x, y) = (r.n("x_1"), r.n("x_2"));
        let size = (x.squared() + y.squared()).sqrt();
        let linear = propagated(size, &[(x, r.v("u_1")), (y, r.v("u_2"))], |_, _| 0.0);
        let (mean, deviation) = rice(r.v("x_1"), r.v("u_1"));
        vec![
            ("y_linear", value(size)),
            ("u_linear", linear),
            ("y_monte_carlo", mean),
            ("u_monte_carlo", deviation),
        ]
    }),
    ("nist-tn-1297-t-factors", |r| {
        let sigma = |k: f64| {
            let x = Term::<Ratio>::integral("x", 0.0.into(), k.into(), |x| {
                (-(x.squared() / 2.0)).exp()
            });
            value(x) * (2.0 / PI).sqrt()
        };
        // The sigma columns mean one, two and three standard deviations.
        let probabilities = [sigma(1.0), 0.9, 0.95, sigma(2.0), 0.99, sigma(3.0)];
        let mut results = Results::new();
        for nu in r.list("nu") {
            for (k, p) in probabilities.into_iter().enumerate() {
                results.push((format!("nu{nu}_p{}", k + 1).leak(), student(p, nu)));
            }
        }
        results
    }),
    ("nist-tn-1297-three-sigma-column", |r| {
        vec![("nu1", student(r.v("p"), r.v("nu")))]
    }),
    ("nist-tn-1900-thermal-expansion", |r| {
        let names = ["L_0", "L_1", "T_0", "T_1"];
        let [l0, l1, t0, t1] = names.map(|name| r.n(name));
        let alpha = (l1 - l0) / (l0 * (t1 - t0));
        let inputs = names.map(|name| (r.n(name), r.v(&format!("u_{name}"))));
        vec![
            ("alpha", value(alpha)),
            ("u_alpha", propagated(alpha, &inputs, |_, _| 0.0)),
        ]
    }),
    ("npl-dem-es-011-logarithm", |r| {
        let (low, high) = (r.v("low"), r.v("high"));
        let x = input("X", f64::midpoint(low, high));
        let u = propagated(x.ln(), &[(x, (high - low) / 12.0_f64.sqrt())], |_, _| 0.0);
        let moment = |power: i32| {
            value(Term::integral(
                "x",
                low.into(),
                high.into(),
                |x: Term<Ratio>| {
                    if power == 1 { x.ln() } else { x.ln().squared() }
                },
            )) / (high - low)
        };
        let (first, second) = (moment(1), moment(2));
        // The density of the logarithm rises, so the shortest interval ends at the top.
        let cut = low + 0.05 * (high - low);
        vec![
            ("y_linear", value(x.ln())),
            ("u_linear", u),
            ("upper_linear", value(x.ln()) + 1.96 * u),
            ("y_exact", first),
            ("u_exact", (second - first * first).sqrt()),
            ("shortest_low", value(input("x", cut).ln())),
            ("shortest_high", value(input("x", high).ln())),
        ]
    }),
    ("strd-numacc1", |r| vec![("mean", mean(&r.list("x")))]),
    ("strd-numacc1-deviation", |r| {
        let x = r.list("x");
        let m = mean(&x);
        let s = variance(&x);
        let lag = (x[0] - m) * (x[1] - m) + (x[1] - m) * (x[2] - m);
        vec![("s", s.sqrt()), ("lag_1", lag / (2.0 * s))]
    }),
    ("strd-numacc4", |r| {
        let (base, step) = (r.v("base"), r.v("step"));
        let mut x = vec![base];
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "500"
        )]
        for _ in 0..r.v("pairs") as usize {
            x.extend([base - step, base + step]);
        }
        vec![("mean", mean(&x)), ("s", variance(&x).sqrt())]
    }),
    ("abramowitz-stegun-1964-special-values", |_| {
        special_values()
    }),
];

fn special_values() -> Results {
    let integral = |to: f64, f: &dyn Fn(Term<Ratio>) -> Term<Ratio>| {
        value(Term::integral("x", 0.0.into(), to.into(), f))
    };
    // The root and the logarithm are taken off the end by x = s^4.
    let log = integral(1.0, &|s| 16.0 * s * s.ln());
    let elliptic = integral(PI / 2.0, &|x| 1.0 / (1.0 - 0.5 * x.sin().squared()).sqrt());
    let gamma = 4.0 * integral(3.0, &|x| (-(x.squared().squared())).exp());
    let erf = 2.0 / PI.sqrt() * integral(1.0, &|x| (-x.squared()).exp());
    let bessel = integral(PI, &|x| x.sin().cos()) / PI;
    // Kelvin's functions at one, by their series.
    let series = |start: u32| {
        let factorial = |n: u32| (1..=n).map(f64::from).product::<f64>();
        (0..8)
            .map(|k| {
                let n = 2 * k + start;
                let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
                sign * 0.25f64.powi(i32::try_from(n).unwrap()) / factorial(n).powi(2)
            })
            .sum::<f64>()
    };
    vec![
        ("integral_log_over_root", log),
        ("K_half", elliptic),
        ("gamma_quarter", gamma),
        ("erf_1", erf),
        ("ber_1", series(0)),
        ("bei_1", series(1)),
        ("J0_1", bessel),
    ]
}

fn count(x: &[f64]) -> f64 {
    x.iter().map(|_| 1.0).sum()
}

/// The mean, taken from the first value on so that no digits are lost.
fn mean(x: &[f64]) -> f64 {
    x[0] + x.iter().map(|v| v - x[0]).sum::<f64>() / count(x)
}

fn variance(x: &[f64]) -> f64 {
    covariance_of(x, x)
}

fn covariance_of(x: &[f64], y: &[f64]) -> f64 {
    let (mx, my) = (mean(x), mean(y));
    x.iter()
        .zip(y)
        .map(|(a, b)| (a - mx) * (b - my))
        .sum::<f64>()
        / (count(x) - 1.0)
}

fn of_mean(x: &[f64]) -> f64 {
    (variance(x) / count(x)).sqrt()
}

fn correlation(x: &[f64], y: &[f64]) -> f64 {
    covariance_of(x, y) / (variance(x) * variance(y)).sqrt()
}

/// Resistance, reactance and impedance, and the three inputs.
fn impedance(v: f64, i: f64, phi: f64) -> ([Term<Ratio>; 3], [Term<Ratio>; 3]) {
    let [v, i, phi] = [("V", v), ("I", i), ("phi", phi)].map(|(name, x)| input(name, x));
    ([v / i * phi.cos(), v / i * phi.sin(), v / i], [v, i, phi])
}

fn three(
    at: [f64; 3],
    u: [f64; 3],
    r: impl Fn(usize, usize) -> f64,
) -> (Results, [Term<Ratio>; 3]) {
    let (results, symbols) = impedance(at[0], at[1], at[2]);
    let inputs = [0, 1, 2].map(|k| (symbols[k], u[k]));
    let uncertainty = |k: usize| propagated(results[k], &inputs, &r);
    let between = |j: usize, k: usize| {
        covariance(results[j], results[k], &inputs, &r) / (uncertainty(j) * uncertainty(k))
    };
    let list = vec![
        ("R", value(results[0])),
        ("X", value(results[1])),
        ("Z", value(results[2])),
        ("u_R", uncertainty(0)),
        ("u_X", uncertainty(1)),
        ("u_Z", uncertainty(2)),
        ("r_R_X", between(0, 1)),
        ("r_R_Z", between(0, 2)),
        ("r_X_Z", between(1, 2)),
    ];
    (list, results)
}

fn from_data(r: &Row) -> (Results, [Term<Ratio>; 3]) {
    let data = ["V", "I", "phi"].map(|name| r.list(name));
    let at = [0, 1, 2].map(|k| mean(&data[k]));
    let u = [0, 1, 2].map(|k| of_mean(&data[k]));
    three(at, u, |j, k| correlation(&data[j], &data[k]))
}

fn from_rounded(r: &Row) -> Results {
    let at = ["V", "I", "phi"].map(|name| r.v(name));
    let u = ["u_V", "u_I", "u_phi"].map(|name| r.v(name));
    let pairs = [
        ["V", "V_I", "V_phi"],
        ["V_I", "I", "I_phi"],
        ["V_phi", "I_phi", "phi"],
    ];
    three(at, u, |j, k| r.v(&format!("r_{}", pairs[j][k]))).0
}

fn straight_line(r: &Row) -> Results {
    let (t, b) = (r.list("t"), r.list("b"));
    let x: Vec<f64> = t.iter().map(|t| t - r.v("t_0")).collect();
    let slope = covariance_of(&x, &b) / variance(&x);
    let start = mean(&b) - slope * mean(&x);
    let rest: f64 = x
        .iter()
        .zip(&b)
        .map(|(x, b)| (b - start - slope * x).powi(2))
        .sum();
    let n = count(&x);
    let s = (rest / (n - 2.0)).sqrt();
    let sxx = variance(&x) * (n - 1.0);
    let u_slope = s / sxx.sqrt();
    let u_start = s * (1.0 / n + mean(&x).powi(2) / sxx).sqrt();
    let together = -mean(&x) * (n / x.iter().map(|x| x * x).sum::<f64>()).sqrt();
    let (first, second) = (input("y_1", start), input("y_2", slope));
    let there = first + second * Term::from(r.v("t_predict") - r.v("t_0"));
    let u = propagated(there, &[(first, u_start), (second, u_slope)], |_, _| {
        together
    });
    vec![
        ("y_1", start),
        ("u_y_1", u_start),
        ("y_2", slope),
        ("u_y_2", u_slope),
        ("r", together),
        ("s", s),
        ("b_30", value(there)),
        ("u_b_30", u),
    ]
}

/// The parts of the end gauge's uncertainty by temperature difference and by
/// difference of expansion.
fn gauge_parts(r: &Row) -> [f64; 2] {
    let (l, alpha, theta) = (r.n("l_S"), r.n("alpha_S"), r.n("theta_mean"));
    let (d_alpha, d_theta) = (input("d_alpha", 0.0), input("d_theta", 0.0));
    let length = l - l * (d_alpha * theta + alpha * d_theta);
    let third = 3.0_f64.sqrt();
    let part = |x, u: f64| propagated(length, &[(x, u)], |_, _| 0.0);
    [
        part(d_theta, r.v("half_width_delta_theta") / third),
        part(d_alpha, r.v("half_width_delta_alpha") / third),
    ]
}

/// Combined uncertainty and Welch and Satterthwaite's degrees of freedom.
fn combined(parts: &[(f64, f64)]) -> (f64, f64) {
    let u = parts.iter().map(|(u, _)| u * u).sum::<f64>().sqrt();
    let sum: f64 = parts.iter().map(|(u, nu)| u.powi(4) / nu).sum();
    (u, u.powi(4) / sum)
}

/// Student's factor, the density carried to an angle by t = √ν·tan θ.
fn student(p: f64, nu: f64) -> f64 {
    let mass =
        |to: Term<Ratio>| Term::integral("x", 0.0.into(), to, |x| x.cos().power((nu - 1.0).into()));
    let whole = value(mass((PI / 2.0).into()));
    let angle = Term::solve(
        "theta",
        "angle",
        1e-6.into(),
        (PI / 2.0 - 1e-9).into(),
        |theta| (mass(theta), (p * whole).into()),
    );
    value(input("nu", nu).sqrt() * (angle.sin() / angle.cos()))
}

/// Mean and standard deviation of the magnitude of two components, by averaging
/// over the plane.
fn rice(offset: f64, u: f64) -> (f64, f64) {
    let a = offset / u;
    let ring = |power: i32| {
        Term::<Ratio>::integral("x", 0.0.into(), 12.0.into(), |x| {
            let around = Term::<Ratio>::integral("y", 0.0.into(), PI.into(), |y| {
                (-((x.squared() + a * a - 2.0 * a * x * y.cos()) / 2.0)).exp()
            });
            let weight = if power == 1 {
                x.squared()
            } else {
                x.squared() * x
            };
            weight * around / PI
        })
    };
    let (first, second) = (value(ring(1)) * u, value(ring(2)) * u * u);
    (first, (second - first * first).sqrt())
}
