//! Uncertainties in the specification: a table in the place of a plain value.

use super::reader::{Bounds, Read, Section};
use crate::quantity::{Dimensioned, Ratio, parse};
use crate::uncertainty::{Distribution, Observations};

/// The distributions that a specification states; an operating range states
/// none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spreads {
    /// Of the inductance.
    pub inductance: Option<Distribution>,
    /// Of the constant part of the node's capacitance.
    pub node_capacitance: Option<Distribution>,
    /// Of the resistance of the clamp's path.
    pub clamp_resistance: Option<Distribution>,
    /// Of the trip delay.
    pub trip_delay: Option<Distribution>,
    /// Of the trip threshold.
    pub trip_threshold: Option<Distribution>,
    /// Of a factor on the high-side transistor's capacitance curve.
    pub high_scale: Option<Distribution>,
    /// Of a factor on the low-side transistor's capacitance curve.
    pub low_scale: Option<Distribution>,
    /// Of a factor on the clamp's capacitance curve.
    pub clamp_scale: Option<Distribution>,
}

impl Spreads {
    /// Every distribution with the key of its value: what a correlation names.
    #[must_use]
    pub fn named(&self) -> [(&'static str, Option<Distribution>); 8] {
        [
            ("stage.inductance", self.inductance),
            ("stage.node_capacitance", self.node_capacitance),
            ("clamp.resistance", self.clamp_resistance),
            ("clamp.output_capacitance.scale", self.clamp_scale),
            ("trip.delay", self.trip_delay),
            ("trip.threshold", self.trip_threshold),
            ("transistors.high.output_capacitance.scale", self.high_scale),
            ("transistors.low.output_capacitance.scale", self.low_scale),
        ]
    }

    /// The distribution of the value at a key.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<Distribution> {
        let mut named = self.named().into_iter();
        named.find(|(own, _)| *own == name)?.1
    }
}

/// A value with its distribution, where one is stated.
pub(crate) struct Uncertain<Q> {
    pub read: Read<Q>,
    pub distribution: Option<Distribution>,
}

/// The greatest half-width of a tolerance, as a part of the value: the value
/// stays above zero.
const WIDEST: f64 = 0.9;

impl Section<'_, '_> {
    /// A quantity as plain text, or as a table: `nominal` with `tolerance` and
    /// `distribution`, or with `standard_uncertainty` and `degrees_of_freedom`;
    /// or `observations`.
    pub fn uncertain<Q: Dimensioned>(
        &self,
        key: &'static str,
        bounds: &Bounds,
        example: &str,
    ) -> Option<Uncertain<Q>> {
        let Some(table) = self.section_if_table(key) else {
            return self.quantity(key, bounds).map(|read| Uncertain {
                read,
                distribution: None,
            });
        };
        let uncertain = if table.has("observations") {
            table.observed(bounds)
        } else {
            let read = table.required::<Q>("nominal", bounds, example);
            let distribution = table.spread(&read);
            Uncertain { read, distribution }
        };
        table.close();
        Some(uncertain)
    }

    /// As [`Section::uncertain`], for a key that must be there.
    pub fn required_uncertain<Q: Dimensioned>(
        &self,
        key: &'static str,
        bounds: &Bounds,
        example: &str,
    ) -> Uncertain<Q> {
        self.uncertain(key, bounds, example)
            .unwrap_or_else(|| Uncertain {
                read: self.required(key, bounds, example),
                distribution: None,
            })
    }

    /// The distribution of a factor on the curve at `key`.
    pub fn scale(&self, key: &'static str) -> Option<Distribution> {
        let curve = self.section_if_table(key)?;
        if !curve.has("scale") {
            return None;
        }
        let scale = curve.section("scale");
        let distribution = scale.spread(&Read {
            value: Ratio::from_coherent(1.0),
            span: 0..0,
            good: true,
        });
        scale.close();
        distribution
    }

    /// The distribution that a table states about its nominal value.
    fn spread<Q: Dimensioned>(&self, nominal: &Read<Q>) -> Option<Distribution> {
        let estimate = nominal.value.coherent();
        let tolerance = self.part_or_quantity::<Q>("tolerance", estimate);
        let standard = self.part_or_quantity::<Q>("standard_uncertainty", estimate);
        let form = self.text("distribution");
        let count = self.quantity::<Ratio>(
            "degrees_of_freedom",
            &Bounds {
                range: 1.0..=1e9,
                above: false,
            },
        );
        if let (Some(_), Some(standard)) = (&tolerance, &standard) {
            self.problem(
                &standard.span,
                "standard_uncertainty",
                "stands beside a tolerance; give one of the two",
            );
            return None;
        }
        if let (None, Some(count)) = (&standard, &count) {
            self.problem(
                &count.span,
                "degrees_of_freedom",
                "belong to a standard_uncertainty; give one, or leave them out",
            );
        }
        let expected = if standard.is_some() {
            "expected \"normal\", for a standard_uncertainty"
        } else {
            "expected \"rectangular\" or \"triangular\", for a tolerance, its half-width"
        };
        let distribution = match (
            &tolerance,
            &standard,
            form.as_ref().map(|f| f.value.as_str()),
        ) {
            (Some(half), None, None | Some("rectangular")) => {
                Distribution::rectangular(half.value).ok()
            }
            (Some(half), None, Some("triangular")) => Distribution::triangular(half.value).ok(),
            (None, Some(standard), None | Some("normal")) => {
                let normal = Distribution::normal(standard.value).ok();
                match count {
                    Some(count) => {
                        normal.and_then(|d| d.with_degrees_of_freedom(count.value.coherent()).ok())
                    }
                    None => normal,
                }
            }
            (_, _, Some(found)) => {
                let span = form.as_ref().map_or(0..0, |f| f.span.clone());
                let message = if tolerance.is_some() || standard.is_some() {
                    format!("is \"{found}\"; {expected}")
                } else {
                    "stands alone; give a tolerance or a standard_uncertainty beside it".to_owned()
                };
                self.problem(&span, "distribution", message);
                None
            }
            _ => None,
        };
        let good = |read: &Option<Read<Q>>| read.as_ref().is_none_or(|r| r.good);
        distribution.filter(|_| nominal.good && good(&tolerance) && good(&standard))
    }

    /// A spread as a part of the value, such as "20 %", or as a quantity.
    fn part_or_quantity<Q: Dimensioned>(
        &self,
        key: &'static str,
        estimate: f64,
    ) -> Option<Read<Q>> {
        let value = self.get(key)?;
        let text = value.get_ref().as_str().map(str::to_owned);
        if let Some(text) = &text
            && parse::<Ratio>(text).is_err()
            && let Err(error) = parse::<Q>(text)
        {
            let message = format!("{error}, or a part of the value such as \"20 %\"");
            self.problem(&value.span(), key, message);
            return Some(Read {
                value: Q::from_coherent(0.0),
                span: value.span(),
                good: false,
            });
        }
        if text.is_none_or(|text| parse::<Ratio>(&text).is_ok()) {
            let part = self.quantity::<Ratio>(
                key,
                &Bounds {
                    range: 0.0..=WIDEST,
                    above: false,
                },
            )?;
            return Some(Read {
                value: Q::from_coherent(part.value.coherent() * estimate),
                span: part.span,
                good: part.good,
            });
        }
        self.quantity(key, &Bounds::from_zero(WIDEST * estimate))
    }

    /// Mean and uncertainty of repeated observations.
    fn observed<Q: Dimensioned>(&self, bounds: &Bounds) -> Uncertain<Q> {
        for key in [
            "nominal",
            "tolerance",
            "standard_uncertainty",
            "distribution",
            "degrees_of_freedom",
        ] {
            if let Some(value) = self.get(key) {
                self.problem(
                    &value.span(),
                    key,
                    "stands beside observations, which give value and uncertainty; leave it out",
                );
            }
        }
        let list = self.quantities::<Q>("observations", bounds);
        let values: Vec<f64> = list.value.iter().map(|q| q.coherent()).collect();
        let observed = Observations::new(&values);
        if let (Err(error), true) = (&observed, list.good) {
            self.problem(&list.span, "observations", error.to_string());
        }
        let observed = observed.ok().filter(|_| list.good);
        Uncertain {
            read: Read {
                value: Q::from_coherent(observed.as_ref().map_or(1.0, Observations::mean)),
                good: observed.is_some(),
                span: list.span,
            },
            distribution: observed.and_then(|o| o.distribution::<Q>().ok()),
        }
    }
}

/// The half-width over the value, where the distribution has one.
pub(crate) fn tolerance(distribution: Option<&Distribution>, estimate: f64) -> Ratio {
    distribution
        .and_then(Distribution::half_width)
        .map_or(0.0, |half| half / estimate)
        .into()
}
