//! A stage that already runs: the steady state with its real output and its loop.

use super::cell::CellDraft;
use super::error::TimelineError;
use super::ledger::Ledger;
use super::regulator::OnTime;
use super::settings::{Settings, on_time};
use super::simulation::Simulation;
use super::steady::{period, steady_state};
use crate::stage::{Circuit, OperatingPoint};

impl Simulation {
    /// A stage in its steady state at a point, from a turn-off of the first pair on: with
    /// its output capacitor, whose mean voltage is the point's, and with the voltage loop
    /// at rest.
    ///
    /// Symbols and units: everything in coherent units.
    ///
    /// # Errors
    /// As [`steady_state`].
    ///
    /// ```
    /// use slewbook::quantity::unit::{ampere, uH, us, volt};
    /// use slewbook::scheme::Scheme;
    /// use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
    /// use slewbook::timeline::{Settings, Simulation, run};
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
    /// let mut simulation = Simulation::steady(&circuit, &settings, point).unwrap();
    /// let summary = run(&mut simulation, 500.0 * us, &mut (), |_| {}).unwrap();
    /// assert!((summary.settled.unwrap().output_voltage - 6.0 * volt).abs() < 1e-3 * volt);
    /// ```
    pub fn steady(
        circuit: &Circuit,
        settings: &Settings,
        point: OperatingPoint,
    ) -> Result<Self, TimelineError> {
        let (mut s, cells) = Self::with_output(circuit, settings, point)?;
        s.on_time = on_time(settings, circuit, point.output_voltage);
        if let OnTime::Regulated(regulator) = &mut s.on_time {
            let step = point.input_voltage.value / s.leg.pairs as f64;
            regulator.settle(cells, point.output_voltage.value, step);
        }
        Ok(s)
    }

    /// The steady state with its output capacitor, whose mean voltage is the point's, at a
    /// fixed on-time; and that on-time in cells.
    pub(super) fn with_output(
        circuit: &Circuit,
        settings: &Settings,
        point: OperatingPoint,
    ) -> Result<(Self, f64), TimelineError> {
        let mut s = steady_state(circuit, point, settings)?.simulation;
        s.values.output = circuit.output_capacitor_resistance.value;
        s.values.output_elastance = 1.0 / circuit.output_capacitance.value;
        s.demand = point.output_current.value;
        s.load = s.demand;
        s.restart();
        let target = point.output_voltage.value;
        let mut trial = s.clone();
        period(&mut trial, &mut ())?;
        s.output += target - trial.ledger.output_area / trial.time;
        s.recharge();
        // The cell under way began with an ideal output: what it has counted is what the
        // one a period later has.
        let mut later = s.clone();
        period(&mut later, &mut ())?;
        s.draft.before = later.draft.before.since(&later.ledger);
        let cells = match s.on_time {
            OnTime::Fixed(cells) => cells,
            OnTime::Regulated(_) => 0.0,
        };
        Ok((s, cells))
    }

    /// Counts time, cells and energies from here on.
    fn restart(&mut self) {
        let passed = std::mem::take(&mut self.time);
        self.queue.shift(-passed);
        self.carriers.shift(-passed);
        let instant = |time: Option<f64>| time.map(|time| time - passed);
        let draft = self.draft;
        self.draft = CellDraft {
            opened: instant(draft.opened),
            arrived: instant(draft.arrived),
            off: instant(draft.off),
            fallen: instant(draft.fallen),
            released: instant(draft.released),
            caught: instant(draft.caught),
            before: Ledger::default(),
            ..draft
        };
        self.draft.record.start -= passed;
        self.ledger = Ledger::default();
        self.cells = 0;
    }
}
