//! The distribution of an input about its estimate.

use super::error::UncertaintyError;
use crate::quantity::{Dimensioned, Exponents};

/// The form of a distribution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// Every value within the half-width equally likely.
    Rectangular,
    /// Values near the estimate likelier, none beyond the half-width.
    Triangular,
    /// The normal distribution; with finite degrees of freedom Student's.
    Normal,
}

impl Shape {
    /// The half-width over the standard uncertainty, where the shape has a
    /// half-width.
    fn half_widths(self) -> Option<f64> {
        match self {
            Self::Rectangular => Some(3.0_f64.sqrt()),
            Self::Triangular => Some(6.0_f64.sqrt()),
            Self::Normal => None,
        }
    }

    /// The fourth moment over the square of the variance.
    pub(crate) fn kurtosis(self) -> f64 {
        match self {
            Self::Rectangular => 1.8,
            Self::Triangular => 2.4,
            Self::Normal => 3.0,
        }
    }

    /// The name in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Rectangular => "rectangular",
            Self::Triangular => "triangular",
            Self::Normal => "normal",
        }
    }
}

/// How an input may lie about its estimate: form, standard uncertainty, and the
/// degrees of freedom of that uncertainty.
///
/// ```
/// use slewbook::quantity::unit::uH;
/// use slewbook::uncertainty::Distribution;
/// // 20 % of 0.68 µH with nothing else known: JCGM 100:2008, 4.3.7.
/// let tolerance = Distribution::rectangular(0.136 * uH).unwrap();
/// assert!((tolerance.standard_uncertainty() - 0.136e-6 / 3f64.sqrt()).abs() < 1e-20);
/// assert!(Distribution::rectangular(-0.136 * uH).is_err());
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Distribution {
    shape: Shape,
    standard_uncertainty: f64,
    degrees_of_freedom: f64,
    exponents: Exponents,
}

impl Distribution {
    fn new<Q: Dimensioned>(
        shape: Shape,
        what: &'static str,
        spread: Q,
    ) -> Result<Self, UncertaintyError> {
        let spread = spread.coherent();
        if !(spread.is_finite() && spread >= 0.0) {
            return Err(UncertaintyError::Range {
                what,
                value: spread,
                expected: "a finite value from zero",
            });
        }
        Ok(Self {
            shape,
            standard_uncertainty: spread / shape.half_widths().unwrap_or(1.0),
            degrees_of_freedom: f64::INFINITY,
            exponents: Q::EXPONENTS,
        })
    }

    /// Equally likely anywhere within a half-width of the estimate (JCGM
    /// 100:2008, 4.3.7).
    ///
    /// # Errors
    /// A half-width that is negative or not finite.
    pub fn rectangular<Q: Dimensioned>(half_width: Q) -> Result<Self, UncertaintyError> {
        Self::new(Shape::Rectangular, "the half-width", half_width)
    }

    /// Triangular within a half-width of the estimate (JCGM 100:2008, 4.3.9).
    ///
    /// # Errors
    /// A half-width that is negative or not finite.
    pub fn triangular<Q: Dimensioned>(half_width: Q) -> Result<Self, UncertaintyError> {
        Self::new(Shape::Triangular, "the half-width", half_width)
    }

    /// Normal, by its standard uncertainty.
    ///
    /// # Errors
    /// A standard uncertainty that is negative or not finite.
    pub fn normal<Q: Dimensioned>(standard_uncertainty: Q) -> Result<Self, UncertaintyError> {
        Self::new(
            Shape::Normal,
            "the standard uncertainty",
            standard_uncertainty,
        )
    }

    /// The same with the degrees of freedom of its standard uncertainty; they
    /// are infinite unless set.
    ///
    /// # Errors
    /// Degrees of freedom below one.
    pub fn with_degrees_of_freedom(mut self, count: f64) -> Result<Self, UncertaintyError> {
        if count.is_nan() || count < 1.0 {
            return Err(UncertaintyError::Range {
                what: "the number of degrees of freedom",
                value: count,
                expected: "one or more",
            });
        }
        self.degrees_of_freedom = count;
        Ok(self)
    }

    /// The same about an estimate so many times as large.
    pub(crate) fn scaled(mut self, factor: f64) -> Self {
        self.standard_uncertainty *= factor;
        self
    }

    /// Normal, from values in the coherent unit known to be in range.
    pub(crate) fn from_coherent(
        standard_uncertainty: f64,
        degrees_of_freedom: f64,
        exponents: Exponents,
    ) -> Self {
        Self {
            shape: Shape::Normal,
            standard_uncertainty,
            degrees_of_freedom,
            exponents,
        }
    }

    /// The form.
    #[must_use]
    pub fn shape(&self) -> Shape {
        self.shape
    }

    /// The standard uncertainty, in the coherent unit.
    #[must_use]
    pub fn standard_uncertainty(&self) -> f64 {
        self.standard_uncertainty
    }

    /// The half-width, in the coherent unit, where the form has one.
    #[must_use]
    pub fn half_width(&self) -> Option<f64> {
        self.shape
            .half_widths()
            .map(|factor| factor * self.standard_uncertainty)
    }

    /// The deviation from the estimate that has the probability of a normal
    /// deviate; a triangular distribution is never drawn so.
    pub(crate) fn deviation(&self, deviate: f64) -> f64 {
        match (self.shape, self.half_width()) {
            (Shape::Rectangular, Some(half)) => {
                half * libm::erf(deviate * std::f64::consts::FRAC_1_SQRT_2)
            }
            _ => self.standard_uncertainty * deviate,
        }
    }

    /// The degrees of freedom of the standard uncertainty; infinite where it
    /// counts as exactly known.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> f64 {
        self.degrees_of_freedom
    }

    /// The dimension.
    #[must_use]
    pub fn exponents(&self) -> Exponents {
        self.exponents
    }

    /// The form with its degrees of freedom, in words.
    #[must_use]
    pub fn words(&self) -> String {
        if self.degrees_of_freedom.is_finite() {
            let count = crate::quantity::number(self.degrees_of_freedom, 3);
            format!("{}, {count} degrees of freedom", self.shape.words())
        } else {
            self.shape.words().to_owned()
        }
    }
}
