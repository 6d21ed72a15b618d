//! The solver: a circuit, the numbers of a point, and storage that is kept
//! between points.

use super::course::TurnOn;
use super::motion::Motion;
use super::node::{Kinks, Moments, Node};
use super::numbers::{CycleError, Levels, Numbers, Ramps};
use super::ramp::Ramped;
use super::ripple::Sway;
use super::rule::{self, Found};
use super::state::SteadyState;
use crate::quantity::Dimensioned as _;
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
    /// The ripple in the upper level, where it is taken into account.
    sway: Option<Sway>,
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
        let motion = Motion::new(node, &kinks, n.inductance, diodes);
        Ok(Self {
            circuit: *circuit,
            bench: Bench {
                n,
                levels,
                ramps,
                motion,
                kinks,
                bottom: Moments::default(),
                top: Moments::default(),
                last_peak: None,
                sway: None,
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

    /// What was found in quantities.
    pub(super) fn told(
        &self,
        found: &Found,
        point: OperatingPoint,
    ) -> Result<SteadyState, CycleError> {
        let steady = found.steady_state(self.circuit.scheme, point, &self.bench);
        let whole = steady.course.is_none_or(|course| course.is_finite());
        if whole && steady.floor.is_finite() && self.bench.motion.lower.need.is_finite() {
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

    /// The same with an upper level that sways.
    pub fn set_swaying(&mut self, circuit: &Circuit, levels: Levels, sway: Option<Sway>) {
        self.levels = levels;
        self.sway = sway;
        self.last_peak = None;
        self.ramps = Ramps::new(&self.n, &levels);
        // The node rises to the level that the firing pair finds.
        let raised = sway.map_or(0.0, |sway| sway.half);
        self.ramps.high_diode.drive += raised;
        let node = Node::new(circuit, levels.above + raised, levels.below);
        let diodes = [self.ramps.high_diode, self.ramps.low_diode];
        self.motion
            .set(node, &self.kinks, self.n.inductance, diodes);
        self.bottom = self.motion.lower.at_end(&node);
        self.top = self.motion.upper.at_end(&node);
    }

    /// The energise ramp from one current to another.
    pub fn energised(&self, from: f64, to: f64) -> Ramped {
        let ramp = self.ramps.energise;
        let line = ramp.between(from, to);
        match self.sway {
            None => line,
            Some(sway) => {
                let time = line.time + sway.delay(ramp, from, to);
                // The square is that of the same currents over the other time.
                let square = line.square * time / line.time;
                Ramped {
                    time,
                    square,
                    ..line
                }
            }
        }
    }

    /// The high side's turn-on with the node at a voltage from the output.
    pub fn turn_on(&self, w: f64) -> TurnOn {
        let node = &self.motion.node;
        let arrived = w >= node.above;
        TurnOn {
            voltage: crate::quantity::Voltage::from_coherent(if arrived {
                0.0
            } else {
                node.above - w
            }),
            energy: crate::quantity::Energy::from_coherent(if arrived {
                0.0
            } else {
                node.turn_on_energy(w)
            }),
        }
    }
}
