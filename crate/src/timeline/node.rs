//! Capacitance of the switch node while one pair commutes.

use crate::equation::Curve;
use crate::stage::Circuit;

/// Most voltages sampled at once.
pub(super) const MOST_SAMPLES: usize = 32;

/// Part of the step within which the node counts as at a level.
const AT_LEVEL: f64 = 1e-6;

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

    /// Slope of the capacitance at a voltage.
    fn slope(self, v: f64) -> f64 {
        self.scale * self.curve.slope(v)
    }

    /// Charge and energy at a voltage.
    pub fn moments(self, v: f64) -> Moments {
        let (charge, energy) = self.curve.moments(v);
        Moments {
            charge: self.scale * charge,
            energy: self.scale * energy,
        }
    }
}

/// Charge and energy of a capacitance.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moments {
    pub charge: f64,
    pub energy: f64,
}

/// The whole capacitance at a node voltage, with its charge and the work done on it:
/// antiderivatives of `C` and of `C (u - V_out)`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sample {
    pub capacitance: f64,
    pub charge: f64,
    pub work: f64,
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
    /// Whether any curve has a kink beside that at zero volts.
    pub kinked: bool,
}

impl Rails {
    /// Half way between two.
    pub fn midpoint(&self, other: &Self) -> Self {
        Self {
            low: f64::midpoint(self.low, other.low),
            high: f64::midpoint(self.high, other.high),
            output: f64::midpoint(self.output, other.output),
        }
    }
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
            kinked: kinks.iter().flatten().any(|v| *v > 0.0),
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

    /// Slope of the capacitance with the node at `u`; at a level that from inside, beyond it
    /// that without the near side's transistor.
    pub fn slope(&self, u: f64, rails: &Rails) -> f64 {
        let across = u - rails.output;
        let clamp = self.clamp.map_or(0.0, |c| c.slope(across.abs()));
        let near = AT_LEVEL * (rails.high - rails.low).abs();
        let inside = |v: f64| if v.abs() <= near { 0.0 } else { v };
        self.low.slope(inside(u - rails.low)) - self.high.slope(inside(rails.high - u))
            + clamp * across.signum()
    }

    /// Capacitance, charge and work with the node at `u`.
    pub fn sample(&self, u: f64, rails: &Rails) -> Sample {
        let across = u - rails.output;
        let mut sum = Sample {
            capacitance: self.constant,
            charge: self.constant * across,
            work: self.constant * across * across / 2.0,
        };
        let (c, charge, energy) = self.high.curve.sample(rails.high - u);
        let scale = self.high.scale;
        sum.capacitance += scale * c;
        sum.charge -= scale * charge;
        sum.work += scale * (energy - (rails.high - rails.output) * charge);
        let (c, charge, energy) = self.low.curve.sample(u - rails.low);
        let scale = self.low.scale;
        sum.capacitance += scale * c;
        sum.charge += scale * charge;
        sum.work += scale * (energy - (rails.output - rails.low) * charge);
        if let Some(clamp) = self.clamp {
            let (c, charge, energy) = clamp.curve.sample(across.abs());
            sum.capacitance += clamp.scale * c;
            sum.charge += clamp.scale * charge.copysign(across);
            sum.work += clamp.scale * energy;
        }
        sum
    }

    /// Capacitances and works at many distances from the output voltage.
    pub fn sample_each(
        &self,
        across: &[f64],
        rails: &Rails,
        capacitance: &mut [f64],
        work: &mut [f64],
    ) {
        let mut voltages = [0.0; MOST_SAMPLES];
        let voltages = &mut voltages[..across.len()];
        for (k, x) in across.iter().enumerate() {
            capacitance[k] = self.constant;
            work[k] = self.constant * x * x / 2.0;
        }
        let (above, below) = (rails.high - rails.output, rails.output - rails.low);
        let mut add = |device: Scaled, against: f64, voltages: &[f64]| {
            device.curve.sample_each(voltages, |k, c, charge, energy| {
                capacitance[k] += device.scale * c;
                work[k] += device.scale * (energy - against * charge);
            });
        };
        for (v, x) in voltages.iter_mut().zip(across) {
            *v = above - x;
        }
        add(self.high, above, voltages);
        for (v, x) in voltages.iter_mut().zip(across) {
            *v = x + below;
        }
        add(self.low, below, voltages);
        if let Some(clamp) = self.clamp {
            for (v, x) in voltages.iter_mut().zip(across) {
                *v = x.abs();
            }
            add(clamp, 0.0, voltages);
        }
    }

    /// The clamp's charge, of the sign of its voltage, and energy.
    pub fn clamp_moments(&self, voltage: f64) -> Moments {
        self.clamp.map_or_else(Moments::default, |c| {
            let Moments { charge, energy } = c.moments(voltage.abs());
            Moments {
                charge: charge.copysign(voltage),
                energy,
            }
        })
    }

    /// Charge and energy of the constant part.
    pub fn constant_moments(&self, u: f64) -> Moments {
        Moments {
            charge: self.constant * u,
            energy: self.constant * u * u / 2.0,
        }
    }

    /// The energy that the node's capacitances give less what the rails take when a
    /// switch brings the node to `to`: the integral of `C(u) (to - u) du`.
    pub fn turn_on_energy(&self, from: f64, to: f64, rails: &Rails) -> f64 {
        let away = to - rails.output;
        let (from, to) = (self.sample(from, rails), self.sample(to, rails));
        away * (to.charge - from.charge) - (to.work - from.work)
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
