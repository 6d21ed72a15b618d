//! Uncertainty against the examples of JCGM 100:2008 (the Guide), JCGM 101:2008,
//! JCGM 102:2011, NIST TN 1297 and NIST TN 1900, as rows in `references/checks/`.

use slewbook::equation::{Expression, Point, Program, Symbol, Term};
use slewbook::quantity::{
    Current, Dimensioned, Length, Ratio, Resistance, TemperatureCoefficient, TemperatureInterval,
    Voltage,
};
use slewbook::uncertainty::{
    Budget, Distribution, Draw, Observations, Propagation, StraightLine, Uncertainties,
    coverage_factor,
};

use crate::published::Row;

fn normal<Q: Dimensioned>(value: f64) -> Distribution {
    Distribution::normal(Q::from_coherent(value)).unwrap()
}

fn rectangular<Q: Dimensioned>(value: f64) -> Distribution {
    Distribution::rectangular(Q::from_coherent(value)).unwrap()
}

fn student<Q: Dimensioned>(value: f64, degrees: f64) -> Distribution {
    normal::<Q>(value).with_degrees_of_freedom(degrees).unwrap()
}

fn input<Q: Dimensioned>(name: &str, value: f64) -> Term<Q> {
    Term::input(name, name, Q::from_coherent(value))
}

/// Inputs of one quantity each, with the sum of them.
fn sum<Q: Dimensioned>(
    values: &[f64],
    distributions: &[Distribution],
) -> (Program, Uncertainties, Vec<&'static Symbol>) {
    let terms: Vec<Term<Q>> = (0..values.len())
        .map(|k| input(&format!("x_{k}"), values[k]))
        .collect();
    let total = terms[1..].iter().fold(terms[0], |sum, x| sum + *x);
    let symbols: Vec<_> = terms.iter().map(|x| x.symbol().unwrap()).collect();
    let uncertainties = symbols
        .iter()
        .zip(distributions)
        .try_fold(Uncertainties::none(), |list, (s, d)| list.with(s, *d))
        .unwrap();
    let program = Program::compile(&[total.expression()]).unwrap();
    (program, uncertainties, symbols)
}

fn budget(program: &Program, uncertainties: &Uncertainties) -> Budget {
    Budget::of_program(program, 0, &Point::own(), uncertainties, "")
        .unwrap()
        .unwrap()
}

/// Resistance, reactance and impedance from voltage, current and phase.
struct Impedance {
    symbols: [&'static Symbol; 3],
    program: Program,
}

impl Impedance {
    fn new() -> Self {
        let V = input::<Voltage>("V", 1.0);
        let I = input::<Current>("I", 1.0);
        let phi = input::<Ratio>("phi", 1.0);
        let Z: Term<Resistance> = V / I;
        let outputs: [Expression; 3] = [
            (Z * phi.cos()).expression(),
            (Z * phi.sin()).expression(),
            Z.expression(),
        ];
        Self {
            symbols: [
                V.symbol().unwrap(),
                I.symbol().unwrap(),
                phi.symbol().unwrap(),
            ],
            program: Program::compile(&outputs).unwrap(),
        }
    }

    fn observed(&self, row: &Row) -> (Point, Uncertainties) {
        let lists = ["V", "I", "phi"].map(|name| row.inputs(name));
        let together: Vec<_> = self
            .symbols
            .iter()
            .zip(&lists)
            .map(|(s, v)| (*s, v.as_slice()))
            .collect();
        Uncertainties::none()
            .observed(Point::own(), &together)
            .unwrap()
    }

    fn stated(&self, row: &Row) -> (Point, Uncertainties) {
        let [V, I, phi] = self.symbols;
        let point = Point::own()
            .with(V, row.input("V"))
            .with(I, row.input("I"))
            .with(phi, row.input("phi"));
        let uncertainties = Uncertainties::none()
            .with(V, normal::<Voltage>(row.input("u_V")))
            .and_then(|u| u.with(I, normal::<Current>(row.input("u_I"))))
            .and_then(|u| u.with(phi, normal::<Ratio>(row.input("u_phi"))))
            .and_then(|u| u.correlated(V, I, row.input("r_V_I")))
            .and_then(|u| u.correlated(V, phi, row.input("r_V_phi")))
            .and_then(|u| u.correlated(I, phi, row.input("r_I_phi")));
        (point, uncertainties.unwrap())
    }

    fn propagate(&self, (point, uncertainties): &(Point, Uncertainties)) -> Propagation {
        Propagation::of(&self.program, point, uncertainties).unwrap()
    }
}

#[test]
fn observations_of_example_h2() {
    let row = Row::load("jcgm-100", "jcgm-100-h2-type-a");
    let [V, I, phi] = ["V", "I", "phi"].map(|name| Observations::new(&row.inputs(name)).unwrap());
    row.assert(&[
        ("V_mean", V.mean()),
        ("I_mean", I.mean()),
        ("phi_mean", phi.mean()),
        ("u_V", V.standard_uncertainty()),
        ("u_I", I.standard_uncertainty()),
        ("u_phi", phi.standard_uncertainty()),
        ("r_V_I", V.correlation(&I).unwrap()),
        ("r_V_phi", V.correlation(&phi).unwrap()),
        ("r_I_phi", I.correlation(&phi).unwrap()),
    ]);
}

#[test]
fn example_h2_from_unrounded_data() {
    let impedance = Impedance::new();
    let row = Row::load("jcgm-100", "jcgm-100-h2-results");
    let result = impedance.propagate(&impedance.observed(&row));
    row.assert(&[
        ("R", result.estimate(0)),
        ("X", result.estimate(1)),
        ("Z", result.estimate(2)),
        ("u_R", result.standard_uncertainty(0)),
        ("u_X", result.standard_uncertainty(1)),
        ("u_Z", result.standard_uncertainty(2)),
    ]);
    Row::load("jcgm-100", "jcgm-100-h2-correlations").assert(&[
        ("r_R_X", result.correlation(0, 1).unwrap()),
        ("r_R_Z", result.correlation(0, 2).unwrap()),
        ("r_X_Z", result.correlation(1, 2).unwrap()),
    ]);
    Row::load("jcgm-100", "jcgm-100-h2-full-precision").assert(&[
        ("R", result.estimate(0)),
        ("u_R", result.standard_uncertainty(0)),
        ("r_R_X", result.correlation(0, 1).unwrap()),
    ]);
    // Five simultaneous observations leave four degrees of freedom.
    assert!((result.degrees_of_freedom(0) - 4.0).abs() < 1e-9);
    let shares: f64 = (0..3).map(|k| result.variance_share(0, k)).sum();
    assert!((shares - 1.0).abs() < 1e-12);
}

#[test]
fn example_h2_from_rounded_inputs_and_without_correlations() {
    let impedance = Impedance::new();
    let row = Row::load("jcgm-100", "jcgm-100-h2-rounded-inputs");
    let result = impedance.propagate(&impedance.stated(&row));
    row.assert(&[
        ("R", result.estimate(0)),
        ("X", result.estimate(1)),
        ("Z", result.estimate(2)),
        ("u_R", result.standard_uncertainty(0)),
        ("u_X", result.standard_uncertainty(1)),
        ("u_Z", result.standard_uncertainty(2)),
        ("r_R_X", result.correlation(0, 1).unwrap()),
        ("r_R_Z", result.correlation(0, 2).unwrap()),
        ("r_X_Z", result.correlation(1, 2).unwrap()),
    ]);
    let row = Row::load("jcgm-100", "jcgm-100-h2-correlations-matter");
    let result = impedance.propagate(&impedance.stated(&row));
    row.assert(&[
        ("u_R", result.standard_uncertainty(0)),
        ("u_X", result.standard_uncertainty(1)),
        ("u_Z", result.standard_uncertainty(2)),
    ]);
}

#[test]
fn example_h2_by_averaging_the_results() {
    let impedance = Impedance::new();
    let row = Row::load("jcgm-100", "jcgm-100-h2-approach-two");
    let lists = ["V", "I", "phi"].map(|name| row.inputs(name));
    let runs: Vec<Vec<f64>> = (0..lists[0].len())
        .map(|k| {
            let values: Vec<f64> = impedance
                .program
                .inputs()
                .iter()
                .map(|s| {
                    let place = impedance.symbols.iter().position(|o| std::ptr::eq(*o, *s));
                    lists[place.unwrap()][k]
                })
                .collect();
            impedance.program.evaluate(&values).unwrap()
        })
        .collect();
    let [R, X, Z] = [0, 1, 2].map(|k| {
        let column: Vec<f64> = runs.iter().map(|run| run[k]).collect();
        Observations::new(&column).unwrap()
    });
    row.assert(&[
        ("R", R.mean()),
        ("X", X.mean()),
        ("Z", Z.mean()),
        ("u_R", R.standard_uncertainty()),
        ("u_X", X.standard_uncertainty()),
        ("u_Z", Z.standard_uncertainty()),
    ]);
}

#[test]
fn straight_line_of_example_h3() {
    let row = Row::load("jcgm-100", "jcgm-100-h3-straight-line");
    let line = StraightLine::fit(&row.inputs("t"), &row.inputs("b"), row.input("t_0")).unwrap();
    let (y_1, y_2) = (
        input::<Ratio>("y_1", line.intercept),
        input::<Ratio>("y_2", line.slope),
    );
    let predicted = y_1 + (row.input("t_predict") - row.input("t_0")) * y_2;
    let (one, two) = (y_1.symbol().unwrap(), y_2.symbol().unwrap());
    let degrees = line.degrees_of_freedom;
    let uncertainties = Uncertainties::none()
        .with(one, student::<Ratio>(line.intercept_uncertainty, degrees))
        .and_then(|u| u.with(two, student::<Ratio>(line.slope_uncertainty, degrees)))
        .and_then(|u| u.correlated(one, two, line.correlation))
        .unwrap();
    let program = Program::compile(&[predicted.expression()]).unwrap();
    let result = budget(&program, &uncertainties);
    row.assert(&[
        ("y_1", line.intercept),
        ("u_y_1", line.intercept_uncertainty),
        ("y_2", line.slope),
        ("u_y_2", line.slope_uncertainty),
        ("r", line.correlation),
        ("s", line.residual),
        ("b_30", result.estimate),
        ("u_b_30", result.propagated),
    ]);
    assert!((result.degrees_of_freedom - 9.0).abs() < 1e-9);
}

/// The end gauge of the Guide's example H.1, in metres and kelvin.
fn end_gauge(row: &Row) -> (Program, Uncertainties) {
    let l_S = input::<Length>("l_S", row.input("l_S"));
    let parts = ["u_d_1", "u_d_2", "u_d_3"];
    let differences: Vec<Term<Length>> = parts
        .iter()
        .enumerate()
        .map(|(k, name)| input(name, if k == 0 { row.input("d") } else { 0.0 }))
        .collect();
    let delta_alpha = input::<TemperatureCoefficient>("delta_alpha", 0.0);
    let delta_theta = input::<TemperatureInterval>("delta_theta", 0.0);
    let theta = input::<TemperatureInterval>("theta", row.input("theta_mean"));
    let alpha_S = input::<TemperatureCoefficient>("alpha_S", row.input("alpha_S"));
    let d = differences[0] + differences[1] + differences[2];
    let length = l_S + d - l_S * (delta_alpha * theta + alpha_S * delta_theta);
    let mut list = Uncertainties::none()
        .with(l_S.symbol().unwrap(), normal::<Length>(row.input("u_l_S")))
        .unwrap();
    for (term, name) in differences.iter().zip(parts) {
        list = list
            .with(term.symbol().unwrap(), normal::<Length>(row.input(name)))
            .unwrap();
    }
    let list = list
        .with(
            delta_alpha.symbol().unwrap(),
            rectangular::<TemperatureCoefficient>(row.input("half_width_delta_alpha")),
        )
        .and_then(|u| {
            u.with(
                delta_theta.symbol().unwrap(),
                rectangular::<TemperatureInterval>(row.input("half_width_delta_theta")),
            )
        });
    (
        Program::compile(&[length.expression()]).unwrap(),
        list.unwrap(),
    )
}

#[test]
fn end_gauge_of_example_h1() {
    let row = Row::load("jcgm-100", "jcgm-100-h1-end-gauge");
    let (program, uncertainties) = end_gauge(&row);
    let result = budget(&program, &uncertainties);
    let part = |name: &str| {
        let row = result.rows.iter().find(|r| r.words == name).unwrap();
        row.contribution
    };
    row.assert(&[
        ("l", result.estimate),
        ("u_c", result.propagated),
        ("u_delta_theta_part", part("delta_theta")),
        ("u_delta_alpha_part", part("delta_alpha")),
    ]);

    // With the spread of temperature and expansion, to second order.
    let second = Row::load("jcgm-100", "jcgm-100-h1-second-order");
    assert!((result.propagated - second.input("u_1")).abs() < 0.01e-9);
    let symbol = |name: &str| {
        let found = program.inputs().iter().find(|s| s.words() == name);
        *found.unwrap()
    };
    let wider = uncertainties
        .with(
            symbol("theta"),
            normal::<TemperatureInterval>(second.input("u_theta")),
        )
        .and_then(|u| {
            u.with(
                symbol("alpha_S"),
                rectangular::<TemperatureCoefficient>(second.input("half_width_alpha_S")),
            )
        })
        .unwrap();
    let result = budget(&program, &wider);
    second.assert(&[("u_c", result.second_order.standard_uncertainty.unwrap())]);
}

#[test]
fn degrees_of_freedom_and_expanded_uncertainty_of_example_h1() {
    let row = Row::load("jcgm-100", "jcgm-100-h1-difference");
    let (program, uncertainties, _) = sum::<Length>(
        &[0.0; 3],
        &[
            student::<Length>(
                row.input("s_pooled") / row.input("n").sqrt(),
                row.input("nu_1"),
            ),
            student::<Length>(row.input("U_95") / row.input("t_95"), row.input("nu_2")),
            student::<Length>(row.input("three_s") / 3.0, row.input("nu_3")),
        ],
    );
    let result = budget(&program, &uncertainties);
    row.assert(&[
        ("u_d", result.propagated),
        ("nu_d", result.degrees_of_freedom),
    ]);

    let row = Row::load("jcgm-100", "jcgm-100-h1-expanded");
    let distributions: Vec<_> = row
        .inputs("u")
        .iter()
        .zip(row.inputs("nu"))
        .map(|(u, nu)| student::<Length>(*u, nu))
        .collect();
    let (program, uncertainties, _) = sum::<Length>(&[0.0; 4], &distributions);
    let result = budget(&program, &uncertainties);
    let expanded = result.expanded(0.99).unwrap();
    // The Guide multiplies the factor by the rounded 32 nm.
    row.assert(&[
        ("nu_eff", result.degrees_of_freedom),
        ("t_99", expanded.factor),
        ("U_99", expanded.factor * 32e-9),
    ]);
    assert!((expanded.uncertainty - expanded.factor * result.propagated).abs() < 1e-20);
}

#[test]
fn type_b_examples_of_the_guide() {
    let row = Row::load("jcgm-100", "jcgm-100-4-3-certificate");
    let certificate = normal::<Resistance>(row.input("U_99") / row.input("k"));
    let u = certificate.standard_uncertainty();
    row.assert(&[("u", u), ("relative", u / row.input("R"))]);

    let row = Row::load("jcgm-100", "jcgm-100-4-3-rectangular");
    let half = (row.input("high") - row.input("low")) / 2.0;
    let u = |half| rectangular::<TemperatureCoefficient>(half).standard_uncertainty();
    row.assert(&[
        ("u_symmetric", u(row.input("half_width"))),
        ("u_asymmetric", u(half)),
    ]);

    let row = Row::load("jcgm-100", "jcgm-100-5-1-voltmeter");
    let V = row.input("V");
    let a = row.input("of_reading") * V + row.input("of_range") * row.input("range");
    let parts = [
        normal::<Voltage>(row.input("u_A")),
        rectangular::<Voltage>(a),
    ];
    let (program, uncertainties, _) = sum::<Voltage>(&[V, 0.0], &parts);
    let u = budget(&program, &uncertainties).propagated;
    row.assert(&[
        ("a", a),
        ("u_B", parts[1].standard_uncertainty()),
        ("u_c", u),
        ("relative", u / V),
    ]);

    let row = Row::load("jcgm-100", "jcgm-100-5-2-correlated-series");
    let each = vec![normal::<Resistance>(row.input("u")); 10];
    let (program, apart, symbols) = sum::<Resistance>(&[1e3; 10], &each);
    let mut together = apart.clone();
    for (k, one) in symbols.iter().enumerate() {
        for other in &symbols[..k] {
            together = together.correlated(one, other, 1.0).unwrap();
        }
    }
    row.assert(&[
        ("u_correlated", budget(&program, &together).propagated),
        ("u_uncorrelated", budget(&program, &apart).propagated),
    ]);
}

#[test]
fn student_factors_of_table_b1() {
    let row = Row::load("nist-tn-1297", "nist-tn-1297-t-factors");
    // Three of the columns mean one, two and three standard deviations.
    let sigmas = |k: f64| libm::erf(k / 2f64.sqrt());
    let p = row.inputs("p");
    let probabilities = [sigmas(1.0), p[1], p[2], sigmas(2.0), p[4], sigmas(3.0)];
    let mut computed = Vec::new();
    for nu in row.inputs("nu") {
        for (k, p) in probabilities.iter().enumerate() {
            let name = format!("nu{nu}_p{}", k + 1);
            computed.push((name, coverage_factor(*p, nu).unwrap()));
        }
    }
    let computed: Vec<_> = computed.iter().map(|(n, v)| (n.as_str(), *v)).collect();
    row.assert(&computed);

    let row = Row::load("nist-tn-1297", "nist-tn-1297-three-sigma-column");
    row.assert(&[(
        "nu1",
        coverage_factor(row.input("p"), row.input("nu")).unwrap(),
    )]);

    // Closed forms: the Cauchy distribution, and two degrees of freedom.
    for p in [0.01, 0.5, 0.9, 0.999, 0.999_999] {
        let cauchy = (std::f64::consts::FRAC_PI_2 * p).tan();
        assert!(
            (coverage_factor(p, 1.0).unwrap() / cauchy - 1.0).abs() < 1e-9,
            "{p}"
        );
        let two = (2.0 * p * p / (1.0 - p * p)).sqrt();
        assert!(
            (coverage_factor(p, 2.0).unwrap() / two - 1.0).abs() < 1e-9,
            "{p}"
        );
    }
    assert!(coverage_factor(1.0, 5.0).is_err());
    assert!(coverage_factor(0.95, f64::NAN).is_err());
}

#[test]
fn expansion_coefficient_of_tn_1900() {
    let row = Row::load("nist-tn-1900", "nist-tn-1900-thermal-expansion");
    let lengths = ["L_0", "L_1"].map(|n| input::<Length>(n, row.input(n)));
    let temperatures = ["T_0", "T_1"].map(|n| input::<TemperatureInterval>(n, row.input(n)));
    let [L_0, L_1] = lengths;
    let [T_0, T_1] = temperatures;
    let alpha = (L_1 - L_0) / (L_0 * (T_1 - T_0));
    let mut list = Uncertainties::none();
    for (term, name) in lengths.iter().zip(["u_L_0", "u_L_1"]) {
        list = list
            .with(term.symbol().unwrap(), normal::<Length>(row.input(name)))
            .unwrap();
    }
    for (term, name) in temperatures.iter().zip(["u_T_0", "u_T_1"]) {
        let distribution = normal::<TemperatureInterval>(row.input(name));
        list = list.with(term.symbol().unwrap(), distribution).unwrap();
    }
    let result = budget(&Program::compile(&[alpha.expression()]).unwrap(), &list);
    row.assert(&[("alpha", result.estimate), ("u_alpha", result.propagated)]);
    assert!(result.near_linear);
}

#[test]
fn additive_examples_of_jcgm_101() {
    let root_3 = 3f64.sqrt();
    for (id, distribution) in [
        ("jcgm-101-additive-normal", normal::<Ratio>(1.0)),
        (
            "jcgm-101-additive-rectangular",
            rectangular::<Ratio>(root_3),
        ),
    ] {
        let row = Row::load("jcgm-101", id);
        let (program, uncertainties, _) = sum::<Ratio>(&[0.0; 4], &[distribution; 4]);
        let samples = &Draw::default()
            .outputs(&program, &Point::own(), &uncertainties)
            .unwrap()[0];
        let interval = samples.symmetric_interval(0.95).unwrap();
        let shortest = samples.shortest_interval(0.95).unwrap();
        row.assert(&[
            ("u", samples.standard_uncertainty().unwrap()),
            ("half_interval", (interval.high - interval.low) / 2.0),
        ]);
        assert!(shortest.high - shortest.low <= interval.high - interval.low);
        assert!(samples.mean().unwrap().abs() < 0.01);
        let histogram = samples.histogram(50).unwrap();
        assert_eq!(histogram.counts.iter().sum::<usize>(), samples.drawn());
    }
}

#[test]
fn magnitude_near_zero_of_jcgm_102_is_not_near_linear() {
    let row = Row::load("jcgm-102", "jcgm-102-magnitude-near-zero");
    let (x_1, x_2) = (
        input::<Ratio>("x_1", row.input("x_1")),
        input::<Ratio>("x_2", row.input("x_2")),
    );
    let magnitude = (x_1.squared() + x_2.squared()).sqrt();
    let program = Program::compile(&[magnitude.expression()]).unwrap();
    let list = Uncertainties::none()
        .with(x_1.symbol().unwrap(), normal::<Ratio>(row.input("u_1")))
        .and_then(|u| u.with(x_2.symbol().unwrap(), normal::<Ratio>(row.input("u_2"))))
        .unwrap();
    let linear = budget(&program, &list);
    let samples = &Draw::default()
        .outputs(&program, &Point::own(), &list)
        .unwrap()[0];
    row.assert(&[
        ("y_linear", linear.estimate),
        ("u_linear", linear.propagated),
        ("y_monte_carlo", samples.mean().unwrap()),
        ("u_monte_carlo", samples.standard_uncertainty().unwrap()),
    ]);
    assert!(!linear.near_linear);
    assert_eq!(linear.standard_uncertainty(), None);
}
