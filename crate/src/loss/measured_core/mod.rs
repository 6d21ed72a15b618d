//! Steinmetz's constants from a table of measured core losses, with their uncertainties.

mod describe;

use std::f64::consts::{PI, TAU};
use std::fmt;

use crate::fit::{Fit, FitError, Parameter};
use crate::stage::SteinmetzData;

pub use describe::{json, text};

/// How the flux of a measurement changes with time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Waveform {
    /// As a sinusoid.
    Sinusoid,
    /// In straight lines, as long up as down.
    Triangle,
}

impl Waveform {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Sinusoid => "sinusoids",
            Self::Triangle => "symmetric triangles",
        }
    }

    /// The loss over that of a sinusoid of the same amplitude: one, or by the improved
    /// generalised method `4^α/((2·π)^(α − 1)·∫|cos θ|^α dθ)`, the integral over a turn:
    /// `2·√π·Γ((α + 1)/2)/Γ(α/2 + 1)`.
    fn over_sinusoid(self, alpha: f64) -> f64 {
        match self {
            Self::Sinusoid => 1.0,
            Self::Triangle => {
                let gammas = libm::lgamma(0.5 * (alpha + 1.0)) - libm::lgamma(0.5 * alpha + 1.0);
                let integral = 2.0 * PI.sqrt() * gammas.exp();
                4f64.powf(alpha) / (TAU.powf(alpha - 1.0) * integral)
            }
        }
    }
}

/// A measured loss.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Frequency, Hz.
    pub frequency: f64,
    /// Amplitude of the flux density, half of what it swings from peak to peak, T.
    pub amplitude: f64,
    /// Loss density, W/m³.
    pub loss: f64,
}

/// What the constants are called, in the order of a fit.
pub const CONSTANTS: [&str; 3] = ["k", "alpha", "beta"];

/// Steinmetz's law as a table of losses tells it.
#[derive(Clone, Debug)]
pub struct MeasuredCore {
    /// The constants, for a sinusoid.
    pub law: SteinmetzData,
    /// The fit: of the logarithm of `k`, and of the exponents.
    pub fit: Fit,
    /// The points.
    pub points: Vec<Point>,
    /// How their flux changes with time.
    pub waveform: Waveform,
    /// The relative error of the law at each point.
    pub errors: Vec<f64>,
}

/// Why a table of losses tells no constants.
#[derive(Clone, Debug, PartialEq)]
pub enum CoreError {
    /// A point that is no loss.
    Point {
        /// The point, from 1.
        point: usize,
        /// What is wrong with it.
        what: &'static str,
        /// The value, in the coherent unit.
        value: f64,
    },
    /// What the fit says.
    Fit(FitError),
}

impl fmt::Display for CoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Point { point, what, value } => write!(
                f,
                "point {point}: {what} {value}; expected a number above zero; correct or remove it"
            ),
            Self::Fit(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for CoreError {}

impl MeasuredCore {
    /// Fits `P_v = k·(f/Hz)^α·(B/T)^β` to points: least squares of the relative error, as
    /// losses over decades are measured to so many per cent.
    ///
    /// # Errors
    /// A point that is not above zero, or points that do not tell the constants, such as
    /// those of one frequency.
    ///
    /// # Assumptions
    /// The law itself, within the points' ranges, at the temperature and the bias at which
    /// they were measured; for triangles the improved generalised method as well.
    ///
    /// # Source
    /// Steinmetz, 1892; Venkatachalam, Sullivan, Abdallah, Tacca, 2002.
    ///
    /// # Example
    /// ```
    /// use slewbook::loss::measured_core::{MeasuredCore, Point, Waveform};
    /// let points = [[1e5, 0.1, 60e3], [2e5, 0.1, 170e3], [1e5, 0.2, 340e3], [2e5, 0.2, 960e3]];
    /// let points = points.map(|[frequency, amplitude, loss]| Point { frequency, amplitude, loss });
    /// let core = MeasuredCore::new(&points, Waveform::Sinusoid).unwrap();
    /// assert!((core.law.alpha - 1.5).abs() < 3.0 * core.uncertainties()[1]);
    /// ```
    pub fn new(points: &[Point], waveform: Waveform) -> Result<Self, CoreError> {
        for (k, point) in points.iter().enumerate() {
            for (what, value) in [
                ("frequency", point.frequency),
                ("flux density", point.amplitude),
                ("loss density", point.loss),
            ] {
                if !(value.is_finite() && value > 0.0) {
                    let point = k + 1;
                    return Err(CoreError::Point { point, what, value });
                }
            }
        }
        let relative = |p: &[f64]| -> Vec<f64> {
            let shape = p[0] + waveform.over_sinusoid(p[1]).ln();
            let error = |point: &Point| {
                let own = p[1] * point.frequency.ln() + p[2] * point.amplitude.ln();
                (shape + own - point.loss.ln()).exp_m1()
            };
            points.iter().map(error).collect()
        };
        let start = CONSTANTS.iter().zip(start(points));
        let start: Vec<Parameter> = start
            .map(|(name, start)| Parameter { name, start })
            .collect();
        let fit = Fit::new(&start, &relative).map_err(CoreError::Fit)?;
        Ok(Self {
            law: SteinmetzData {
                k: fit.parameters[0].exp(),
                alpha: fit.parameters[1],
                beta: fit.parameters[2],
            },
            errors: relative(&fit.parameters),
            points: points.to_vec(),
            waveform,
            fit,
        })
    }

    /// Standard uncertainties of the constants, from the scatter of the points.
    #[must_use]
    pub fn uncertainties(&self) -> [f64; 3] {
        let [k, alpha, beta] = [0, 1, 2].map(|i| self.fit.deviation(i));
        [self.law.k * k, alpha, beta]
    }

    /// The mean size of the relative errors.
    #[must_use]
    pub fn mean_error(&self) -> f64 {
        let sum: f64 = self.errors.iter().map(|error| error.abs()).sum();
        #[expect(clippy::cast_precision_loss, reason = "fewer points than 2^53")]
        let count = self.errors.len() as f64;
        sum / count
    }

    /// The largest relative error, and its point, from 1.
    #[must_use]
    pub fn largest_error(&self) -> (usize, f64) {
        let errors = self.errors.iter().copied().enumerate();
        let larger = |most: (usize, f64), (k, own): (usize, f64)| {
            if own.abs() > most.1.abs() {
                (k + 1, own)
            } else {
                most
            }
        };
        errors.fold((1, 0.0), larger)
    }
}

/// Where the search starts: exponents as ferrites have them (common practice, without a
/// source), and the constant that fits the first point.
fn start(points: &[Point]) -> [f64; 3] {
    let (alpha, beta) = (1.5, 2.5);
    let log = |p: &Point| p.loss.ln() - alpha * p.frequency.ln() - beta * p.amplitude.ln();
    [points.first().map_or(0.0, log), alpha, beta]
}
