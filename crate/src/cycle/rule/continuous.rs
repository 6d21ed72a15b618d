//! Continuous conduction at fixed frequency: the valley current follows from the
//! balance. A positive one turns the high side on with the node at its lower
//! level; one that is negative enough carries the node up.

use super::{Found, Whole, closed};
use crate::cycle::balance::{Excess, Rise, Stroke, close};
use crate::cycle::motion::Start;
use crate::cycle::solver::{Bench, Near};
use crate::cycle::state::State;

/// Doublings in which a valley current is sought.
const DOUBLINGS: u32 = 60;

pub(super) fn solve(bench: &mut Bench) -> Found {
    let motion = &bench.motion;
    let enough = (motion.upper.need - motion.lower.need).max(0.0).sqrt();
    let stated = bench.n.dead_time;
    // Without a stated dead time the high side turns on at once, or, where the
    // valley is negative enough for the node to arrive, then.
    let hard = with_dead_time(bench, stated.or(Some(0.0)), -bench.levels.load);
    match hard.release {
        Some(valley) if stated.is_none() && valley > enough => {
            (bench.near, bench.last_peak) = (None, None);
            let soft = with_dead_time(bench, None, enough);
            if soft.whole.is_some() { soft } else { hard }
        }
        _ => hard,
    }
}

/// The cell with a dead time; the negated valley current is sought above `least`.
fn with_dead_time(bench: &mut Bench, dead_time: Option<f64>, least: f64) -> Found {
    let nothing = Found::without_cell(State::BeyondDiscontinuous);
    let period = bench.n.period;
    let charge = bench.levels.load * period;
    let mut last: Option<(Rise, Stroke)> = None;
    let mut before = None;
    let mut excess = |bench: &mut Bench, valley: f64| {
        // The load's charge stays: the peak rises by what the valley falls.
        if let (Some(before), Some(z)) = (before.replace(valley), bench.last_peak) {
            let peak: f64 = z.sqrt() + valley - before;
            bench.last_peak = Some(peak * peak).filter(|z| *z > 0.0);
        }
        let rise = bench.rise(Start::Lower(-valley), dead_time);
        let balanced = bench.balanced(&rise, -valley, charge);
        last = balanced.stroke.map(|stroke| (rise, stroke));
        let over = rise.dead + balanced.time - period;
        let doubt = balanced.doubt;
        Excess { over, doubt }
    };
    let (a, b) = (bench.levels.above, bench.levels.below);
    let ramp = bench.ramps.release;
    let farthest = -ramp.drive / ramp.resistance * (1.0 - 1e-12);
    let (near, high) = if let Some(near) = bench.near {
        (near, farthest)
    } else {
        let at_least = excess(bench, least).over;
        if at_least.partial_cmp(&0.0) != Some(std::cmp::Ordering::Less) {
            return nothing;
        }
        // Half the ripple that the two slopes give.
        let ripple = a * b / (a + b) * period / bench.n.inductance;
        let guess = (ripple / 2.0 - bench.levels.load).max(least + ripple * 1e-3);
        let mut high = (guess.max(least + ripple), -1.0);
        for round in 0..DOUBLINGS {
            high.0 = high.0.min(farthest);
            high.1 = excess(bench, high.0).over;
            if high.1 > 0.0 || high.0 == farthest {
                break;
            }
            high.0 += ripple * f64::from(1u32 << round.min(30));
        }
        if high.1.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
            return nothing;
        }
        let slope = 2.0 * bench.n.inductance * (1.0 / a + 1.0 / b);
        let root = guess.min(high.0);
        (Near { root, slope }, high.0)
    };
    let mut left = Excess::NONE;
    let tolerance = bench.tolerance();
    let near = close((least, high), near, tolerance, |valley| {
        left = excess(bench, valley);
        left
    });
    bench.near = Some(near);
    let valley = near.root;
    let Some((rise, stroke)) = last.filter(|_| closed(left, bench)) else {
        return Found {
            state: State::BelowLeastOnTime,
            ..nothing
        };
    };
    Found {
        release: Some(valley),
        whole: Some(Whole {
            period,
            rise,
            stroke,
            partial: None,
            hold: None,
            ring: None,
        }),
        ..nothing
    }
    .judged(bench)
}
