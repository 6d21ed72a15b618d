//! The steady state, found by Newton's method on a period of the simulation.
//!
//! One switching period maps the state at a carrier's edge to the state one
//! period later. The duty, the current, the node voltage where it floats and the
//! capacitor voltages are sought for which it comes back, with the output current
//! (with an ideal output) or the mean output voltage asked for.

use super::cell::CellRecord;
use super::error::TimelineError;
use super::observe::Observer;
use super::queue::Action;
use super::regulator::OnTime;
use super::rule::Firing;
use super::settings::{Initial, Settings, on_time_estimate};
use super::simulation::Simulation;
use crate::quantity::{Current, Dimensioned as _, Ratio};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint};

/// Newton steps after which it is given up.
const STEPS: usize = 40;
/// Residual that counts as none, relative to currents and voltages of the point.
const TOLERANCE: f64 = 1e-11;
/// Residual at which a stalled iteration is still taken.
const ACCEPTED: f64 = 1e-8;
/// Relative step of the difference quotients.
const DIFFERENCE: f64 = 1e-6;

/// A steady state.
#[derive(Clone, Debug)]
pub struct Steady {
    /// The simulation at a carrier's edge; it goes on in the steady state.
    pub simulation: Simulation,
    /// Duty of every pair.
    pub duty: Ratio,
    /// The cells of one switching period.
    pub cells: Vec<CellRecord>,
}

/// The cells of a period, as they end.
#[derive(Default)]
struct Cells(Vec<CellRecord>);

impl Observer for Cells {
    fn cell(&mut self, cell: &CellRecord) {
        self.0.push(*cell);
    }
}

/// The steady state of a circuit at a point, with an ideal source as its output:
/// the limit of a large output capacitance.
///
/// Symbols and units: everything in coherent units; the settings give delays and
/// drops, their duty is not used.
///
/// # Errors
/// A point that the stage cannot hold, or no steady state within the steps.
pub fn steady_state(
    circuit: &Circuit,
    point: OperatingPoint,
    settings: &Settings,
) -> Result<Steady, TimelineError> {
    if point.output_current.value <= 0.0 {
        return Err(TimelineError::NotSteady(
            "the output current is not above 0 A, so that no cell fires; give a current above 0 A"
                .to_owned(),
        ));
    }
    let on = rough_on_time(circuit, point, settings)?;
    let mut simulation = start(circuit, point, settings, on)?;
    let periods = if circuit.scheme == Scheme::Continuous {
        1
    } else {
        3
    };
    for _ in 0..periods {
        period(&mut simulation, &mut ())?;
    }
    let search = Search {
        point,
        floating: simulation.gates().open(simulation.leg.pairs).is_some() && !simulation.caught,
        simulation,
    };
    search.run(on)
}

/// A simulation at a fixed on-time.
fn start(
    circuit: &Circuit,
    point: OperatingPoint,
    settings: &Settings,
    on: f64,
) -> Result<Simulation, TimelineError> {
    let pairs = f64::from(circuit.pairs);
    let settings = Settings {
        on_time: super::Loop::FixedDuty((on / pairs).into()),
        ..*settings
    };
    let mut initial = Initial {
        ideal_output: true,
        ..Initial::at(point)
    };
    if circuit.scheme == Scheme::Continuous {
        let step = point.input_voltage.value / pairs;
        let a = f64::from(circuit.band + 1) * step - point.output_voltage.value;
        let on = on - f64::from(circuit.band);
        let ripple = a * on * circuit.cell_time().value / circuit.inductance.value;
        initial.inductor_current =
            Current::from_coherent(point.output_current.value - ripple / 2.0);
    }
    Simulation::new(circuit, &settings, &initial)
}

/// The on-time for the output current with flying capacitors without ripple.
fn rough_on_time(
    circuit: &Circuit,
    point: OperatingPoint,
    settings: &Settings,
) -> Result<f64, TimelineError> {
    let band = f64::from(circuit.band);
    let estimate = on_time_estimate(circuit, point);
    if circuit.scheme == Scheme::Continuous {
        return Ok(band + estimate);
    }
    let stiff = Circuit {
        flying_capacitance: None,
        ..*circuit
    };
    let error = |beyond: f64| -> Result<f64, TimelineError> {
        let mut simulation = start(&stiff, point, settings, band + beyond)?;
        for _ in 0..3 {
            period(&mut simulation, &mut ())?;
        }
        let (before, time) = (*simulation.ledger(), simulation.time);
        period(&mut simulation, &mut ())?;
        let charge = simulation.ledger().since(&before).output_charge;
        Ok(charge / (simulation.time - time) - point.output_current.value)
    };
    let close = 1e-6 * point.output_current.value;
    let (mut x0, mut x1) = (estimate, 1.05 * estimate);
    let (mut y0, mut y1) = (error(x0)?, error(x1)?);
    for _ in 0..30 {
        if y1.abs() < close || y1 == y0 {
            break;
        }
        let next = (x1 - y1 * (x1 - x0) / (y1 - y0)).clamp(x1 / 2.0, x1 * 2.0);
        (x0, y0) = (x1, y1);
        x1 = next;
        y1 = error(x1)?;
    }
    Ok(band + x1)
}

/// Runs to the next edge of the first pair's carrier, or to its release where that
/// fires.
fn period(simulation: &mut Simulation, observer: &mut impl Observer) -> Result<(), TimelineError> {
    let section = match simulation.rules.firing {
        Firing::Clock => Action::Clock,
        Firing::Release => Action::Released,
    };
    loop {
        simulation.step(f64::INFINITY, observer)?;
        if simulation.carriers.next == 0
            && let Some((due, action)) = simulation.queue.next()
            && action == section
            && simulation.time >= due
        {
            return Ok(());
        }
    }
}

/// The search for the state that a period maps to itself.
struct Search {
    simulation: Simulation,
    point: OperatingPoint,
    /// Whether the node floats at the edge: its voltage is then a state.
    floating: bool,
}

impl Search {
    fn state(&self, simulation: &Simulation) -> Vec<f64> {
        let mut state = vec![simulation.current];
        if self.floating {
            state.push(simulation.node);
        }
        let leg = &simulation.leg;
        if leg.elastance > 0.0 {
            state.extend(&leg.voltage[1..leg.pairs]);
        }
        state
    }

    /// A simulation from an on-time and a state, the unknowns.
    fn set(&self, unknowns: &[f64]) -> Simulation {
        let mut s = self.simulation.clone();
        let (on, state) = (unknowns[0], &unknowns[1..]);
        if let (OnTime::Fixed(before), Firing::Clock) = (s.on_time, s.rules.firing) {
            let later = (on - before) * s.carriers.cell;
            s.queue
                .delay(later, |action| matches!(action, Action::HighOff(_)));
        }
        s.on_time = OnTime::Fixed(on);
        s.current = state[0];
        if self.floating {
            s.node = state[1];
        }
        if s.leg.elastance > 0.0 {
            let from = 1 + usize::from(self.floating);
            let pairs = s.leg.pairs;
            s.leg.voltage[1..pairs].copy_from_slice(&state[from..]);
        }
        if s.gates.open(s.leg.pairs).is_none() {
            let shares = s.leg.shares(&s.gates.high, 0.0);
            s.node = s.leg.level(&shares);
        }
        s.recharge();
        s
    }

    /// What a period leaves over, in parts of the point's current and voltage.
    fn residual(&self, unknowns: &[f64]) -> Result<(Vec<f64>, Simulation), TimelineError> {
        let mut s = self.set(unknowns);
        let (before, time) = (*s.ledger(), s.time);
        period(&mut s, &mut ())?;
        let charge = s.ledger().since(&before).output_charge;
        let (current, voltage) = (
            self.point.output_current.value,
            self.point.input_voltage.value,
        );
        let mut residual = vec![(charge / (s.time - time) - current) / current];
        let after = self.state(&s);
        let scales = std::iter::once(current).chain(std::iter::repeat(voltage));
        for ((x, y), scale) in unknowns[1..].iter().zip(&after).zip(scales) {
            residual.push((y - x) / scale);
        }
        Ok((residual, s))
    }

    fn run(&self, on: f64) -> Result<Steady, TimelineError> {
        let mut unknowns = vec![on];
        unknowns.extend(self.state(&self.simulation));
        let (mut residual, _) = self.residual(&unknowns)?;
        for _ in 0..STEPS {
            if size(&residual) < TOLERANCE {
                break;
            }
            let columns: Vec<Vec<f64>> = (0..unknowns.len())
                .map(|k| self.column(&unknowns, &residual, k))
                .collect::<Result<_, _>>()?;
            let step = solve(&columns, &residual).ok_or_else(|| {
                TimelineError::NotSteady(
                    "the period does not depend on one of the unknowns".to_owned(),
                )
            })?;
            let mut damping = 1.0;
            let found = loop {
                let next: Vec<f64> = unknowns
                    .iter()
                    .zip(&step)
                    .map(|(x, dx)| x - damping * dx)
                    .collect();
                if next[0] > 0.0
                    && let Ok((new, _)) = self.residual(&next)
                    && size(&new) < size(&residual)
                {
                    break Some((next, new));
                }
                damping /= 2.0;
                if damping < 1e-3 {
                    break None;
                }
            };
            match found {
                Some((next, new)) => (unknowns, residual) = (next, new),
                None if size(&residual) < ACCEPTED => break,
                None => {
                    return Err(TimelineError::NotSteady(format!(
                        "the search stalls with {:.1e} of the current or the voltage left over; \
                         the state may change from period to period here",
                        size(&residual)
                    )));
                }
            }
        }
        if size(&residual) >= ACCEPTED {
            return Err(TimelineError::NotSteady(format!(
                "{STEPS} steps leave {:.1e} of the current or the voltage over",
                size(&residual)
            )));
        }
        let mut simulation = self.set(&unknowns);
        let mut cells = Cells::default();
        // From the edge itself: the cell before it is not one of the period.
        simulation.step(f64::INFINITY, &mut ())?;
        period(&mut simulation, &mut cells)?;
        simulation.step(f64::INFINITY, &mut cells)?;
        Ok(Steady {
            duty: (unknowns[0] / simulation.leg.pairs as f64).into(),
            simulation,
            cells: cells.0,
        })
    }

    fn column(
        &self,
        unknowns: &[f64],
        residual: &[f64],
        k: usize,
    ) -> Result<Vec<f64>, TimelineError> {
        let mut moved = unknowns.to_vec();
        let step = DIFFERENCE * unknowns[k].abs().max(1e-2);
        moved[k] += step;
        let (changed, _) = self.residual(&moved)?;
        Ok(changed
            .iter()
            .zip(residual)
            .map(|(y, x)| (y - x) / step)
            .collect())
    }
}

fn size(residual: &[f64]) -> f64 {
    residual.iter().fold(0.0, |most, r| r.abs().max(most))
}

/// Gauss's elimination with pivots; the matrix comes as columns.
fn solve(columns: &[Vec<f64>], right: &[f64]) -> Option<Vec<f64>> {
    let n = right.len();
    let mut rows: Vec<Vec<f64>> = (0..n)
        .map(|i| {
            columns
                .iter()
                .map(|column| column[i])
                .chain(std::iter::once(right[i]))
                .collect()
        })
        .collect();
    for k in 0..n {
        let pivot = (k..n).max_by(|a, b| rows[*a][k].abs().total_cmp(&rows[*b][k].abs()))?;
        rows.swap(k, pivot);
        let row = rows[k].clone();
        if !(row[k].abs() > 0.0) {
            return None;
        }
        for other in rows.iter_mut().skip(k + 1) {
            let factor = other[k] / row[k];
            for (x, y) in other.iter_mut().zip(&row) {
                *x -= factor * y;
            }
        }
    }
    let mut solution = vec![0.0; n];
    for k in (0..n).rev() {
        let sum: f64 = (k + 1..n).map(|j| rows[k][j] * solution[j]).sum();
        solution[k] = (rows[k][n] - sum) / rows[k][k];
    }
    Some(solution)
}
