//! Charges of the capacitances at the transistors and the node, and where they
//! come from.

use super::electrical::Diode;
use super::leg::Shares;
use super::node::Rails;
use super::simulation::Simulation;

/// What supplies the charge that the node's capacitances take beside an edge.
pub(super) enum Tie {
    Leg(Shares),
    Output,
    Inductor,
}

impl Simulation {
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
        left
    }

    /// The node at the level where the leg now holds it.
    pub(super) fn land(&mut self, diode: Option<Diode>) {
        let shares = self.leg.shares(self.sides(diode), 0.0);
        self.node = self.leg.level(&shares);
        self.follow(&Tie::Leg(shares));
    }

    /// The charges that belong to a state that was set from outside.
    pub(super) fn recharge(&mut self) {
        let (leg, ledger, output) = (self.leg, self.ledger, self.output);
        self.follow(&Tie::Output);
        (self.leg, self.ledger, self.output) = (leg, ledger, output);
    }

    pub(super) fn follow(&mut self, tie: &Tie) {
        let output = self.terminal(self.to_output());
        self.follow_with(tie, output);
    }

    /// Brings the charges of all capacitances at the transistors and the node to
    /// the present voltages, the flying capacitors, input and output supplying
    /// them; gives the charge that went into the inductor.
    pub(super) fn follow_with(&mut self, tie: &Tie, output: f64) -> f64 {
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
            let low = self.leg.shares(sides, 0.0);
            sides[pair] = true;
            let high = self.leg.shares(sides, 0.0);
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
}
