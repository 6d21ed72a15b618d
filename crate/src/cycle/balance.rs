//! From the high side's turn-on to the low side's release: energise, fall,
//! release, and the peak current at which their charge is what the load takes.

use super::motion::{Moved, Start};
use super::ramp::Ramped;
use super::side::Travel;
use super::solver::Bench;

/// How the node comes to the high side's turn-on.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Rise {
    /// The inductor's current at the start, signed.
    pub start: f64,
    /// The current's square at the output voltage.
    pub energy: f64,
    /// To the node's arrival, or to the turn-on without it.
    pub duration: f64,
    /// The current then.
    pub end: f64,
    /// From there to the turn-on.
    pub wait: f64,
    /// From the clamp's opening, or the low side's release, to the turn-on.
    pub dead: f64,
    /// The node at the turn-on.
    pub at: Moved,
    /// Arrival and end of the diode's hold, where the node arrives.
    pub window: Option<(f64, f64)>,
    /// The charge with which the high side completes the edge.
    pub completed: f64,
}

/// The falling edge.
#[derive(Clone, Copy, Debug, Default)]
struct Fall {
    time: f64,
    square: f64,
    /// Where it ends, from the output voltage.
    w: f64,
    current: f64,
}

/// Energise, fall and release.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stroke {
    pub peak: f64,
    pub on: Ramped,
    pub fall: f64,
    pub fall_square: f64,
    /// Where the fall ends, from the output voltage.
    pub fall_end: f64,
    pub after_fall: f64,
    pub low_hold: Ramped,
    pub release: Ramped,
    /// The current at the release, signed.
    pub end: f64,
    /// The charge to the output, from the start of the rise to here, with the
    /// node's own.
    pub charge: f64,
}

impl Stroke {
    pub fn time(&self) -> f64 {
        self.on.time + self.fall + self.low_hold.time + self.release.time
    }
}

impl Bench {
    /// The rising edge from a start, with the dead time in force or at the best
    /// instant.
    pub fn rise(&mut self, start: Start, dead_time: Option<f64>) -> Rise {
        let dead = dead_time.unwrap_or_else(|| self.motion.best_instant(start));
        let at = self.motion.after(start, dead);
        let energy = self.motion.energy(start);
        let current = match start {
            Start::Output(k) => -k.sqrt(),
            Start::Lower(current) => current,
        };
        let (duration, end) = at.arrival.unwrap_or((dead, at.current));
        let window = at.arrival.map(|(time, current)| {
            (
                time,
                time + self.motion.high_diode.between(current, 0.0).time,
            )
        });
        Rise {
            start: current,
            energy,
            duration,
            end,
            wait: dead - duration,
            dead,
            at,
            window,
            completed: self.completed(at.w),
        }
    }

    /// The falling edge from the peak current's square.
    fn fall(&mut self, z: f64) -> Fall {
        let motion = &mut self.motion;
        let k = z + motion.upper.need;
        let from_top = motion.upper.travel(&motion.node, k);
        if motion.lower.reaches(k) {
            let down = motion.lower.travel(&motion.node, k);
            return Fall {
                time: from_top.time + down.time,
                square: from_top.square + down.square,
                w: -motion.node.below,
                current: down.current,
            };
        }
        let down: Travel = motion.lower.travel(&motion.node, k);
        Fall {
            time: from_top.time + down.time,
            square: from_top.square + down.square,
            w: -down.distance,
            current: 0.0,
        }
    }

    /// The time for which the low side's diode carries the current after the
    /// fall: to the end of the dead time, and at most until the current is zero.
    fn low_hold(&self, fall: f64, current: f64) -> Ramped {
        let Some(dead_time) = self.n.dead_time.filter(|_| self.n.low_drop > 0.0) else {
            return Ramped::default();
        };
        let left = dead_time - fall;
        if left <= 0.0 || current <= 0.0 {
            return Ramped::default();
        }
        let diode = self.motion.low_diode;
        let whole = diode.between(current, 0.0);
        if whole.time <= left {
            return whole;
        }
        Ramped {
            time: left,
            ..diode.between(current, diode.after(current, left))
        }
    }

    /// The stroke up to the square of a peak current, and down to a current.
    pub fn stroke(&mut self, rise: &Rise, z: f64, end: f64) -> Stroke {
        let peak = z.max(0.0).sqrt();
        let fall = self.fall(z.max(0.0));
        let on = self.energised(rise.at.current, peak);
        let low_hold = self.low_hold(fall.time, fall.current);
        let held = if low_hold.time == 0.0 {
            fall.current
        } else {
            self.motion
                .low_diode
                .after(fall.current, low_hold.time)
                .max(0.0)
        };
        let release = self.ramps.release.between(held, end);
        let node = &self.motion.node;
        let charge = on.charge
            + rise.at.high.charge
            + rise.at.low.charge
            + low_hold.charge
            + release.charge
            + rise.completed
            - (node.moments(fall.w).charge - self.bottom.charge);
        Stroke {
            peak,
            on,
            fall: fall.time,
            fall_square: fall.square,
            fall_end: fall.w,
            after_fall: fall.current,
            low_hold,
            release,
            end,
            charge,
        }
    }

    /// The charge with which the high side completes the rising edge.
    pub fn completed(&self, w: f64) -> f64 {
        if w >= self.motion.node.above {
            return 0.0;
        }
        self.top.charge - self.motion.node.moments(w).charge
    }

    /// The square of the peak current at which rise and stroke bring a charge;
    /// `None` where already no peak at all brings more.
    pub fn peak(&mut self, rise: &Rise, end: f64, charge: f64) -> Option<f64> {
        let (a, b) = (self.levels.above, self.levels.below);
        let l = self.n.inductance;
        let swing = self.motion.upper.need - self.motion.lower.need;
        let fixed = rise.completed + rise.at.high.charge + rise.at.low.charge;
        let start = rise.at.current * rise.at.current;
        let mut z =
            a * b / (a + b) * (2.0 * (charge - fixed) / l + start / a + (end * end - swing) / b);
        let farthest = a / self.ramps.energise.resistance;
        let (mut low, mut high) = (0.0, farthest * farthest);
        let mut checked = false;
        for _ in 0..100 {
            if z.partial_cmp(&low) != Some(std::cmp::Ordering::Greater) {
                if !checked {
                    checked = true;
                    let none = self.stroke_charge(rise, 0.0, end).0 - charge;
                    if none >= 0.0 {
                        return (none == 0.0).then_some(0.0);
                    }
                }
                z = f64::midpoint(low, high.min(4.0 * low + start + end * end + charge / l));
            }
            if z >= high {
                z = f64::midpoint(low, high);
            }
            let (found, slope) = self.stroke_charge(rise, z, end);
            let error = found - charge;
            if error > 0.0 {
                high = z;
            } else {
                low = z;
            }
            let step = error / slope;
            if step.abs() <= 1e-15 * z || high - low <= f64::EPSILON * high {
                z -= step;
                break;
            }
            z -= step;
            if step.abs() <= 1e-7 * z {
                // The charge is nearly a line in the current's square: Newton's next
                // step is below a double's last digit.
                break;
            }
        }
        self.last_peak = Some(z).filter(|z| *z > 0.0);
        Some(z.max(0.0))
    }

    /// The charge of a stroke and its slope with the peak current's square.
    fn stroke_charge(&mut self, rise: &Rise, z: f64, end: f64) -> (f64, f64) {
        let peak = z.sqrt();
        let on = self.ramps.energise.between(rise.at.current, peak);
        let motion = &mut self.motion;
        let k = z + motion.upper.need;
        let fixed = rise.at.high.charge + rise.at.low.charge;
        let up = self.ramps.energise.drive - self.ramps.energise.resistance * peak;
        let half = self.n.inductance / 2.0;
        let (after, left, down) = if motion.lower.reaches(k) {
            let after = (k - motion.lower.need).sqrt();
            let ramp = &self.ramps.release;
            (after, 0.0, ramp.resistance * after - ramp.drive)
        } else {
            let distance = motion.lower.travel(&motion.node, k).distance;
            let left = motion.node.moments(-distance).charge - self.bottom.charge;
            (0.0, left, distance.max(1e-9 * motion.node.below))
        };
        let (mut held, mut hold) = (after, Ramped::default());
        if self.n.low_drop > 0.0 && self.n.dead_time.is_some() && after > 0.0 {
            let fall = self.fall(z).time;
            hold = self.low_hold(fall, after);
            held = self.motion.low_diode.after(after, hold.time).max(0.0);
        }
        let release = self.ramps.release.between(held, end);
        let charge = on.charge + fixed + rise.completed + hold.charge + release.charge - left;
        (charge, half * (1.0 / up + 1.0 / down))
    }
}

/// The root of a rising function between two ends, from a first guess and with
/// a first slope: the secant, kept inside its bracket. The function's last call is
/// at the root.
pub(super) fn close(
    (mut low, mut high): (f64, f64),
    guess: f64,
    mut slope: f64,
    tolerance: f64,
    mut function: impl FnMut(f64) -> f64,
) -> f64 {
    let mut x = guess;
    let mut before: Option<(f64, f64)> = None;
    let mut width = high - low;
    for round in 0..200 {
        if !(x > low && x < high) {
            x = f64::midpoint(low, high);
        }
        let y = function(x);
        if y.abs() <= tolerance || high - low <= 2.0 * f64::EPSILON * x.abs() {
            break;
        }
        if y > 0.0 {
            high = x;
        } else {
            low = x;
        }
        if let Some((x_before, y_before)) = before {
            slope = (y - y_before) / (x - x_before);
        }
        before = Some((x, y));
        x -= y / slope;
        if round % 4 == 3 {
            // A bracket that hardly shrinks is halved.
            if high - low > width / 2.0 {
                x = f64::midpoint(low, high);
            }
            width = high - low;
        }
    }
    x
}
