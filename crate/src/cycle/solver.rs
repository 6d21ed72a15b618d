//! The solver: a circuit, the numbers of a point, and storage that is kept
//! between points.

use super::course::TurnOn;
use super::motion::Motion;
use super::node::{Kinks, Moments, Node};
use super::numbers::{CycleError, Levels, Numbers, Ramps};
use super::ramp::{Ramp, Ramped};
use super::ripple::{Sway, Sways};
use super::rule::{self, Found};
use super::state::SteadyState;
use crate::quantity::{Current, Dimensioned as _};
use crate::stage::{Circuit, OperatingPoint};

/// Steady states of one circuit at many points, without allocating for each.
///
/// ```
/// use slewbook::cycle::Solver;
/// use slewbook::quantity::unit::{ampere, uH, volt};
/// use slewbook::scheme::Scheme;
/// use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let circuit = Circuit::new(
///     &specification, Scheme::FreewheelTransistors, 0.68 * uH, 0.4 * ampere,
/// ).unwrap();
/// let mut solver = Solver::new(&circuit).unwrap();
/// let mut point = OperatingPoint {
///     input_voltage: 36.0 * volt,
///     output_voltage: 6.0 * volt,
///     output_current: 6.0 * ampere,
/// };
/// let full = solver.solve(point).unwrap().course.unwrap().peak_current;
/// point.output_current = 3.0 * ampere;
/// let half = solver.solve(point).unwrap().course.unwrap().peak_current;
/// assert!(half < full);
/// ```
#[derive(Clone, Debug)]
pub struct Solver {
    pub(super) circuit: Circuit,
    pub(super) bench: Bench,
}

/// Part of the cell to which its intervals add up, where nothing else is asked.
const CLOSED: f64 = 1e-13;

/// The unknown of a cell like the one that is sought, and the slope of what it closes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Near {
    pub root: f64,
    pub slope: f64,
}

/// The numbers of one point, and the node's motion between its levels.
#[derive(Clone, Debug)]
pub(super) struct Bench {
    pub n: Numbers,
    pub levels: Levels,
    pub ramps: Ramps,
    pub motion: Motion,
    kinks: Kinks,
    /// Charge and energy at the lower and the upper level.
    pub bottom: Moments,
    pub top: Moments,
    /// The square of the peak current that was found last at this point.
    pub last_peak: Option<f64>,
    /// The unknown that was found last at this point.
    pub near: Option<Near>,
    /// Part of the cell to which its intervals have to add up.
    pub closing: f64,
    /// Whether every charge is met before anything is concluded from it.
    pub strict: bool,
    /// The turn-on over the ring without a clamp, where it was computed since the node
    /// changed.
    pub over_ring: Option<[TurnOn; 3]>,
    /// The ripple in the levels, where it is taken into account.
    sways: Option<Sways>,
}

impl Solver {
    /// A solver for a circuit.
    ///
    /// # Errors
    /// A part whose value the model does not describe.
    pub fn new(circuit: &Circuit) -> Result<Self, CycleError> {
        let n = Numbers::new(circuit)?;
        // Any point gives the storage its size.
        let levels = Levels {
            input: n.pairs,
            output: n.band + 0.5,
            load: 0.0,
            above: 0.5,
            below: 0.5,
        };
        let kinks = Kinks::new(circuit);
        let ramps = Ramps::new(&n, &levels);
        let node = Node::new(circuit, levels.above, levels.below);
        let diodes = [ramps.high_diode, ramps.low_diode];
        let drops = [n.high_drop, n.low_drop];
        let motion = Motion::new(node, &kinks, n.inductance, diodes, drops);
        let (bottom, top) = (motion.lower.at_end(&node), motion.upper.at_end(&node));
        Ok(Self {
            circuit: *circuit,
            bench: Bench {
                n,
                levels,
                ramps,
                motion,
                kinks,
                bottom,
                top,
                last_peak: None,
                near: None,
                closing: CLOSED,
                strict: false,
                over_ring: None,
                sways: None,
            },
        })
    }

    /// The circuit.
    #[must_use]
    pub fn circuit(&self) -> &Circuit {
        &self.circuit
    }

    /// The solver for a circuit with the same capacitance curves and other
    /// values: a tolerance run.
    ///
    /// # Errors
    /// As [`Solver::new`].
    pub fn change(&mut self, circuit: &Circuit) -> Result<(), CycleError> {
        let same = std::ptr::eq(
            circuit.low.output_capacitance,
            self.circuit.low.output_capacitance,
        ) && std::ptr::eq(
            circuit.high.output_capacitance,
            self.circuit.high.output_capacitance,
        ) && match (circuit.clamp_capacitance, self.circuit.clamp_capacitance) {
            (Some(new), Some(old)) => std::ptr::eq(new, old),
            (None, None) => true,
            _ => false,
        };
        if !same {
            self.bench.kinks = Kinks::new(circuit);
        }
        self.bench.n = Numbers::new(circuit)?;
        self.circuit = *circuit;
        Ok(())
    }

    /// The steady state at a point.
    ///
    /// # Errors
    /// A point outside what the model describes.
    pub fn solve(&mut self, point: OperatingPoint) -> Result<SteadyState, CycleError> {
        let bench = &mut self.bench;
        bench.set(&self.circuit, Levels::new(&bench.n, point)?);
        let found = rule::solve(bench, self.circuit.scheme);
        self.told(&found, point)
    }

    /// The trip threshold that leaves the margin over the floor after a hold of a whole
    /// cell, the flying capacitors held still: [`SteadyState::trip_needed`] without the
    /// cell.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub fn trip_needed(&mut self, point: OperatingPoint) -> Result<Current, CycleError> {
        let bench = &mut self.bench;
        bench.set(&self.circuit, Levels::new(&bench.n, point)?);
        let need = bench.trip_wanted().max(0.0);
        if need.is_finite() {
            Ok(Current::from_coherent(need))
        } else {
            Err(CycleError::beyond_numbers())
        }
    }

    /// The steady state at a point to a part of the cell, `again` from the one that was
    /// found last: at the same point, with other resistances.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub(crate) fn approach(
        &mut self,
        circuit: &Circuit,
        point: OperatingPoint,
        again: bool,
        closing: f64,
    ) -> Result<SteadyState, CycleError> {
        self.change(circuit)?;
        let bench = &mut self.bench;
        let levels = Levels::new(&bench.n, point)?;
        let (near, last_peak) = (bench.near, bench.last_peak);
        bench.set(&self.circuit, levels);
        if again {
            (bench.near, bench.last_peak) = (near, last_peak);
        }
        bench.closing = closing.max(CLOSED);
        let found = rule::solve(bench, self.circuit.scheme);
        self.told(&found, point)
    }

    /// What was found in quantities.
    pub(super) fn told(
        &mut self,
        found: &Found,
        point: OperatingPoint,
    ) -> Result<SteadyState, CycleError> {
        let steady = found.steady_state(self.circuit.scheme, point, &mut self.bench);
        let whole = steady.course.is_none_or(|course| course.is_finite());
        let finite = |value: Option<f64>| value.is_none_or(f64::is_finite);
        let known = finite(found.release) && finite(found.clamp_on) && finite(found.partial_rise);
        if whole && known && steady.floor.is_finite() && self.bench.motion.lower.need.is_finite() {
            Ok(steady)
        } else {
            Err(CycleError::beyond_numbers())
        }
    }
}

impl Bench {
    pub fn set(&mut self, circuit: &Circuit, levels: Levels) {
        self.set_swaying(circuit, levels, None);
    }

    /// The same with levels that sway.
    pub fn set_swaying(&mut self, circuit: &Circuit, levels: Levels, sways: Option<Sways>) {
        self.levels = levels;
        self.sways = sways;
        self.last_peak = None;
        self.near = None;
        self.closing = CLOSED;
        self.ramps = Ramps::new(&self.n, &levels);
        // The node rises to the level that the firing pair finds, from the one that the
        // release has left.
        let [raised, lowered] = sways.map_or([0.0; 2], |sways| {
            [sways.upper.farthest, sways.lower.farthest]
        });
        self.ramps.high_diode.drive += raised;
        self.ramps.low_diode.drive -= lowered;
        let node = Node::new(circuit, levels.above + raised, levels.below + lowered);
        let diodes = [self.ramps.high_diode, self.ramps.low_diode];
        let drops = [self.n.high_drop, self.n.low_drop];
        let motion = &mut self.motion;
        motion.upper.forget_place();
        motion.lower.forget_place();
        if motion.renew(node, &self.kinks, self.n.inductance, diodes, drops) {
            self.bottom = motion.lower.at_end(&node);
            self.top = motion.upper.at_end(&node);
            self.over_ring = None;
        }
    }

    /// Charge and energy at a place between the levels.
    pub fn moments(&self, w: f64) -> Moments {
        let node = &self.motion.node;
        if w == node.above {
            self.top
        } else if w == -node.below {
            self.bottom
        } else {
            node.moments(w)
        }
    }

    /// The energise ramp from one current to another.
    pub fn energised(&self, from: f64, to: f64) -> Ramped {
        swayed(
            self.ramps.energise,
            self.sways.map(|own| own.upper),
            from,
            to,
        )
    }

    /// The release ramp, likewise.
    pub fn released(&self, from: f64, to: f64) -> Ramped {
        swayed(
            self.ramps.release,
            self.sways.map(|own| own.lower),
            from,
            to,
        )
    }

    /// The release ramp at its end, the lower level as high as it is then in any cell: the
    /// delay of the trip adds the least there.
    pub fn end_of_release(&self) -> Ramp {
        let mut ramp = self.ramps.release;
        ramp.drive -= self.sways.map_or(0.0, |own| own.lower.nearest);
        ramp
    }

    /// The high side's turn-on with the node at a voltage from the output. Beyond its
    /// level nothing is left across the channel; bringing the node back to the level
    /// takes the energy all the same.
    pub fn turn_on(&self, w: f64) -> TurnOn {
        let node = &self.motion.node;
        let energy = if w == node.above {
            0.0
        } else {
            node.turn_on_energy(node.moments(w), self.top)
        };
        TurnOn {
            voltage: crate::quantity::Voltage::from_coherent((node.above - w).max(0.0)),
            energy: crate::quantity::Energy::from_coherent(energy),
        }
    }

    /// The low side's turn-on, likewise.
    pub fn low_turn_on(&self, w: f64) -> TurnOn {
        let node = &self.motion.node;
        let energy = if w == -node.below {
            0.0
        } else {
            node.low_turn_on_energy(w)
        };
        TurnOn {
            voltage: crate::quantity::Voltage::from_coherent((w + node.below).max(0.0)),
            energy: crate::quantity::Energy::from_coherent(energy),
        }
    }
}

/// A ramp under a level that sways.
fn swayed(ramp: Ramp, sway: Option<Sway>, from: f64, to: f64) -> Ramped {
    let line = ramp.between(from, to);
    let delay = sway.map_or(0.0, |sway| sway.delay(ramp, from, to));
    if delay == 0.0 {
        return line;
    }
    let time = line.time + delay;
    // The square is that of the same currents over the other time.
    Ramped {
        time,
        square: line.square * time / line.time,
        ..line
    }
}
