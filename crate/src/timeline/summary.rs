//! What a simulation did, in a few figures.

use super::cell::CellRecord;
use super::error::TimelineError;
use super::ledger::Ledger;
use super::leg::PAIRS;
use super::observe::{Event, Observer, Row};
use super::simulation::Simulation;
use crate::cycle::Switching;
use crate::quantity::{Current, Dimensioned as _, Energy, Ratio, Time, Voltage};

/// Part of the time that counts as settled, at the end.
const SETTLED: f64 = 0.1;
/// Cells below which a mean over the settled part says nothing.
const FEWEST: u64 = 10;
/// Part of the voltage to hold within which the output counts as settled.
const BAND: f64 = 0.01;
/// Parts in which the progress is told.
const PARTS: u32 = 100;

/// Greatest and least of a value, each with its time in seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extremes {
    /// Least value, and when.
    pub least: (f64, f64),
    /// Greatest value, and when.
    pub greatest: (f64, f64),
}

impl Default for Extremes {
    fn default() -> Self {
        Self {
            least: (f64::INFINITY, 0.0),
            greatest: (f64::NEG_INFINITY, 0.0),
        }
    }
}

impl Extremes {
    fn see(&mut self, value: f64, time: f64) {
        if value < self.least.0 {
            self.least = (value, time);
        }
        if value > self.greatest.0 {
            self.greatest = (value, time);
        }
    }
}

/// Turn-ons of high sides.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TurnOns {
    /// All of them.
    pub count: u64,
    /// Those at zero voltage, by degrees as in [`Switching::of`].
    pub at_zero_voltage: u64,
}

/// Means over the cells of the last tenth of the time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settled {
    /// Cells in it.
    pub cells: u64,
    /// Output voltage at the load.
    pub output_voltage: Voltage,
    /// By how much that is more than over the tenth before.
    pub drift: Voltage,
    /// Current that reaches the output.
    pub output_current: Current,
    /// Voltages of the flying capacitors; as many as the stage has.
    pub flying: [f64; PAIRS],
    /// Turn-ons.
    pub turn_ons: TurnOns,
    /// Duration in seconds.
    pub duration: f64,
    /// Charge and energy.
    pub ledger: Ledger,
}

/// What a simulation did.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// How long it ran.
    pub duration: Time,
    /// Switch pairs.
    pub pairs: usize,
    /// Cells.
    pub cells: u64,
    /// Cells without a pulse.
    pub skipped: u64,
    /// Firings because nothing had tripped for ten cells.
    pub watchdogs: u64,
    /// Turn-ons.
    pub turn_ons: TurnOns,
    /// Greatest voltage left across a high side that turns on.
    pub turn_on_voltage: Voltage,
    /// Output voltage at the load since the last change from outside.
    pub output: Extremes,
    /// Time of that change; zero where there was none.
    pub changed: Time,
    /// The voltage to hold, and from when on, counted from that change, the mean of
    /// every cell is within 1 % of it; without a time where the last cell is not.
    pub held: Option<(Voltage, Option<Time>)>,
    /// Inductor current since that change.
    pub inductor: Extremes,
    /// Voltage across a blocking transistor of the leg: a pair's step.
    pub step: Extremes,
    /// Voltage from the output to the node: what the clamp blocks.
    pub clamp: Extremes,
    /// The last tenth; none where it is shorter than ten cells.
    pub settled: Option<Settled>,
    /// Charge and energy of the whole.
    pub ledger: Ledger,
    /// Energy stored at the end beyond that at the start.
    pub stored: Energy,
}

/// Counts while it passes everything on.
struct Tally<'o, O> {
    inner: &'o mut O,
    target: Option<f64>,
    pairs: usize,
    input: f64,
    until: f64,
    start: f64,
    summary: Summary,
    last_tenths: [Tenth; 2],
    before: Option<Row>,
    outside: Option<f64>,
}

#[derive(Clone, Copy, Default)]
struct Tenth {
    cells: u64,
    duration: f64,
    ledger: Ledger,
    turn_ons: TurnOns,
    flying: [f64; PAIRS],
    flying_time: f64,
}

impl<O: Observer> Tally<'_, O> {
    /// Which of the last two tenths a time is in: 0 for the one before the last.
    fn tenth(&self, time: f64) -> Option<usize> {
        let left = (self.until - time) / (self.until - self.start);
        if left <= SETTLED {
            Some(1)
        } else if left <= 2.0 * SETTLED {
            Some(0)
        } else {
            None
        }
    }

    fn changed(&mut self, time: f64) {
        self.summary.changed = Time::from_coherent(time);
        self.summary.output = Extremes::default();
        self.summary.inductor = Extremes::default();
        self.outside = None;
    }
}

impl<O: Observer> Observer for Tally<'_, O> {
    fn spacing(&self) -> Option<f64> {
        self.inner.spacing().or(Some(f64::INFINITY))
    }

    fn row(&mut self, row: &Row) {
        match row.event {
            Some(Event::LoadStep | Event::InputStep | Event::Disturbed) => self.changed(row.time),
            Some(Event::Watchdog) => self.summary.watchdogs += 1,
            _ => {}
        }
        self.input = row.input;
        let s = &mut self.summary;
        s.output.see(row.output, row.time);
        s.inductor.see(row.current, row.time);
        s.clamp.see(row.node - row.output, row.time);
        let mut below = 0.0;
        for k in 0..self.pairs {
            let above = if k + 1 < self.pairs {
                row.flying[k]
            } else {
                row.input
            };
            s.step.see(above - below, row.time);
            below = above;
        }
        if let Some(before) = &self.before
            && let Some(1) = self.tenth(before.time)
        {
            let tenth = &mut self.last_tenths[1];
            let time = row.time - before.time;
            tenth.flying_time += time;
            for (sum, (a, b)) in tenth
                .flying
                .iter_mut()
                .zip(row.flying.iter().zip(&before.flying))
            {
                *sum += f64::midpoint(*a, *b) * time;
            }
        }
        self.before = Some(*row);
        if self.inner.spacing().is_some() {
            self.inner.row(row);
        }
    }

    fn cell(&mut self, cell: &CellRecord) {
        let turn_on = cell.turn_on_voltage;
        let count = |turn_ons: &mut TurnOns| {
            turn_ons.count += u64::from(turn_on.is_some());
            turn_ons.at_zero_voltage += u64::from(cell.switching == Some(Switching::ZeroVoltage));
        };
        self.summary.cells += 1;
        self.summary.skipped += u64::from(cell.skipped);
        count(&mut self.summary.turn_ons);
        let greatest = &mut self.summary.turn_on_voltage.value;
        *greatest = greatest.max(turn_on.unwrap_or(0.0));
        if let Some(k) = self.tenth(cell.start) {
            let tenth = &mut self.last_tenths[k];
            tenth.cells += 1;
            tenth.duration += cell.duration;
            tenth.ledger = tenth.ledger.plus(&cell.ledger);
            count(&mut tenth.turn_ons);
        }
        let mean = cell.ledger.output_area / cell.duration;
        if let Some(target) = self.target
            && (mean - target).abs() > BAND * target
            && cell.start >= self.summary.changed.value
        {
            self.outside = Some(cell.start + cell.duration);
        }
        self.inner.cell(cell);
    }
}

/// Runs a simulation to a time and sums up what it did; `progress` is told the
/// part that is done.
///
/// # Errors
/// As [`Simulation::run_until`].
///
/// ```
/// use slewbook::quantity::unit::{ampere, uH, us, volt};
/// use slewbook::scheme::Scheme;
/// use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
/// use slewbook::timeline::{Initial, Settings, Simulation, run};
///
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let circuit = Circuit::new(
///     &specification, Scheme::FreewheelTransistors, 0.68 * uH, 0.6 * ampere,
/// ).unwrap();
/// let point = OperatingPoint {
///     input_voltage: 36.0 * volt,
///     output_voltage: 6.0 * volt,
///     output_current: 2.0 * ampere,
/// };
/// let settings = Settings::new(&specification.control, &circuit, point).unwrap();
/// let mut simulation = Simulation::new(&circuit, &settings, &Initial::at(point)).unwrap();
/// let summary = run(&mut simulation, 500.0 * us, &mut (), |_| {}).unwrap();
/// let settled = summary.settled.unwrap();
/// assert!((settled.output_voltage - 6.0 * volt).abs() < 0.03 * volt);
/// ```
pub fn run(
    simulation: &mut Simulation,
    until: Time,
    observer: &mut impl Observer,
    mut progress: impl FnMut(f64),
) -> Result<Summary, TimelineError> {
    let start = simulation.time;
    let (before, stored) = (*simulation.ledger(), simulation.stored_energy());
    let target = simulation.target();
    let pairs = simulation.leg.pairs;
    let mut tally = Tally {
        inner: observer,
        target: target.map(|v| v.value),
        pairs,
        input: simulation.leg.input_voltage(),
        until: until.value,
        start,
        summary: Summary {
            duration: until - Time::from_coherent(start),
            pairs,
            cells: 0,
            skipped: 0,
            watchdogs: 0,
            turn_ons: TurnOns::default(),
            turn_on_voltage: Voltage::from_coherent(0.0),
            output: Extremes::default(),
            changed: Time::from_coherent(start),
            held: None,
            inductor: Extremes::default(),
            step: Extremes::default(),
            clamp: Extremes::default(),
            settled: None,
            ledger: Ledger::default(),
            stored: Energy::from_coherent(0.0),
        },
        last_tenths: [Tenth::default(); 2],
        before: None,
        outside: None,
    };
    for part in 1..=PARTS {
        let part = f64::from(part) / f64::from(PARTS);
        let time = start + (until.value - start) * part;
        simulation.run_until(Time::from_coherent(time), &mut tally)?;
        progress(part);
    }
    let Tally {
        mut summary,
        last_tenths,
        outside,
        ..
    } = tally;
    summary.ledger = simulation.ledger().since(&before);
    summary.stored = Energy::from_coherent(simulation.stored_energy() - stored);
    summary.settled = settled(&last_tenths);
    summary.held = target.map(|target| {
        let changed = summary.changed.value;
        let cell = simulation.carriers.cell;
        let from = outside.unwrap_or(changed) - changed;
        let never = outside.is_some_and(|time| time + 2.0 * cell > until.value);
        (target, (!never).then(|| Time::from_coherent(from)))
    });
    Ok(summary)
}

fn settled([before, last]: &[Tenth; 2]) -> Option<Settled> {
    if before.cells < FEWEST || last.cells < FEWEST {
        return None;
    }
    let mean = |tenth: &Tenth| tenth.ledger.output_area / tenth.duration;
    Some(Settled {
        cells: last.cells,
        output_voltage: Voltage::from_coherent(mean(last)),
        drift: Voltage::from_coherent(mean(last) - mean(before)),
        output_current: Current::from_coherent(last.ledger.output_charge / last.duration),
        flying: last.flying.map(|sum| sum / last.flying_time),
        turn_ons: last.turn_ons,
        duration: last.duration,
        ledger: last.ledger,
    })
}

impl Summary {
    /// Energy that came in and is neither out nor lost nor stored, as a part of
    /// what passed: zero but for rounding and the edges' approximation.
    #[must_use]
    pub fn energy_left_over(&self) -> Ratio {
        let l = &self.ledger;
        let left = l.input - l.output - l.losses() - self.stored.value;
        let passed = l
            .input
            .abs()
            .max(l.output.abs())
            .max(self.stored.value.abs());
        if passed > 0.0 {
            (left / passed).into()
        } else {
            0.0.into()
        }
    }
}
