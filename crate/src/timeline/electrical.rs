//! What the circuit does between two events.

use super::leg::Shares;
use super::node::Rails;
use super::observe::{Observer, Row};
use super::ramp::{Law, Ramp};
use super::simulation::Simulation;
use super::swing::{End, Start, Swing, Tank};

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

/// What supplies the charge that the node's capacitances take beside an edge.
enum Tie {
    Leg(Shares),
    Output,
    Inductor,
}

/// Part of the input voltage within which the node is at a level.
const AT_LEVEL: f64 = 1e-12;
/// Part of the input voltage by which a flying capacitor may change before the
/// capacitances of the blocking transistors beside it are taken anew.
const STEP_CHANGE: f64 = 0.05;

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
        let mut high = self.gates.high;
        high[pair] = false;
        let low = self.leg.level(&self.leg.shares(&high, 0.0));
        Rails {
            low,
            high: low + self.leg.step(pair),
            output: self.terminal(self.to_output()),
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
        if self.current > 0.0 || (self.current == 0.0 && away > near) {
            let arrived = self.diode == Some(Diode::Low) && self.current > 0.0;
            if self.node > rails.low + near && !arrived {
                Mode::Free
            } else if self.current > 0.0 || rails.low - self.values.low_drop > rails.output {
                Mode::Held(Some(Diode::Low))
            } else {
                Mode::Rest
            }
        } else if self.current < 0.0 || away < -near {
            let arrived = self.diode == Some(Diode::High) && self.current < 0.0;
            if self.node < rails.high - near && !arrived {
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
    fn sides(&self, diode: Option<Diode>) -> [bool; super::leg::PAIRS] {
        let mut high = self.gates.high;
        if let (Some(pair), Some(Diode::High)) = (self.gates.open(self.leg.pairs), diode) {
            high[pair] = true;
        }
        high
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
        let drop = match diode {
            None => 0.0,
            Some(Diode::High) => v.high_drop,
            Some(Diode::Low) => -v.low_drop,
        };
        let direction = if self.current == 0.0 {
            let plain = self.leg.shares(&sides, 0.0);
            self.leg.level(&plain) + drop - self.output
        } else {
            self.current
        };
        let shares = self.leg.shares(&sides, direction);
        let (highs, lows) = self.channels(diode);
        let flying = v.flying * self.leg.capacitors_in_path(&shares);
        let path = highs * v.high + lows * v.low + v.winding + flying;
        let law = Law {
            inductance: v.inductance,
            resistance: path + v.output,
            elastance: self.hold_elastance(&shares),
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
        let (part, happening) = self.first_of_hold(&ramp, &shares, diode);
        self.show_hold(&ramp, part, &shares, observer);

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
            _ => ramp.current(part),
        };
        self.time += duration;
        self.node = self.leg.level(&self.leg.shares(&sides, 0.0));
        self.follow(&Tie::Leg(shares));
        happening
    }

    /// Elastance in the current's way, less what the capacitances of the blocking
    /// transistors and the node give: they stand beside the flying capacitors, and
    /// without them the energy would be wrong by their part of the ripple's.
    fn hold_elastance(&self, shares: &Shares) -> f64 {
        let path = self.leg.path_elastance(shares);
        let whole = path + self.values.output_elastance;
        if self.leg.elastance == 0.0 {
            return whole;
        }
        let devices: f64 = (0..self.leg.pairs)
            .map(|pair| {
                let device = if self.gates.high[pair] {
                    self.capacitance.low
                } else {
                    self.capacitance.high
                };
                let change = self.leg.trend(shares, pair) * self.leg.elastance;
                device.at(self.leg.step(pair)) * change * change
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
        if diode.is_some() || joined {
            if let Some(part) = ramp.when_current(0.0, first.0) {
                first = (part, Happening::CurrentZero);
            }
        }
        if diode.is_none() && self.armed && !self.comparator.tripped {
            if let Some(part) = ramp.when_current(self.comparator.threshold, first.0) {
                first = (part, Happening::Threshold);
            }
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
    fn feed_output(&mut self, charge: f64, area: f64, duration: f64) {
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
            resistance,
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
        self.ledger.clamp += resistance * ramp.square(part) + drop * ramp.charge(part).abs();
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

    /// An edge, or what there is time for.
    pub(super) fn swing(&mut self, limit: f64, observer: &mut impl Observer) -> Happening {
        self.diode = None;
        let Some(pair) = self.gates.open(self.leg.pairs) else {
            return Happening::Nothing;
        };
        let mut rails = self.rails(pair);
        let v = self.values;
        let start = Start {
            node: self.node,
            current: self.current,
            catch: self.gates.clamp_early,
            limit,
        };
        let tank = |rails| Tank {
            capacitance: &self.capacitance,
            rails,
            inductance: v.inductance,
        };
        let mut scratch = std::mem::take(&mut self.scratch);
        let mut swing = tank(rails).swing(start, &mut scratch);
        if swing.duration > 0.0 {
            // Once more with the capacitors at their mean over the edge.
            let mean = self.mean_rails(pair, rails, &swing);
            let again = tank(mean).swing(start, &mut scratch);
            // Next to its rest the node may turn the other way about the mean.
            if (again.node - start.node) * (swing.node - start.node) > 0.0 {
                (rails, swing) = (mean, again);
            }
        }
        let points = observer.spacing().map_or_else(Vec::new, |spacing| {
            let count = (swing.duration / spacing).ceil().clamp(8.0, 64.0) as u32;
            if swing.node == start.node {
                vec![]
            } else {
                tank(rails).points(start, &swing, count, &mut scratch)
            }
        });
        self.scratch = scratch;
        let row = self.row(None);
        for point in points {
            observer.row(&Row {
                time: self.time + point.duration,
                current: point.current,
                node: point.node,
                ..row
            });
        }
        self.apply(&swing, rails.output);
        match swing.end {
            End::Timer => Happening::Nothing,
            End::Turned => Happening::Turned,
            End::Arrived if swing.node <= rails.low => {
                self.diode = Some(Diode::Low);
                self.land(Some(Diode::Low));
                Happening::NodeLow
            }
            End::Arrived if swing.node >= rails.high => {
                self.diode = Some(Diode::High);
                self.land(Some(Diode::High));
                Happening::NodeHigh
            }
            End::Arrived => Happening::Caught,
        }
    }

    /// The rails with flying capacitors and output half way through an edge.
    fn mean_rails(&self, pair: usize, rails: Rails, swing: &Swing) -> Rails {
        let (on_high, on_low) = self.capacitance.charges(swing.node, &rails);
        let from_high = on_high - self.stored.high[pair];
        let from_low = self.stored.low[pair] - on_low;
        let constant = self.capacitance.constant * swing.node - self.stored.constant;
        let mut sides = self.gates.high;
        let low = self.leg.shares(&sides, 0.0);
        sides[pair] = true;
        let high = self.leg.shares(&sides, 0.0);
        let mut leg = self.leg;
        leg.draw(&high, from_high / 2.0);
        leg.draw(&low, from_low / 2.0);
        // What the clamp's capacitance gives goes into the inductor and back.
        let net = from_high + from_low - constant - self.load * swing.duration;
        Rails {
            low: leg.level(&low),
            high: leg.level(&high),
            output: rails.output + net * self.values.output_elastance / 2.0,
        }
    }

    fn apply(&mut self, swing: &Swing, output: f64) {
        let initial = self.current;
        self.node = swing.node;
        self.current = swing.current;
        self.time += swing.duration;
        let charge = self.follow_with(&Tie::Inductor, output);
        let (v, load) = (self.values, self.load);
        // The output's resistance counts with the current at the start.
        let resistive = v.output * (initial - load);
        let net = charge - load * swing.duration;
        let mean = self.output + net * v.output_elastance / 2.0;
        let volt_seconds = (mean + resistive) * swing.duration;
        let l = &mut self.ledger;
        l.output_resistance += resistive * net;
        l.output_area += volt_seconds;
        l.output_charge += charge;
        l.output += if v.output_elastance == 0.0 {
            self.output * charge
        } else {
            load * volt_seconds
        };
        self.output += net * v.output_elastance;
    }

    /// A switch completes an edge: the node goes to its level at once.
    pub(super) fn complete(&mut self, pair: usize, high: bool) -> f64 {
        let rails = self.rails(pair);
        let target = if high { rails.high } else { rails.low };
        let lost = -self.capacitance.work(self.node, target, target, &rails);
        if high {
            self.ledger.turn_on_high += lost;
            self.gates.high[pair] = true;
            self.stored.high[pair] = 0.0;
        } else {
            self.ledger.turn_on_low += lost;
            self.gates.low[pair] = true;
            self.stored.low[pair] = 0.0;
        }
        let left = (target - self.node).abs();
        self.node = target;
        let shares = self.leg.shares(&self.gates.high, 0.0);
        let before = self.leg;
        self.follow(&Tie::Leg(shares));
        // The flying capacitors supply the charge at their mean voltage.
        let gap = before.energy_of_change(&self.leg);
        if high {
            self.ledger.turn_on_high -= gap;
        } else {
            self.ledger.turn_on_low -= gap;
        }
        left
    }

    /// The node at the level where the leg now holds it.
    pub(super) fn land(&mut self, diode: Option<Diode>) {
        let shares = self.leg.shares(&self.sides(diode), 0.0);
        self.node = self.leg.level(&shares);
        self.follow(&Tie::Leg(shares));
    }

    /// The charges that belong to a state that was set from outside.
    pub(super) fn recharge(&mut self) {
        let (leg, ledger, output) = (self.leg, self.ledger, self.output);
        self.follow(&Tie::Output);
        (self.leg, self.ledger, self.output) = (leg, ledger, output);
    }

    fn follow(&mut self, tie: &Tie) {
        let output = self.terminal(self.to_output());
        self.follow_with(tie, output);
    }

    /// Brings the charges of all capacitances at the transistors and the node to
    /// the present voltages, the flying capacitors, input and output supplying
    /// them; gives the charge that went into the inductor.
    fn follow_with(&mut self, tie: &Tie, output: f64) -> f64 {
        let open = self.gates.open(self.leg.pairs);
        let mut supplied = 0.0;
        for pair in (0..self.leg.pairs).filter(|k| Some(*k) != open) {
            let step = self.leg.step(pair);
            let high = self.gates.high[pair];
            let device = if high {
                self.capacitance.low
            } else {
                self.capacitance.high
            };
            let charge = device.moments(step).0;
            let slot = if high {
                &mut self.stored.low[pair]
            } else {
                &mut self.stored.high[pair]
            };
            let change = charge - *slot;
            *slot = charge;
            supplied += self.leg.charge_device(pair, change);
        }
        let mut arriving = 0.0;
        if let Some(pair) = open {
            let rails = Rails {
                output,
                ..self.rails(pair)
            };
            let (on_high, on_low) = self.capacitance.charges(self.node, &rails);
            let from_high = on_high - self.stored.high[pair];
            let from_low = self.stored.low[pair] - on_low;
            (self.stored.high[pair], self.stored.low[pair]) = (on_high, on_low);
            let mut sides = self.gates.high;
            let low = self.leg.shares(&sides, 0.0);
            sides[pair] = true;
            let high = self.leg.shares(&sides, 0.0);
            supplied += self.leg.draw(&high, from_high) + self.leg.draw(&low, from_low);
            arriving += from_high + from_low;
        }
        let clamp = self.capacitance.clamp_charge(self.node - output);
        let constant = self.capacitance.constant * self.node;
        let to_output = clamp - self.stored.clamp;
        arriving -= to_output + (constant - self.stored.constant);
        (self.stored.clamp, self.stored.constant) = (clamp, constant);
        let mut into_output = to_output;
        let mut inductor = 0.0;
        match tie {
            Tie::Leg(shares) => supplied += self.leg.draw(shares, -arriving),
            Tie::Output => into_output += arriving,
            Tie::Inductor => inductor = arriving,
        }
        self.ledger.input += supplied * self.leg.input_voltage();
        if self.values.output_elastance == 0.0 {
            self.ledger.output += into_output * self.output;
        }
        if self.values.output > 0.0 {
            self.ledger.output_resistance += (output - self.output) * into_output;
        }
        self.output += into_output * self.values.output_elastance;
        inductor
    }

    /// Energy stored in the inductor and all capacitors, in joule.
    #[must_use]
    pub fn stored_energy(&self) -> f64 {
        let mut energy = self.values.inductance * self.current * self.current / 2.0;
        if self.values.output_elastance > 0.0 {
            energy += self.output * self.output / (2.0 * self.values.output_elastance);
        }
        if self.leg.elastance > 0.0 {
            let squares = (1..self.leg.pairs).map(|k| self.leg.voltage[k].powi(2));
            energy += squares.sum::<f64>() / (2.0 * self.leg.elastance);
        }
        let (high, low) = (self.capacitance.high, self.capacitance.low);
        let open = self.gates.open(self.leg.pairs);
        for pair in 0..self.leg.pairs {
            energy += if open == Some(pair) {
                let rails = self.rails(pair);
                high.moments(rails.high - self.node).1 + low.moments(self.node - rails.low).1
            } else if self.gates.high[pair] {
                low.moments(self.leg.step(pair)).1
            } else {
                high.moments(self.leg.step(pair)).1
            };
        }
        let across = (self.node - self.terminal(self.to_output())).abs();
        energy
            + self.capacitance.clamp.map_or(0.0, |c| c.moments(across).1)
            + self.capacitance.constant * self.node * self.node / 2.0
    }

    /// Rows inside a held interval.
    fn show_hold(&self, ramp: &Ramp, part: f64, shares: &Shares, observer: &mut impl Observer) {
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
            row.node = leg.level(shares);
            row.output = held + self.values.output * (current - self.load);
            row.flying[..leg.pairs - 1].copy_from_slice(&leg.voltage[1..leg.pairs]);
            observer.row(&row);
            k += 1.0;
        }
    }
}
