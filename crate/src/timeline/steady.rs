//! The steady state, found by Newton's method on a period of the simulation.
//!
//! One switching period maps the state at the first pair's turn-off, where every
//! pair conducts, to the state one period later. The duty, the current and the
//! voltages of the flying capacitors are sought for which it comes back with the
//! output current asked for.

use super::cell::CellRecord;
use super::error::TimelineError;
use super::observe::Observer;
use super::queue::Action;
use super::regulator::OnTime;
use super::settings::{Initial, Settings, on_time_estimate};
use super::simulation::Simulation;
use crate::quantity::{Current, Dimensioned as _, Ratio};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint};

/// Newton steps after which it is given up.
const STEPS: usize = 40;
/// Residual that counts as none, relative to current and charge of the point.
const TOLERANCE: f64 = 1e-11;
/// Residual at which a stalled iteration is still taken.
const ACCEPTED: f64 = 1e-8;
/// Periods within which the first pair turns off.
const MOST_CELLS: u64 = 20;
/// Relative step of the difference quotients.
const DIFFERENCE: f64 = 1e-6;

/// A steady state.
#[derive(Clone, Debug)]
pub struct Steady {
    /// The simulation at a turn-off of the first pair; it goes on in the steady
    /// state.
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
    // Settled with flying capacitors that stand still, and only then with their own.
    let stiff = stiff(circuit);
    let mut simulation = start(&stiff, point, settings, on)?;
    let periods = if circuit.scheme == Scheme::Continuous {
        1
    } else {
        4
    };
    for _ in 0..periods {
        period(&mut simulation, &mut ())?;
    }
    simulation.leg.elastance = circuit.flying_capacitance.map_or(0.0, |c| 1.0 / c.value);
    Search { simulation, point }.run(on)
}

fn stiff(circuit: &Circuit) -> Circuit {
    Circuit {
        flying_capacitance: None,
        ..*circuit
    }
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
    let stiff = stiff(circuit);
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

/// Runs to the next turn-off of the first pair.
pub(super) fn period(
    simulation: &mut Simulation,
    observer: &mut impl Observer,
) -> Result<(), TimelineError> {
    let last = simulation.cells + MOST_CELLS * simulation.leg.pairs as u64;
    loop {
        simulation.step(f64::INFINITY, observer)?;
        if let Some((due, Action::HighOff(0))) = simulation.queue.next()
            && simulation.time >= due
            && simulation.gates.open(simulation.leg.pairs).is_none()
        {
            return Ok(());
        }
        if simulation.cells > last {
            return Err(TimelineError::NotSteady(
                "the first pair does not fire in every period".to_owned(),
            ));
        }
    }
}

/// The search for the state that a period maps to itself.
struct Search {
    simulation: Simulation,
    point: OperatingPoint,
}

impl Search {
    fn state(simulation: &Simulation) -> Vec<f64> {
        let mut state = vec![simulation.current];
        let leg = &simulation.leg;
        if leg.elastance > 0.0 {
            state.extend(&leg.voltage[1..leg.pairs]);
        }
        state
    }

    /// A simulation from an on-time and a state, the unknowns. With another
    /// on-time the turn-off, and the state with it, comes at another time.
    fn set(&self, unknowns: &[f64]) -> Simulation {
        let mut s = self.simulation.clone();
        let (on, state) = (unknowns[0], &unknowns[1..]);
        if let OnTime::Fixed(before) = s.on_time {
            let later = (on - before) * s.carriers.cell;
            s.time += later;
            s.queue
                .delay(later, |action| matches!(action, Action::HighOff(_)));
        }
        s.on_time = OnTime::Fixed(on);
        s.current = state[0];
        let pairs = s.leg.pairs;
        if s.leg.elastance > 0.0 {
            s.leg.voltage[1..pairs].copy_from_slice(&state[1..]);
        }
        s.node = s.leg.level(&s.leg.shares(s.gates.high, 0.0));
        s.recharge();
        s
    }

    /// What a period leaves over, in parts of the point's current and charge.
    fn residual(&self, unknowns: &[f64]) -> Result<(Vec<f64>, Simulation), TimelineError> {
        let mut s = self.set(unknowns);
        let (before, time) = (*s.ledger(), s.time);
        period(&mut s, &mut ())?;
        let charge = s.ledger().since(&before).output_charge;
        // A flying capacitor's balance in parts of the load's charge: in parts of its
        // voltage a large one would count as balanced anywhere.
        let current = self.point.output_current.value;
        let voltage = current * s.carriers.cell * s.leg.elastance;
        let mut residual = vec![(charge / (s.time - time) - current) / current];
        let after = Self::state(&s);
        let scales = std::iter::once(current).chain(std::iter::repeat(voltage));
        for ((x, y), scale) in unknowns[1..].iter().zip(&after).zip(scales) {
            residual.push((y - x) / scale);
        }
        Ok((residual, s))
    }

    fn run(&self, on: f64) -> Result<Steady, TimelineError> {
        let mut unknowns = vec![on];
        unknowns.extend(Self::state(&self.simulation));
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
                        "the search stalls with {:.1e} of the current or the charge left over; \
                         the state may change from period to period here",
                        size(&residual)
                    )));
                }
            }
        }
        if size(&residual) >= ACCEPTED {
            return Err(TimelineError::NotSteady(format!(
                "{STEPS} steps leave {:.1e} of the current or the charge over",
                size(&residual)
            )));
        }
        let mut simulation = self.set(&unknowns);
        // The cell under way has begun in another state.
        period(&mut simulation, &mut ())?;
        let mut cells = Cells::default();
        period(&mut simulation, &mut cells)?;
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
        if row[k] == 0.0 || !row[k].is_finite() {
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
