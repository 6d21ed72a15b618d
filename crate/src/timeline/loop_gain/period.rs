//! A switching period of the simulation as a map, and its derivatives.
//!
//! Between two looks of the control lies a cell. At each look the state is what the
//! simulation carries over: the current, the node where it floats, the capacitors, and
//! the instants at which pulses under way will end. The on-times set at the looks of a
//! period are the inputs, the means of the output over its cells the outputs.

use super::linear::{Complex, solve};
use crate::quantity::Dimensioned as _;
use crate::stage::{Circuit, OperatingPoint};
use crate::timeline::TimelineError;
use crate::timeline::electrical::Mode;
use crate::timeline::queue::Action;
use crate::timeline::regulator::OnTime;
use crate::timeline::rule::{Firing, Release, Rules};
use crate::timeline::settings::{Initial, Loop, Settings, on_time_estimate};
use crate::timeline::simulation::{Edge, Simulation};

/// Newton steps towards the periodic state.
const STEPS: usize = 30;
/// What a period may leave over, in parts of the state's scales.
const TOLERANCE: f64 = 1e-10;
/// The same where the steps come no nearer.
const ACCEPTED: f64 = 1e-7;
/// Step of the difference quotients, in parts of the state's scales.
const DIFFERENCE: f64 = 3e-5;
/// Cells within which the control looks again.
const MOST_CELLS: u64 = 3;

/// A number that a period carries over.
#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    Current,
    Node,
    Output,
    Flying(usize),
    /// When a pair's pulse ends.
    TurnOff(usize),
}

/// The derivatives of a period.
#[derive(Clone, Debug)]
pub(super) struct Linear {
    /// Of the state after it: rows, by the state before it.
    pub state: Vec<Vec<f64>>,
    /// Of the state after it, by the on-times in cells.
    pub input: Vec<Vec<f64>>,
    /// Of the cells' means of the output, by the state before it.
    pub output: Vec<Vec<f64>>,
    /// Of those means, by the on-times.
    pub through: Vec<Vec<f64>>,
    /// Mean duration of a cell in seconds.
    pub cell: f64,
}

/// A stage in its periodic state, at a look of the control.
pub(super) struct Period {
    pub start: Simulation,
    /// On-time in cells.
    pub on: f64,
    states: Vec<State>,
    /// What counts as one of each state: current, voltage, time.
    scales: Vec<f64>,
    /// Mean of the output to hold.
    target: f64,
}

/// Where a period leads.
struct After {
    state: Vec<f64>,
    /// Means of the output over its cells.
    means: Vec<f64>,
    duration: f64,
}

impl Period {
    /// The periodic state with the output capacitor in the circuit and the mean of the
    /// output at the point's voltage.
    pub fn find(
        circuit: &Circuit,
        settings: &Settings,
        point: OperatingPoint,
    ) -> Result<Self, TimelineError> {
        let ringing = Rules::of(circuit.scheme).release == Release::ZeroCurrent;
        let (mut start, on) = if ringing {
            at_rest(circuit, settings, point)?
        } else {
            Simulation::with_output(circuit, settings, point)?
        };
        to_look(&mut start)?;
        let step = point.input_voltage.coherent() / f64::from(circuit.pairs);
        let ramp = step * start.carriers.cell / start.values.inductance;
        let states = states(&mut start);
        let scale = |state: &State| match state {
            State::Current => point.output_current.coherent().max(0.1 * ramp),
            State::Node | State::Output | State::Flying(_) => step,
            State::TurnOff(_) => start.carriers.cell,
        };
        let scales = states.iter().map(scale).collect();
        let mut period = Self {
            on,
            states,
            scales,
            target: point.output_voltage.coherent(),
            start,
        };
        period.settle()?;
        Ok(period)
    }

    /// Newton's method on a period.
    fn settle(&mut self) -> Result<(), TimelineError> {
        let size = |r: &[f64]| r.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
        let mut left = self.left_over(&self.start, self.on)?;
        for _ in 0..STEPS {
            if size(&left) < TOLERANCE {
                return Ok(());
            }
            let count = self.states.len() + 1;
            let mut rows = vec![vec![Complex::ZERO; count + 1]; count];
            for k in 0..count {
                let moved = self.moved(k, DIFFERENCE);
                let (start, on) = moved.unwrap_or((self.start.clone(), self.on + DIFFERENCE));
                let column = self.left_over(&start, on)?;
                for (row, (new, old)) in rows.iter_mut().zip(column.iter().zip(&left)) {
                    row[k] = ((new - old) / DIFFERENCE).into();
                }
            }
            for (row, left) in rows.iter_mut().zip(&left) {
                row[count] = (*left).into();
            }
            let Some(step) = solve(rows) else { break };
            let mut part = 1.0;
            let found = loop {
                let change: Vec<f64> = step[..count - 1].iter().map(|x| -part * x.re).collect();
                let on = self.on - part * step[count - 1].re;
                let start = self.changed(&change);
                if on > 0.0
                    && let Ok(new) = self.left_over(&start, on)
                    && size(&new) < size(&left)
                {
                    break Some((start, on, new));
                }
                part /= 2.0;
                if part < 1e-2 {
                    break None;
                }
            };
            let Some((start, on, new)) = found else { break };
            (self.start, left) = (start, new);
            if self.start.rules.firing == Firing::Release {
                let later = (on - self.on) * self.start.carriers.cell;
                put_off(&mut self.start, later);
            }
            self.on = on;
        }
        if size(&left) < ACCEPTED {
            return Ok(());
        }
        Err(TimelineError::NotSteady(format!(
            "a period with the output capacitor leaves {:.1e} over; the state may change from \
             period to period here",
            size(&left)
        )))
    }

    /// The start with one state moved by a part of its scale; none for the on-time.
    fn moved(&self, k: usize, by: f64) -> Option<(Simulation, f64)> {
        (k < self.states.len()).then(|| {
            let mut change = vec![0.0; self.states.len()];
            change[k] = by;
            (self.changed(&change), self.on)
        })
    }

    /// What a period leaves over, in parts of the scales, and of the voltage to hold.
    fn left_over(&self, start: &Simulation, on: f64) -> Result<Vec<f64>, TimelineError> {
        let pairs = start.leg.pairs;
        let before = self.read(start);
        let after = self.run(start, &vec![on; pairs])?;
        let mut left: Vec<f64> = after
            .state
            .iter()
            .zip(&before)
            .map(|(y, x)| y - x)
            .collect();
        let mean = after.means.iter().sum::<f64>() / pairs as f64;
        left.push(mean / self.target - 1.0);
        Ok(left)
    }

    /// The states in parts of their scales.
    fn read(&self, simulation: &Simulation) -> Vec<f64> {
        let s = simulation;
        let value = |state: &State| match *state {
            State::Current => s.current,
            State::Node => s.node,
            State::Output => s.output,
            State::Flying(k) => s.leg.voltage[k],
            State::TurnOff(pair) => s
                .queue
                .due(Action::HighOff(pair))
                .map_or(0.0, |due| due - s.time),
        };
        let scaled = self.states.iter().zip(&self.scales);
        scaled.map(|(state, scale)| value(state) / scale).collect()
    }

    /// The start with its states changed, by parts of their scales.
    fn changed(&self, change: &[f64]) -> Simulation {
        let mut s = self.start.clone();
        let mode = s.mode();
        for (state, (change, scale)) in self.states.iter().zip(change.iter().zip(&self.scales)) {
            let by = change * scale;
            match *state {
                State::Current => s.current += by,
                State::Node => s.node += by,
                State::Output => s.output += by,
                State::Flying(k) => s.leg.voltage[k] += by,
                State::TurnOff(pair) => s.queue.delay(by, |a| a == Action::HighOff(pair)),
            }
        }
        match mode {
            Mode::Free => {}
            Mode::Held(diode) => s.node = s.held_level(diode),
            Mode::Clamped | Mode::Rest => s.node = s.terminal(0.0),
        }
        s.recharge();
        s
    }

    /// A period with an on-time for each of its cells.
    fn run(&self, start: &Simulation, on: &[f64]) -> Result<After, TimelineError> {
        let mut s = start.clone();
        let first = s.time;
        let next = s.carriers.next;
        let mut means = Vec::with_capacity(on.len());
        for on in on {
            means.push(cell(&mut s, self.on, *on)?);
        }
        if s.carriers.next != next || states(&mut s) != self.states {
            return Err(TimelineError::NotSteady(
                "its cells are not all of one kind: a pulse is skipped, or the node floats in \
                 one and not in another"
                    .to_owned(),
            ));
        }
        Ok(After {
            state: self.read(&s),
            means,
            duration: s.time - first,
        })
    }

    /// The derivatives, by central differences.
    pub fn linear(&self) -> Result<Linear, TimelineError> {
        let (states, pairs) = (self.states.len(), self.start.leg.pairs);
        let steady = vec![self.on; pairs];
        let mut linear = Linear {
            state: vec![vec![0.0; states]; states],
            input: vec![vec![0.0; pairs]; states],
            output: vec![vec![0.0; states]; pairs],
            through: vec![vec![0.0; pairs]; pairs],
            cell: self.run(&self.start, &steady)?.duration / pairs as f64,
        };
        let quotients = |above: &[f64], below: &[f64]| -> Vec<f64> {
            let pairs = above.iter().zip(below);
            pairs.map(|(a, b)| (a - b) / (2.0 * DIFFERENCE)).collect()
        };
        for k in 0..states + pairs {
            let side = |by: f64| {
                let mut change = vec![0.0; states];
                let mut on = steady.clone();
                if k < states {
                    change[k] = by;
                } else {
                    on[k - states] += by;
                }
                self.run(&self.changed(&change), &on)
            };
            let (above, below) = (side(DIFFERENCE)?, side(-DIFFERENCE)?);
            let (rows, means, column) = if k < states {
                (&mut linear.state, &mut linear.output, k)
            } else {
                (&mut linear.input, &mut linear.through, k - states)
            };
            for (row, value) in rows.iter_mut().zip(quotients(&above.state, &below.state)) {
                row[column] = value;
            }
            for (row, value) in means.iter_mut().zip(quotients(&above.means, &below.means)) {
                row[column] = value;
            }
        }
        Ok(linear)
    }
}

/// What a simulation carries over from this look on.
fn states(simulation: &mut Simulation) -> Vec<State> {
    let mode = simulation.mode();
    let s = &*simulation;
    let mut states = vec![];
    if s.values.output_elastance > 0.0 {
        states.push(State::Output);
    }
    if mode != Mode::Rest {
        states.push(State::Current);
    }
    if mode == Mode::Free {
        states.push(State::Node);
    }
    if s.leg.elastance > 0.0 {
        states.extend((1..s.leg.pairs).map(State::Flying));
    }
    if s.rules.firing == Firing::Clock {
        let on = (0..s.leg.pairs).filter(|pair| s.gates.high[*pair]);
        states.extend(on.map(State::TurnOff));
    }
    states
}

/// One cell from a look of the control on, with another on-time than the steady one, both
/// in cells; gives the mean of the output over it.
pub(super) fn cell(
    simulation: &mut Simulation,
    steady: f64,
    on: f64,
) -> Result<f64, TimelineError> {
    let s = simulation;
    let (time, area) = (s.time, s.ledger.output_area);
    match s.rules.firing {
        Firing::Clock => {
            s.on_time = OnTime::Fixed(on);
            s.step(f64::INFINITY, &mut ())?;
        }
        Firing::Release => {
            // It has just been set: the pulse is under way.
            s.on_time = OnTime::Fixed(steady);
            let later = (on - steady) * s.carriers.cell;
            put_off(s, later);
        }
    }
    to_look(s)?;
    Ok((s.ledger.output_area - area) / (s.time - time))
}

/// A ring of the node has decayed: what remains of it in the simulation, which has nothing
/// to damp it, depends on the last nanosecond of the cell, and no part of it is linear.
fn come_to_rest(simulation: &mut Simulation) {
    let s = simulation;
    if s.edge.is_none() && s.mode() == Mode::Free {
        s.current = 0.0;
        s.node = s.terminal(0.0);
        s.recharge();
    }
}

/// Moves the end of the pulses under way.
fn put_off(simulation: &mut Simulation, later: f64) {
    let queue = &mut simulation.queue;
    queue.delay(later, |action| matches!(action, Action::HighOff(_)));
}

/// Where the node rings between a release at zero current and the next firing: a stage
/// near its periodic state, and its on-time in cells.
fn at_rest(
    circuit: &Circuit,
    settings: &Settings,
    point: OperatingPoint,
) -> Result<(Simulation, f64), TimelineError> {
    let on = f64::from(circuit.band) + on_time_estimate(circuit, point);
    let fixed = Settings {
        on_time: Loop::FixedDuty((on / f64::from(circuit.pairs)).into()),
        ..*settings
    };
    let mut start = Simulation::new(circuit, &fixed, &Initial::at(point))?;
    for _ in 0..2 * circuit.pairs {
        cell(&mut start, on, on)?;
    }
    start.output = point.output_voltage.coherent();
    start.recharge();
    Ok((start, on))
}

/// Runs up to the control's next look at the output: just before a clock's edge acts, or
/// just after a release has turned on a high side.
pub(super) fn to_look(simulation: &mut Simulation) -> Result<(), TimelineError> {
    let s = simulation;
    let last = s.cells + MOST_CELLS;
    while s.cells <= last {
        match s.rules.firing {
            Firing::Clock => {
                if let Some((due, Action::Clock)) = s.queue.next()
                    && s.time >= due
                {
                    if s.rules.release == Release::ZeroCurrent {
                        come_to_rest(s);
                    }
                    return Ok(());
                }
                s.step(f64::INFINITY, &mut ())?;
            }
            Firing::Release => {
                let rising = |s: &Simulation| matches!(s.edge, Some(Edge::Rising(_)));
                let before = rising(s);
                s.step(f64::INFINITY, &mut ())?;
                if before && !rising(s) {
                    return Ok(());
                }
            }
        }
    }
    Err(TimelineError::NotSteady(
        "no pulse is set within some cells".to_owned(),
    ))
}
