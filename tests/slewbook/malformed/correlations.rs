//! Malformed correlations.

use super::Case;
use crate::support::specification_with;

/// The demonstration with a rectangular inductance, a normal delay, a triangular
/// resistance and a normal threshold, and with correlations.
fn correlated(name: &'static str, tables: &str) -> Case {
    let text = specification_with(&[
        (
            "trip.delay",
            "{ nominal = \"35 ns\", standard_uncertainty = \"2 ns\" }",
        ),
        (
            "trip.threshold",
            "{ nominal = \"0.4 A\", standard_uncertainty = \"10 mA\" }",
        ),
        (
            "clamp.resistance",
            "{ nominal = \"12 mohm\", tolerance = \"10 %\", distribution = \"triangular\" }",
        ),
    ]);
    Case(name, format!("{text}\n{tables}").into_bytes())
}

fn one(name: &'static str, between: &str, coefficient: &str) -> Case {
    let table = format!("[[correlation]]\nbetween = {between}\ncoefficient = {coefficient}\n");
    correlated(name, &table)
}

pub fn cases() -> Vec<Case> {
    let normal = "[\"trip.delay\", \"trip.threshold\"]";
    let mixed = "[\"stage.inductance\", \"trip.delay\"]";
    let three = |last: &str| {
        format!(
            "[[correlation]]\nbetween = {mixed}\ncoefficient = 0.9\n\
             [[correlation]]\nbetween = {normal}\ncoefficient = 0.9\n\
             [[correlation]]\nbetween = [\"stage.inductance\", \"trip.threshold\"]\n\
             coefficient = {last}\n"
        )
    };
    vec![
        one(
            "correlation-of-unknown",
            "[\"stage.inductanse\", \"trip.delay\"]",
            "0.5",
        ),
        one(
            "correlation-of-certain",
            "[\"stage.inductance\", \"stage.node_capacitance\"]",
            "0.5",
        ),
        one(
            "correlation-with-itself",
            "[\"trip.delay\", \"trip.delay\"]",
            "1",
        ),
        one("correlation-of-one", "[\"trip.delay\"]", "0.5"),
        one("correlation-of-text", "\"trip.delay\"", "0.5"),
        one("correlation-above-one", normal, "1.5"),
        one("correlation-not-a-number", normal, "nan"),
        one("correlation-beyond-its-forms", mixed, "-0.99"),
        one(
            "correlation-of-triangular",
            "[\"clamp.resistance\", \"trip.delay\"]",
            "0.5",
        ),
        correlated(
            "correlation-twice",
            &format!(
                "[[correlation]]\nbetween = {normal}\ncoefficient = 0.5\n\
                 [[correlation]]\nbetween = [\"trip.threshold\", \"trip.delay\"]\n\
                 coefficient = 0.4\n"
            ),
        ),
        correlated("correlations-impossible-together", &three("-0.9")),
        correlated("correlation-empty", "[[correlation]]\n"),
        correlated(
            "correlation-is-table",
            &format!("[correlation]\nbetween = {normal}\ncoefficient = 0.5\n"),
        ),
        correlated(
            "correlation-of-unreadable",
            &format!("[[correlation]]\nbetween = {mixed}\ncoefficient = 0.5\n"),
        )
        .with("\"0.68 uH\"", "\"0.68 xH\""),
    ]
}

impl Case {
    fn with(self, from: &str, to: &str) -> Self {
        let text = String::from_utf8(self.1).unwrap();
        assert!(text.contains(from));
        Self(self.0, text.replacen(from, to, 1).into_bytes())
    }
}
