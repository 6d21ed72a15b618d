//! The node beyond one of its levels: a body diode with a drop takes the current only
//! when the node stands that drop beyond.
//!
//! From the level the current moves the node on; at the drop the diode conducts until
//! the current is zero; then the node falls back to the level. With less current it
//! turns before the drop. Beyond the level the near side's transistor has the
//! capacitance that it has at zero volts.

use super::gauss;

/// Multiple of the drop beyond which the turning point no longer matters.
const FARTHEST: f64 = 64.0;
/// Part of what the capacitance at a place leaves of the current's square next to the
/// turning point that any capacitance leaves: what a difference must not fall below.
const LEAST: f64 = 0.1;

/// A stretch on which the node moves freely beyond a level.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Arc {
    pub time: f64,
    /// The integral of the current's square.
    pub square: f64,
    /// How far beyond the level it ends.
    pub distance: f64,
    /// The current's magnitude there.
    pub current: f64,
}

/// The way of a node that leaves a level outwards with some current.
pub(super) struct Beyond<'k, F> {
    /// The capacitance so far beyond the level, and the integral of it times the voltage
    /// across the inductor from the level to there.
    outside: F,
    /// Where it has kinks, in order.
    breaks: &'k [f64],
    /// Two over the inductance.
    factor: f64,
    /// The level's distance from the output voltage.
    reach: f64,
    /// The current's square at the turning point: zero but where that is far enough out.
    rest: f64,
    /// Where the current comes to zero, or far enough out.
    turning: f64,
    /// The integral to there.
    spent: f64,
    /// The diode's drop.
    drop: f64,
}

impl<'k, F: Fn(f64) -> (f64, f64)> Beyond<'k, F> {
    /// `reach` is the level's distance from the output voltage.
    pub fn new(
        outside: F,
        breaks: &'k [f64],
        inductance: f64,
        reach: f64,
        drop: f64,
        current: f64,
    ) -> Self {
        let factor = 2.0 / inductance;
        let square = current * current;
        let farthest = FARTHEST * drop;
        let (at_level, _) = outside(0.0);
        let mut turning = (square / (factor * at_level * reach)).min(farthest);
        if factor * outside(farthest).1 <= square {
            turning = farthest;
        } else {
            let (mut low, mut high) = (0.0, farthest);
            // The integral is a difference: what rounding leaves of it.
            let rounding = 4.0 * f64::EPSILON * (square + factor * at_level * reach * reach);
            for _ in 0..60 {
                let (capacitance, work) = outside(turning);
                let error = factor * work - square;
                if error.abs() <= rounding {
                    break;
                }
                if error > 0.0 {
                    high = turning;
                } else {
                    low = turning;
                }
                let slope = factor * capacitance * (reach + turning);
                let mut next = turning - error / slope;
                if !(next > low && next < high) {
                    next = f64::midpoint(low, high);
                }
                turning = next;
            }
        }
        let spent = outside(turning).1;
        let rest = if turning < farthest {
            0.0
        } else {
            square - factor * spent
        };
        Self {
            outside,
            breaks,
            factor,
            reach,
            rest,
            turning,
            spent,
            drop,
        }
    }

    /// The same of a node that comes to the level from the drop beyond it, the current
    /// there zero: its way backwards.
    pub fn from_drop(
        outside: F,
        breaks: &'k [f64],
        inductance: f64,
        reach: f64,
        drop: f64,
    ) -> Self {
        let spent = outside(drop).1;
        Self {
            outside,
            breaks,
            factor: 2.0 / inductance,
            reach,
            rest: 0.0,
            turning: drop,
            spent,
            drop,
        }
    }

    /// The current's square at a distance where capacitance and integral are known.
    fn square_at(&self, distance: f64, (capacitance, work): (f64, f64)) -> f64 {
        let left = self.turning - distance;
        let least = LEAST * self.factor * capacitance * (self.reach + distance) * left;
        self.rest + (self.factor * (self.spent - work)).max(least)
    }

    /// The integrals over the time of the arc from the level to a distance, of one and of
    /// a function of the distance, and that of the current's square.
    fn integrals(&self, distance: f64, function: impl Fn(f64) -> f64) -> [f64; 3] {
        // By the root of the distance to the turning point the integrands are smooth.
        let root = |distance: f64| (self.turning - distance).max(0.0).sqrt();
        let breaks = self
            .breaks
            .iter()
            .copied()
            .filter(|place| *place < distance);
        let mut sums = [0.0; 3];
        let mut far = root(0.0);
        for end in breaks.chain(std::iter::once(distance)) {
            let width = far - root(end);
            if width <= 0.0 {
                continue;
            }
            gauss::each(&gauss::PART, |s, weight| {
                let y = far - width * s;
                let place = self.turning - y * y;
                let outside = (self.outside)(place);
                let current = self.square_at(place, outside).sqrt();
                let moved = 2.0 * y * width * weight * outside.0;
                sums[0] += moved / current;
                sums[1] += moved / current * function(place);
                sums[2] += moved * current;
            });
            far = root(end);
        }
        sums
    }

    /// The arc from the level to a distance.
    fn to(&self, distance: f64) -> Arc {
        let [time, _, square] = self.integrals(distance, |_| 0.0);
        let end = if distance < self.turning || self.rest > 0.0 {
            self.square_at(distance, (self.outside)(distance)).sqrt()
        } else {
            0.0
        };
        Arc {
            time,
            square,
            distance,
            current: end,
        }
    }

    /// The current at the level, a magnitude.
    pub fn start(&self) -> f64 {
        (self.rest + self.factor * self.spent.max(0.0)).sqrt()
    }

    /// The integral of a function of the distance over the time of the whole arc.
    pub fn integral(&self, function: impl Fn(f64) -> f64) -> f64 {
        self.integrals(self.end(), function)[1]
    }

    /// Where the whole arc ends.
    fn end(&self) -> f64 {
        self.turning.min(self.drop)
    }

    /// The whole arc: to the drop, or to the turning point before it.
    pub fn outwards(&self) -> Arc {
        self.to(self.end())
    }

    /// The arc from the level to a time after it, within the whole.
    pub fn after(&self, time: f64) -> Arc {
        let whole = self.outwards();
        let (mut low, mut high) = (0.0, whole.distance);
        let mut arc = self.to(whole.distance * (time / whole.time).clamp(0.0, 1.0));
        for _ in 0..100 {
            let error = arc.time - time;
            if error.abs() <= 1e-15 * whole.time {
                break;
            }
            if error > 0.0 {
                high = arc.distance;
            } else {
                low = arc.distance;
            }
            let (capacitance, _) = (self.outside)(arc.distance);
            let mut next = arc.distance - error * arc.current / capacitance;
            if !(next > low && next < high) {
                next = f64::midpoint(low, high);
            }
            if next == arc.distance || high - low <= f64::EPSILON * whole.distance {
                break;
            }
            arc = self.to(next);
        }
        arc
    }
}
