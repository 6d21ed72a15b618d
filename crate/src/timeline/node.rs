//! Capacitance of the switch node while one pair commutes.

use crate::equation::Curve;
use crate::stage::Circuit;

/// The voltages that bound an edge.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rails {
    /// Node voltage with the pair's low side on.
    pub low: f64,
    /// Node voltage with the pair's high side on.
    pub high: f64,
    /// Output voltage at the inductor's far end.
    pub output: f64,
}

/// A capacitance curve and its factor.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scaled {
    curve: &'static Curve,
    scale: f64,
}

impl Scaled {
    /// Capacitance at a voltage.
    pub fn at(self, v: f64) -> f64 {
        self.scale * self.curve.at(v)
    }

    /// Charge and energy at a voltage.
    pub fn moments(self, v: f64) -> (f64, f64) {
        let (charge, energy) = self.curve.moments(v);
        (self.scale * charge, self.scale * energy)
    }
}

/// The capacitances at the node: the pair's two transistors, the clamp, and the
/// constant part of winding and layout to ground.
#[derive(Clone, Debug)]
pub(super) struct NodeCapacitance {
    pub high: Scaled,
    pub low: Scaled,
    pub clamp: Option<Scaled>,
    pub constant: f64,
    /// The whole capacitance, where it does not depend on voltage.
    pub whole: Option<f64>,
    kinks: [Vec<f64>; 3],
}

impl NodeCapacitance {
    pub fn new(circuit: &Circuit) -> Self {
        let high = Scaled {
            curve: circuit.high.output_capacitance,
            scale: circuit.high.scale,
        };
        let low = Scaled {
            curve: circuit.low.output_capacitance,
            scale: circuit.low.scale,
        };
        let clamp = circuit.clamp_capacitance.map(|curve| Scaled {
            curve,
            scale: circuit.clamp_scale,
        });
        let constant = circuit.node_capacitance.value;
        let kinks = [
            high.curve.kinks(),
            low.curve.kinks(),
            clamp.map_or_else(Vec::new, |c| c.curve.kinks()),
        ];
        let whole = kinks
            .iter()
            .all(Vec::is_empty)
            .then(|| high.at(0.0) + low.at(0.0) + clamp.map_or(0.0, |c| c.at(0.0)) + constant);
        Self {
            high,
            low,
            clamp,
            constant,
            whole,
            kinks,
        }
    }

    /// The capacitance with the node at `u`.
    pub fn at(&self, u: f64, rails: &Rails) -> f64 {
        self.whole.unwrap_or_else(|| {
            self.high.at(rails.high - u)
                + self.low.at(u - rails.low)
                + self.clamp.map_or(0.0, |c| c.at((u - rails.output).abs()))
                + self.constant
        })
    }

    /// The charges of the high-side and the low-side transistor, each by its own
    /// voltage, with the node at `u`.
    pub fn charges(&self, u: f64, rails: &Rails) -> (f64, f64) {
        (
            self.high.moments(rails.high - u).0,
            self.low.moments(u - rails.low).0,
        )
    }

    /// Charge of the clamp, of the sign of its voltage.
    pub fn clamp_charge(&self, voltage: f64) -> f64 {
        self.clamp
            .map_or(0.0, |c| c.moments(voltage.abs()).0.copysign(voltage))
    }

    /// The integral of `C(u) (u - centre) du` between two node voltages.
    pub fn work(&self, from: f64, to: f64, centre: f64, rails: &Rails) -> f64 {
        if let Some(whole) = self.whole {
            return whole * (to - from) * (f64::midpoint(from, to) - centre);
        }
        self.moment(to, centre, rails) - self.moment(from, centre, rails)
    }

    /// An antiderivative of `C(u) (u - centre)`.
    pub fn moment(&self, u: f64, centre: f64, rails: &Rails) -> f64 {
        let (high_charge, high_energy) = self.high.moments(rails.high - u);
        let (low_charge, low_energy) = self.low.moments(u - rails.low);
        let clamp = self.clamp.map_or(0.0, |c| {
            let across = u - rails.output;
            let (charge, energy) = c.moments(across.abs());
            energy + (rails.output - centre) * charge.copysign(across)
        });
        high_energy - (rails.high - centre) * high_charge + low_energy
            - (centre - rails.low) * low_charge
            + clamp
            + self.constant * (u / 2.0 - centre) * u
    }

    /// Node voltages at which the capacitance has a kink.
    pub fn breaks(&self, rails: &Rails, out: &mut Vec<f64>) {
        out.clear();
        out.extend(self.kinks[0].iter().map(|v| rails.high - v));
        out.extend(self.kinks[1].iter().map(|v| rails.low + v));
        for v in &self.kinks[2] {
            out.push(rails.output + v);
            out.push(rails.output - v);
        }
    }
}
