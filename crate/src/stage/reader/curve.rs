//! Capacitance curves: a constant, a junction law, or a table of points.

use std::ops::Range;

use super::{Bounds, Read, Section, wrong_type};
use crate::equation::Curve;
use crate::quantity::{Capacitance, Voltage};

impl Section<'_, '_> {
    /// A capacitance curve, if the key is there.
    pub fn curve(&self, key: &'static str, name: &str) -> Option<Read<Curve>> {
        let value = self.get(key)?;
        if value.get_ref().as_table().is_none() {
            self.problem(
                &value.span(),
                key,
                wrong_type(
                    value.get_ref(),
                    "a table { constant = \"300 pF\" }, { zero_bias, built_in, grading, floor } \
                     or { table = [[\"0 V\", \"900 pF\"], ...] }",
                ),
            );
            return None;
        }
        self.section(key).read_curve(name, value.span())
    }

    fn read_curve(self, name: &str, span: Range<usize>) -> Option<Read<Curve>> {
        let picofarads = Bounds::from_zero(1.0);
        // Read apart, as the uncertainty that it is.
        self.has("scale");
        let kinds: Vec<_> = ["constant", "table", "zero_bias"]
            .into_iter()
            .filter(|k| self.has(k))
            .collect();
        let curve = match kinds.as_slice() {
            ["constant"] => {
                let constant = self.required("constant", &picofarads, "\"300 pF\"");
                constant.good.then(|| Curve::constant(name, constant.value))
            }
            ["zero_bias"] => {
                let zero_bias = self.required("zero_bias", &picofarads, "\"900 pF\"");
                let built_in = self.required("built_in", &Bounds::positive(100.0), "\"0.8 V\"");
                let grading = self.required(
                    "grading",
                    &Bounds {
                        range: 0.0..=0.99,
                        above: false,
                    },
                    "0.5",
                );
                let floor = self.required("floor", &picofarads, "\"60 pF\"");
                (zero_bias.good && built_in.good && grading.good && floor.good).then(|| {
                    Curve::law(
                        name,
                        zero_bias.value,
                        built_in.value,
                        grading.value,
                        floor.value,
                    )
                })
            }
            ["table"] => self.points().map(|points| Curve::table(name, &points)),
            several => {
                let found = if several.is_empty() {
                    "gives no curve".to_owned()
                } else {
                    format!("gives `{}`", several.join("` and `"))
                };
                self.reader.problem(
                    &span,
                    &self.path,
                    format!(
                        "{found}; expected exactly one of `constant`, `table`, or `zero_bias` with \
                         `built_in`, `grading` and `floor`"
                    ),
                );
                None
            }
        };
        let curve = curve.and_then(|curve| match curve {
            Ok(curve) => Some(Read {
                value: curve,
                span: span.clone(),
                good: true,
            }),
            Err(error) => {
                self.reader.problem(&span, &self.path, error.to_string());
                None
            }
        });
        self.close();
        curve
    }

    fn points(&self) -> Option<Vec<(Voltage, Capacitance)>> {
        let value = self.get("table")?;
        let wrong = |span: Range<usize>| {
            self.problem(
                &span,
                "table",
                "expected a list of points, each a voltage and a capacitance such as \
                 [\"5 V\", \"400 pF\"]",
            );
        };
        let Some(rows) = value.get_ref().as_array() else {
            wrong(value.span());
            return None;
        };
        let mut points = Vec::new();
        for row in rows {
            let pair = row
                .get_ref()
                .as_array()
                .map(|pair| pair.iter().collect::<Vec<_>>());
            let Some([voltage, capacitance]) = pair.as_deref() else {
                wrong(row.span());
                return None;
            };
            let voltage = self.read("table", voltage, &Bounds::from_zero(1e5));
            let capacitance = self.read("table", capacitance, &Bounds::from_zero(1.0));
            if !(voltage.good && capacitance.good) {
                return None;
            }
            points.push((voltage.value, capacitance.value));
        }
        Some(points)
    }
}
