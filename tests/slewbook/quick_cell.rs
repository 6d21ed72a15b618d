//! The demonstration's cell worked out a second time, quickly: closed forms of its
//! two junction laws, durations by a fixed Gauss-Legendre rule, the steady state
//! by substitution. It shares no code with the library.

use std::sync::LazyLock;

/// Numbers of the demonstration.
const PAIRS: f64 = 2.0;
const CELL: f64 = 1.0 / (PAIRS * 140e3);
/// The freewheel loop: the clamp's path and the winding.
const LOOP: f64 = 12e-3 + 1.1e-3;
const TRIP: f64 = 0.4;
const DELAY: f64 = 35e-9;
const MARGIN: f64 = 1.2;
/// Constant parts: low side and winding.
const CONSTANT: f64 = 300e-12 + 50e-12;
/// Junction part and floor of the high side and of the clamp; 0.8 V, grading 0.5.
const HIGH: (f64, f64) = (900e-12, 60e-12);
const ACROSS: (f64, f64) = (600e-12, 40e-12);
const BUILT_IN: f64 = 0.8;

/// Nodes and weights of the Gauss-Legendre rule with 32 points, by Newton's
/// method on the Legendre polynomial.
static RULE: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
    let count = 32;
    let n = f64::from(count);
    (0..count)
        .map(|k| {
            let mut x = (std::f64::consts::PI * (f64::from(k) + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..20 {
                let (mut before, mut p) = (1.0, x);
                for j in 2..=count {
                    let j = f64::from(j);
                    (before, p) = (p, ((2.0 * j - 1.0) * x * p - (j - 1.0) * before) / j);
                }
                slope = n * (x * p - before) / (x * x - 1.0);
                x -= p / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
});

/// The node between its levels.
#[derive(Clone, Copy)]
struct Node {
    upper: f64,
    output: f64,
}

impl Node {
    fn new(v_in: f64, v_out: f64) -> Self {
        Self {
            upper: v_in / PAIRS,
            output: v_out,
        }
    }

    fn capacitance(&self, u: f64) -> f64 {
        let law =
            |(junction, floor): (f64, f64), v: f64| junction / (1.0 + v / BUILT_IN).sqrt() + floor;
        CONSTANT + law(HIGH, self.upper - u) + law(ACROSS, (u - self.output).abs())
    }

    /// An antiderivative of the capacitance times the voltage across the inductor.
    fn energy(&self, u: f64) -> f64 {
        let charge = |(junction, floor): (f64, f64), v: f64| {
            2.0 * junction * BUILT_IN * ((1.0 + v / BUILT_IN).sqrt() - 1.0) + floor * v
        };
        let energy = |(junction, floor): (f64, f64), v: f64| {
            let root = (1.0 + v / BUILT_IN).sqrt();
            junction * BUILT_IN * BUILT_IN * (2.0 / 3.0 * (root.powi(3) - 1.0) - 2.0 * (root - 1.0))
                + floor * v * v / 2.0
        };
        let (from_upper, across) = (self.upper - u, u - self.output);
        CONSTANT * across * across / 2.0
            - ((self.upper - self.output) * charge(HIGH, from_upper) - energy(HIGH, from_upper))
            + energy(ACROSS, across.abs())
    }

    fn work(&self, from: f64, to: f64) -> f64 {
        self.energy(to) - self.energy(from)
    }

    /// The time of a move, the square of the current being `squared` at `start`.
    fn duration(&self, inductance: f64, squared: f64, start: f64, from: f64, to: f64) -> f64 {
        let at_start = self.energy(start);
        let half = (to - from) / 2.0;
        let sum: f64 = RULE
            .iter()
            .map(|(s, weight)| {
                let u = f64::midpoint(from, to) + half * (3.0 * s - s * s * s) / 2.0;
                let current = (squared - 2.0 / inductance * (self.energy(u) - at_start)).sqrt();
                weight * (1.0 - s * s) * self.capacitance(u) / current
            })
            .sum();
        1.5 * half * sum
    }

    fn floor_squared(&self, inductance: f64) -> f64 {
        2.0 * self.work(self.output, self.upper) / inductance
    }
}

/// The steady state.
pub struct Quick {
    pub peak_current: f64,
    pub hold_time: f64,
    pub on_time: f64,
    pub fall_time: f64,
    /// For how long the low side's diode conducts at most.
    pub release_diode_time: f64,
    /// The node's capacitance at its lower level.
    pub low_capacitance: f64,
    /// What the energise interval carries to the output.
    pub energise_charge: f64,
    /// What the output capacitor takes.
    pub output_charge: f64,
    /// One step of the node.
    pub step: f64,
    five: f64,
}

impl Quick {
    fn with_hold(node: &Node, inductance: f64, load: f64, hold: f64) -> Self {
        let (a, b) = (node.upper - node.output, node.output);
        let released = TRIP + b * DELAY / inductance;
        let clamp_squared = released * released - 2.0 / inductance * node.work(0.0, node.output);
        let held_squared = clamp_squared * (-2.0 * LOOP * hold / inductance).exp();
        let left_squared = held_squared - node.floor_squared(inductance);
        let swing = 2.0 / inductance * node.work(0.0, node.upper);
        let peak_squared =
            (2.0 / inductance * load * CELL + left_squared / a + (released * released - swing) / b)
                / (1.0 / a + 1.0 / b);
        let (peak, left) = (peak_squared.sqrt(), left_squared.sqrt());
        let after = (peak_squared + swing).sqrt();
        let rise = node.duration(
            inductance,
            held_squared,
            node.output,
            node.output,
            node.upper,
        );
        let on_time = inductance * (peak + left) / a;
        let fall_time = -node.duration(
            inductance,
            peak_squared,
            node.upper,
            node.upper,
            node.output,
        ) - node.duration(inductance, peak_squared, node.upper, node.output, 0.0);
        let partial = node.duration(inductance, released * released, 0.0, 0.0, node.output);
        let release = inductance * (after + released) / b;
        Self {
            peak_current: peak,
            hold_time: hold,
            on_time,
            fall_time,
            release_diode_time: inductance * after / b,
            low_capacitance: node.capacitance(0.0),
            energise_charge: inductance / 2.0 * (peak_squared - left_squared) / a,
            output_charge: inductance / 2.0 * (peak - load) * (peak - load) * (1.0 / a + 1.0 / b),
            step: node.upper,
            five: rise + on_time + fall_time + release + partial,
        }
    }

    /// The steady state at an operating point: the hold fills the cell.
    pub fn at(v_in: f64, v_out: f64, inductance: f64, load: f64) -> Self {
        let node = Node::new(v_in, v_out);
        let mut cell = Self::with_hold(&node, inductance, load, 0.0);
        for _ in 0..6 {
            cell = Self::with_hold(&node, inductance, load, CELL - cell.five);
        }
        cell
    }

    /// For how long the node is at its lower level or beyond, where the low side's diode
    /// has a drop: an arc of inductance and a constant capacitance to the drop, a line of
    /// current to zero, and an arc back.
    pub fn time_below(&self, v_out: f64, inductance: f64, drop: f64) -> f64 {
        let impedance = (inductance / self.low_capacitance).sqrt();
        let frequency = 1.0 / (inductance * self.low_capacitance).sqrt();
        let arrives = self.release_diode_time * v_out / inductance;
        let amplitude = v_out.hypot(impedance * arrives);
        let held = v_out + drop;
        let out = ((held / amplitude).asin() - (v_out / amplitude).asin()) / frequency;
        let current = (amplitude * amplitude - held * held).sqrt() / impedance;
        out + inductance * current / held + (v_out / held).acos() / frequency
    }

    /// The inductance at which no hold is left at full load, by the secant method.
    pub fn ceiling(v_in: f64, v_out: f64) -> f64 {
        let node = Node::new(v_in, v_out);
        let excess = |l: f64| Self::with_hold(&node, l, 6.0, 0.0).five - CELL;
        let (mut x, mut y) = (0.9e-6, 1.2e-6);
        let (mut fx, mut fy) = (excess(x), excess(y));
        for _ in 0..6 {
            if fy == fx || x == y {
                break;
            }
            let next = y - fy * (y - x) / (fy - fx);
            (x, fx) = (y, fy);
            (y, fy) = (next, excess(next));
        }
        y
    }
}

/// The dead time's window from the freewheel current asked for.
pub struct Window {
    pub earliest: f64,
    pub remaining: f64,
}

impl Window {
    pub fn at(v_in: f64, v_out: f64, inductance: f64) -> Self {
        let node = Node::new(v_in, v_out);
        let floor_squared = node.floor_squared(inductance);
        let held_squared = MARGIN * MARGIN * floor_squared;
        let left = (held_squared - floor_squared).sqrt();
        Self {
            earliest: node.duration(inductance, held_squared, v_out, v_out, node.upper),
            remaining: inductance * left / (node.upper - v_out),
        }
    }
}
