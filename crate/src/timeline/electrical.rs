//! What the circuit does between two events.

use super::charge::Tie;
use super::leg::{Leg, Shares};
use super::node::Rails;
use super::observe::{Observer, Row};
use super::ramp::{Law, Ramp};
use super::simulation::Simulation;

/// A body diode of the pair whose transistors are both off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Diode {
    High,
    Low,
}

/// What determines the node.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mode {
    /// The leg: every pair conducts, one of them perhaps through a body diode.
    Held(Option<Diode>),
    /// The clamp.
    Clamped,
    /// The inductor's current and the node's capacitances.
    Free,
    /// Nothing: no current flows, and nothing drives one.
    Rest,
}

/// What the circuit did at the end of an interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Happening {
    Nothing,
    /// The comparator's threshold.
    Threshold,
    /// The limit of the peak current.
    PeakLimit,
    /// The current of a diode or of the clamp reached zero.
    CurrentZero,
    /// A flying capacitor met its neighbour.
    Joined,
    /// The node arrived at its upper level.
    NodeHigh,
    /// The node arrived at its lower level.
    NodeLow,
    /// The node arrived at the output voltage, the clamp being ready.
    Caught,
    /// The node turned back.
    Turned,
}

/// Part of the input voltage within which the node is at a level.
const AT_LEVEL: f64 = 1e-12;
/// Part of the input voltage by which a flying capacitor may change before the
/// capacitances of the blocking transistors beside it are taken anew.
const STEP_CHANGE: f64 = 0.02;

impl Simulation {
    /// Current that reaches the output.
    pub(super) fn to_output(&self) -> f64 {
        if self.caught { 0.0 } else { self.current }
    }

    /// Output voltage with a current into the output.
    pub(super) fn terminal(&self, current: f64) -> f64 {
        self.output + self.values.output * (current - self.load)
    }

    /// The levels between which a pair moves the node.
    pub(super) fn rails(&self, pair: usize) -> Rails {
        self.rails_of(&self.leg, pair, self.terminal(self.to_output()))
    }

    /// The same with other voltages of flying capacitors and output.
    pub(super) fn rails_of(&self, leg: &Leg, pair: usize, output: f64) -> Rails {
        let mut high = self.gates.high;
        high[pair] = false;
        let low = leg.level(&leg.shares(high, 0.0));
        Rails {
            low,
            high: low + leg.step(pair),
            output,
        }
    }

    pub(super) fn mode(&mut self) -> Mode {
        let Some(pair) = self.gates.open(self.leg.pairs) else {
            return Mode::Held(None);
        };
        if self.caught {
            return if self.current == 0.0 {
                Mode::Rest
            } else {
                Mode::Clamped
            };
        }
        let rails = self.rails(pair);
        let near = AT_LEVEL * self.leg.input_voltage();
        let away = self.node - rails.output;
        let [low_drop, high_drop] = self.drops();
        if self.current > 0.0 || (self.current == 0.0 && away > near) {
            let arrived = self.diode == Some(Diode::Low) && self.current > 0.0;
            if self.node > rails.low - low_drop + near && !arrived {
                Mode::Free
            } else if self.current > 0.0 || rails.low - self.values.low_drop > rails.output {
                Mode::Held(Some(Diode::Low))
            } else {
                Mode::Rest
            }
        } else if self.current < 0.0 || away < -near {
            let arrived = self.diode == Some(Diode::High) && self.current < 0.0;
            if self.node < rails.high + high_drop - near && !arrived {
                Mode::Free
            } else if self.current < 0.0 || rails.high + self.values.high_drop < rails.output {
                Mode::Held(Some(Diode::High))
            } else {
                Mode::Rest
            }
        } else {
            Mode::Rest
        }
    }

    /// The pairs' sides with a body diode taken for its channel.
    pub(super) fn sides(&self, diode: Option<Diode>) -> [bool; super::leg::PAIRS] {
        let mut high = self.gates.high;
        if let (Some(pair), Some(Diode::High)) = (self.gates.open(self.leg.pairs), diode) {
            high[pair] = true;
        }
        high
    }

    /// Whether the node stands at or beyond its lower and its upper level.
    pub(super) fn beyond(&self, rails: &Rails) -> [bool; 2] {
        let near = AT_LEVEL * self.leg.input_voltage();
        [
            self.node <= rails.low + near,
            self.node >= rails.high - near,
        ]
    }

    /// Drops of the low and the high side's body diode.
    pub(super) fn drops(&self) -> [f64; 2] {
        [self.values.low_drop, self.values.high_drop]
    }

    /// How far a body diode holds the node above the leg's level.
    pub(super) fn drop(&self, diode: Option<Diode>) -> f64 {
        match diode {
            None => 0.0,
            Some(Diode::High) => self.values.high_drop,
            Some(Diode::Low) => -self.values.low_drop,
        }
    }

    /// The leg's level, with a body diode taken for its channel.
    pub(super) fn level_of(&self, diode: Option<Diode>) -> f64 {
        self.leg.level(&self.leg.shares(self.sides(diode), 0.0))
    }

    /// The node's voltage where the leg holds it.
    pub(super) fn held_level(&self, diode: Option<Diode>) -> f64 {
        self.level_of(diode) + self.drop(diode)
    }

    /// An interval in which the leg holds the node.
    pub(super) fn hold(
        &mut self,
        diode: Option<Diode>,
        limit: f64,
        observer: &mut impl Observer,
    ) -> Happening {
        let v = self.values;
        let sides = self.sides(diode);
        let drop = self.drop(diode);
        let direction = if self.current == 0.0 {
            let plain = self.leg.shares(sides, 0.0);
            self.leg.level(&plain) + drop - self.output
        } else {
            self.current
        };
        let shares = self.leg.shares(sides, direction);
        let (highs, lows) = self.channels(diode);
        let flying = v.flying * self.leg.capacitors_in_path(&shares);
        let path = highs * v.high + lows * v.low + v.winding + flying;
        let mut law = Law {
            inductance: v.inductance,
            resistance: path + v.output,
            elastance: self.hold_elastance(&self.leg, &shares),
            force: drop + v.output * self.load,
            slope: self.load * v.output_elastance,
        };
        let mut span = law.span().min(limit);
        let driving = self.leg.level(&shares) - self.output;
        let mut ramp = law.ramp(self.current, driving, span);
        let most = STEP_CHANGE * self.leg.input_voltage();
        while (ramp.charge(1.0) * self.leg.elastance).abs() > most {
            span /= 2.0;
            ramp = law.ramp(self.current, driving, span);
        }
        let (mut part, mut happening) = self.first_of_hold(&ramp, &shares, diode);
        let charge = ramp.charge(part);
        if (charge * self.leg.elastance).abs() > 0.8 * most {
            // Once more with the capacitances half way.
            let mut middle = self.leg;
            middle.draw(&shares, charge / 2.0);
            law.elastance = self.hold_elastance(&middle, &shares);
            ramp = law.ramp(self.current, driving, span);
            (part, happening) = self.first_of_hold(&ramp, &shares, diode);
        }
        self.show_hold(&ramp, part, &shares, drop, observer);

        let (charge, square) = (ramp.charge(part), ramp.square(part));
        let duration = part * span;
        let supplied = self.leg.draw(&shares, charge);
        let l = &mut self.ledger;
        l.input += supplied * self.leg.input_voltage();
        l.high_channels += highs * v.high * square;
        l.low_channels += lows * v.low * square;
        l.winding += v.winding * square;
        l.flying_resistance += flying * square;
        l.diodes += drop.abs() * charge.abs();
        let load = self.load;
        l.output_resistance += v.output * (square - 2.0 * load * charge + load * load * duration);
        self.feed_output(charge, ramp.charge_area(part), duration);
        self.current = match happening {
            Happening::CurrentZero => 0.0,
            Happening::Threshold => self.comparator.threshold,
            Happening::PeakLimit => self.peak.map_or(ramp.current(part), |p| -p.threshold),
            _ => ramp.current(part),
        };
        self.time += duration;
        self.node = self.held_level(diode);
        // What the node's capacitances give goes through the diode too.
        self.ledger.diodes += drop * self.follow(&Tie::Leg(shares));
        if happening == Happening::Nothing
            && span < limit
            && observer.spacing().is_some_and(f64::is_finite)
        {
            // It goes on: no event shows where it was taken anew.
            observer.row(&self.row(None));
        }
        happening
    }

    /// Elastance in the current's way, less what the capacitances of the blocking
    /// transistors and the node give: they stand beside the flying capacitors, and
    /// without them the energy would be wrong by their part of the ripple's.
    fn hold_elastance(&self, leg: &Leg, shares: &Shares) -> f64 {
        let path = leg.path_elastance(shares);
        let whole = path + self.values.output_elastance;
        if leg.elastance == 0.0 {
            return whole;
        }
        let devices: f64 = (0..leg.pairs)
            .map(|pair| {
                let device = if self.gates.high[pair] {
                    self.capacitance.low
                } else {
                    self.capacitance.high
                };
                let change = leg.trend(shares, pair) * leg.elastance;
                device.at(leg.step(pair)) * change * change
            })
            .sum();
        let across = (self.node - self.output).abs();
        let clamp = self.capacitance.clamp.map_or(0.0, |c| c.at(across));
        whole - devices - self.capacitance.constant * path * path - clamp * whole * whole
    }

    /// High-side and low-side channels in the current's way. A diode without a
    /// drop counts as its channel.
    fn channels(&self, diode: Option<Diode>) -> (f64, f64) {
        let highs = self.gates.high_count();
        let lows = self.gates.low.iter().filter(|on| **on).count();
        let v = self.values;
        let high = usize::from(diode == Some(Diode::High) && v.high_drop == 0.0);
        let low = usize::from(diode == Some(Diode::Low) && v.low_drop == 0.0);
        ((highs + high) as f64, (lows + low) as f64)
    }

    /// The first thing that ends a held interval, and at which part of it.
    fn first_of_hold(
        &self,
        ramp: &Ramp,
        shares: &Shares,
        diode: Option<Diode>,
    ) -> (f64, Happening) {
        let mut first = (1.0, Happening::Nothing);
        let joined = (0..self.leg.pairs).any(|k| shares[k] > 0.0 && shares[k] < 1.0);
        if (diode.is_some() || joined)
            && let Some(part) = ramp.when_current(0.0, first.0)
        {
            first = (part, Happening::CurrentZero);
        }
        if diode.is_none()
            && self.armed
            && !self.comparator.tripped
            && let Some(part) = ramp.when_current(self.comparator.threshold, first.0)
        {
            first = (part, Happening::Threshold);
        }
        if diode.is_none()
            && let Some(peak) = self.peak.filter(|peak| !peak.tripped)
            && let Some(part) = ramp.when_current(-peak.threshold, first.0)
        {
            first = (part, Happening::PeakLimit);
        }
        for direction in [1.0, -1.0] {
            if let Some(charge) = self.leg.charge_to_no_step(shares, direction)
                && let Some(part) = ramp.when_charge(charge, first.0)
            {
                first = (part, Happening::Joined);
            }
        }
        first
    }

    /// Charge and time of the output capacitor and its load.
    pub(super) fn feed_output(&mut self, charge: f64, area: f64, duration: f64) {
        let (v, load) = (self.values, self.load);
        let net = charge - load * duration;
        let volt_seconds = self.output * duration
            + v.output_elastance * (area - load * duration * duration / 2.0)
            + v.output * net;
        self.ledger.output_area += volt_seconds;
        self.ledger.output_charge += charge;
        self.ledger.output += if v.output_elastance == 0.0 {
            self.output * charge
        } else {
            load * volt_seconds
        };
        self.output += net * v.output_elastance;
    }

    /// An interval in which the clamp holds the node at the output voltage.
    pub(super) fn freewheel(&mut self, limit: f64, observer: &mut impl Observer) -> Happening {
        let v = self.values;
        let (resistance, drop) = self.clamp_path();
        let law = Law {
            inductance: v.inductance,
            // The winding is part of the freewheel loop.
            resistance: resistance + v.winding,
            elastance: 0.0,
            force: -drop * self.current.signum(),
            slope: 0.0,
        };
        let span = law.span().min(limit);
        let ramp = law.ramp(self.current, 0.0, span);
        let (part, happening) = ramp
            .when_current(0.0, 1.0)
            .map_or((1.0, Happening::Nothing), |part| {
                (part, Happening::CurrentZero)
            });
        let duration = part * span;
        if let Some(spacing) = observer.spacing() {
            let count = (duration / spacing).floor();
            let mut k = 1.0;
            while k < count {
                let at = k / count;
                let output = self.terminal(0.0) - self.load * v.output_elastance * at * duration;
                let current = ramp.current(at * part);
                observer.row(&Row {
                    time: self.time + at * duration,
                    current,
                    clamp: -current,
                    node: output,
                    output,
                    ..self.row(None)
                });
                k += 1.0;
            }
        }
        let square = ramp.square(part);
        self.ledger.clamp += resistance * square + drop * ramp.charge(part).abs();
        self.ledger.winding += v.winding * square;
        self.ledger.output_resistance += v.output * self.load * self.load * duration;
        self.feed_output(0.0, 0.0, duration);
        self.current = if happening == Happening::CurrentZero {
            0.0
        } else {
            ramp.current(part)
        };
        self.time += duration;
        self.node = self.terminal(0.0);
        self.follow(&Tie::Output);
        happening
    }

    /// Resistance and drop of the clamp: of a transistor and its partner's diode
    /// until the second device is on.
    fn clamp_path(&self) -> (f64, f64) {
        let v = self.values;
        let transistors = self.rules.clamp == Some(super::rule::Catch::Transistors);
        if transistors && !self.gates.clamp_second && v.clamp_delay > 0.0 {
            (v.clamp / 2.0, v.clamp_diode_drop)
        } else {
            (v.clamp, v.clamp_drop)
        }
    }

    /// An interval without current.
    pub(super) fn rest(&mut self, limit: f64) -> Happening {
        self.ledger.output_resistance += self.values.output * self.load * self.load * limit;
        self.feed_output(0.0, 0.0, limit);
        self.time += limit;
        if self.caught {
            self.node = self.terminal(0.0);
            self.follow(&Tie::Output);
        }
        Happening::Nothing
    }

    /// Rows inside a held interval.
    fn show_hold(
        &self,
        ramp: &Ramp,
        part: f64,
        shares: &Shares,
        drop: f64,
        observer: &mut impl Observer,
    ) {
        let Some(spacing) = observer.spacing() else {
            return;
        };
        let duration = part * ramp.span;
        let count = (duration / spacing).floor();
        let mut k = 1.0;
        while k < count {
            let at = part * k / count;
            let (current, charge) = (ramp.current(at), ramp.charge(at));
            let mut leg = self.leg;
            leg.draw(shares, charge);
            let time = at * ramp.span;
            let held = self.output + (charge - self.load * time) * self.values.output_elastance;
            let mut row = self.row(None);
            row.time += time;
            row.current = current;
            row.node = leg.level(shares) + drop;
            row.output = held + self.values.output * (current - self.load);
            row.flying[..leg.pairs - 1].copy_from_slice(&leg.voltage[1..leg.pairs]);
            observer.row(&row);
            k += 1.0;
        }
    }
}
