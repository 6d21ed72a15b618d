//! An edge: the node floats, and what it does is put down.

use super::charge::Tie;
use super::electrical::{Diode, Happening};
use super::node::Rails;
use super::observe::{Observer, Row};
use super::simulation::Simulation;
use super::swing::{End, Start, Swing, Tank};

impl Simulation {
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
        let drawn = observer
            .spacing()
            .filter(|spacing| spacing.is_finite() && swing.node != start.node);
        let points = drawn.map_or_else(Vec::new, |spacing| {
            let count = (swing.duration / spacing).ceil().clamp(8.0, 64.0);
            tank(rails).points(start, &swing, count, &mut scratch)
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
        let low = self.leg.shares(sides, 0.0);
        sides[pair] = true;
        let high = self.leg.shares(sides, 0.0);
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
}
