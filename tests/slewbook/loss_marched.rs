//! Losses against differential equations and waveforms marched in time: the ring of
//! the released node, a turn-off held back by capacitance, the field in a winding,
//! the flux in a core. Nothing here shares a formula with the library, curves included.

use std::f64::consts::{PI, TAU};

use ode_solvers::{Dopri5, System, Vector2, Vector4};
use slewbook::equation::Derivation;
use slewbook::loss::{core, drive, turn_on, winding};
use slewbook::quantity::Dimensioned;
use slewbook::quantity::unit::uH;
use slewbook::stage::{Specification, Stage};

use crate::loss_formulas::{input, steinmetz};
use crate::support::specification_with;

fn value<Q: Dimensioned>(derivation: &Derivation<Q>) -> f64 {
    derivation.value().unwrap().coherent()
}

fn near(found: f64, expected: f64, part: f64, what: &str) {
    assert!(
        (found / expected - 1.0).abs() < part,
        "{what}: {found:e} against {expected:e}"
    );
}

/// A node without clamp between 0 V and 22 V, in volts, amperes, nanoseconds,
/// nanohenries and nanofarads.
#[derive(Clone, Copy)]
struct Node {
    output: f64,
    level: f64,
    inductance: f64,
}

impl Node {
    fn new(output: f64) -> Self {
        Self {
            output,
            level: 22.0,
            inductance: 680.0,
        }
    }

    /// Both transistors by the junction law, and 50 pF.
    fn capacitance(&self, node: f64) -> f64 {
        let law = |v: f64| 0.9 / (1.0 + v.max(0.0) / 0.8).sqrt() + 0.06;
        law(node) + law(self.level - node) + 0.05
    }

    fn stage(&self) -> Stage {
        let law =
            "{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\" }";
        let text = specification_with(&[
            ("input.voltage", "\"44 V\""),
            ("output.voltage", &format!("\"{} V\"", self.output)),
            ("stage.node_capacitance", "\"50 pF\""),
            ("transistors.high.output_capacitance", law),
            ("transistors.low.output_capacitance", law),
        ]);
        let specification = Specification::read(&text).unwrap();
        Stage::new(
            turn_on::without_clamp(&specification),
            0.68 * uH,
            "a node that rings",
        )
    }

    /// What a source at the upper level gives less what the node stores, from a node
    /// voltage up: the midpoint rule on a variable that is dense at the ends.
    fn turn_on_energy(&self, from: f64) -> f64 {
        const PIECES: u32 = 200_000;
        let half = (self.level - from) / 2.0;
        (0..PIECES)
            .map(|k| {
                let angle = PI * (f64::from(k) + 0.5) / f64::from(PIECES);
                let node = from + half * (1.0 - angle.cos());
                let width = half * angle.sin() * PI / f64::from(PIECES);
                (self.level - node) * self.capacitance(node) * width
            })
            .sum()
    }
}

/// Node voltage, current into the node, energy of a turn-on at this instant, and its
/// integral over time.
type State = Vector4<f64>;

impl System<f64, State> for Node {
    fn system(&self, _: f64, y: &State, dy: &mut State) {
        dy[0] = y[1] / self.capacitance(y[0]);
        dy[1] = (self.output - y[0]) / self.inductance;
        dy[2] = -(self.level - y[0]) * y[1];
        dy[3] = y[2];
    }
}

/// What half a period of the ring shows, in volts and nanojoules.
struct Half {
    start: f64,
    end: f64,
    energy: f64,
    at_end: f64,
    at_output: f64,
    mean: f64,
}

/// Marches from rest at a node voltage until the current is zero again; `None` where
/// the node reaches the upper level with current left.
fn half_period(node: Node, start: f64) -> Option<Half> {
    let first = State::new(start, 0.0, node.turn_on_energy(start), 0.0);
    // The first step leaves the state of rest; its sign is that of the current.
    let mut solver = Dopri5::new(node, 0.0, 150.0, 0.002, first, 1e-12, 1e-12);
    solver.integrate().unwrap();
    let (times, states) = (solver.x_out(), solver.y_out());
    let sign = states[1][1].signum();
    let mut energy: f64 = 0.0;
    let mut at_output = f64::NAN;
    for k in 1..states.len() {
        let (before, now) = (states[k - 1], states[k]);
        if now[0] > node.level {
            return None;
        }
        energy = energy.max(node.inductance * now[1] * now[1] / 2.0);
        let side = |y: &State| y[0] - node.output;
        if side(&before) * side(&now) <= 0.0 {
            let part = side(&before) / (side(&before) - side(&now));
            at_output = before[2] + part * (now[2] - before[2]);
        }
        if now[1] * sign < 0.0 {
            let part = before[1] / (before[1] - now[1]);
            let between = |of: usize| before[of] + part * (now[of] - before[of]);
            let time = times[k - 1] + part * (times[k] - times[k - 1]);
            return Some(Half {
                start,
                end: between(0),
                energy,
                at_end: between(2),
                at_output,
                mean: between(3) / time,
            });
        }
    }
    panic!("the ring does not turn");
}

fn assert_ring(node: Node, half: &Half, top: f64, best: f64, worst: f64) {
    let stage = node.stage();
    let part = 1e-6;
    let nano = 1e-9;
    near(
        value(&turn_on::ring_energy(&stage)) / nano,
        half.energy,
        part,
        "ring",
    );
    near(value(&turn_on::ring_top(&stage)), top, part, "top");
    near(
        value(&turn_on::hard_worst(&stage)) / nano,
        worst,
        part,
        "worst",
    );
    near(
        value(&turn_on::hard_damped(&stage)) / nano,
        half.at_output,
        part,
        "damped",
    );
    near(
        value(&turn_on::hard_mean(&stage)) / nano,
        half.mean,
        part,
        "mean",
    );
    let found = value(&turn_on::hard_best(&stage)) / nano;
    // At the upper level there is nothing left to lose.
    assert!(
        (found - best).abs() < part * worst,
        "best: {found} against {best}"
    );
}

/// The node turns below its upper level.
#[test]
fn a_free_ring_is_what_marching_finds() {
    let node = Node::new(6.0);
    let half = half_period(node, 0.0).unwrap();
    assert!(half.end < node.level);
    let worst = node.turn_on_energy(half.start);
    assert_ring(node, &half, half.end, half.at_end, worst);
}

/// The node reaches its upper level, the diode there takes the rest of the current,
/// and the ring goes on from rest at that level.
#[test]
fn a_ring_cut_by_the_diode_is_what_marching_finds() {
    let node = Node::new(15.0);
    assert!(
        half_period(node, 0.0).is_none(),
        "the diode does not conduct"
    );
    let half = half_period(node, node.level).unwrap();
    assert!(half.end > 0.0);
    assert_ring(node, &half, node.level, 0.0, half.at_end);
}

/// The channel's current falls in a straight line, the rest charges the capacitance
/// until the step is done; the channel dissipates voltage times its own current.
#[test]
fn a_turn_off_held_back_is_what_marching_finds() {
    const PIECES: u32 = 1_000_000;
    // The step done before the current is gone, and long after.
    for (step, current, time, capacitance) in [
        (22.0, 15.0, 4e-9, 6e-10),
        (22.0, 15.0, 4e-9, 6e-9),
        (9.0, 2.0, 20e-9, 1e-9),
    ] {
        let width = time / f64::from(PIECES);
        let (mut voltage, mut energy) = (0.0_f64, 0.0);
        for k in 0..PIECES {
            let channel = current * (1.0 - (f64::from(k) + 0.5) / f64::from(PIECES));
            let after = (voltage + (current - channel) * width / capacitance).min(step);
            energy += f64::midpoint(voltage, after) * channel * width;
            voltage = after;
        }
        let found = drive::overlap_limited(
            input("V", "step", step),
            input("I", "current", current),
            input("t_off", "time", time),
            input("C_eq", "capacitance", capacitance),
        );
        near(value(&found), energy, 1e-6, "turn-off");
    }
}

/// A diode's reverse current of any shape, drawn through the transistor from the
/// level: here a ramp and an exponential tail.
#[test]
fn a_recovery_costs_what_its_current_draws_from_the_level() {
    const PIECES: u32 = 200_000;
    let (ramp, tail, peak, step) = (8e-9, 3e-9, 4.0, 22.0);
    let end = ramp + 40.0 * tail;
    let width = end / f64::from(PIECES);
    let (mut charge, mut energy) = (0.0, 0.0);
    for k in 0..PIECES {
        let time = (f64::from(k) + 0.5) * width;
        let current = if time < ramp {
            peak * time / ramp
        } else {
            peak * (-(time - ramp) / tail).exp()
        };
        charge += current * width;
        energy += step * current * width;
    }
    let found = drive::recovery_energy(input("Q_rr", "charge", charge), input("V", "step", step));
    near(value(&found), energy, 1e-12, "recovery");
    near(charge, peak * (ramp / 2.0 + tail), 1e-6, "charge");
}

/// The improved generalised method as it is defined: `k_i·|dB/dt|^α·ΔB^(β − α)`
/// averaged over a sampled period, with `k_i` from a sum over a whole turn.
fn sampled_loss(constants: [f64; 3], period: f64, swing: f64, flux: impl Fn(f64) -> f64) -> f64 {
    const PIECES: u32 = 720_000;
    let [k, alpha, beta] = constants;
    let width = 1.0 / f64::from(PIECES);
    let turn: f64 = (0..PIECES)
        .map(|n| (TAU * (f64::from(n) + 0.5) * width).cos().abs().powf(alpha) * TAU * width)
        .sum();
    let constant = k / (TAU.powf(alpha - 1.0) * turn * 2f64.powf(beta - alpha));
    let mean: f64 = (0..PIECES)
        .map(|n| {
            let (start, end) = (f64::from(n) * width, f64::from(n + 1) * width);
            let slope = (flux(end * period) - flux(start * period)) / (width * period);
            slope.abs().powf(alpha) * width
        })
        .sum();
    constant * mean * swing.powf(beta - alpha)
}

#[test]
fn core_losses_are_those_of_the_sampled_flux() {
    let period = 3.6e-6;
    for constants in [[1.5, 1.5, 2.5], [3.2, 1.46, 2.75], [40.0, 1.1, 2.1]] {
        let law = steinmetz(constants[0], constants[1], constants[2]);
        let amplitude = 0.05;
        let found = core::sinusoidal(
            &law,
            input("f", "frequency", 1.0 / period),
            input("B", "amplitude", amplitude),
        );
        let sampled = sampled_loss(constants, period, 2.0 * amplitude, |t| {
            amplitude * (TAU * t / period).sin()
        });
        near(value(&found), sampled, 1e-6, "sinusoid");
        // A quarter of the period up, a half down, a quarter of rest.
        let (up, down, swing) = (period / 4.0, period / 2.0, 0.1);
        let found = core::triangular(
            &law,
            input("Delta B", "swing", swing),
            input("t_1", "rise", up),
            input("t_2", "fall", down),
            input("T", "period", period),
        );
        let sampled = sampled_loss(constants, period, swing, |t| {
            swing * (t / up).min(((up + down - t) / down).max(0.0))
        });
        near(value(&found), sampled, 1e-6, "triangle");
    }
}

/// The voltage across a winding, summed over time and shared by turns and area, is
/// the swing of its flux density: Faraday's law on a source of changing voltage.
#[test]
fn the_flux_swings_by_the_winding_s_volt_seconds() {
    const PIECES: u32 = 100_000;
    let (inductance, turns, area, width) = (0.68e-6, 4.0, 40e-6, 1e-11);
    let (mut current, mut flux) = (0.0, 0.0);
    for k in 0..PIECES {
        let voltage = 16.0 - 5.0 * (f64::from(k) * 7e-5).sin();
        current += voltage / inductance * width;
        flux += voltage * width / turns / area;
    }
    let found = core::flux_swing(
        input("L", "inductance", inductance),
        input("Delta I", "swing", current),
        input("N_t", "turns", turns),
        input("A_e", "area", area),
    );
    near(value(&found), flux, 1e-9, "flux swing");
}

/// The field `H` across one layer, real and imaginary part, by `H'' = 2j·H` where the
/// depth is counted in skin depths; the four parts are `H` and `H'`.
struct Diffusion;

impl System<f64, State> for Diffusion {
    fn system(&self, _: f64, y: &State, dy: &mut State) {
        *dy = State::new(y[2], y[3], -2.0 * y[1], 2.0 * y[0]);
    }
}

type Complex = Vector2<f64>;

fn product(a: Complex, b: Complex) -> Complex {
    Complex::new(a[0] * b[0] - a[1] * b[1], a[0] * b[1] + a[1] * b[0])
}

fn quotient(a: Complex, b: Complex) -> Complex {
    product(a, Complex::new(b[0], -b[1])) / b.norm_squared()
}

fn across(thickness: f64, start: State) -> Vec<State> {
    let step = thickness / 4000.0;
    let mut solver = Dopri5::new(Diffusion, 0.0, thickness, step, start, 1e-12, 1e-12);
    solver.integrate().unwrap();
    solver.y_out().clone()
}

/// Maxwell's equations in each layer of a foil winding in a full window, the field
/// growing by one layer's ampere-turns from layer to layer.
#[test]
fn the_layer_factor_is_that_of_the_marched_field() {
    for (thickness, layers) in [(0.3, 1_u32), (0.8, 4), (1.3, 3), (2.0, 2), (3.5, 5)] {
        // Two solutions from one face: one with field, one with current there.
        let field = across(thickness, State::new(1.0, 0.0, 0.0, 0.0));
        let slope = across(thickness, State::new(0.0, 0.0, 1.0, 0.0));
        let part = |y: &State, of: usize| Complex::new(y[of], y[of + 1]);
        let (field_end, slope_end) = (
            part(field.last().unwrap(), 0),
            part(slope.last().unwrap(), 0),
        );
        let width = thickness / f64::from(u32::try_from(field.len() - 1).unwrap());
        let dissipated: f64 = (1..=layers)
            .map(|layer| {
                let (inner, outer) = (f64::from(layer - 1), f64::from(layer));
                let weight = quotient(Complex::new(outer, 0.0) - field_end * inner, slope_end);
                let density: Vec<f64> = field
                    .iter()
                    .zip(&slope)
                    .map(|(f, s)| (part(f, 2) * inner + product(weight, part(s, 2))).norm_squared())
                    .collect();
                density
                    .windows(2)
                    .map(|pair| f64::midpoint(pair[0], pair[1]) * width)
                    .sum::<f64>()
            })
            .sum();
        // A direct current fills each layer with the density one over the thickness.
        let direct = f64::from(layers) / thickness;
        let found = winding::layer_factor(
            input("phi", "thickness", thickness),
            input("p", "layers", f64::from(layers)),
        );
        near(
            value(&found),
            dissipated / direct,
            1e-5,
            &format!("{layers} layers of {thickness}"),
        );
    }
}
