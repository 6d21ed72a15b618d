//! Gains of the voltage loop where none are stated.
//!
//! They come from a model of the stage in a few figures: what the output current gains
//! per cell of on-time, the output capacitor with its series resistance, how long a pulse
//! and a cell last, and in continuous conduction the output filter with its damping. The
//! exact loop is examined in `loop_gain`.

use std::f64::consts::TAU;

use crate::quantity::{Dimensioned as _, Frequency, Ratio};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint};

/// Crossover as a part of the frequency at which pulses end that the loop has begun: a
/// pulse lasts as many whole cells as the band's number.
const CROSSOVER: f64 = 1.0 / 20.0;
/// The same without a clamp. Where the node rings until the next firing, the ring's phase
/// there moves with the on-time, and the gain with it, up to threefold. Where releases
/// fire, the duration of a cell is an estimate.
const WITHOUT_CLAMP: f64 = 1.0 / 40.0;
/// The integral takes over this much below the crossover.
const INTEGRAL: f64 = 1.0 / 5.0;
/// Crossover as a part of the frequency from which on the output capacitor is a
/// resistance: the loop's gain falls no more there, and must be well below one.
const BELOW_ZERO: f64 = 0.3;
/// Crossover in continuous conduction, as a part of the output filter's resonance.
const BELOW_RESONANCE: f64 = 1.0 / 50.0;
/// Gain at that resonance, where the loop's phase turns over.
const AT_RESONANCE: f64 = 0.4;
/// Part of the current at the boundary of discontinuous conduction below which the gain
/// from on-time to current counts no less: that of no load would be zero.
const LEAST_CURRENT: f64 = 0.01;

/// Proportional and integral gain, in cells per relative error, and per second.
pub(super) fn gains(circuit: &Circuit, point: OperatingPoint) -> (Ratio, Frequency) {
    let stage = Stage::new(circuit, point);
    if circuit.scheme == Scheme::Continuous {
        return (0.0.into(), Frequency::from_coherent(stage.slow_integral()));
    }
    let (slope, period) = stage.slope();
    let pulse = period * f64::from(1 + circuit.band);
    let part = if circuit.scheme.has_clamp() {
        CROSSOVER
    } else {
        WITHOUT_CLAMP
    };
    let resistance = circuit.output_capacitor_resistance.coherent();
    let zero = 1.0 / (resistance * stage.capacitance);
    let crossover = (TAU * part / pulse).min(BELOW_ZERO * zero);
    let proportional = crossover * stage.capacitance * stage.output / slope;
    (
        proportional.into(),
        Frequency::from_coherent(proportional * crossover * INTEGRAL),
    )
}

/// What the gains are taken from, in coherent units.
struct Stage<'c> {
    circuit: &'c Circuit,
    output: f64,
    current: f64,
    step: f64,
    /// Steps above and below the output.
    above: f64,
    below: f64,
    inductance: f64,
    capacitance: f64,
    cell: f64,
}

impl<'c> Stage<'c> {
    fn new(circuit: &'c Circuit, point: OperatingPoint) -> Self {
        let output = point.output_voltage.coherent();
        let step = point.input_voltage.coherent() / f64::from(circuit.pairs);
        let below = output - f64::from(circuit.band) * step;
        let above = step - below;
        let inductance = circuit.inductance.coherent();
        let cell = circuit.cell_time().coherent();
        let boundary = cell * above * below / (step * 2.0 * inductance);
        Self {
            circuit,
            output,
            current: point
                .output_current
                .coherent()
                .max(LEAST_CURRENT * boundary),
            step,
            above,
            below,
            inductance,
            capacitance: circuit.output_capacitance.coherent(),
            cell,
        }
    }

    /// Ampere of output current per cell of on-time, and the time from one firing to the
    /// next.
    fn slope(&self) -> (f64, f64) {
        let (a, b) = (self.above, self.below);
        let delay = self.circuit.trip_delay.coherent();
        let released = self.circuit.trip_threshold.coherent() + b / self.inductance * delay;
        if self.circuit.scheme == Scheme::NegativeValley {
            // A triangle from the release's current to the peak, without a pause.
            let swing = 2.0 * (self.current + released);
            let period = self.inductance * swing * (1.0 / a + 1.0 / b);
            return (a * self.cell / (2.0 * self.inductance), period);
        }
        // The charge of the pulse pays for that of the release: the peak's square is that
        // for the output current and more.
        let charge = 2.0 * self.current * self.cell / self.inductance;
        let square = (charge + released * released / b) * a * b / (a + b);
        (square.sqrt() * (a + b) / b, self.cell)
    }

    /// An integral that crosses far below the output filter's resonance, and whose gain
    /// there, raised by the filter, is below one.
    fn slow_integral(&self) -> f64 {
        let c = self.circuit;
        let resonance = 1.0 / (self.inductance * self.capacitance).sqrt();
        let series = c.output_capacitor_resistance.coherent();
        let channel = c.high.on_resistance.min(c.low.on_resistance).coherent();
        let path = c.inductor_resistance.coherent() + f64::from(c.pairs) * channel;
        let damping = path + series;
        // The filter's peak, with the rise by the capacitor's resistance.
        let peak = (1.0 + (resonance * series * self.capacitance).powi(2)).sqrt()
            * self.inductance
            * resonance
            / damping;
        let part = BELOW_RESONANCE.min(AT_RESONANCE / peak);
        part * resonance * self.output / self.step
    }
}
