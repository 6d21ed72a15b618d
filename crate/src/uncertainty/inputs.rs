//! Which inputs are uncertain, and how they go together.

use super::distribution::{Distribution, Shape};
use super::error::UncertaintyError;
use super::joint::{self, Apart, Joint, Refused};
use crate::equation::Symbol;
use crate::quantity::symbol::name_of;

/// An input with its distribution.
#[derive(Clone, Copy, Debug)]
pub struct Input {
    /// The input.
    pub symbol: &'static Symbol,
    /// Its distribution about its estimate.
    pub distribution: Distribution,
}

/// The uncertain inputs of a calculation with their correlations: what is passed
/// beside a point. An input that is not listed counts as exactly known.
///
/// ```
/// use slewbook::equation::Term;
/// use slewbook::quantity::unit::{ampere, mohm, volt};
/// use slewbook::uncertainty::{Distribution, Uncertainties};
/// let V = Term::input("V", "voltage", 5.0 * volt);
/// let I = Term::input("I", "current", 2.0 * ampere);
/// let (V, I) = (V.symbol().unwrap(), I.symbol().unwrap());
/// let uncertainties = Uncertainties::none()
///     .with(V, Distribution::normal(0.01 * volt).unwrap()).unwrap()
///     .with(I, Distribution::normal(0.02 * ampere).unwrap()).unwrap()
///     .correlated(V, I, -0.4).unwrap();
/// assert_eq!(uncertainties.correlation(I, V), -0.4);
/// let wrong = Uncertainties::none().with(V, Distribution::normal(1.0 * mohm).unwrap());
/// assert!(wrong.unwrap_err().to_string().contains("expected \"V\""));
/// ```
#[derive(Clone, Debug, Default)]
pub struct Uncertainties {
    inputs: Vec<Input>,
    correlations: Vec<(&'static Symbol, &'static Symbol, f64)>,
}

impl Uncertainties {
    /// Everything exactly known.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// The same with the distribution of one input set.
    ///
    /// # Errors
    /// A distribution of another dimension than the input.
    pub fn with(
        mut self,
        symbol: &'static Symbol,
        distribution: Distribution,
    ) -> Result<Self, UncertaintyError> {
        if symbol.exponents() != distribution.exponents() {
            return Err(UncertaintyError::Dimension {
                symbol: symbol.glyph().to_string(),
                expected: name_of(symbol.exponents()).plain,
                found: name_of(distribution.exponents()).plain,
            });
        }
        self.inputs.retain(|own| !std::ptr::eq(own.symbol, symbol));
        self.inputs.push(Input {
            symbol,
            distribution,
        });
        Ok(self)
    }

    /// The same with the correlation coefficient of two uncertain inputs.
    ///
    /// # Errors
    /// A coefficient outside -1 to 1, an input without uncertainty. Whether all
    /// coefficients can hold together shows when they are used.
    pub fn correlated(
        mut self,
        one: &'static Symbol,
        other: &'static Symbol,
        coefficient: f64,
    ) -> Result<Self, UncertaintyError> {
        if !(-1.0..=1.0).contains(&coefficient) {
            return Err(UncertaintyError::Range {
                what: "the correlation coefficient",
                value: coefficient,
                expected: "a value from -1 to 1",
            });
        }
        for symbol in [one, other] {
            if self.get(symbol).is_none() {
                return Err(UncertaintyError::NotUncertain {
                    symbol: symbol.glyph().to_string(),
                });
            }
        }
        self.correlations
            .retain(|(a, b, _)| !same_pair((a, b), (one, other)));
        if !std::ptr::eq(one, other) && coefficient != 0.0 {
            self.correlations.push((one, other, coefficient));
        }
        Ok(self)
    }

    /// The same without one input: it counts as exactly known.
    #[must_use]
    pub fn without(mut self, symbol: &Symbol) -> Self {
        self.inputs.retain(|own| !std::ptr::eq(own.symbol, symbol));
        self.correlations
            .retain(|(a, b, _)| !std::ptr::eq(*a, symbol) && !std::ptr::eq(*b, symbol));
        self
    }

    /// The uncertain inputs, in the order in which they were stated.
    #[must_use]
    pub fn inputs(&self) -> &[Input] {
        &self.inputs
    }

    /// The distribution of an input, if it is uncertain.
    #[must_use]
    pub fn get(&self, symbol: &Symbol) -> Option<&Distribution> {
        self.inputs
            .iter()
            .find(|own| std::ptr::eq(own.symbol, symbol))
            .map(|own| &own.distribution)
    }

    /// The correlation coefficient of two inputs.
    #[must_use]
    pub fn correlation(&self, one: &Symbol, other: &Symbol) -> f64 {
        if std::ptr::eq(one, other) {
            return 1.0;
        }
        self.correlations
            .iter()
            .find(|(a, b, _)| same_pair((a, b), (one, other)))
            .map_or(0.0, |(_, _, coefficient)| *coefficient)
    }

    /// Those of `symbols` that are uncertain, each with its place in the list.
    pub(crate) fn among(&self, symbols: &[&'static Symbol]) -> Vec<(usize, Input)> {
        let list = symbols.iter().enumerate().filter_map(|(place, symbol)| {
            let distribution = *self.get(symbol)?;
            Some((
                place,
                Input {
                    symbol,
                    distribution,
                },
            ))
        });
        list.filter(|(_, input)| input.distribution.standard_uncertainty() > 0.0)
            .collect()
    }

    /// The Cholesky factor of the correlation matrix of some inputs.
    ///
    /// # Errors
    /// Coefficients that cannot hold together.
    pub(crate) fn factor(&self, inputs: &[Input]) -> Result<Vec<Vec<f64>>, UncertaintyError> {
        joint::factor(inputs.len(), |i, j| {
            self.correlation(inputs[i].symbol, inputs[j].symbol)
        })
        .map_err(|row| inconsistent(inputs[row].symbol))
    }

    /// Some inputs, to be drawn together.
    ///
    /// # Errors
    /// Coefficients that cannot hold together, inputs that are not drawn jointly.
    pub(crate) fn joint(&self, inputs: &[Input]) -> Result<Joint, UncertaintyError> {
        let distributions: Vec<Distribution> =
            inputs.iter().map(|input| input.distribution).collect();
        Joint::new(distributions.clone(), |i, j| {
            self.correlation(inputs[i].symbol, inputs[j].symbol)
        })
        .map_err(|refused| {
            not_drawn(refused, &distributions, |k| {
                inputs[k].symbol.glyph().to_string()
            })
        })
    }
}

/// Why inputs with these names are not drawn jointly.
pub(crate) fn not_drawn(
    refused: Refused,
    distributions: &[Distribution],
    name: impl Fn(usize) -> String,
) -> UncertaintyError {
    match refused {
        Refused::Inconsistent(place) => UncertaintyError::Inconsistent {
            symbol: name(place),
        },
        Refused::Pair([one, other], apart, coefficient) => {
            let triangular = distributions[one].shape() == Shape::Triangular;
            no_joint_form(
                name(if triangular { one } else { other }),
                apart,
                coefficient,
            )
        }
    }
}

fn no_joint_form(symbol: String, apart: Apart, coefficient: f64) -> UncertaintyError {
    match apart {
        Apart::Triangular => UncertaintyError::NoJointDistribution { symbol },
        Apart::Beyond(most) => UncertaintyError::Unreachable {
            symbol,
            coefficient,
            most,
        },
    }
}

fn inconsistent(symbol: &Symbol) -> UncertaintyError {
    UncertaintyError::Inconsistent {
        symbol: symbol.glyph().to_string(),
    }
}

fn same_pair(own: (&Symbol, &Symbol), pair: (&Symbol, &Symbol)) -> bool {
    (std::ptr::eq(own.0, pair.0) && std::ptr::eq(own.1, pair.1))
        || (std::ptr::eq(own.0, pair.1) && std::ptr::eq(own.1, pair.0))
}
