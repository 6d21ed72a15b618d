//! Uncertainties in the specification: a table in the place of a plain value.

use std::collections::BTreeMap;

use super::reader::{Bounds, Read, Section};
use super::specification::Specification;
use super::uncertain::UncertainInput;
use crate::quantity::{Dimensioned, Ratio, parse};
use crate::uncertainty::{Distribution, Joint, Observations, UncertaintyError, not_drawn};

/// A value with its distribution, where one is stated.
struct Uncertain<Q> {
    read: Read<Q>,
    distribution: Option<Distribution>,
}

/// The distributions that a specification states; an operating range states
/// none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spreads(BTreeMap<UncertainInput, Distribution>);

impl Spreads {
    /// The distribution of an input, where one is stated.
    #[must_use]
    pub fn get(&self, input: UncertainInput) -> Option<Distribution> {
        self.0.get(&input).copied()
    }

    /// Every distribution with its input, in the order of the table of inputs.
    pub fn iter(&self) -> impl Iterator<Item = (UncertainInput, Distribution)> {
        self.0.iter().map(|(input, stated)| (*input, *stated))
    }

    /// Whether none is stated.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Keeps an input's distribution the same part of an estimate so many times as large.
    pub(crate) fn scale(&mut self, input: UncertainInput, factor: f64) {
        if let Some(own) = self.0.get_mut(&input) {
            *own = own.scaled(factor);
        }
    }

    fn state(&mut self, input: UncertainInput, distribution: Option<Distribution>) {
        self.0.extend(distribution.map(|stated| (input, stated)));
    }
}

impl Specification {
    /// The inputs that vary, to be taken together with their correlations.
    ///
    /// # Errors
    /// Correlations that cannot hold together or have no joint distribution; reading a
    /// specification refuses them.
    pub(crate) fn joint(&self) -> Result<(Vec<UncertainInput>, Joint), UncertaintyError> {
        let varies = |(_, stated): &(_, Distribution)| stated.standard_uncertainty() > 0.0;
        let (inputs, distributions): (Vec<UncertainInput>, Vec<Distribution>) =
            self.spreads.iter().filter(varies).unzip();
        let coefficient = |i: usize, j: usize| {
            let own = self
                .correlations
                .iter()
                .find(|own| own.is_between(inputs[i], inputs[j]));
            own.map_or(0.0, |own| own.coefficient)
        };
        let joint = Joint::new(distributions.clone(), coefficient).map_err(|refused| {
            not_drawn(refused, &distributions, |k| inputs[k].key().to_owned())
        })?;
        Ok((inputs, joint))
    }
}

/// The greatest half-width of a tolerance, as a part of the value: the value
/// stays above zero.
const WIDEST: f64 = 0.9;

impl Section<'_, '_> {
    /// An input as plain text, or as a table: `nominal` with `tolerance` and
    /// `distribution`, or with `standard_uncertainty` and `degrees_of_freedom`;
    /// or `observations`. Its distribution joins the spreads.
    pub fn uncertain<Q: Dimensioned>(
        &self,
        input: UncertainInput,
        bounds: &Bounds,
        example: &str,
        spreads: &mut Spreads,
    ) -> Option<Read<Q>> {
        let key = input.own_key();
        let Some(table) = self.section_if_table(key) else {
            return self.quantity(key, bounds);
        };
        let Uncertain { read, distribution } = if table.has("observations") {
            table.observed(bounds)
        } else {
            let read = table.required::<Q>("nominal", bounds, example);
            let distribution = table.spread(&read);
            Uncertain { read, distribution }
        };
        table.close();
        spreads.state(input, distribution);
        Some(read)
    }

    /// As [`Section::uncertain`], for a key that must be there.
    pub fn required_uncertain<Q: Dimensioned>(
        &self,
        input: UncertainInput,
        bounds: &Bounds,
        example: &str,
        spreads: &mut Spreads,
    ) -> Read<Q> {
        self.uncertain(input, bounds, example, spreads)
            .unwrap_or_else(|| self.required(input.own_key(), bounds, example))
    }

    /// A factor on the curve at `curve`: a number, or a table with its distribution about
    /// its nominal value, which is one unless stated.
    pub fn scale(&self, curve: &'static str, input: UncertainInput, spreads: &mut Spreads) -> f64 {
        let key = input.own_key();
        let Some(table) = self.section_if_table(curve).filter(|table| table.has(key)) else {
            return 1.0;
        };
        let bounds = Bounds::positive(1e3);
        let Some(scale) = table.section_if_table(key) else {
            let read = table.quantity::<Ratio>(key, &bounds);
            return read.map_or(1.0, |read| read.value.coherent());
        };
        let nominal = scale.quantity::<Ratio>("nominal", &bounds).unwrap_or(Read {
            value: Ratio::from_coherent(1.0),
            span: 0..0,
            good: true,
        });
        let distribution = scale.spread(&nominal);
        scale.close();
        spreads.state(input, distribution);
        nominal.value.coherent()
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
pub(crate) fn tolerance(distribution: Option<Distribution>, estimate: f64) -> Ratio {
    distribution
        .and_then(|own| own.half_width())
        .map_or(0.0, |half| half / estimate)
        .into()
}
