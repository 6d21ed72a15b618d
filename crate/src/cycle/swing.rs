//! The swing of the output capacitor's voltage over a cell: its charge, and the step
//! at its series resistance, as they coincide in time.
//!
//! With the current `i` into the capacitor the voltage `q/C + R i` has its extremes
//! where `i + R C di/dt` passes zero, at the corners between two stretches, or where
//! the clamp takes the inductor's current away and gives it back. A ring of the node
//! without clamp does not count beyond its two ends.

use super::motion::Start;
use super::ramp::Ramp;
use super::rule::Whole;
use super::solver::Bench;

/// Rounds in which an extreme within an edge is sought.
const ROUNDS: usize = 60;

/// The voltage times the capacitance on the way through the cell.
struct Swing {
    /// Series resistance times capacitance, a time.
    lag: f64,
    load: f64,
    /// Charge since the start.
    charge: f64,
    lowest: f64,
    highest: f64,
}

impl Swing {
    fn see(&mut self, more: f64, current: f64) {
        let value = self.charge + more + self.lag * (current - self.load);
        self.lowest = self.lowest.min(value);
        self.highest = self.highest.max(value);
    }

    /// A ramp from a current to another.
    fn ramp(&mut self, ramp: Ramp, from: f64, to: f64) {
        self.see(0.0, from);
        let part = self.lag / ramp.inductance;
        let extreme = (self.load - part * ramp.drive) / (1.0 - part * ramp.resistance);
        if (extreme - from) * (to - extreme) > 0.0 {
            let before = ramp.between(from, extreme);
            self.see(before.charge - self.load * before.time, extreme);
        }
        let whole = ramp.between(from, to);
        self.charge += whole.charge - self.load * whole.time;
        self.see(0.0, to);
    }
}

impl Bench {
    /// Peak to peak, times the capacitance: a charge.
    pub(super) fn swing(&mut self, whole: &Whole, clamp_on: Option<f64>, lag: f64) -> f64 {
        let (rise, stroke) = (&whole.rise, &whole.stroke);
        let mut swing = Swing {
            lag,
            load: self.levels.load,
            charge: 0.0,
            lowest: f64::INFINITY,
            highest: f64::NEG_INFINITY,
        };
        let held = whole.hold.is_some();
        let (start, from) = if held {
            (Start::Output(rise.energy), 0.0)
        } else {
            (Start::Lower(stroke.end), -self.motion.node.below)
        };
        // Where the way up to the output is an interval of its own, it comes first.
        let before = whole.partial.filter(|_| !held).map_or(0.0, |p| p.time);
        let length = before + rise.duration + rise.wait;
        let current = if held { rise.start } else { stroke.end };
        swing.see(0.0, current);
        if whole.ring.is_none() {
            self.edge(&mut swing, start, from, length);
        }
        let diodes = rise.at.high.charge + rise.at.low.charge;
        let moved = self.moments(from).charge - self.moments(rise.at.w).charge;
        swing.charge += moved + diodes - swing.load * length;
        let energise = self.ramps.energise;
        swing.ramp(energise, rise.at.current, stroke.peak);

        let fall = &stroke.fall;
        let above = self.motion.node.above;
        let length = fall.time + fall.wait;
        self.edge(&mut swing, Start::Upper(stroke.peak), above, length);
        let moved = self.top.charge - self.moments(fall.w).charge;
        swing.charge += moved + fall.high.charge + fall.low.charge - swing.load * length;
        let release = self.ramps.release;
        swing.ramp(release, fall.current, stroke.end);

        if let (Some((hold, _)), Some(partial), Some(clamp_on)) =
            (whole.hold, whole.partial, clamp_on)
        {
            swing.charge += self.bottom.charge - swing.load * partial.time;
            swing.see(0.0, -clamp_on);
            swing.see(0.0, 0.0);
            swing.charge -= swing.load * hold;
            swing.see(0.0, 0.0);
        }
        (swing.highest - swing.lowest).max(0.0)
    }

    /// An extreme within the node's own motion from a place up to a time.
    fn edge(&mut self, swing: &mut Swing, start: Start, from: f64, length: f64) {
        let part = swing.lag / self.n.inductance;
        let mut slope = |time: f64| {
            let at = self.motion.after(start, time);
            (at, at.current - swing.load + part * at.w)
        };
        let (mut early, mut late) = (0.0, length);
        let (first, last) = (slope(early).1, slope(late).1);
        if first * last >= 0.0 {
            return;
        }
        let mut time = length * first / (first - last);
        let (mut low, mut high) = (first, last);
        for round in 0..ROUNDS {
            let (_, value) = slope(time);
            if value == 0.0 || (late - early) <= 1e-12 * length {
                break;
            }
            if value * first > 0.0 {
                (early, low) = (time, value);
            } else {
                (late, high) = (time, value);
            }
            // The chord, and a halving now and then lest one end stay.
            time = if round % 3 == 2 {
                f64::midpoint(early, late)
            } else {
                early + (late - early) * low / (low - high)
            };
        }
        let (at, _) = slope(time);
        let moved = self.moments(from).charge - self.moments(at.w).charge;
        let charge = moved + at.high.charge + at.low.charge;
        swing.see(charge - swing.load * time, at.current);
    }
}
