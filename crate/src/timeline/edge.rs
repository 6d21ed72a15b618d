//! An edge: the node floats, and what it does is put down.

use super::charge::{Moved, Tie};
use super::electrical::{Diode, Happening};
use super::node::Rails;
use super::observe::{Observer, Row};
use super::simulation::Simulation;
use super::swing::{End, Scratch, Start, Swing, Tank, Way};

/// Multiple of the time left from which an edge is certainly cut short, estimates
/// being rough.
const LONG: f64 = 1.5;
/// Part of the node's way from the output voltage that it is moved by at most.
const FARTHEST: f64 = 0.05;
/// Rounds in which the state at an edge's end is found: each leaves over a part of
/// what it found that is the node's capacitance over a flying capacitance.
const ROUNDS: usize = 4;
/// The same where the node's voltage is known.
const ROUNDS_OF_CURRENT: usize = 2;

/// Part of the step up to which a swing that comes to a level goes beyond it so little
/// that its voltage there is nothing but rounding.
const TOUCH: f64 = 1e-5;

/// Rounds in which the time of an edge and the state at its end come to agree, and the
/// current in ampere to which that state does.
const ROUNDS_OF_TIME: usize = 3;
const AGREED: f64 = 1e-7;

/// The end of an edge: the state, what has moved, and the rails that belong to it.
struct Landing {
    state: Swing,
    moved: Moved,
    rails: Rails,
}

/// An edge, or the part of it for which there is time.
struct Edge<'n> {
    landing: Landing,
    tank: Tank<'n>,
    way: Way,
    duration: f64,
}

impl Simulation {
    /// An edge, or what there is time for.
    pub(super) fn swing(&mut self, limit: f64, observer: &mut impl Observer) -> Happening {
        self.diode = None;
        let Some(pair) = self.gates.open(self.leg.pairs) else {
            return Happening::Nothing;
        };
        let mut scratch = std::mem::take(&mut self.scratch);
        let edge = self.edge(pair, limit, &mut scratch);
        if let (Some(edge), Some(spacing)) = (&edge, observer.spacing())
            && spacing.is_finite()
            && self.time + edge.duration > self.time
        {
            let count = (edge.duration / spacing).ceil().clamp(8.0, 64.0);
            let row = self.row(None);
            let Edge { way, duration, .. } = edge;
            for (time, state) in edge.tank.points(way, *duration, count, &mut scratch) {
                observer.row(&Row {
                    time: self.time + time,
                    current: state.current,
                    node: state.node,
                    ..row
                });
            }
        }
        let found = edge.map(|edge| (edge.landing, edge.duration));
        self.scratch = scratch;
        let Some((landing, duration)) = found else {
            let moved = self.moved(self.node, &self.rails(pair), &Tie::Inductor);
            self.book_edge(&moved, self.current, limit);
            return Happening::Nothing;
        };
        let current = self.current_at_end(&landing, duration);
        let Landing { state, moved, .. } = landing;
        self.book_edge(&moved, current, duration);
        self.node = state.node;
        match state.end {
            End::Low => self.pass(Diode::Low, pair),
            End::High => self.pass(Diode::High, pair),
            End::Below => self.reach(Diode::Low, pair),
            End::Above => self.reach(Diode::High, pair),
            End::Output => Happening::Caught,
            End::Turned => Happening::Turned,
            End::Timer => Happening::Nothing,
        }
    }

    /// The node at a level, on its way outwards: the body diode takes the current where
    /// it has no drop.
    fn pass(&mut self, level: Diode, pair: usize) -> Happening {
        if self.drop(Some(level)) == 0.0 {
            self.take(level);
        } else {
            self.node = self.level_of(Some(level));
            self.touch(pair);
        }
        match level {
            Diode::Low => Happening::NodeLow,
            Diode::High => Happening::NodeHigh,
        }
    }

    /// The node at the body diode's drop beyond a level.
    fn reach(&mut self, level: Diode, pair: usize) -> Happening {
        self.node = self.held_level(Some(level));
        if self.touch(pair) {
            Happening::Nothing
        } else {
            self.take(level)
        }
    }

    /// A node that hardly passes its place, away from the output voltage, is back at once:
    /// the way there is too short for its voltages, and its time is that of a straight
    /// line of current.
    fn touch(&mut self, pair: usize) -> bool {
        let rails = self.rails(pair);
        let away = self.node - rails.output;
        let inductance = self.values.inductance;
        let height = self.current * (inductance / self.capacitance.at(self.node, &rails)).sqrt();
        let outwards = self.current * away < 0.0;
        let touches = outwards && height.abs() < TOUCH * (rails.high - rails.low);
        if touches {
            let time = 2.0 * inductance * (self.current / away).abs();
            self.feed_output(0.0, 0.0, time);
            self.time += time;
            self.current = -self.current;
        }
        touches
    }

    /// A body diode takes the current.
    fn take(&mut self, diode: Diode) -> Happening {
        self.diode = Some(diode);
        self.node = self.held_level(Some(diode));
        Happening::Nothing
    }

    /// An edge as if the capacitors stood still at their mean over it; none where the
    /// node rests.
    fn edge(&self, pair: usize, limit: f64, scratch: &mut Scratch) -> Option<Edge<'_>> {
        let before = self.rails(pair);
        let start = Start {
            node: self.node,
            current: self.current,
            catch: self.gates.clamp_early,
            beyond: self.beyond(&before),
            drops: self.drops(),
        };
        let about = |rails| Tank::new(&self.capacitance, rails, self.values.inductance, &start);
        // First with the capacitors as they are, for where they will be.
        let still = about(before);
        let way = still.way(&start)?;
        let end = way.end();
        let mut estimate = way.estimate(&still);
        for round in 1..=ROUNDS_OF_TIME {
            if estimate >= LONG * limit {
                break;
            }
            let landing = self.landing(pair, end, estimate, &before);
            let mean = about(before.midpoint(&landing.rails));
            let (tank, way) = mean.between(&start, &landing.state);
            let duration = tank.time(&way, scratch);
            if duration > limit {
                break;
            }
            let left = self.current_at_end(&landing, duration);
            if (left - landing.state.current).abs() < AGREED || round == ROUNDS_OF_TIME {
                return Some(Edge {
                    landing,
                    tank,
                    way,
                    duration,
                });
            }
            estimate = duration;
        }
        let rough = still.cut(&start, limit, scratch).unwrap_or(way.end());
        let landing = self.landing(pair, rough, limit, &before);
        let mean = about(before.midpoint(&landing.rails));
        let state = mean.cut(&start, limit, scratch).unwrap_or(landing.state);
        let landing = self.landing(pair, state, limit, &before);
        let (tank, way) = mean.between(&start, &landing.state);
        Some(Edge {
            landing,
            tank,
            way,
            duration: limit,
        })
    }

    /// The rails when charges have moved.
    fn rails_with(&self, pair: usize, before: &Rails, moved: &Moved, duration: f64) -> Rails {
        let net = moved.into_inductor + moved.into_output - self.load * duration;
        let output = before.output + net * self.values.output_elastance;
        self.rails_of(&moved.leg, pair, output)
    }

    /// The state at an edge's end for which energy is kept exactly, near one found with
    /// capacitors that stand still: what that leaves over goes into the inductor's
    /// current or, where that has next to none, into the node's voltage.
    fn landing(&self, pair: usize, found: Swing, duration: f64, before: &Rails) -> Landing {
        let mut state = found;
        let half = self.values.inductance / 2.0;
        let up = if self.current == 0.0 {
            found.node > self.node
        } else {
            self.current < 0.0
        };
        let mut moved = self.moved(state.node, before, &Tie::Inductor);
        let mut rails = self.rails_with(pair, before, &moved, duration);
        for round in 1..=ROUNDS {
            state.node = state.end.place(&rails, self.drops()).unwrap_or(state.node);
            moved = self.moved(state.node, &rails, &Tie::Inductor);
            rails = self.rails_with(pair, before, &moved, duration);
            let away = state.node - rails.output;
            let stiffness = self.capacitance.at(state.node, &rails) * away;
            let kinetic = self.kinetic_energy(&moved, duration);
            // Towards the output voltage the node gains energy: it arrives, whatever
            // rounding leaves.
            let from = self.node - before.output;
            let gains = from * away > 0.0 && away.abs() <= from.abs();
            let in_current = match state.end {
                End::Low | End::High | End::Below | End::Above | End::Output => {
                    gains || kinetic >= 0.0
                }
                End::Turned => false,
                End::Timer => kinetic >= (stiffness * away).abs() / 2.0,
            };
            if in_current {
                let magnitude = (kinetic.max(0.0) / half).sqrt();
                state.current = if up { -magnitude } else { magnitude };
                if round == ROUNDS_OF_CURRENT {
                    break;
                }
                continue;
            }
            if state.end != End::Timer {
                (state.end, state.current) = (End::Turned, 0.0);
            }
            let excess = kinetic - half * state.current * state.current;
            let step = excess / stiffness;
            if step.abs() < FARTHEST * away.abs() {
                state.node += step;
            }
            // It would have turned beyond the end of its way: it arrives there.
            let farthest = self.farthest(up, before);
            let past = farthest.place(&rails, self.drops()).is_some_and(|place| {
                if up {
                    state.node > place
                } else {
                    state.node < place
                }
            });
            if state.end == End::Turned && past {
                state.end = farthest;
            }
        }
        Landing {
            state,
            moved,
            rails,
        }
    }

    /// Where the way of a node that moves up or down ends at the farthest.
    fn farthest(&self, up: bool, rails: &Rails) -> End {
        match (up, self.beyond(rails)) {
            (true, [_, true]) => End::Above,
            (true, [_, false]) => End::High,
            (false, [true, _]) => End::Below,
            (false, [false, _]) => End::Low,
        }
    }

    /// Current at the end of an edge that took a time.
    fn current_at_end(&self, landing: &Landing, duration: f64) -> f64 {
        match landing.state.end {
            End::Low | End::High | End::Below | End::Above | End::Output => {
                self.current_left(&landing.moved, duration)
            }
            End::Turned | End::Timer => landing.state.current,
        }
    }

    /// Current where an edge has arrived.
    fn current_left(&self, moved: &Moved, duration: f64) -> f64 {
        let kinetic = self.kinetic_energy(moved, duration).max(0.0);
        let magnitude = (2.0 * kinetic / self.values.inductance).sqrt();
        let up = if self.current == 0.0 {
            moved.into_inductor < 0.0
        } else {
            self.current < 0.0
        };
        if up { -magnitude } else { magnitude }
    }

    /// Energy of the inductor after an edge: what it had, and what the input and the
    /// flying capacitors gave, less what the capacitances and the output took.
    fn kinetic_energy(&self, moved: &Moved, duration: f64) -> f64 {
        let (volts, charge) = self.output_over(moved, duration);
        self.values.inductance * self.current * self.current / 2.0 + moved.work
            - (moved.stored.energy() - self.stored.energy())
            - volts * charge
    }

    /// Mean voltage at the output over an edge, its resistance counting with the
    /// current at the start, and the charge into it.
    fn output_over(&self, moved: &Moved, duration: f64) -> (f64, f64) {
        let v = self.values;
        let charge = moved.into_inductor + moved.into_output;
        let net = charge - self.load * duration;
        let resistive = v.output * (self.current - self.load);
        let mean = self.output + resistive + net * v.output_elastance / 2.0;
        (mean, charge)
    }

    fn book_edge(&mut self, moved: &Moved, current: f64, duration: f64) {
        let (v, load) = (self.values, self.load);
        let (volts, charge) = self.output_over(moved, duration);
        let net = charge - load * duration;
        let l = &mut self.ledger;
        l.input += moved.from_input * self.leg.input_voltage();
        l.output_resistance += v.output * (self.current - load) * net;
        l.output_area += volts * duration;
        l.output_charge += moved.into_inductor;
        l.output += if v.output_elastance == 0.0 {
            volts * charge
        } else {
            load * volts * duration
        };
        self.output += net * v.output_elastance;
        self.leg = moved.leg;
        self.stored = moved.stored;
        self.current = current;
        self.time += duration;
    }
}
