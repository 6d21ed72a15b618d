//! The state of a simulation, and its way from event to event.

use super::carrier::Carriers;
use super::cell::CellDraft;
use super::charge::Stored;
use super::comparator::Comparator;
use super::driver::Driver;
use super::electrical::{Diode, Happening, Mode};
use super::error::TimelineError;
use super::gate::Gates;
use super::ledger::Ledger;
use super::leg::{Leg, PAIRS};
use super::node::NodeCapacitance;
use super::observe::{Event, Observer, Row};
use super::queue::{Action, Queue};
use super::regulator::OnTime;
use super::rule::{Firing, Release, Rules};
use super::settings::{Initial, Settings, on_time};
use super::swing::Scratch;
use crate::quantity::{Current, Dimensioned as _, Ratio, Time, Voltage};
use crate::stage::Circuit;

/// Events after which a cell that does not end is given up.
const MOST_EVENTS: u64 = 20_000;
/// A current or voltage beyond this is no converter's.
const BEYOND: f64 = 1e9;

/// Part of the first input voltage below which a load draws less than its
/// current, in proportion: no load draws its current from nothing.
const KNEE: f64 = 0.02;

/// Resistances and drops as plain numbers.
#[derive(Clone, Copy, Debug)]
pub(super) struct Values {
    pub inductance: f64,
    pub winding: f64,
    pub high: f64,
    pub low: f64,
    pub high_drop: f64,
    pub low_drop: f64,
    pub flying: f64,
    pub output: f64,
    /// Inverse of the output capacitance; zero for an ideal source.
    pub output_elastance: f64,
    pub clamp: f64,
    pub clamp_drop: f64,
    pub clamp_diode_drop: f64,
    pub dead_time: Option<f64>,
    pub low_dead_time: Option<f64>,
    pub clamp_delay: f64,
    pub minimum_on_time: f64,
}

/// The edge in whose dead time a pair is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Edge {
    Rising(usize),
    Falling(usize),
}

/// A running simulation. A copy goes on on its own.
#[derive(Clone, Debug)]
pub struct Simulation {
    pub(super) values: Values,
    pub(super) rules: Rules,
    pub(super) capacitance: NodeCapacitance,
    // Electrical state.
    pub(super) time: f64,
    pub(super) current: f64,
    pub(super) node: f64,
    pub(super) leg: Leg,
    pub(super) output: f64,
    /// The load current asked for, and what of it is drawn now.
    pub(super) demand: f64,
    pub(super) load: f64,
    /// Output voltage below which the load draws less, in proportion.
    knee: f64,
    pub(super) stored: Stored,
    // Gates and what the logic waits for.
    pub(super) gates: Gates,
    pub(super) caught: bool,
    /// The body diode that has taken the current, the node having arrived there.
    pub(super) diode: Option<Diode>,
    pub(super) edge: Option<Edge>,
    /// Whether the comparator may release the next low side.
    pub(super) armed: bool,
    pub(super) waiting: Vec<Action>,
    pub(super) queue: Queue,
    // Control.
    pub(super) carriers: Carriers,
    pub(super) comparator: Comparator,
    /// The comparator of the peak limit, where there is one.
    pub(super) peak: Option<Comparator>,
    pub(super) driver: Driver,
    pub(super) on_time: OnTime,
    // Records.
    pub(super) ledger: Ledger,
    pub(super) draft: CellDraft,
    pub(super) cells: u64,
    events: u64,
    pub(super) scratch: Scratch,
}

impl Simulation {
    /// A stage at rest: the node at the level below the output voltage where the flying
    /// capacitors are charged, with every low side on where they are not.
    ///
    /// # Errors
    /// Settings or a starting state that cannot be.
    pub fn new(
        circuit: &Circuit,
        settings: &Settings,
        initial: &Initial,
    ) -> Result<Self, TimelineError> {
        initial.check(circuit)?;
        let rules = Rules::of(circuit.scheme);
        let pairs = usize::from(circuit.pairs);
        let cell = circuit.cell_time().value;
        let mut leg = Leg::new(circuit, initial.input_voltage.value);
        if !initial.flying_charged {
            leg.voltage[1..pairs].fill(0.0);
        }
        let driver = Driver {
            delay: settings.driver_delay.value,
        };
        let peak = settings.peak_limit.map(|limit| Comparator {
            threshold: -limit.value,
            hysteresis: settings.hysteresis.value,
            delay: (circuit.trip_delay.value - driver.delay).max(0.0),
            tripped: false,
        });
        let threshold = circuit.trip_threshold - circuit.trip_offset;
        let (threshold, delay) = match rules.release {
            Release::Trip => (
                -threshold.value,
                (circuit.trip_delay.value - driver.delay).max(0.0),
            ),
            Release::ZeroCurrent | Release::Clock => (0.0, 0.0),
        };
        let on_time = on_time(settings, circuit, initial.output_voltage);
        let mut gates = Gates::default();
        gates.low[..pairs].fill(true);
        let step = initial.input_voltage.value / pairs as f64;
        let below = f64::from(circuit.band) * step <= initial.output_voltage.value;
        let standing = if initial.flying_charged && below {
            usize::from(circuit.band)
        } else {
            0
        };
        // The pairs that would have fired last.
        for pair in pairs - standing..pairs {
            gates.high[pair] = true;
            gates.low[pair] = false;
        }
        let freewheel = circuit.freewheel;
        let mut simulation = Self {
            values: Values {
                inductance: circuit.inductance.value,
                winding: circuit.inductor_resistance.value,
                high: circuit.high.on_resistance.value,
                low: circuit.low.on_resistance.value,
                high_drop: circuit.high.diode_drop.value,
                low_drop: circuit.low.diode_drop.value,
                flying: circuit.flying_capacitor_resistance.value,
                output: if initial.ideal_output {
                    0.0
                } else {
                    circuit.output_capacitor_resistance.value
                },
                output_elastance: if initial.ideal_output {
                    0.0
                } else {
                    1.0 / circuit.output_capacitance.value
                },
                clamp: freewheel.map_or(0.0, |f| f.resistance.value),
                clamp_drop: freewheel.map_or(0.0, |f| f.drop.value),
                clamp_diode_drop: settings.clamp_diode_drop.value,
                dead_time: circuit.dead_time.map(|t| t.value),
                low_dead_time: settings
                    .low_dead_time
                    .or(circuit.dead_time_of_fall())
                    .map(|t| t.value),
                clamp_delay: settings.clamp_delay.value,
                minimum_on_time: circuit.minimum_on_time.value,
            },
            rules,
            capacitance: NodeCapacitance::new(circuit),
            time: 0.0,
            current: initial.inductor_current.value,
            node: 0.0,
            leg,
            output: initial.output_voltage.value,
            demand: initial.load.value,
            load: initial.load.value,
            knee: KNEE * initial.input_voltage.value,
            stored: Stored::default(),
            gates,
            caught: false,
            diode: None,
            edge: None,
            armed: rules.release != Release::Clock,
            waiting: vec![],
            queue: Queue::default(),
            carriers: Carriers::new(cell, pairs),
            comparator: Comparator {
                threshold,
                hysteresis: settings.hysteresis.value,
                delay,
                tripped: false,
            },
            peak,
            driver,
            on_time,
            ledger: Ledger::default(),
            draft: CellDraft::default(),
            cells: 0,
            events: 0,
            scratch: Scratch::new(),
        };
        let shares = simulation.leg.shares(simulation.gates.high, 0.0);
        simulation.node = simulation.leg.level(&shares);
        simulation.recharge();
        match rules.firing {
            Firing::Clock => {
                simulation.queue_clock();
                simulation.queue_standing(standing);
            }
            Firing::Release => simulation.queue_watchdog(),
        }
        // A release at zero current has nothing to wait for.
        if simulation.armed {
            simulation.look(&mut ());
        }
        Ok(simulation)
    }

    /// A load current from a time on.
    pub fn load_step(&mut self, time: Time, current: Current) {
        self.queue.add(time.value, Action::Load(current.value));
    }

    /// An input voltage from a time on.
    pub fn input_step(&mut self, time: Time, voltage: Voltage) {
        self.queue.add(time.value, Action::Input(voltage.value));
    }

    /// A change of a flying capacitor's voltage at a time; capacitors count from 1
    /// at the node's side. It goes no farther than its neighbours' voltages, where
    /// body diodes would conduct.
    ///
    /// # Errors
    /// A capacitor that the stage does not have.
    pub fn disturb(
        &mut self,
        time: Time,
        capacitor: usize,
        change: Voltage,
    ) -> Result<(), TimelineError> {
        if capacitor == 0 || capacitor >= self.leg.pairs {
            return Err(TimelineError::Setting(format!(
                "there is no flying capacitor {capacitor}; the stage has {}",
                self.leg.pairs - 1
            )));
        }
        self.queue
            .add(time.value, Action::Disturb(capacitor, change.value));
        Ok(())
    }

    /// The time.
    #[must_use]
    pub fn time(&self) -> Time {
        Time::from_coherent(self.time)
    }

    /// The inductor current.
    #[must_use]
    pub fn inductor_current(&self) -> Current {
        Current::from_coherent(self.current)
    }

    /// The output voltage at the load.
    #[must_use]
    pub fn output_voltage(&self) -> Voltage {
        Voltage::from_coherent(self.terminal(self.to_output()))
    }

    /// The voltage of a flying capacitor, counted from 1 at the node's side.
    #[must_use]
    pub fn flying_voltage(&self, capacitor: usize) -> Option<Voltage> {
        (1..self.leg.pairs)
            .contains(&capacitor)
            .then(|| Voltage::from_coherent(self.leg.voltage[capacitor]))
    }

    /// How many flying capacitors there are.
    #[must_use]
    pub fn flying_capacitors(&self) -> usize {
        self.leg.pairs - 1
    }

    /// The gates.
    #[must_use]
    pub fn gates(&self) -> &Gates {
        &self.gates
    }

    /// Where charge and energy went since the start.
    #[must_use]
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// The duty of every pair, where it is fixed.
    #[must_use]
    pub fn duty(&self) -> Option<Ratio> {
        match self.on_time {
            OnTime::Fixed(cells) => Some((cells / self.leg.pairs as f64).into()),
            OnTime::Regulated(_) => None,
        }
    }

    /// The output voltage to hold, where the on-time is regulated.
    #[must_use]
    pub fn target(&self) -> Option<Voltage> {
        match self.on_time {
            OnTime::Fixed(_) => None,
            OnTime::Regulated(regulator) => Some(Voltage::from_coherent(regulator.target)),
        }
    }

    /// Cells that are over.
    #[must_use]
    pub fn cells(&self) -> u64 {
        self.cells
    }

    /// Runs up to a time.
    ///
    /// # Errors
    /// Gates that short a capacitor, more events than a cell can have, states
    /// beyond all bounds.
    pub fn run_until(
        &mut self,
        time: Time,
        observer: &mut impl Observer,
    ) -> Result<(), TimelineError> {
        while self.time < time.value {
            self.step(time.value, observer)?;
        }
        Ok(())
    }

    /// Runs until so many more cells are over.
    ///
    /// # Errors
    /// As [`Self::run_until`].
    pub fn run_cells(
        &mut self,
        cells: u64,
        observer: &mut impl Observer,
    ) -> Result<(), TimelineError> {
        let last = self.cells + cells;
        while self.cells < last {
            self.step(f64::INFINITY, observer)?;
        }
        Ok(())
    }

    /// Goes on to the next event, or to a time before it.
    pub(super) fn step(
        &mut self,
        until: f64,
        observer: &mut impl Observer,
    ) -> Result<(), TimelineError> {
        self.events += 1;
        if self.events > MOST_EVENTS {
            return Err(TimelineError::TooManyEvents {
                time: self.time,
                events: self.events,
            });
        }
        self.load = self.demand * (self.output / self.knee).clamp(0.0, 1.0);
        let due = self.queue.next().map_or(until, |(time, _)| time);
        let limit = due.min(until) - self.time;
        if limit > 0.0 {
            let mode = self.mode();
            if self.done_waiting(mode) {
                self.finish_edge(observer);
            } else {
                let happening = match mode {
                    Mode::Held(diode) => self.hold(diode, limit, observer),
                    Mode::Clamped => self.freewheel(limit, observer),
                    Mode::Free => self.swing(limit, observer),
                    Mode::Rest => self.rest(limit),
                };
                if happening == Happening::Nothing && self.time + 1e-15 * due >= due.min(until) {
                    self.time = due.min(until);
                }
                self.answer(happening, observer);
            }
        } else if due <= until
            && let Some(action) = self.queue.pop()
        {
            self.act(action, observer);
        }
        self.check()
    }

    /// A new cell has begun: its events are counted anew.
    pub(super) fn new_cell(&mut self) {
        self.events = 0;
    }

    fn check(&self) -> Result<(), TimelineError> {
        if let Some(short) = self.gates.short(self.leg.pairs, self.caught) {
            return Err(TimelineError::Short {
                time: self.time,
                short,
            });
        }
        let states = [self.current, self.node, self.output, self.leg.voltage[1]];
        if states.iter().all(|s| s.abs() < BEYOND) {
            Ok(())
        } else {
            Err(TimelineError::NotFinite { time: self.time })
        }
    }

    /// The row of this instant.
    #[must_use]
    pub fn row(&self, event: Option<Event>) -> Row {
        let mut flying = [0.0; PAIRS];
        flying[..self.leg.pairs - 1].copy_from_slice(&self.leg.voltage[1..self.leg.pairs]);
        Row {
            time: self.time,
            current: self.current,
            node: self.node,
            output: self.terminal(self.to_output()),
            input: self.leg.input_voltage(),
            load: self.load,
            clamp: if self.caught { -self.current } else { 0.0 },
            flying,
            gates: self.gates,
            event,
        }
    }

    pub(super) fn show(&self, event: Event, observer: &mut impl Observer) {
        if observer.spacing().is_some() {
            observer.row(&self.row(Some(event)));
        }
    }
}
