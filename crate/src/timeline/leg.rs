//! The flying-capacitor leg: levels of the node and charges of its capacitors.

use crate::stage::Circuit;

/// Most switch pairs.
pub(super) const PAIRS: usize = 7;

/// How each pair shares the current between its two sides: 1 where the high side
/// carries it, 0 the low side, between where both do.
pub(super) type Shares = [f64; PAIRS];

/// Voltages of the flying capacitors between ground and input.
#[derive(Clone, Copy, Debug)]
pub(super) struct Leg {
    pub pairs: usize,
    /// Ground, the flying capacitors, the input voltage.
    pub voltage: [f64; PAIRS + 1],
    /// Elastance of a flying capacitor: the inverse of its capacitance.
    pub elastance: f64,
}

/// A step below this part of the input voltage counts as none.
const NO_STEP: f64 = 1e-12;

impl Leg {
    /// The leg with its capacitors at equal steps of the input voltage.
    pub fn new(circuit: &Circuit, input_voltage: f64) -> Self {
        let pairs = usize::from(circuit.pairs);
        let mut voltage = [0.0; PAIRS + 1];
        for (k, v) in voltage.iter_mut().enumerate().take(pairs + 1) {
            *v = input_voltage * k as f64 / pairs as f64;
        }
        Self {
            pairs,
            voltage,
            elastance: circuit.flying_capacitance.map_or(0.0, |c| 1.0 / c.value),
        }
    }

    pub fn input_voltage(&self) -> f64 {
        self.voltage[self.pairs]
    }

    /// The voltage that a pair blocks.
    pub fn step(&self, pair: usize) -> f64 {
        self.voltage[pair + 1] - self.voltage[pair]
    }

    /// The node's level.
    pub fn level(&self, shares: &Shares) -> f64 {
        (0..self.pairs).map(|k| shares[k] * self.step(k)).sum()
    }

    /// Takes a charge out of the node through the leg; gives what the input supplied.
    pub fn draw(&mut self, shares: &Shares, charge: f64) -> f64 {
        for k in 1..self.pairs {
            self.voltage[k] += (shares[k] - shares[k - 1]) * charge * self.elastance;
        }
        shares[self.pairs - 1] * charge
    }

    /// Charges the blocking transistor of a pair, between the capacitors on its
    /// two sides; gives what the input supplied.
    pub fn charge_device(&mut self, pair: usize, charge: f64) -> f64 {
        if pair > 0 {
            self.voltage[pair] += charge * self.elastance;
        }
        if pair + 1 < self.pairs {
            self.voltage[pair + 1] -= charge * self.elastance;
            0.0
        } else {
            charge
        }
    }

    /// Energy that the change to another state stores beyond what the charges
    /// carry at the voltages before it.
    pub fn energy_of_change(&self, after: &Self) -> f64 {
        if self.elastance == 0.0 {
            return 0.0;
        }
        let squares = (1..self.pairs).map(|k| (after.voltage[k] - self.voltage[k]).powi(2));
        squares.sum::<f64>() / (2.0 * self.elastance)
    }

    /// Elastance in the current's way.
    pub fn path_elastance(&self, shares: &Shares) -> f64 {
        self.capacitors_in_path(shares) * self.elastance
    }

    /// How many flying capacitors the current passes, by the squares of their parts.
    pub fn capacitors_in_path(&self, shares: &Shares) -> f64 {
        (1..self.pairs)
            .map(|k| (shares[k] - shares[k - 1]).powi(2))
            .sum()
    }

    /// Change of a pair's step per charge, over the elastance.
    pub fn trend(&self, shares: &Shares, pair: usize) -> f64 {
        let below = if pair > 0 {
            shares[pair] - shares[pair - 1]
        } else {
            0.0
        };
        let above = if pair + 1 < self.pairs {
            shares[pair + 1] - shares[pair]
        } else {
            0.0
        };
        above - below
    }

    /// How the pairs share a current of a sign. Where a pair blocks no voltage
    /// and the current would reverse it, the body diode of its blocking
    /// transistor conducts too, and its two capacitors carry the current together.
    pub fn shares(self, high: [bool; PAIRS], direction: f64) -> Shares {
        let mut shares: Shares = std::array::from_fn(|k| if high[k] { 1.0 } else { 0.0 });
        if self.elastance == 0.0 || direction == 0.0 {
            return shares;
        }
        let none = NO_STEP * self.input_voltage();
        let mut joined = [false; PAIRS];
        for _ in 0..self.pairs {
            let more = (0..self.pairs).find(|k| {
                !joined[*k] && self.step(*k) <= none && self.trend(&shares, *k) * direction < 0.0
            });
            let Some(more) = more else { break };
            joined[more] = true;
            self.spread(joined, &mut shares);
        }
        shares
    }

    /// Spreads the current over neighbouring joined pairs so that none gets a step.
    fn spread(&self, joined: [bool; PAIRS], shares: &mut Shares) {
        let mut first = 0;
        while first < self.pairs {
            if !joined[first] {
                first += 1;
                continue;
            }
            let mut end = first;
            while end < self.pairs && joined[end] {
                end += 1;
            }
            let below = first.checked_sub(1).map(|k| shares[k]);
            let above = (end < self.pairs).then(|| shares[end]);
            let count = (end - first + 1) as f64;
            for (k, share) in shares[first..end].iter_mut().enumerate() {
                let part = (k + 1) as f64 / count;
                *share = match (below, above) {
                    (Some(b), Some(a)) => b + (a - b) * part,
                    (Some(only), None) | (None, Some(only)) => only,
                    (None, None) => *share,
                };
            }
            first = end;
        }
    }

    /// The charge after which a pair's step is used up by a current of a sign.
    pub fn charge_to_no_step(&self, shares: &Shares, direction: f64) -> Option<f64> {
        if self.elastance == 0.0 {
            return None;
        }
        let none = NO_STEP * self.input_voltage();
        (0..self.pairs)
            .filter(|k| self.step(*k) > none && self.trend(shares, *k) * direction < -1e-12)
            .map(|k| -self.step(k) / (self.trend(shares, k) * self.elastance))
            .min_by(|a, b| a.abs().total_cmp(&b.abs()))
    }
}
