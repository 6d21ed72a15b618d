//! No clamp: the low side conducts until the current is negative enough to carry
//! the node all the way up, then the next cell begins. The frequency follows.

use super::{Found, Whole};
use crate::cycle::balance::{Excess, Stroke, close};
use crate::cycle::motion::Start;
use crate::cycle::side::Travel;
use crate::cycle::solver::{Bench, Near};
use crate::cycle::state::State;

/// Part of the charge to which a cell must balance.
const BALANCED: f64 = 1e-14;
/// Doublings in which a peak current is sought.
const DOUBLINGS: u32 = 60;

pub(super) fn solve(bench: &mut Bench) -> Found {
    let Some(tripped) = bench.tripped() else {
        return Found::without_trip();
    };
    let lacking = (bench.motion.upper.need - bench.motion.lower.need).max(0.0);
    let release = tripped.max(bench.n.margin * lacking.sqrt());
    if release * bench.ramps.release.resistance >= bench.levels.below {
        return Found::without_trip();
    }
    let start = Start::Lower(-release);
    let mut rise = bench.rise(start, bench.n.dead_time);
    let known = Found {
        release: Some(release),
        partial_rise: rise.at.passed,
        ..Found::without_cell(State::BeyondDiscontinuous)
    };
    let load = bench.levels.load;
    let mut last = Stroke::default();
    let mut surplus = |bench: &mut Bench, peak: f64| {
        last = bench.stroke(&rise, peak * peak, -release);
        last.charge - load * (rise.dead + last.time())
    };
    // The average lies below the peak.
    let at_load = surplus(bench, load);
    if at_load >= 0.0 {
        return Found {
            state: State::BelowLeastOnTime,
            ..known
        };
    }
    let farthest = bench.ramps.energise.drive / bench.ramps.energise.resistance * (1.0 - 1e-12);
    let guess = (2.0 * load + release).max(1e-9);
    let mut high = (guess, -1.0);
    for _ in 0..DOUBLINGS {
        high.0 = high.0.min(farthest);
        high.1 = surplus(bench, high.0);
        if high.1 > 0.0 || high.0 == farthest {
            break;
        }
        high.0 *= 2.0;
    }
    if high.1.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
        return known;
    }
    let scale = bench.n.inductance
        * high.0
        * high.0
        * (1.0 / bench.levels.above + 1.0 / bench.levels.below);
    let near = Near {
        root: f64::midpoint(load, high.0),
        slope: scale / high.0,
    };
    let sure = |over| Excess { over, doubt: 0.0 };
    close((load, high.0), near, sure(BALANCED * scale), |peak| {
        sure(surplus(bench, peak))
    });
    let period = rise.dead + last.time();
    // The way up to the output voltage is an interval of its own.
    let partial = rise.at.passed.map(|time| {
        rise.duration -= time;
        rise.start = -rise.energy.sqrt();
        Travel {
            time,
            ..Travel::default()
        }
    });
    Found {
        whole: Some(Whole {
            period,
            rise,
            stroke: last,
            partial,
            hold: None,
            ring: None,
        }),
        ..known
    }
    .judged(bench)
}
