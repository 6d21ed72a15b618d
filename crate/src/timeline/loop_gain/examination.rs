//! What an examination finds, and what it means.

use std::f64::consts::{FRAC_PI_4, PI};
use std::fmt::Write as _;

use super::LoopGain;
use super::linear::Complex;
use crate::quantity::{Dimensioned as _, Frequency, Ratio, Time, number, print};
use crate::stage::OperatingPoint;

/// Angles per cell at which the gain is looked at, from the lowest to π, evenly in the
/// logarithm; between two of them a crossing is found by halving.
const POINTS: u32 = 1500;
const LOWEST: f64 = 1e-5;
const HALVINGS: u32 = 60;

/// Factors on the gains that are looked at up to the margin, evenly in the logarithm, and the
/// largest where there is none.
const FACTORS: u32 = 20;
const MOST_GAIN: f64 = 1e3;

/// Margins below which a loop counts as badly damped: common practice, no standard. In
/// radians, and as a factor (6 dB).
const LEAST_PHASE: f64 = FRAC_PI_4;
const LEAST_GAIN: f64 = 2.0;

/// Whether a loop holds its output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Soundness {
    /// Stable with margins.
    Sound,
    /// Stable, with a phase margin below 45° or a gain margin below 6 dB (common practice).
    BadlyDamped,
    /// Disturbances grow.
    Unstable,
    /// Disturbances grow at a fixed on-time already: the stage, not its loop.
    UnstableStage,
}

/// The voltage loop at an operating point, in figures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Examination {
    /// The operating point.
    pub point: OperatingPoint,
    /// Cells of on-time per relative error.
    pub proportional: Ratio,
    /// Cells of on-time per relative error and second.
    pub integral: Frequency,
    /// Frequency at which the loop gain is one; the one with the least phase margin where
    /// there are several, none where there is none.
    pub crossover: Option<Frequency>,
    /// Phase margin there, in radians.
    pub phase_margin: Option<f64>,
    /// Factor on both gains up to which the loop is stable: where the loop gain passes −1, or
    /// below that, where the largest eigenvalue reaches one. The loop gain tells of the cells
    /// together, an eigenvalue also of the flying capacitors against each other. None where
    /// there is no such factor above one.
    pub gain_margin: Option<Ratio>,
    /// The largest eigenvalue of the stage at a fixed on-time, per cell.
    pub open_eigenvalue: Ratio,
    /// The largest eigenvalue of the closed loop, per cell.
    pub eigenvalue: Ratio,
    /// Duration of a cell.
    pub cell_time: Time,
}

impl Examination {
    pub(super) fn of(gain: &LoopGain) -> Self {
        let step = (PI / LOWEST).ln() / f64::from(POINTS);
        let angles = (0..=POINTS).map(|k| LOWEST * (step * f64::from(k)).exp());
        let (mut crossing, mut margin) = (None, f64::INFINITY);
        let mut last: Option<(f64, Complex)> = None;
        for angle in angles {
            let angle = angle.min(PI);
            let l = gain.gain(angle);
            let Some((before, old)) = last.replace((angle, l)) else {
                continue;
            };
            if (old.abs() > 1.0) != (l.abs() > 1.0) {
                let at = halve(before, angle, |angle| gain.gain(angle).abs() - 1.0);
                let phase = (-gain.gain(at)).angle();
                if crossing.is_none_or(|(_, least)| phase < least) {
                    crossing = Some((at, phase));
                }
            }
            if (old.im > 0.0) != (l.im > 0.0) {
                let at = halve(before, angle, |angle| gain.gain(angle).im);
                margin = upwards(gain.gain(at).re, margin);
            }
        }
        // Half the cell's frequency, where the gain is real.
        margin = upwards(gain.gain(PI).re, margin);
        let stable = |factor: f64| gain.times(factor).eigenvalue().coherent() < 1.0;
        let margin = stable(1.0).then(|| reaches_one(&stable, margin));
        let cell = gain.linear.cell;
        let frequency = |angle: f64| Frequency::from_coherent(angle / (2.0 * PI * cell));
        Self {
            point: gain.point,
            proportional: gain.gains.0,
            integral: gain.gains.1,
            crossover: crossing.map(|(angle, _)| frequency(angle)),
            phase_margin: crossing.map(|(_, phase)| phase),
            gain_margin: margin.filter(|m| m.is_finite()).map(Ratio::from),
            open_eigenvalue: gain.open_eigenvalue(),
            eigenvalue: gain.eigenvalue(),
            cell_time: gain.cell_time(),
        }
    }

    /// Whether the loop holds its output, and with which margins.
    #[must_use]
    pub fn soundness(&self) -> Soundness {
        if self.open_eigenvalue.coherent() >= 1.0 {
            Soundness::UnstableStage
        } else if self.eigenvalue.coherent() >= 1.0 {
            Soundness::Unstable
        } else if self.phase_margin.is_some_and(|phase| phase < LEAST_PHASE)
            || self.gain_margin.is_some_and(|g| g.coherent() < LEAST_GAIN)
        {
            Soundness::BadlyDamped
        } else {
            Soundness::Sound
        }
    }

    /// Crossover, margins and eigenvalues in a line.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = match (self.crossover, self.phase_margin) {
            (Some(crossover), Some(phase)) => format!(
                "crossover {}, phase margin {}°",
                print(crossover),
                number(phase.to_degrees(), 3)
            ),
            _ => "no crossover".to_owned(),
        };
        if let Some(margin) = self.gain_margin {
            let _ = write!(text, ", gain margin {} dB", decibel(margin));
        }
        let _ = write!(
            text,
            ", largest eigenvalue per cell {} (at a fixed on-time {})",
            multiplier(self.eigenvalue),
            multiplier(self.open_eigenvalue)
        );
        text
    }

    /// What is wrong with the loop, in a sentence; nothing where it is sound.
    #[must_use]
    pub fn warning(&self) -> Option<String> {
        let point = &self.point;
        let at = format!(
            "at {} in, {} out and {}",
            print(point.input_voltage),
            print(point.output_voltage),
            print(point.output_current)
        );
        match self.soundness() {
            Soundness::Sound => None,
            Soundness::Unstable => Some(format!(
                "The voltage loop is unstable {at}: a disturbance is multiplied by {} in every \
                 cell. {ADVICE}",
                multiplier(self.eigenvalue)
            )),
            Soundness::UnstableStage => Some(format!(
                "The stage is unstable {at}, whatever its loop: at a fixed on-time a disturbance, \
                 of the flying capacitors as a rule, is multiplied by {} in every cell. Enlarge \
                 the flying capacitors, or go farther from the edge of the band.",
                multiplier(self.open_eigenvalue)
            )),
            Soundness::BadlyDamped => {
                let phase = self.phase_margin.filter(|phase| *phase < LEAST_PHASE);
                let phase = phase.map(|phase| {
                    format!(
                        "a phase margin of {}°, below 45°",
                        number(phase.to_degrees(), 3)
                    )
                });
                let gain = self.gain_margin.filter(|g| g.coherent() < LEAST_GAIN);
                let gain =
                    gain.map(|gain| format!("a gain margin of {} dB, below 6 dB", decibel(gain)));
                let reasons: Vec<String> = [phase, gain].into_iter().flatten().collect();
                Some(format!(
                    "The voltage loop is badly damped {at}: it has {} (common practice). {ADVICE}",
                    reasons.join(" and ")
                ))
            }
        }
    }
}

/// A factor, with digits that show one above one as such.
fn multiplier(factor: Ratio) -> String {
    let beyond = factor.coherent() - 1.0;
    if beyond > 0.0 && beyond < 1e-4 {
        format!("1 + {}", number(beyond, 2))
    } else {
        number(factor.coherent(), 5)
    }
}

/// What helps against gains that are too high, stated or default.
const ADVICE: &str = "State lower gains kp and ki under [control] than those in force.";

/// The smaller of a margin and that of a crossing of the real axis.
fn upwards(re: f64, margin: f64) -> f64 {
    if re < 0.0 && re > -1.0 {
        margin.min(-1.0 / re)
    } else {
        margin
    }
}

/// The smallest factor below a margin at which a loop is not stable, else that margin. A loop
/// without a margin is looked at up to `MOST_GAIN`.
fn reaches_one(stable: &impl Fn(f64) -> bool, margin: f64) -> f64 {
    let step = (margin.min(MOST_GAIN).ln() / f64::from(FACTORS)).exp();
    let mut factors = (1..FACTORS).scan(1.0, |factor, _| {
        *factor *= step;
        Some(*factor)
    });
    let beyond = factors.find(|factor| !stable(*factor));
    beyond.map_or(margin, |beyond| {
        let side = |factor: f64| if stable(factor) { -1.0 } else { 1.0 };
        halve(beyond / step, beyond, side)
    })
}

fn decibel(factor: Ratio) -> String {
    number(20.0 * factor.coherent().log10(), 3)
}

/// Where a function changes its sign, by halving.
fn halve(mut low: f64, mut high: f64, of: impl Fn(f64) -> f64) -> f64 {
    let rising = of(high) > 0.0;
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if (of(middle) > 0.0) == rising {
            high = middle;
        } else {
            low = middle;
        }
    }
    f64::midpoint(low, high)
}
