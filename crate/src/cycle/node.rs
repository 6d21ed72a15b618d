//! The switch node while a pair commutes: its capacitance, and in closed form
//! the charge and the energy that moving it takes.
//!
//! Voltages are counted from the output voltage: `w = u - V_out`, from `-b` at
//! the lower level to `a` at the upper.

use crate::equation::Curve;
use crate::quantity::Dimensioned as _;
use crate::stage::Circuit;

/// A capacitance curve with its factor.
#[derive(Clone, Copy, Debug)]
struct Part {
    curve: &'static Curve,
    scale: f64,
}

impl PartialEq for Part {
    fn eq(&self, other: &Self) -> bool {
        std::ptr::eq(self.curve, other.curve) && self.scale == other.scale
    }
}

/// Charge and energy from the output voltage up to a voltage of the node.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moments {
    /// The integral of `C(w)`.
    pub charge: f64,
    /// The integral of `C(w) w`: what the inductor gives.
    pub work: f64,
}

/// The node's capacitance between its two levels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Node {
    /// From the output up to the upper level.
    pub above: f64,
    /// From the output down to the lower level.
    pub below: f64,
    low: Part,
    high: Part,
    clamp: Option<Part>,
    constant: f64,
    /// Charge and energy of the low and the high side at the output voltage.
    rest: [(f64, f64); 2],
}

impl Node {
    pub fn new(circuit: &Circuit, above: f64, below: f64) -> Self {
        let low = Part {
            curve: circuit.low.output_capacitance,
            scale: circuit.low.scale,
        };
        let high = Part {
            curve: circuit.high.output_capacitance,
            scale: circuit.high.scale,
        };
        Self {
            above,
            below,
            low,
            high,
            clamp: circuit
                .clamp_capacitance
                .filter(|_| circuit.freewheel.is_some())
                .map(|curve| Part {
                    curve,
                    scale: circuit.clamp_scale,
                }),
            constant: circuit.node_capacitance.coherent(),
            rest: [low.curve.moments(below), high.curve.moments(above)],
        }
    }

    /// The capacitance at `w`, and charge and energy from the output voltage to there.
    pub fn sample(&self, w: f64) -> (f64, Moments) {
        let [(low_charge, low_energy), (high_charge, high_energy)] = self.rest;
        let (low, charge, energy) = self.low.curve.sample(w + self.below);
        let (dq, de) = (charge - low_charge, energy - low_energy);
        let mut capacitance = self.low.scale * low + self.constant;
        let mut sum = Moments {
            charge: self.low.scale * dq + self.constant * w,
            work: self.low.scale * (de - self.below * dq) + self.constant * w * w / 2.0,
        };
        let (high, charge, energy) = self.high.curve.sample(self.above - w);
        let (dq, de) = (high_charge - charge, high_energy - energy);
        capacitance += self.high.scale * high;
        sum.charge += self.high.scale * dq;
        sum.work += self.high.scale * (self.above * dq - de);
        if let Some(part) = self.clamp {
            let (clamp, charge, energy) = part.curve.sample(w.abs());
            capacitance += part.scale * clamp;
            sum.charge += part.scale * charge.copysign(w);
            sum.work += part.scale * energy;
        }
        (capacitance, sum)
    }

    /// The capacitance's slope at one of the levels, outwards.
    pub fn slope_outwards(&self, up: bool) -> f64 {
        let step = self.above + self.below;
        let (far, near, reach) = if up {
            (self.low, self.high, self.above)
        } else {
            (self.high, self.low, self.below)
        };
        let mut sum = far.scale * far.curve.slope(step) - near.scale * near.curve.slope(0.0);
        if let Some(clamp) = self.clamp {
            sum += clamp.scale * clamp.curve.slope(reach);
        }
        sum
    }

    /// Charge and energy from the output voltage to `w`.
    pub fn moments(&self, w: f64) -> Moments {
        self.sample(w).1
    }

    /// The energy lost when the high side turns on with the node at a place of these
    /// moments: the integral of `(V_hi - u) C(u)` from there to the upper level.
    pub fn turn_on_energy(&self, from: Moments, top: Moments) -> f64 {
        (self.above * (top.charge - from.charge) - (top.work - from.work)).max(0.0)
    }

    /// The energy lost when the low side turns on with the node at `w`.
    pub fn low_turn_on_energy(&self, w: f64) -> f64 {
        let (from, to) = (self.moments(w), self.moments(-self.below));
        (self.below * (from.charge - to.charge) + from.work - to.work).max(0.0)
    }

    /// The distances from the output, upwards or downwards, at which the
    /// capacitance has a kink or changes so fast that a rule needs a break.
    pub fn breaks(&self, kinks: &Kinks, up: bool, found: &mut Vec<f64>) {
        found.clear();
        let (near, far, reach) = if up {
            (&kinks.high, &kinks.low, self.above)
        } else {
            (&kinks.low, &kinks.high, self.below)
        };
        let other = self.above + self.below - reach;
        found.extend(near.iter(reach).map(|v| reach - v));
        found.extend(far.iter(reach + other).map(|v| v - other));
        if self.clamp.is_some() {
            found.extend(kinks.clamp.iter(reach));
        }
        found.retain(|d| *d > 1e-9 * reach && *d < reach * (1.0 - 1e-9));
        found.sort_unstable_by(f64::total_cmp);
        found.dedup();
    }
}

impl Node {
    /// The distances beyond a level, up to a drop, at which the capacitance has a kink.
    pub fn breaks_beyond(&self, kinks: &Kinks, up: bool, drop: f64, found: &mut Vec<f64>) {
        found.clear();
        let (far, reach) = if up {
            (&kinks.low, self.above)
        } else {
            (&kinks.high, self.below)
        };
        let step = self.above + self.below;
        found.extend(far.voltages.iter().map(|v| v - step));
        if self.clamp.is_some() {
            found.extend(kinks.clamp.voltages.iter().map(|v| v - reach));
        }
        found.retain(|d| *d > 1e-9 * drop && *d < drop * (1.0 - 1e-9));
        found.sort_unstable_by(f64::total_cmp);
    }
}

/// Where the curves of a circuit have kinks.
#[derive(Clone, Debug)]
pub(super) struct Kinks {
    low: Kinked,
    high: Kinked,
    clamp: Kinked,
}

impl Kinks {
    pub fn new(circuit: &Circuit) -> Self {
        Self {
            low: Kinked::new(Some(circuit.low.output_capacitance)),
            high: Kinked::new(Some(circuit.high.output_capacitance)),
            clamp: Kinked::new(circuit.clamp_capacitance),
        }
    }
}

#[derive(Clone, Debug)]
struct Kinked {
    voltages: Vec<f64>,
    /// Voltage over which a junction's capacitance changes by its own amount.
    scale: f64,
}

/// How many times the scale a range may be before it is cut, and where.
const STEEP: f64 = 60.0;
const GRADE: f64 = 8.0;

impl Kinked {
    fn new(curve: Option<&'static Curve>) -> Self {
        let mut voltages = curve.map_or_else(Vec::new, Curve::kinks);
        voltages.retain(|v| *v > 0.0);
        let scale = curve
            .filter(|_| voltages.is_empty())
            .map_or(f64::INFINITY, |c| (c.at(0.0) / c.slope(0.0)).abs());
        Self {
            voltages,
            scale: if scale > 0.0 { scale } else { f64::INFINITY },
        }
    }

    /// Kinks, and breaks in geometric steps where a junction law is steep.
    fn iter(&self, range: f64) -> impl Iterator<Item = f64> {
        let graded = (range > STEEP * self.scale).then_some(GRADE * self.scale);
        let steps =
            std::iter::successors(graded, move |v| (v * GRADE < range).then_some(v * GRADE));
        self.voltages.iter().copied().chain(steps)
    }
}
