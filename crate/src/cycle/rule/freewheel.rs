//! Discontinuous conduction with a clamp at fixed frequency: the trip resets the
//! current in every cell, and the hold takes what is left of it.

use super::{Found, Whole, closed};
use crate::cycle::balance::{Excess, Rise, Stroke, close};
use crate::cycle::motion::Start;
use crate::cycle::solver::{Bench, Near};
use crate::cycle::state::State;

pub(super) fn solve(bench: &mut Bench) -> Found {
    let Some(release) = bench.tripped() else {
        return Found::without_trip();
    };
    let motion = &mut bench.motion;
    let energy = motion.energy(Start::Lower(-release));
    let clamp_on = energy.sqrt();
    let partial = motion.lower.travel(&motion.node, energy);
    let known = Found {
        release: Some(release),
        clamp_on: Some(clamp_on),
        partial_rise: Some(partial.time),
        ..Found::without_cell(State::NoHoldTime)
    };
    let charge = bench.levels.load * bench.n.period;
    let period = bench.n.period;

    let mut last: Option<(f64, Rise, Stroke)> = None;
    let mut excess = |bench: &mut Bench, hold: f64| {
        let left = bench.ramps.decay.after(clamp_on, hold);
        let rise = bench.rise(Start::Output(left * left), bench.n.dead_time);
        let balanced = bench.balanced(&rise, -release, charge);
        last = balanced.stroke.map(|stroke| (hold, rise, stroke));
        let over = hold + rise.duration + rise.wait + balanced.time + partial.time - period;
        let doubt = balanced.doubt;
        Excess { over, doubt }
    };
    let near = bench.near.or_else(|| {
        let first = period / 4.0;
        // The hold takes what the others leave: the excess rises by about as much.
        let root = first - excess(bench, first).over;
        let some = root.partial_cmp(&0.0) == Some(std::cmp::Ordering::Greater)
            || excess(bench, 0.0).over < 0.0;
        some.then_some(Near { root, slope: 1.0 })
    });
    let mut left = Excess::NONE;
    bench.near = near.map(|near| {
        let tolerance = bench.tolerance();
        close((0.0, period), near, tolerance, |hold| {
            left = excess(bench, hold);
            left
        })
    });
    if !closed(left, bench) {
        // However short the hold, the intervals are longer than a cell; or the
        // shortest on-time brings too much charge already.
        let over = excess(bench, 0.0).over;
        let state = if over < 0.0 {
            State::BelowLeastOnTime
        } else if bench.bare_time() > period {
            State::BeyondDiscontinuous
        } else {
            State::NoHoldTime
        };
        let short = (over >= 0.0 && over.is_finite()).then_some(over);
        return Found {
            state,
            short,
            ..known
        };
    }
    let Some((hold, rise, stroke)) = last else {
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
            partial: Some(partial),
            hold: Some((hold, bench.ramps.decay.over(clamp_on, hold))),
            ring: None,
        }),
        ..known
    }
    .judged(bench)
}

impl Bench {
    /// The trip threshold that leaves the margin over the floor after a hold of a whole
    /// cell, the longest there can be; below zero where the delay or the partial rise alone
    /// gives more.
    pub fn trip_wanted(&self) -> f64 {
        let (n, motion) = (&self.n, &self.motion);
        let left = n.margin * motion.upper.need.sqrt();
        let clamp_on = self.ramps.decay.before(left, n.period);
        let release = (clamp_on * clamp_on - motion.lower.need).max(0.0).sqrt();
        let trip = -self.end_of_release().before(-release, n.delay);
        trip + n.offset
    }

    /// The largest magnitude of the negative current that the release path can reach;
    /// none where it has no resistance.
    pub fn trip_reach(&self) -> Option<f64> {
        let ramp = self.ramps.release;
        (ramp.resistance > 0.0).then(|| self.levels.below / ramp.resistance)
    }

    /// The current at the release: the trip's, and what the delay adds. `None`
    /// where the trip cannot be reached.
    pub fn tripped(&self) -> Option<f64> {
        let ramp = self.end_of_release();
        if self.n.trip * ramp.resistance >= self.levels.below {
            return None;
        }
        // Released with the current still positive, the low side's diode carries
        // it to zero.
        Some((-ramp.after(-self.n.trip, self.n.delay)).max(0.0))
    }

    /// The time of energising and release from zero to zero current at this
    /// load, without edges: discontinuous conduction needs it within a cell.
    pub fn bare_time(&self) -> f64 {
        let charge = self.levels.load * self.n.period;
        if charge == 0.0 {
            return 0.0;
        }
        let (up, down) = (self.ramps.energise, self.ramps.release);
        let farthest = up.drive / up.resistance;
        let of = |peak: f64| (up.between(0.0, peak), down.between(peak, 0.0));
        let (a, b) = (self.levels.above, self.levels.below);
        let mut peak = (2.0 * charge / self.n.inductance * a * b / (a + b)).sqrt();
        let (mut low, mut high) = (0.0, farthest);
        for _ in 0..100 {
            if !(peak > low && peak < high) {
                peak = f64::midpoint(low, high);
            }
            let (on, off) = of(peak);
            let error = on.charge + off.charge - charge;
            if error > 0.0 {
                high = peak;
            } else {
                low = peak;
            }
            let slope = self.n.inductance
                * peak
                * (1.0 / (a - up.resistance * peak) + 1.0 / (b + down.resistance * peak));
            let step = error / slope;
            if step.abs() <= 1e-14 * peak || high - low <= f64::EPSILON * high {
                break;
            }
            peak -= step;
        }
        let (on, off) = of(peak);
        on.time + off.time
    }
}
