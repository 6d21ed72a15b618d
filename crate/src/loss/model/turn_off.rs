//! A turn-off whose voltage the charge of the node holds back.

use crate::cycle::gauss;
use crate::equation::Curve;
use crate::quantity::{Dimensioned as _, Voltage};
use crate::stage::{Circuit, OperatingPoint};

/// The node's charge between its levels.
pub(super) struct NodeCharge<'c> {
    circuit: &'c Circuit,
    pub lower: f64,
    pub output: f64,
    pub upper: f64,
}

impl<'c> NodeCharge<'c> {
    pub fn new(circuit: &'c Circuit, point: OperatingPoint) -> Self {
        let step = point.input_voltage.coherent() / f64::from(circuit.pairs);
        let lower = f64::from(circuit.band) * step;
        Self {
            circuit,
            lower,
            output: point.output_voltage.coherent(),
            upper: lower + step,
        }
    }

    /// The charge that the node's capacitances take from the lower level on.
    fn charge(&self, node: f64) -> f64 {
        let c = self.circuit;
        let of = |curve: &Curve, volts: f64| {
            let charge = curve.charge(Voltage::from_coherent(volts.abs())).coherent();
            charge.copysign(volts)
        };
        let clamp = c
            .clamp_capacitance
            .map_or(0.0, |curve| c.clamp_scale * of(curve, node - self.output));
        c.low.scale * of(c.low.output_capacitance, node - self.lower)
            - c.high.scale * of(c.high.output_capacitance, self.upper - node)
            + c.node_capacitance.coherent() * (node - self.lower)
            + clamp
    }

    /// The energy of a turn-off while the node goes from one voltage to another: the
    /// channel's current falls in a straight line within `time`, and what the inductor
    /// carries beyond it charges the node.
    ///
    /// With the charge `q(v)` and `t(v) = sqrt(2 q t_off / I)` the channel's energy is
    /// `(I t_off / 2) ∫ max(0, 1 - t/t_off)² dv`: what is left of the channel's charge at
    /// each voltage.
    pub fn turn_off(&self, current: f64, time: f64, from: f64, to: f64) -> f64 {
        if current <= 0.0 || time <= 0.0 {
            return 0.0;
        }
        let start = self.charge(from);
        let span = to - from;
        let left = |x: f64| {
            // Closer points where the voltage begins to rise.
            let moved = (self.charge(from + span * x * x) - start).abs();
            let gone = (2.0 * moved / (current * time)).sqrt();
            2.0 * x * (1.0 - gone).max(0.0).powi(2)
        };
        let mut sum = 0.0;
        gauss::each(&gauss::PART, |x, weight| sum += weight * left(x));
        0.5 * current * time * span.abs() * sum
    }
}
