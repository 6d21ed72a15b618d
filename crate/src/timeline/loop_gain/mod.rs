//! The voltage loop examined before a run: gain, margins, eigenvalues.
//!
//! The exact simulation is linearised over a switching period, the output capacitor and
//! the flying capacitors included, so that one method serves every scheme. From the
//! derivatives `A, B, C, D` of a period with `n` cells follows the response of the
//! output's mean over a cell to the on-time, `H(z)`, and the loop gain of the controller
//! that looks once a cell,
//! `L(z) = (k_p + k_i·T·z/(z − 1))·z⁻¹·H(z)/V_ref`.
//!
//! A cell is the unit of time, also where the frequency varies. What limits change (the
//! duty's, a skipped pulse) is not part of it. Where the node rings between a release at
//! zero current and the next firing, the ring counts as decayed by then.

mod examination;
mod linear;
mod period;
mod report;
mod report_json;

pub use examination::{Examination, Soundness};
pub use report::{Examined, LoopReport};

use super::error::TimelineError;
use super::settings::{Loop, Settings, feed_forward};
use crate::quantity::{Dimensioned as _, Frequency, Ratio, Time};
use crate::stage::{Circuit, OperatingPoint};
use linear::{Complex, dot, solve, spectral_radius};
use period::{Linear, Period};

/// The gain around the voltage loop at an operating point.
///
/// ```
/// use slewbook::quantity::unit::{ampere, uH, volt};
/// use slewbook::scheme::Scheme;
/// use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
/// use slewbook::timeline::{LoopGain, Settings, Soundness};
///
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let circuit = Circuit::new(
///     &specification, Scheme::FreewheelTransistors, 0.68 * uH, 0.6 * ampere,
/// ).unwrap();
/// let point = OperatingPoint {
///     input_voltage: 36.0 * volt,
///     output_voltage: 6.0 * volt,
///     output_current: 6.0 * ampere,
/// };
/// let settings = Settings::new(&specification.control, &circuit, point).unwrap();
/// let gain = LoopGain::new(&circuit, &settings, point).unwrap();
/// assert_eq!(gain.examine().soundness(), Soundness::Sound);
/// assert!(gain.eigenvalue() < 1.0.into());
/// ```
#[derive(Clone, Debug)]
pub struct LoopGain {
    linear: Linear,
    point: OperatingPoint,
    /// By which the feed-forward multiplies the gains here, per volt of the output.
    per_volt: f64,
    gains: (Ratio, Frequency),
}

impl LoopGain {
    /// The loop of a circuit and its control at a point.
    ///
    /// # Errors
    /// A fixed duty; a point without a steady state that every switching period repeats,
    /// so with skipped pulses.
    pub fn new(
        circuit: &Circuit,
        settings: &Settings,
        point: OperatingPoint,
    ) -> Result<Self, TimelineError> {
        let Loop::Regulated {
            target,
            proportional,
            integral,
            ..
        } = settings.on_time
        else {
            return Err(TimelineError::Setting(
                "the duty is fixed; there is no loop to examine".to_owned(),
            ));
        };
        let linear = Period::find(circuit, settings, point)?.linear()?;
        let step = point.input_voltage.coherent() / f64::from(circuit.pairs);
        let volt = target.coherent();
        let scale = feed_forward(settings, circuit).map_or(1.0, |f| f.scale(step, volt));
        Ok(Self {
            point,
            per_volt: scale / volt,
            gains: (proportional, integral),
            linear,
        })
    }

    /// The same stage with other gains.
    #[must_use]
    pub fn with_gains(&self, proportional: Ratio, integral: Frequency) -> Self {
        Self {
            gains: (proportional, integral),
            ..self.clone()
        }
    }

    /// The same loop with both gains multiplied.
    fn times(&self, factor: f64) -> Self {
        let (proportional, integral) = self.gains;
        self.with_gains(factor * proportional, factor * integral)
    }

    /// Cells per volt.
    fn proportional(&self) -> f64 {
        self.gains.0.coherent() * self.per_volt
    }

    /// Cells per volt and cell.
    fn integral(&self) -> f64 {
        self.gains.1.coherent() * self.linear.cell * self.per_volt
    }

    /// Duration of a cell.
    #[must_use]
    pub fn cell_time(&self) -> Time {
        Time::from_coherent(self.linear.cell)
    }

    /// The response of the output's mean over a cell to the on-time, `H`, in volts per
    /// cell of on-time: real and imaginary part. From the lifted system of a period's
    /// cells.
    #[must_use]
    pub fn control_to_output(&self, frequency: Frequency) -> [f64; 2] {
        let h = self.response(self.angle(frequency));
        [h.re, h.im]
    }

    /// The loop gain `L`: real and imaginary part. The loop is broken where the on-time is
    /// set; a negative feedback has `−1` as its critical point.
    #[must_use]
    pub fn at(&self, frequency: Frequency) -> [f64; 2] {
        let l = self.gain(self.angle(frequency));
        [l.re, l.im]
    }

    fn angle(&self, frequency: Frequency) -> f64 {
        std::f64::consts::TAU * frequency.coherent() * self.linear.cell
    }

    /// `H` at an angle per cell.
    fn response(&self, angle: f64) -> Complex {
        let l = &self.linear;
        let cells = l.through.len();
        let inputs: Vec<Complex> = (0..cells)
            .map(|k| Complex::turn(k as f64 * angle))
            .collect();
        let driven = |row: &[f64]| {
            let sum = row.iter().zip(&inputs);
            sum.fold(Complex::ZERO, |sum, (x, u)| sum + Complex::from(*x) * *u)
        };
        let period = Complex::turn(cells as f64 * angle);
        let rows = l.state.iter().enumerate().map(|(i, row)| {
            let mut line: Vec<Complex> = row.iter().map(|x| Complex::from(-x)).collect();
            line[i] = line[i] + period;
            line.push(driven(&l.input[i]));
            line
        });
        let Some(state) = solve(rows.collect()) else {
            return Complex::from(f64::INFINITY);
        };
        let mut sum = Complex::ZERO;
        for (k, (row, through)) in l.output.iter().zip(&l.through).enumerate() {
            let held = row.iter().zip(&state);
            let mean = held.fold(driven(through), |sum, (x, s)| sum + Complex::from(*x) * *s);
            sum = sum + mean * Complex::turn(-(k as f64) * angle);
        }
        sum * Complex::from(1.0 / cells as f64)
    }

    /// `L` at an angle per cell.
    fn gain(&self, angle: f64) -> Complex {
        let z = Complex::turn(angle);
        let sum = Complex::from(self.integral()) * z / (z - Complex::ONE);
        (Complex::from(self.proportional()) + sum) * self.response(angle) / z
    }

    /// The largest eigenvalue of the stage alone, per cell: what a disturbance is
    /// multiplied by in every cell, in the long run, at a fixed on-time.
    #[must_use]
    pub fn open_eigenvalue(&self) -> Ratio {
        let cells = self.linear.through.len() as f64;
        spectral_radius(&self.linear.state).powf(1.0 / cells).into()
    }

    /// The largest eigenvalue of the closed loop, per cell; one or more is unstable. From
    /// the product of the maps of a period's cells.
    #[must_use]
    pub fn eigenvalue(&self) -> Ratio {
        let l = &self.linear;
        let (states, cells) = (l.state.len(), l.through.len());
        let (proportional, integral) = (self.proportional(), self.integral());
        // The controller's states: its integral, and the mean it saw last.
        let count = states + 2;
        let column = |k: usize| {
            let unit = |i: usize| if i == k { 1.0 } else { 0.0 };
            let state: Vec<f64> = (0..states).map(unit).collect();
            let (mut sum, mut seen) = (unit(states), unit(states + 1));
            let mut inputs = vec![0.0; cells];
            for cell in 0..cells {
                sum -= integral * seen;
                inputs[cell] = sum - proportional * seen;
                seen = dot(&l.output[cell], &state) + dot(&l.through[cell], &inputs);
            }
            let rows = l.state.iter().zip(&l.input);
            let mut column: Vec<f64> = rows
                .map(|(held, driven)| dot(held, &state) + dot(driven, &inputs))
                .collect();
            column.extend([sum, seen]);
            column
        };
        // Its columns as rows: the transpose has the same eigenvalues.
        let matrix: Vec<Vec<f64>> = (0..count).map(column).collect();
        spectral_radius(&matrix).powf(1.0 / cells as f64).into()
    }

    /// Crossover, margins and eigenvalues.
    #[must_use]
    pub fn examine(&self) -> Examination {
        Examination::of(self)
    }
}

#[cfg(test)]
mod tests;
