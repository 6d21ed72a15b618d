//! From the high side's turn-on to the low side's release: energise, fall,
//! release, and the peak current at which their charge is what the load takes.

use super::motion::{Moved, Start};
use super::ramp::{Ramp, Ramped};
use super::solver::{Bench, Near};

/// Part of the peak current's square to which a charge is nearly met.
const NEARLY: f64 = 1e-3;
/// Part of what is missing by which its correction may be wrong.
const WRONG: f64 = 1e-2;
/// Times a tolerance up to which a doubt that no longer shrinks counts as rounding.
const ROUNDING: f64 = 5.0;
/// Part of the peak current's square that is left open at best.
const LEAST_OPEN: f64 = 1e-12;
/// Times the doubt in two values by which they differ where a slope is taken.
const SURE: f64 = 10.0;

/// Part of the peak current's square between the two places of a difference quotient.
const APART: f64 = 1e-4;

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
    /// When the node comes to the upper level if nothing is turned on before, and the
    /// current then; `None` where it does not come there.
    pub arrives: Option<(f64, f64)>,
    /// The charge with which the high side completes the edge.
    pub completed: f64,
}

/// The falling edge, up to the low side's turn-on.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Fall {
    /// To the node's arrival or, without it, to the turn-on.
    pub time: f64,
    /// The current then.
    pub end: f64,
    /// From there to the turn-on, where a body diode conducts or the node rings.
    pub wait: f64,
    /// The integral of the current's square without the diodes' share.
    pub square: f64,
    /// The node at the turn-on, from the output voltage.
    pub w: f64,
    /// The current at the turn-on.
    pub current: f64,
    /// The body diodes.
    pub high: Ramped,
    pub low: Ramped,
    /// When the node comes to the lower level if nothing is turned on before, and the
    /// current then; `None` where it does not come there.
    pub arrives: Option<(f64, f64)>,
    /// From the high side's turn-off to the low side's turn-on.
    pub dead: f64,
    /// Whether the turn-on cuts into the node's motion.
    pub cut: bool,
}

/// Energise, fall and release.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stroke {
    pub peak: f64,
    pub on: Ramped,
    pub fall: Fall,
    pub release: Ramped,
    /// The current at the release, signed.
    pub end: f64,
    /// The charge to the output, from the start of the rise to here, with the
    /// node's own.
    pub charge: f64,
    /// How fast charge and time grow with the square of the peak current.
    slope: Slope,
}

/// Charge and time, or what they gain with the square of the peak current.
#[derive(Clone, Copy, Debug, Default)]
struct Slope {
    charge: f64,
    time: f64,
}

/// The way down from the peak current: the fall, the release, and what they bring of
/// charge and time.
#[derive(Clone, Copy, Debug)]
struct Descent {
    fall: Fall,
    release: Ramped,
    gain: Slope,
}

/// A stroke that brings the charge of a cell, or nearly.
#[derive(Clone, Copy, Debug)]
pub(super) struct Balanced {
    /// None where already no peak at all brings more.
    pub stroke: Option<Stroke>,
    /// Its time; where the charge is not yet met, corrected for what is missing.
    pub time: f64,
    /// By how much that may be wrong.
    pub doubt: f64,
}

impl Stroke {
    pub fn time(&self) -> f64 {
        self.on.time + self.fall.time + self.fall.wait + self.release.time
    }
}

impl Bench {
    /// The rising edge from a start, with the dead time in force or soon after
    /// the node has arrived.
    pub fn rise(&mut self, start: Start, dead_time: Option<f64>) -> Rise {
        let dead = dead_time.unwrap_or_else(|| self.motion.adaptive_instant(start));
        let at = self.motion.after(start, dead);
        let energy = self.motion.energy(start);
        let current = match start {
            Start::Output(k) => -k.sqrt(),
            Start::Lower(current) | Start::Upper(current) => current,
        };
        let (duration, end) = at.arrival.unwrap_or((dead, at.current));
        // One that is missed by an early turn-on is there all the same.
        let arrives = at.arrival.or_else(|| self.motion.arrival(start));
        Rise {
            start: current,
            energy,
            duration,
            end,
            wait: dead - duration,
            dead,
            at,
            arrives,
            completed: self.completed(at.w),
        }
    }

    /// The falling edge from the peak current's square, with the dead time in force or
    /// until the node comes no nearer to the lower level.
    fn fall(&mut self, z: f64) -> Fall {
        let motion = &mut self.motion;
        let k = z + motion.upper.need;
        let from_top = motion.upper.travel(&motion.node, k);
        let down = motion.lower.travel(&motion.node, k);
        let time = from_top.time + down.time;
        let arrives = motion.lower.reaches(k).then_some((time, down.current));
        let free = Fall {
            time,
            end: down.current,
            square: from_top.square + down.square,
            w: -down.distance,
            current: down.current,
            arrives,
            dead: time,
            ..Fall::default()
        };
        // A peak beyond numbers moves nothing.
        let Some(dead) = self.n.low_dead_time.filter(|_| k.is_finite()) else {
            return free;
        };
        let left = dead - time;
        if arrives.is_some()
            && left >= 0.0
            && let Some(held) = motion.held_low(free.current, left)
        {
            if self.n.low_drop == 0.0 {
                // A diode without a drop counts as its channel.
                return Fall { dead, ..free };
            }
            return Fall {
                wait: left,
                current: held.current,
                square: free.square + held.square,
                w: held.w,
                low: held.diode,
                dead,
                ..free
            };
        }
        let at = motion.after(Start::Upper(z.sqrt()), dead);
        let (time, end) = at.fallen.unwrap_or((dead, at.current));
        Fall {
            time,
            end,
            wait: dead - time,
            square: at.square,
            w: at.w,
            current: at.current,
            high: at.high,
            low: at.low,
            arrives,
            dead,
            cut: true,
        }
    }

    /// The fall from the square of a peak current and the release down to a current.
    fn descent(&mut self, z: f64, end: f64) -> Descent {
        let fall = self.fall(z);
        let release = self.released(fall.current, end);
        let charge = fall.high.charge + fall.low.charge + release.charge
            - (self.moments(fall.w).charge - self.bottom.charge);
        Descent {
            fall,
            release,
            gain: Slope {
                charge,
                time: fall.time + fall.wait + release.time,
            },
        }
    }

    /// The stroke up to the square of a peak current, and down to a current.
    pub fn stroke(&mut self, rise: &Rise, z: f64, end: f64) -> Stroke {
        let z = z.max(0.0);
        let peak = z.sqrt();
        let down = self.descent(z, end);
        let on = self.energised(rise.at.current, peak);
        let charge = on.charge
            + rise.at.high.charge
            + rise.at.low.charge
            + rise.completed
            + down.gain.charge;
        Stroke {
            peak,
            on,
            fall: down.fall,
            release: down.release,
            end,
            charge,
            slope: self.slope(z, end, &down.fall),
        }
    }

    /// What charge and time gain with the square of the peak current; the change of a
    /// complete fall itself does not count.
    fn slope(&mut self, z: f64, end: f64, fall: &Fall) -> Slope {
        let peak = z.sqrt();
        let inductance = self.n.inductance;
        let voltage = |ramp: Ramp, current: f64| (ramp.drive - ramp.resistance * current).abs();
        let up = inductance / 2.0 / voltage(self.ramps.energise, peak);
        let (charge, time) = if fall.cut {
            let step = APART * z;
            let [low, high] = [z - step, z + step].map(|z| self.descent(z, end).gain);
            let over = |low: f64, high: f64| (high - low) / (2.0 * step);
            (over(low.charge, high.charge), over(low.time, high.time))
        } else if fall.arrives.is_none() {
            // The node stops short of its level.
            (
                inductance / 2.0 / (-fall.w).max(1e-9 * self.motion.node.below),
                0.0,
            )
        } else if fall.wait > 0.0 {
            let time = inductance / voltage(self.ramps.release, fall.current);
            let after = 2.0 * fall.end;
            ((fall.wait + time * fall.current) / after, time / after)
        } else {
            let charge = inductance / 2.0 / voltage(self.ramps.release, fall.current);
            (charge, charge / fall.current)
        };
        Slope {
            charge: up + charge,
            time: up / peak + time,
        }
    }

    /// To what the intervals of a cell are to add up.
    pub fn tolerance(&self) -> Excess {
        Excess {
            over: self.closing * self.n.period,
            doubt: WRONG * self.closing.max(LEAST_OPEN) * self.n.period,
        }
    }

    /// A stroke that brings a charge, from the peak current that did so last: where the
    /// charge is nearly met, the next one will be nearer.
    pub fn balanced(&mut self, rise: &Rise, end: f64, charge: f64) -> Balanced {
        if let Some(z) = self.last_peak.filter(|_| !self.strict) {
            let stroke = self.stroke(rise, z, end);
            let error = stroke.charge - charge;
            let step = error / stroke.slope.charge;
            let whole = charge.abs() + stroke.on.charge.abs();
            let open = (step / z).abs().max((error / whole).abs());
            if open <= NEARLY {
                self.last_peak = Some(z - step);
                return Balanced {
                    stroke: Some(stroke),
                    time: stroke.time() - step * stroke.slope.time,
                    doubt: WRONG * open * self.n.period,
                };
            }
        }
        let z = self.peak(rise, end, charge);
        let stroke = self.stroke(rise, z.unwrap_or(0.0), end);
        Balanced {
            stroke: z.map(|_| stroke),
            time: stroke.time(),
            doubt: 0.0,
        }
    }

    /// The charge with which the high side completes the rising edge: below zero where
    /// the node stands beyond its level.
    pub fn completed(&self, w: f64) -> f64 {
        if w == self.motion.node.above {
            return 0.0;
        }
        self.top.charge - self.motion.node.moments(w).charge
    }

    /// The square of the peak current at which rise and stroke bring a charge;
    /// `None` where already no peak at all brings more.
    fn peak(&mut self, rise: &Rise, end: f64, charge: f64) -> Option<f64> {
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
                    let none = self.stroke(rise, 0.0, end).charge - charge;
                    if none >= 0.0 {
                        return (none == 0.0).then_some(0.0);
                    }
                }
                z = f64::midpoint(low, high.min(4.0 * low + start + end * end + charge / l));
            }
            if z >= high {
                z = f64::midpoint(low, high);
            }
            let stroke = self.stroke(rise, z, end);
            let error = stroke.charge - charge;
            if error > 0.0 {
                high = z;
            } else {
                low = z;
            }
            let step = error / stroke.slope.charge;
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
}

/// How far the intervals of a cell exceed it, and by how much that may be wrong while
/// the charge is not met.
#[derive(Clone, Copy, Debug)]
pub(super) struct Excess {
    pub over: f64,
    pub doubt: f64,
}

impl Excess {
    /// A value that no search has found.
    pub const NONE: Self = Self {
        over: f64::INFINITY,
        doubt: 0.0,
    };
}

/// The root of a rising function between two ends, from a first guess and with
/// a first slope: the secant, kept inside its bracket. Both tolerances hold at the
/// function's last call. Returned with the last slope.
pub(super) fn close(
    (mut low, mut high): (f64, f64),
    near: Near,
    tolerance: Excess,
    mut function: impl FnMut(f64) -> Excess,
) -> Near {
    let Near {
        root: mut x,
        mut slope,
    } = near;
    let mut before: Option<(f64, Excess)> = None;
    let mut width = high - low;
    let mut narrowed = 0;
    for _ in 0..200 {
        if !(x > low && x < high) {
            x = f64::midpoint(low, high);
        }
        let y = function(x);
        if let Some((x_before, y_before)) = before {
            let rise = y.over - y_before.over;
            if rise.abs() > SURE * (y.doubt + y_before.doubt) && rise != 0.0 && x != x_before {
                slope = rise / (x - x_before);
            }
        }
        // Rounding may keep a doubt above what was asked for.
        let least = before.is_some_and(|(_, before)| before.doubt <= 2.0 * y.doubt);
        let sure = y.doubt <= tolerance.doubt || (least && y.doubt <= ROUNDING * tolerance.doubt);
        if (sure && y.over.abs() <= tolerance.over) || high - low <= 2.0 * f64::EPSILON * x.abs() {
            break;
        }
        if y.over.abs() > y.doubt {
            if y.over > 0.0 {
                high = x;
            } else {
                low = x;
            }
            narrowed += 1;
        }
        before = Some((x, y));
        x -= y.over / slope;
        if narrowed == 4 {
            // A bracket that hardly shrinks is halved.
            if high - low > width / 2.0 {
                x = f64::midpoint(low, high);
            }
            (width, narrowed) = (high - low, 0);
        }
    }
    Near { root: x, slope }
}
