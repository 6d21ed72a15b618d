//! The gate logic: what is done when an event comes.

use super::cell::CellDraft;
use super::charge::Tie;
use super::electrical::{Diode, Happening, Mode};
use super::observe::{Event, Observer};
use super::queue::Action;
use super::regulator::{OnTime, Seen};
use super::rule::{Catch, Firing, Release};
use super::simulation::{Edge, Simulation};

/// Cells without a trip after which a scheme that waits for it fires anyway.
const WATCHDOG: f64 = 10.0;

impl Simulation {
    pub(super) fn queue_clock(&mut self) {
        let edge = self.driver.gate_time(self.carriers.edge());
        self.queue.add(edge, Action::Clock);
        if self.values.clamp_delay > 0.0 && self.rules.clamp == Some(Catch::Transistors) {
            let early = (edge - self.values.clamp_delay).max(self.time);
            self.queue.add(early, Action::ClampSecond(false));
        }
        self.carriers.pass();
    }

    /// The turn-offs of the pairs that stand at the high side, as if the last of them had
    /// fired a cell before the first edge, the one before that two, and so on.
    pub(super) fn queue_standing(&mut self, pairs: usize) {
        let on = match self.on_time {
            OnTime::Fixed(cells) => cells,
            OnTime::Regulated(_) => pairs as f64,
        };
        let first = self.driver.gate_time(self.time) + self.values.dead_time.unwrap_or(0.0);
        for before in 1..=pairs {
            let left = (on - before as f64).max(0.0) * self.carriers.cell;
            let pair = self.leg.pairs - before;
            self.queue.add(first + left, Action::HighOff(pair));
        }
    }

    pub(super) fn queue_watchdog(&mut self) {
        self.queue.cancel(|action| action == Action::Watchdog);
        let late = self.time + WATCHDOG * self.carriers.cell;
        self.queue.add(late, Action::Watchdog);
    }

    /// Whether the dead time ends by itself now: where none is set, a switch
    /// turns on as soon as the node has arrived or comes no nearer.
    pub(super) fn done_waiting(&self, mode: Mode) -> bool {
        match self.edge {
            Some(Edge::Rising(_)) if self.values.dead_time.is_none() => {
                let rising =
                    self.current < 0.0 || (self.current == 0.0 && self.node < self.terminal(0.0));
                mode != Mode::Free || !rising || self.at_level(Diode::High)
            }
            Some(Edge::Falling(_)) if self.values.low_dead_time.is_none() => {
                let falling =
                    self.current > 0.0 || (self.current == 0.0 && self.node > self.terminal(0.0));
                mode != Mode::Free || !falling || self.at_level(Diode::Low)
            }
            _ => false,
        }
    }

    /// The node at a level, the switch that held it there just turned off: the body diode
    /// takes the current where it has no drop; else the node moves that far first.
    fn leave(&mut self, level: Diode) {
        let shares = self.leg.shares(self.sides(Some(level)), 0.0);
        let (from, stored) = (self.ledger, self.stored_energy());
        // A turn-on at this very instant has charged the flying capacitors since.
        self.node = self.leg.level(&shares);
        self.follow(&Tie::Leg(shares));
        let to = &self.ledger;
        let given = to.input - from.input - (to.output - from.output);
        let resistive = to.output_resistance - from.output_resistance;
        let lost = given - resistive - (self.stored_energy() - stored);
        match level {
            Diode::High => self.ledger.turn_on_high += lost,
            Diode::Low => self.ledger.turn_on_low += lost,
        }
        self.diode = (self.drop(Some(level)) == 0.0).then_some(level);
    }

    /// Whether the node stands at a level or beyond.
    fn at_level(&self, level: Diode) -> bool {
        self.gates.open(self.leg.pairs).is_some_and(|pair| {
            let [low, high] = self.beyond(&self.rails(pair));
            match level {
                Diode::Low => low,
                Diode::High => high,
            }
        })
    }

    /// Ends the dead time of the edge under way.
    pub(super) fn finish_edge(&mut self, observer: &mut impl Observer) {
        match self.edge {
            Some(Edge::Rising(pair)) => self.high_on(pair, observer),
            Some(Edge::Falling(pair)) => self.low_on(pair, observer),
            None => {}
        }
    }

    /// Does what is due.
    pub(super) fn act(&mut self, action: Action, observer: &mut impl Observer) {
        match action {
            Action::Clock => self.clock(observer),
            Action::HighOn(pair) => {
                if self.edge == Some(Edge::Rising(pair)) {
                    self.high_on(pair, observer);
                }
            }
            Action::HighOff(pair) => self.high_off(pair, observer),
            Action::LowOn(pair) => {
                if self.edge == Some(Edge::Falling(pair)) {
                    self.low_on(pair, observer);
                }
            }
            Action::Released => self.release(observer),
            Action::Limited => self.limit(observer),
            Action::ClampSecond(on) => self.clamp_second(on, observer),
            Action::FireNext => self.fire_or_wait(observer),
            Action::Watchdog => {
                self.show(Event::Watchdog, observer);
                self.fire_or_wait(observer);
            }
            Action::Load(current) => {
                self.demand = current;
                self.show(Event::LoadStep, observer);
            }
            Action::Input(voltage) => {
                // Flying capacitors above it discharge through body diodes at once.
                let pairs = self.leg.pairs;
                self.jump(|s| {
                    for v in &mut s.leg.voltage[..=pairs] {
                        *v = v.min(voltage);
                    }
                    s.leg.voltage[pairs] = voltage;
                });
                self.show(Event::InputStep, observer);
            }
            Action::Disturb(capacitor, change) => {
                // No farther than its neighbours: body diodes would conduct.
                let voltage = &self.leg.voltage;
                let (below, above) = (voltage[capacitor - 1], voltage[capacitor + 1]);
                let changed = (voltage[capacitor] + change).min(above).max(below);
                self.jump(|s| s.leg.voltage[capacitor] = changed);
                self.show(Event::Disturbed, observer);
            }
        }
    }

    /// Answers what the circuit did.
    pub(super) fn answer(&mut self, happening: Happening, observer: &mut impl Observer) {
        match happening {
            Happening::Nothing => {
                if self.comparator.tripped {
                    self.comparator.sample(self.current);
                }
                if let Some(peak) = self.peak.as_mut().filter(|peak| peak.tripped) {
                    peak.sample(-self.current);
                }
            }
            Happening::Threshold => self.look(observer),
            Happening::PeakLimit => self.look_at_peak(observer),
            Happening::CurrentZero | Happening::Turned => {
                self.show(Event::CurrentZero, observer);
            }
            Happening::Joined => self.show(Event::CapacitorsJoined, observer),
            Happening::NodeHigh => {
                if let Some(Edge::Rising(_)) = self.edge
                    && self.draft.arrived.is_none()
                {
                    self.draft.arrived = Some(self.time);
                    self.draft.record.residual_current = Some(-self.current);
                    let from = self.draft.opened;
                    self.draft.record.rise_time = from.map(|t| self.time - t);
                }
                self.show(Event::NodeHigh, observer);
            }
            Happening::NodeLow => {
                if let Some(Edge::Falling(_)) = self.edge
                    && self.draft.fallen.is_none()
                {
                    self.fallen();
                    let from = self.draft.off;
                    self.draft.record.fall_time = from.map(|t| self.time - t);
                }
                self.show(Event::NodeLow, observer);
            }
            Happening::Caught => self.catch(observer),
        }
    }

    fn fallen(&mut self) {
        self.draft.fallen = Some(self.time);
        self.draft.record.current_after_fall = Some(self.current);
    }

    /// The comparator looks at the current; one that has tripped asks for the release.
    pub(super) fn look(&mut self, observer: &mut impl Observer) {
        self.comparator.sample(self.current);
        if self.comparator.tripped {
            self.show(Event::Tripped, observer);
            let decided = self.time + self.comparator.delay;
            let delay = match self.rules.release {
                Release::Trip => self.driver.delay,
                Release::ZeroCurrent | Release::Clock => 0.0,
            };
            self.queue.add(decided + delay, Action::Released);
        }
    }

    /// The comparator of the peak limit looks at the current.
    fn look_at_peak(&mut self, observer: &mut impl Observer) {
        if let Some(peak) = &mut self.peak
            && peak.sample(-self.current)
        {
            let decided = self.time + peak.delay;
            self.queue
                .add(self.driver.gate_time(decided), Action::Limited);
            self.show(Event::PeakLimit, observer);
        }
    }

    /// Its decision arrives: the high side that would be turned off first goes off now.
    fn limit(&mut self, observer: &mut impl Observer) {
        let high = self.gates.high;
        let first = self.queue.first_of(|action| match action {
            Action::HighOff(pair) if high[pair] => Some(pair),
            _ => None,
        });
        if let Some(pair) = first {
            self.queue.cancel(|action| action == Action::HighOff(pair));
            self.high_off(pair, observer);
        } else if self.queue.cancel(|action| action == Action::FireNext) {
            self.queue_high_off(0.0);
        }
        // It may have to look again once that pair's low side is on.
        if let Some(peak) = &mut self.peak {
            peak.tripped = false;
        }
    }

    /// The comparator's decision arrives: the low side of the next pair is
    /// released, and the clamp made ready to catch the node.
    fn release(&mut self, observer: &mut impl Observer) {
        let next = self.carriers.next;
        if !self.armed || self.edge.is_some() || !self.gates.low[next] {
            return;
        }
        if self.gates.open(self.leg.pairs).is_some() {
            return;
        }
        self.armed = false;
        self.gates.low[next] = false;
        self.leave(Diode::Low);
        self.draft.released = Some(self.time);
        self.draft.record.release_current = Some(-self.current);
        let from = self.draft.fallen;
        self.draft.record.release_time = from.map(|t| self.time - t);
        self.gates.clamp_early = self.rules.clamp.is_some();
        self.show(Event::LowReleased, observer);
        if self.rules.firing == Firing::Release {
            self.fire_or_wait(observer);
        }
    }

    fn catch(&mut self, observer: &mut impl Observer) {
        self.caught = true;
        self.draft.caught = Some(self.time);
        self.draft.record.clamp_on_current = Some(-self.current);
        let from = self.draft.released;
        self.draft.record.partial_rise_time = from.map(|t| self.time - t);
        self.show(Event::Caught, observer);
        if self.rules.clamp == Some(Catch::Transistors) {
            let on = self.time + self.values.clamp_delay;
            self.queue.add(on, Action::ClampSecond(true));
        }
    }

    fn clamp_second(&mut self, on: bool, observer: &mut impl Observer) {
        if on && !self.caught || on == self.gates.clamp_second {
            return;
        }
        self.gates.clamp_second = on;
        let event = if on {
            Event::ClampSecondOn
        } else {
            Event::ClampSecondOff
        };
        self.show(event, observer);
    }

    /// A carrier's edge.
    fn clock(&mut self, observer: &mut impl Observer) {
        self.end_cell(observer);
        self.queue_clock();
        let on = self.command();
        let next = self.carriers.next;
        let highs = self.gates.high_count() as f64;
        let in_cell = (on - highs) * self.carriers.cell;
        if self.gates.high[next] {
            // Its pulse is longer than a period: it goes on.
            let period = self.carriers.cell * self.leg.pairs as f64;
            self.queue
                .delay(period, |action| action == Action::HighOff(next));
            self.carriers.advance();
            self.show(Event::Clock, observer);
        } else if self.peak.is_some_and(|p| -self.current <= p.threshold) {
            self.skip(false, observer);
        } else if on <= 0.0 || in_cell < self.values.minimum_on_time {
            self.skip(on >= highs, observer);
        } else {
            self.show(Event::Clock, observer);
            self.fire_or_wait(observer);
        }
    }

    /// The common on-time in cells.
    fn command(&mut self) -> f64 {
        let seen = Seen {
            voltage: self.terminal(self.to_output()),
            area: self.ledger.output_area,
        };
        let step = self.leg.input_voltage() / self.leg.pairs as f64;
        self.on_time.sample(self.time, seen, step)
    }

    /// A cell without a pulse: the carriers wait, and the clamp with them.
    fn skip(&mut self, put_off: bool, observer: &mut impl Observer) {
        self.draft.record.skipped = true;
        if put_off {
            let cell = self.carriers.cell;
            self.queue
                .delay(cell, |action| matches!(action, Action::HighOff(_)));
        }
        if self.caught && self.rules.clamp == Some(Catch::Transistors) {
            self.gates.clamp_second = true;
        }
        self.show(Event::Skipped, observer);
    }

    fn fire_or_wait(&mut self, observer: &mut impl Observer) {
        if self.edge.is_some() {
            if !self.waiting.contains(&Action::Clock) {
                self.waiting.push(Action::Clock);
            }
        } else {
            self.fire(observer);
        }
    }

    /// Opens the clamp or releases the low side, and starts the dead time.
    fn fire(&mut self, observer: &mut impl Observer) {
        let pair = self.carriers.next;
        if self.gates.high[pair] {
            return;
        }
        if self.rules.firing == Firing::Release {
            self.end_cell(observer);
            self.queue_watchdog();
        }
        self.draft.opened = Some(self.time);
        self.draft.record.pair = Some(pair + 1);
        self.draft.record.freewheel_current = Some(-self.current);
        self.gates.clamp_early = false;
        self.gates.clamp_second = false;
        self.caught = false;
        if self.gates.low[pair] {
            self.gates.low[pair] = false;
            self.leave(Diode::Low);
            self.show(Event::LowReleased, observer);
        }
        self.armed = false;
        self.edge = Some(Edge::Rising(pair));
        self.carriers.advance();
        let dead = self.values.dead_time.unwrap_or(0.0);
        match self.rules.firing {
            Firing::Clock => {
                if self.values.dead_time.is_some() {
                    self.queue.add(self.time + dead, Action::HighOn(pair));
                }
                let on = self.last_command() * self.carriers.cell;
                self.queue.add(self.time + dead + on, Action::HighOff(pair));
            }
            Firing::Release => {
                if self.values.dead_time.is_some() {
                    self.queue.add(self.time + dead, Action::HighOn(pair));
                }
            }
        }
    }

    /// The on-time in cells that was last commanded.
    fn last_command(&mut self) -> f64 {
        let on = self.command();
        on.max(self.gates.high_count() as f64)
    }

    fn high_on(&mut self, pair: usize, observer: &mut impl Observer) {
        self.edge = None;
        let found = self.complete(pair, true);
        self.draft.record.turn_on_voltage = Some(found.left);
        self.draft.record.switching = Some(found.switching);
        if self.draft.arrived.is_none() {
            self.draft.arrived = Some(self.time);
            self.draft.record.residual_current = Some(-self.current);
        }
        self.show(Event::HighOn, observer);
        self.look_at_peak(observer);
        if self.rules.firing == Firing::Release {
            self.after_firing();
        }
        self.go_on(observer);
    }

    /// Where releases fire. As long as fewer pairs are on than the reference's level
    /// needs, the output voltage being behind it, the next pair fires a cell later; then
    /// the pairs that are on the longest turn off.
    fn after_firing(&mut self) {
        let on = self.command();
        let wanted = self.whole_steps();
        let cell = self.carriers.cell;
        if self.gates.high_count() <= wanted {
            self.queue.add(self.time + cell, Action::FireNext);
        } else {
            self.queue_high_off((on - wanted as f64).max(0.0) * cell);
        }
    }

    /// After a time so many pairs turn off that those of the whole steps below the output
    /// voltage stay on, which are the level to come back to.
    fn queue_high_off(&mut self, after: f64) {
        let pairs = self.leg.pairs;
        let base = self.whole_steps().min(self.steps_below(self.output));
        let highs = self.gates.high_count();
        for k in 0..highs.saturating_sub(base) {
            let pair = (self.carriers.next + pairs + k - highs) % pairs;
            self.queue.add(self.time + after, Action::HighOff(pair));
        }
    }

    /// The number of whole steps of the input below the voltage to hold.
    fn whole_steps(&self) -> usize {
        self.steps_below(match self.on_time {
            OnTime::Fixed(_) => self.output,
            OnTime::Regulated(regulator) => regulator.reference(self.time),
        })
    }

    /// The number of whole steps of the input below a voltage, one less than the pairs at
    /// most.
    fn steps_below(&self, voltage: f64) -> usize {
        let pairs = self.leg.pairs;
        let step = self.leg.input_voltage() / pairs as f64;
        (1..pairs)
            .rev()
            .find(|k| *k as f64 * step <= voltage)
            .unwrap_or(0)
    }

    fn high_off(&mut self, pair: usize, observer: &mut impl Observer) {
        if !self.gates.high[pair] {
            // Still in its dead time: it turns off once it has turned on.
            if self.edge == Some(Edge::Rising(pair)) {
                self.waiting.push(Action::HighOff(pair));
            }
            return;
        }
        if self.gates.open(self.leg.pairs).is_some() {
            self.waiting.push(Action::HighOff(pair));
            return;
        }
        self.gates.high[pair] = false;
        self.leave(Diode::High);
        self.edge = Some(Edge::Falling(pair));
        self.draft.off = Some(self.time);
        self.draft.record.peak_current = Some(self.current);
        let from = self.draft.arrived;
        self.draft.record.on_time = from.map(|t| self.time - t);
        if let Some(dead) = self.values.low_dead_time {
            self.queue.add(self.time + dead, Action::LowOn(pair));
        }
        self.show(Event::HighOff, observer);
    }

    fn low_on(&mut self, pair: usize, observer: &mut impl Observer) {
        self.edge = None;
        let found = self.complete(pair, false);
        self.draft.record.low_turn_on_voltage = Some(found.left);
        if self.draft.fallen.is_none() {
            self.fallen();
        }
        self.armed = self.rules.release != Release::Clock;
        self.show(Event::LowOn, observer);
        if self.armed {
            self.look(observer);
        }
        if self.gates.high_count() > 0 {
            self.look_at_peak(observer);
        }
        self.go_on(observer);
    }

    /// Takes up the commands that had to wait.
    fn go_on(&mut self, observer: &mut impl Observer) {
        for action in std::mem::take(&mut self.waiting) {
            match action {
                Action::HighOff(pair) => self.high_off(pair, observer),
                _ => self.fire_or_wait(observer),
            }
        }
    }

    /// Closes the cell's record and opens the next.
    fn end_cell(&mut self, observer: &mut impl Observer) {
        self.new_cell();
        let mut record = self.draft.record;
        record.number = self.cells;
        record.duration = self.time - record.start;
        record.ledger = self.ledger.since(&self.draft.before);
        if let Some(caught) = self.draft.caught {
            record.hold_time = Some(self.time - caught);
        }
        if record.duration > 0.0 {
            observer.cell(&record);
            self.cells += 1;
        }
        self.draft = CellDraft {
            before: self.ledger,
            ..CellDraft::default()
        };
        self.draft.record.start = self.time;
    }

    /// A change from outside that charges capacitances at once.
    fn jump(&mut self, change: impl FnOnce(&mut Self)) {
        let before = self.stored_energy();
        let from = self.ledger;
        change(self);
        match self.mode() {
            Mode::Held(diode) => self.land(diode),
            Mode::Clamped | Mode::Free | Mode::Rest => self.recharge(),
        }
        let given = self.ledger.input - from.input - (self.ledger.output - from.output);
        self.ledger.steps += given - (self.stored_energy() - before);
    }
}
