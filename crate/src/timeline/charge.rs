//! Charges of the capacitances at the transistors and the node, and where they
//! come from.

use super::electrical::Diode;
use super::leg::{Leg, PAIRS, Shares};
use super::node::{Moments, Rails};
use super::simulation::Simulation;
use crate::cycle::Switching;

/// What supplies the charge that the node's capacitances take beside an edge.
pub(super) enum Tie {
    Leg(Shares),
    Output,
    Inductor,
}

/// What a switch found when it completed an edge.
pub(super) struct Completed {
    /// The voltage left across it.
    pub left: f64,
    pub switching: Switching,
}

impl Simulation {
    /// A switch completes an edge: the node goes to its level at once.
    pub(super) fn complete(&mut self, pair: usize, high: bool) -> Completed {
        let rails = self.rails(pair);
        let (from, target) = if high {
            (rails.low, rails.high)
        } else {
            (rails.high, rails.low)
        };
        let lost = self.capacitance.turn_on_energy(self.node, target, &rails);
        if high {
            self.ledger.turn_on_high += lost;
            self.gates.high[pair] = true;
            self.stored.high[pair] = Moments::default();
        } else {
            self.ledger.turn_on_low += lost;
            self.gates.low[pair] = true;
            self.stored.low[pair] = Moments::default();
        }
        let left = if high {
            target - self.node
        } else {
            self.node - target
        };
        self.node = target;
        let shares = self.leg.shares(self.gates.high, 0.0);
        let before = self.leg;
        self.follow(&Tie::Leg(shares));
        // The flying capacitors supply the charge at their mean voltage.
        let gap = before.energy_of_change(&self.leg);
        if high {
            self.ledger.turn_on_high -= gap;
        } else {
            self.ledger.turn_on_low -= gap;
        }
        // Beyond its level nothing is left across the channel.
        let part = left.max(0.0) / (rails.high - rails.low);
        let share = if part > 0.0 {
            lost / self.capacitance.turn_on_energy(from, target, &rails)
        } else {
            0.0
        };
        Completed {
            left: left.max(0.0),
            switching: Switching::of(part.into(), share.into()),
        }
    }

    /// The node at the level where the leg now holds it.
    pub(super) fn land(&mut self, diode: Option<Diode>) {
        let shares = self.leg.shares(self.sides(diode), 0.0);
        self.node = self.held_level(diode);
        self.follow(&Tie::Leg(shares));
    }

    /// The charges that belong to a state that was set from outside.
    pub(super) fn recharge(&mut self) {
        let (leg, ledger, output) = (self.leg, self.ledger, self.output);
        self.follow(&Tie::Output);
        (self.leg, self.ledger, self.output) = (leg, ledger, output);
    }

    /// Brings the charges of all capacitances at the transistors and the node to
    /// the present voltages, the flying capacitors, input and output supplying them.
    /// Returned is the charge that they give to the tie.
    pub(super) fn follow(&mut self, tie: &Tie) -> f64 {
        let output = self.terminal(self.to_output());
        let rails = match self.gates.open(self.leg.pairs) {
            Some(pair) => self.rails(pair),
            None => Rails {
                low: self.node,
                high: self.node,
                output,
            },
        };
        let moved = self.moved(self.node, &rails, tie);
        self.leg = moved.leg;
        self.stored = moved.stored;
        self.ledger.input += moved.from_input * self.leg.input_voltage();
        if self.values.output_elastance == 0.0 {
            self.ledger.output += moved.into_output * self.output;
        }
        if self.values.output > 0.0 {
            self.ledger.output_resistance += (output - self.output) * moved.into_output;
        }
        self.output += moved.into_output * self.values.output_elastance;
        moved.given
    }

    /// What moves where when the node comes to a voltage between given rails: the
    /// charges of all capacitances at the transistors and the node, and what
    /// supplies them.
    pub(super) fn moved(&self, node: f64, rails: &Rails, tie: &Tie) -> Moved {
        let open = self.gates.open(self.leg.pairs);
        let capacitance = &self.capacitance;
        let (mut leg, mut stored) = (self.leg, self.stored);
        let (mut from_input, mut work, mut arriving) = (0.0, 0.0, 0.0);
        if let Some(pair) = open {
            let high = capacitance.high.moments(rails.high - node);
            let low = capacitance.low.moments(node - rails.low);
            let from_high = high.charge - stored.high[pair].charge;
            let from_low = stored.low[pair].charge - low.charge;
            (stored.high[pair], stored.low[pair]) = (high, low);
            let mut sides = self.gates.high;
            for charge in [from_low, from_high] {
                let shares = self.leg.shares(sides, 0.0);
                let before = leg.level(&shares);
                from_input += leg.draw(&shares, charge);
                work += charge * f64::midpoint(before, leg.level(&shares));
                sides[pair] = true;
            }
            arriving += from_high + from_low;
        }
        let voltages = leg;
        for pair in (0..leg.pairs).filter(|k| Some(*k) != open) {
            let (device, slot) = if self.gates.high[pair] {
                (capacitance.low, &mut stored.low[pair])
            } else {
                (capacitance.high, &mut stored.high[pair])
            };
            let moments = device.moments(voltages.step(pair));
            let change = moments.charge - slot.charge;
            *slot = moments;
            let before = leg.step(pair);
            from_input += leg.charge_device(pair, change);
            work += change * f64::midpoint(before, leg.step(pair));
        }
        let clamp = capacitance.clamp_moments(node - rails.output);
        let constant = capacitance.constant_moments(node);
        let to_output = clamp.charge - stored.clamp.charge;
        arriving -= to_output + (constant.charge - stored.constant.charge);
        (stored.clamp, stored.constant) = (clamp, constant);
        let mut moved = Moved {
            leg,
            stored,
            from_input,
            work,
            into_output: to_output,
            into_inductor: 0.0,
            given: arriving,
        };
        match tie {
            Tie::Leg(shares) => moved.from_input += moved.leg.draw(shares, -arriving),
            Tie::Output => moved.into_output += arriving,
            Tie::Inductor => moved.into_inductor = arriving,
        }
        moved
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
        energy + self.stored.energy()
    }
}

/// What a change of the node's and the rails' voltages leads to.
pub(super) struct Moved {
    pub leg: Leg,
    pub stored: Stored,
    /// Charge that the input supplied.
    pub from_input: f64,
    /// Energy that input and flying capacitors gave for an edge.
    pub work: f64,
    /// Charge through the clamp's capacitance, and what else the output took.
    pub into_output: f64,
    pub into_inductor: f64,
    /// The charge that the node gives to what it is tied to.
    pub given: f64,
}

/// What the transistors' output capacitances, the clamp's and the node's hold.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stored {
    pub high: [Moments; PAIRS],
    pub low: [Moments; PAIRS],
    pub clamp: Moments,
    pub constant: Moments,
}

impl Stored {
    /// The energy of all of them.
    pub fn energy(&self) -> f64 {
        let devices = self.high.iter().chain(&self.low);
        devices.map(|m| m.energy).sum::<f64>() + self.clamp.energy + self.constant.energy
    }
}
