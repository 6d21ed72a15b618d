//! The node's free travel on one side of the output voltage.
//!
//! With the current's square `k` at the output voltage, energy gives it at every
//! distance: `i² = k - 2 W/L`. The duration `∫ C/i` and the squared current
//! `∫ C i` are taken by a fixed Gauss rule. Where the current comes to zero, at or
//! just beyond the end, the root of the distance to that point removes the
//! inverse square root; the root of the distance from the output spreads the
//! points where the clamp's junction is steep.

use super::gauss;
use super::node::{Kinks, Moments, Node};

/// A point of a rule: capacitance times weight, and the current's square that is
/// used up there.
#[derive(Clone, Copy, Debug)]
struct Sample {
    weight: f64,
    spent: f64,
    distance: f64,
}

/// A travel from the output voltage outwards.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Travel {
    pub time: f64,
    /// The integral of the current's square.
    pub square: f64,
    /// How far it came.
    pub distance: f64,
    /// The current's magnitude there.
    pub current: f64,
}

/// Part of a side beyond its end at which the turning point is sought: farther
/// out it no longer matters.
const BEYOND: f64 = 0.125;
/// Part of the greatest energy below which the node rests.
const RESTING: f64 = 1e-12;
/// Least part of the current's square at a point of a rule: next to a turning
/// point rounding must not bring it to zero.
const LEAST: f64 = 1e-10;

/// One side of the output voltage.
#[derive(Clone, Debug, Default)]
pub(super) struct Side {
    up: bool,
    /// Distance to the level.
    pub span: f64,
    /// The square of the current that just reaches the level.
    pub need: f64,
    /// Two over the inductance.
    factor: f64,
    breaks: Vec<f64>,
    samples: Vec<Sample>,
    /// End and turning point for which the samples were made.
    made_for: (f64, f64),
    scratch: Vec<Sample>,
}

impl Side {
    pub fn set(&mut self, node: &Node, kinks: &Kinks, inductance: f64, up: bool) {
        self.up = up;
        self.span = if up { node.above } else { node.below };
        self.factor = 2.0 / inductance;
        self.made_for = (f64::NAN, f64::NAN);
        node.breaks(kinks, up, &mut self.breaks);
        self.need = self.factor * node.moments(self.signed(self.span)).work.max(0.0);
    }

    /// The node's voltage from the output at a distance.
    pub fn signed(&self, distance: f64) -> f64 {
        if self.up { distance } else { -distance }
    }

    /// Whether a current's square reaches the level.
    pub fn reaches(&self, k: f64) -> bool {
        k >= self.need
    }

    /// From the output to the level, or to where the current comes to zero.
    pub fn travel(&mut self, node: &Node, k: f64) -> Travel {
        let (end, turning) = self.turning(node, k);
        if end == 0.0 {
            return Travel::default();
        }
        if self.made_for != (end, turning) {
            let mut samples = std::mem::take(&mut self.samples);
            self.fill(node, end, turning, &mut samples);
            self.samples = samples;
            self.made_for = (end, turning);
        }
        let (time, square) = sums(&self.samples, k);
        Travel {
            time,
            square,
            distance: end,
            current: if turning > end {
                (k - self.need).max(0.0).sqrt()
            } else {
                0.0
            },
        }
    }

    /// Where the node is a time after it left the output.
    pub fn after(&mut self, node: &Node, k: f64, time: f64) -> Travel {
        let whole = self.travel(node, k);
        if time >= whole.time {
            return whole;
        }
        if time <= 0.0 {
            return Travel {
                current: k.max(0.0).sqrt(),
                ..Travel::default()
            };
        }
        let (end, turning) = self.made_for;
        let mut samples = std::mem::take(&mut self.scratch);
        // The variable in which the travel is smooth up to its turning point.
        let (mut near, mut far) = ((turning - end).sqrt(), turning.sqrt());
        let quarter = std::f64::consts::FRAC_PI_2;
        let guess = (end / turning).min(1.0).asin() * time / whole.time;
        let mut y = (turning - turning * guess.min(quarter).sin())
            .max(0.0)
            .sqrt();
        let mut found = whole;
        for _ in 0..60 {
            y = if y > near && y < far {
                y
            } else {
                f64::midpoint(near, far)
            };
            let distance = turning - y * y;
            self.fill(node, distance, turning, &mut samples);
            let (spent, square) = sums(&samples, k);
            let w = self.signed(distance);
            let left = (k - self.factor * node.moments(w).work).max(0.0).sqrt();
            found = Travel {
                time,
                square,
                distance,
                current: left,
            };
            let error = spent - time;
            if error.abs() <= 1e-13 * whole.time || far - near <= 4.0 * f64::EPSILON * far {
                break;
            }
            if error > 0.0 {
                near = y
            } else {
                far = y
            }
            y += error * left / (2.0 * y * node.capacitance(w));
        }
        self.scratch = samples;
        found
    }

    /// The mean over the time of a travel of a function of the node's voltage.
    pub fn mean(&mut self, node: &Node, k: f64, function: impl Fn(f64) -> f64) -> f64 {
        let whole = self.travel(node, k);
        if whole.time == 0.0 {
            return function(0.0);
        }
        let sum: f64 = self
            .samples
            .iter()
            .map(|s| {
                let rate = s.weight / (k - s.spent).max(LEAST * k).sqrt();
                rate * function(self.signed(s.distance))
            })
            .sum();
        sum / whole.time
    }

    /// The end of a travel and the point, there or beyond, where the current
    /// would come to zero.
    fn turning(&self, node: &Node, k: f64) -> (f64, f64) {
        let excess = k - self.need;
        let span = self.span;
        if excess >= 0.0 {
            return (span, span + self.beyond(node, excess));
        }
        if k <= RESTING * self.need {
            return (0.0, 0.0);
        }
        let (mut low, mut high) = (0.0, span);
        let mut distance = span * (k / self.need).sqrt();
        for _ in 0..80 {
            let w = self.signed(distance);
            let error = self.factor * node.moments(w).work - k;
            if error.abs() <= 2.0 * f64::EPSILON * k {
                break;
            }
            if error > 0.0 {
                high = distance
            } else {
                low = distance
            }
            let slope = self.factor * node.capacitance(w) * distance;
            let next = distance - error / slope;
            let next = if next > low && next < high {
                next
            } else {
                f64::midpoint(low, high)
            };
            if (next - distance).abs() <= f64::EPSILON * span {
                break;
            }
            distance = next;
        }
        (distance, distance)
    }

    /// How far beyond the level the current would come to zero, the capacitance
    /// continued in a line; only that far out as matters.
    fn beyond(&self, node: &Node, excess: f64) -> f64 {
        let farthest = BEYOND * self.span;
        let at_end = node.capacitance(self.signed(self.span));
        let slope = node.slope_outwards(self.up);
        let span = self.span;
        let spent = |x: f64| {
            self.factor * x * (at_end * (span + x / 2.0) + slope * x * (span / 2.0 + x / 3.0))
        };
        if excess == 0.0 || spent(farthest) <= excess {
            return if excess == 0.0 { 0.0 } else { farthest };
        }
        let mut x = (excess / (self.factor * at_end * span)).min(farthest);
        for _ in 0..5 {
            let rate = self.factor * (at_end + slope * x) * (span + x);
            x = (x - (spent(x) - excess) / rate).clamp(0.0, farthest);
        }
        x
    }

    /// The points of the rule from the output to `end`, for a current that comes
    /// to zero at `turning`.
    fn fill(&self, node: &Node, end: f64, turning: f64, samples: &mut Vec<Sample>) {
        samples.clear();
        let mut sample = |distance: f64, width: f64| {
            let w = self.signed(distance);
            samples.push(Sample {
                weight: width * node.capacitance(w),
                spent: self.factor * node.moments(w).work,
                distance,
            });
        };
        let mut from = 0.0;
        for next in self.breaks.iter().copied().filter(|d| *d < end) {
            let start = from;
            let width = next - start;
            gauss::each(&gauss::FINE_PART, |s, weight| {
                if start == 0.0 {
                    sample(width * s * s, 2.0 * width * s * weight);
                } else {
                    sample(start + width * s, width * weight);
                }
            });
            from = next;
        }
        let rule = if from == 0.0 {
            &gauss::WHOLE[..]
        } else {
            &gauss::FINE_PART[..]
        };
        let (far, near) = ((turning - from).sqrt(), (turning - end).sqrt());
        let width = (end - from) / (far + near);
        gauss::each(rule, |s, weight| {
            let (y, rate) = if from == 0.0 {
                (far - width * s * s, 2.0 * s)
            } else {
                (far - width * s, 1.0)
            };
            sample(turning - y * y, 2.0 * y * width * rate * weight);
        });
    }

    /// Charge and energy at the level.
    pub fn at_end(&self, node: &Node) -> Moments {
        node.moments(self.signed(self.span))
    }
}

fn sums(samples: &[Sample], k: f64) -> (f64, f64) {
    let (mut time, mut square) = (0.0, 0.0);
    for sample in samples {
        let current = (k - sample.spent).max(LEAST * k).sqrt();
        time += sample.weight / current;
        square += sample.weight * current;
    }
    (time, square)
}
