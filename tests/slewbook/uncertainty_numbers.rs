//! Numbers of an uncertainty where a small slip would not show in a converter: to
//! second order, and at the limits of what is accepted.

use slewbook::equation::{Point, Program, Term};
use slewbook::quantity::Ratio;
use slewbook::uncertainty::{Distribution, Observations, Propagation, StraightLine, Uncertainties};

/// The variance and the shift of polynomials to second order, from the moments of the
/// inputs: kurtosis 3 of a normal distribution, 9/5 of a rectangular one.
#[test]
fn a_gradient_that_changes_is_taken_to_second_order() {
    let one = || Ratio::from(1.0);
    let (m, n) = (3.0, 0.4);
    let [x, y] = [("x", m), ("y", n)]
        .map(|(name, value)| Term::<Ratio>::input(name, name, Ratio::from(value)));
    for (kurtosis, distribution) in [
        (3.0, Distribution::normal(one() * 0.5).unwrap()),
        (
            1.8,
            Distribution::rectangular(one() * (0.5 * 3f64.sqrt())).unwrap(),
        ),
    ] {
        let v = 0.25;
        let more = kurtosis - 1.0;
        // Terms in the third power of the variance are left out, JCGM 100, 5.1.2, too.
        for (term, variance, shift) in [
            (x.squared(), 4.0 * m * m * v + more * v * v, v),
            (x * y, (m * m + n * n) * v + v * v, 0.0),
            (
                x.squared() * x,
                9.0 * m.powi(4) * v + (9.0 * more + 6.0 * kurtosis) * m * m * v * v,
                3.0 * m * v,
            ),
            (
                x * y.squared(),
                (n.powi(4) + 4.0 * m * m * n * n) * v
                    + (more * m * m + 2.0 * n * n + 4.0 * n * n) * v * v,
                m * v,
            ),
        ] {
            let program = Program::compile(&[term.expression()]).unwrap();
            let list = [x, y]
                .into_iter()
                .try_fold(Uncertainties::none(), |list, input| {
                    list.with(input.symbol().unwrap(), distribution)
                });
            let point = Point::own();
            let found = Propagation::of(&program, &point, &list.unwrap()).unwrap();
            let found = found.second_order(0);
            let u = found.standard_uncertainty.unwrap();
            assert!(
                (u * u / variance - 1.0).abs() < 1e-9,
                "{term:?}: {u}² is not {variance}"
            );
            assert!(
                (found.shift.unwrap() - shift).abs() < 1e-12,
                "{term:?}: {found:?}"
            );
        }
    }
}

/// What is refused starts beyond the least or the most that has a meaning.
#[test]
fn a_limit_itself_is_accepted() {
    let normal = |u: f64| Distribution::normal(Ratio::from(u));
    let one = normal(1.0).unwrap();
    // Two observations leave one degree of freedom, a line through three likewise.
    assert!(one.with_degrees_of_freedom(1.0).is_ok());
    assert!(one.with_degrees_of_freedom(0.999).is_err());
    assert!(normal(0.0).is_ok() && normal(-1e-300).is_err());
    assert!(Observations::new(&[1.0, 2.0]).is_ok() && Observations::new(&[1.0]).is_err());
    let line = |t: &[f64]| StraightLine::fit(t, &[1.0, 2.0, 4.0][..t.len()], 0.0);
    assert!(line(&[1.0, 2.0, 3.0]).is_ok() && line(&[1.0, 2.0]).is_err());
    assert!(line(&[2.0, 2.0, 2.0]).is_err());
    let [x, y] = ["x", "y"].map(|name| Term::<Ratio>::input(name, name, 0.0.into()));
    let [x, y] = [x, y].map(|t| t.symbol().unwrap());
    let list = Uncertainties::none().with(x, one);
    let list = list.and_then(|list| list.with(y, one)).unwrap();
    for most in [-1.0, 1.0] {
        assert!(list.clone().correlated(x, y, most).is_ok());
        assert!(list.clone().correlated(x, y, most * 1.001).is_err());
    }
}
