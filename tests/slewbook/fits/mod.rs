//! Fits against certified regressions, and constants of a core against a measured one.

mod core_loss;
mod strd;

use slewbook::fit::{Fit, FitError, Parameter};

/// Fits parameters called by letters.
fn fit(start: &[f64], residuals: &dyn Fn(&[f64]) -> Vec<f64>) -> Result<Fit, FitError> {
    const NAMES: [&str; 7] = ["a", "b", "c", "d", "e", "f", "g"];
    let start = NAMES.into_iter().zip(start);
    let start: Vec<Parameter> = start
        .map(|(name, start)| Parameter {
            name,
            start: *start,
        })
        .collect();
    Fit::new(&start, residuals)
}

/// A straight line through points with uncertainties of their own has a closed form, here
/// by sums: `S`, `S_x`, `S_xx`, `S_y` and `S_xy` of weights `1/u²` (a textbook's formulas,
/// from memory, without a source).
#[test]
fn a_weighted_line_is_that_of_the_sums() {
    let data = [
        (0.0, 1.1, 0.1),
        (1.0, 2.9, 0.2),
        (2.5, 6.2, 0.4),
        (4.0, 8.7, 0.1),
        (7.0, 15.3, 0.3),
    ];
    let found = fit(&[0.0, 1.0], &|p| {
        let residual = |(x, y, u): &(f64, f64, f64)| (p[0] + p[1] * x - y) / u;
        data.iter().map(residual).collect()
    })
    .unwrap();
    let sum = |of: fn(f64, f64) -> f64| -> f64 {
        data.iter().map(|(x, y, u)| of(*x, *y) / (u * u)).sum()
    };
    let [s, x, xx] = [sum(|_, _| 1.0), sum(|x, _| x), sum(|x, _| x * x)];
    let [y, xy] = [sum(|_, y| y), sum(|x, y| x * y)];
    let determinant = s * xx - x * x;
    let near = |found: f64, expected: f64| {
        assert!((found / expected - 1.0).abs() < 1e-9, "{found}, {expected}");
    };
    near(found.parameters[0], (xx * y - x * xy) / determinant);
    near(found.parameters[1], (s * xy - x * y) / determinant);
    near(found.uncertainty(0), (xx / determinant).sqrt());
    near(found.uncertainty(1), (s / determinant).sqrt());
    near(found.correlation(0, 1), -x / (s * xx).sqrt());
    assert_eq!(found.degrees, 3);
}

/// What cannot be fitted is refused with the parameters' names.
#[test]
fn what_cannot_be_fitted_is_said() {
    let x = [1.0, 2.0, 3.0, 4.0];
    let each = |of: &dyn Fn(f64) -> f64| -> Vec<f64> { x.iter().map(|x| of(*x)).collect() };
    let product = fit(&[1.0, 2.0], &|p| each(&|x| p[0] * p[1] * x - 3.0 * x * x));
    let Err(FitError::Undetermined { together }) = &product else {
        panic!("{product:?}");
    };
    assert_eq!(together, &["a", "b"]);
    let said = product.unwrap_err().to_string();
    assert!(said.contains("the data do not tell a and b"), "{said}");
    let few = fit(&[1.0, 1.0, 1.0, 1.0], &|p| each(&|x| p[0] * x));
    let few = few.unwrap_err().to_string();
    assert!(few.contains("4 points for 4 parameters"), "{few}");
    let none = fit(&[-1.0], &|p| each(&|x| p[0].ln() * x)).unwrap_err();
    assert!(none.to_string().contains("no value at a = -1e0"), "{none}");
    let endless = fit(&[0.0], &|p| each(&|x| (-p[0]).exp() * x));
    assert!(endless.is_err(), "{endless:?}");
}
