//! Discontinuous conduction without a clamp: released at zero current, the node
//! rings about the output voltage until the next turn-on, undamped.

use super::{Found, Whole, closed};
use crate::cycle::balance::{Excess, Rise, Stroke, close};
use crate::cycle::course::TurnOn;
use crate::cycle::motion::{Level, Start};
use crate::cycle::solver::{Bench, Near};
use crate::cycle::state::State;
use crate::quantity::{Dimensioned as _, Energy, Voltage};

pub(super) fn solve(bench: &mut Bench) -> Found {
    let known = Found {
        release: Some(0.0),
        ..Found::without_cell(State::BeyondDiscontinuous)
    };
    let period = bench.n.period;
    let charge = bench.levels.load * period;
    let mut last: Option<(Rise, Stroke)> = None;
    let mut excess = |bench: &mut Bench, ring: f64| {
        let rise = bench.ring(ring);
        let balanced = bench.balanced(&rise, 0.0, charge);
        last = balanced.stroke.map(|stroke| (rise, stroke));
        Excess {
            over: ring + balanced.time - period,
            doubt: balanced.doubt,
        }
    };
    let near = bench.near.or_else(|| {
        let root = -excess(bench, 0.0).over;
        let some = root.partial_cmp(&0.0) == Some(std::cmp::Ordering::Greater);
        some.then_some(Near { root, slope: 1.0 })
    });
    let Some(near) = near else {
        return known;
    };
    let mut left = Excess::NONE;
    let tolerance = bench.tolerance();
    bench.near = Some(close((0.0, period), near, tolerance, |ring| {
        left = excess(bench, ring);
        left
    }));
    let Some((rise, stroke)) = last.filter(|_| closed(left, bench)) else {
        return Found {
            state: State::BelowLeastOnTime,
            ..known
        };
    };
    Found {
        whole: Some(Whole {
            period,
            rise,
            stroke,
            partial: None,
            hold: None,
            ring: Some(bench.ring_turn_on()),
        }),
        ..known
    }
    .judged(bench)
}

impl Bench {
    /// The ring from the release at zero current up to the turn-on.
    fn ring(&mut self, time: f64) -> Rise {
        let start = Start::Lower(0.0);
        let at = self.motion.after(start, time);
        Rise {
            start: 0.0,
            energy: self.motion.energy(start),
            duration: time,
            end: at.current,
            wait: 0.0,
            dead: time,
            at,
            arrives: None,
            completed: self.completed(at.w),
        }
    }

    /// The turn-on at the ring's top, at its bottom, and its mean over the time
    /// of a ring. Where the high side's diode has taken what was left, the swing is
    /// the smaller one after that; beyond its level the node counts as arrived.
    fn ring_turn_on(&mut self) -> [TurnOn; 3] {
        if let Some(known) = self.over_ring {
            return known;
        }
        let motion = &mut self.motion;
        let (first, need) = (motion.lower.need, motion.upper.need);
        let (k, beyond) = if motion.upper.reaches(first) {
            let way = motion.excursion(Level::Upper, (first - need).sqrt());
            let left = way
                .returns
                .map_or(first, |current| need + current * current);
            (left, way.back.time)
        } else {
            (first, 0.0)
        };
        let (node, top) = (motion.node, self.top);
        let (up, down) = (motion.upper.travel(&node, k), motion.lower.travel(&node, k));
        let sums = [&mut motion.upper, &mut motion.lower].map(|side| {
            (
                side.integral(&node, k, |w, _| node.above - w),
                side.integral(&node, k, |_, from| node.turn_on_energy(from, top)),
            )
        });
        let energy_beyond = if beyond > 0.0 {
            motion.integral_beyond(Level::Upper, (k - need).sqrt(), |distance| {
                node.turn_on_energy(node.moments(node.above + distance), top)
            })
        } else {
            0.0
        };
        let time = up.time + beyond + down.time;
        let mean = |sum: f64| if time > 0.0 { sum / time } else { 0.0 };
        let found = [
            self.turn_on(up.distance),
            self.turn_on(-down.distance),
            TurnOn {
                voltage: Voltage::from_coherent(mean(sums[0].0 + sums[1].0)),
                energy: Energy::from_coherent(mean(sums[0].1 + sums[1].1 + energy_beyond)),
            },
        ];
        self.over_ring = Some(found);
        found
    }
}
