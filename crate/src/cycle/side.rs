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
use super::samples::Samples;

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
/// Part of a side beyond its end from which one turning point is as good as
/// another within a part of the distance.
const CLEAR: f64 = 0.02;
const ALIKE: f64 = 0.2;
/// Part of a travel's time, or of its variable, from which one step more finds a
/// place.
const SETTLED: f64 = 1e-6;
/// Part of the greatest energy below which the node rests.
const RESTING: f64 = 1e-12;

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
    /// The capacitance at the level, and its slope outwards.
    at_level: (f64, f64),
    breaks: Vec<f64>,
    /// Samples up to the level, up to a turning point before it, and up to a place
    /// that is sought.
    complete: Samples,
    incomplete: Samples,
    sought: Samples,
    /// Where the last place that was sought lay, as a part of its variable's range.
    hint: Option<f64>,
}

impl Side {
    pub fn set(&mut self, node: &Node, kinks: &Kinks, inductance: f64, up: bool) {
        self.up = up;
        self.span = if up { node.above } else { node.below };
        self.factor = 2.0 / inductance;
        self.complete.forget();
        self.incomplete.forget();
        self.hint = None;
        node.breaks(kinks, up, &mut self.breaks);
        self.at_level = (
            node.capacitance(self.signed(self.span)),
            node.slope_outwards(up),
        );
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
        let (time, square) = self.samples(node, end, turning).sums(k);
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

    /// The samples of a travel; those of a travel like it serve as well, as long
    /// as the current stays clear of zero.
    fn samples(&mut self, node: &Node, end: f64, turning: f64) -> &Samples {
        let complete = end == self.span;
        let kept = self.kept(complete);
        let beyond = turning - end;
        let alike = beyond >= BEYOND * self.span
            || (beyond > CLEAR * self.span && (kept.turning - turning).abs() <= ALIKE * beyond);
        if kept.end == end && (alike || kept.turning == turning) {
            return self.kept(complete);
        }
        let mut samples = std::mem::take(self.place(complete));
        self.fill(node, end, turning, &gauss::WHOLE, &mut samples);
        *self.place(complete) = samples;
        self.kept(complete)
    }

    fn kept(&self, complete: bool) -> &Samples {
        if complete {
            &self.complete
        } else {
            &self.incomplete
        }
    }

    fn place(&mut self, complete: bool) -> &mut Samples {
        if complete {
            &mut self.complete
        } else {
            &mut self.incomplete
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
        let (end, turning) = self.turning(node, k);
        let mut samples = std::mem::take(&mut self.sought);
        // The variable in which the travel is smooth up to its turning point.
        let (mut near, mut far) = ((turning - end).sqrt(), turning.sqrt());
        let quarter = std::f64::consts::FRAC_PI_2;
        let guess = (end / turning).min(1.0).asin() * time / whole.time;
        let mut y = self.hint.map_or_else(
            || {
                (turning - turning * guess.min(quarter).sin())
                    .max(0.0)
                    .sqrt()
            },
            |part| near + part * (far - near),
        );
        let (first, width) = (near, far - near);
        let mut found = whole;
        for _ in 0..60 {
            y = if y > near && y < far {
                y
            } else {
                f64::midpoint(near, far)
            };
            let distance = turning - y * y;
            self.fill(node, distance, turning, &gauss::PART, &mut samples);
            let (spent, square) = samples.sums(k);
            let left = |distance: f64| {
                let work = node.moments(self.signed(distance)).work;
                (k - self.factor * work).max(0.0).sqrt()
            };
            let error = spent - time;
            let current = left(distance);
            let capacitance = node.capacitance(self.signed(distance));
            let step = error * current / (2.0 * y * capacitance);
            let settled = step.abs() <= SETTLED * far || error.abs() <= SETTLED * whole.time;
            if error > 0.0 {
                near = y;
            } else {
                far = y;
            }
            y += step;
            if settled {
                // Newton's last step needs no new samples: its error is the square of
                // what is left.
                let distance = (turning - y * y).clamp(0.0, end);
                found = Travel {
                    time,
                    square: square - error * current * current,
                    distance,
                    current: left(distance),
                };
                break;
            }
        }
        self.sought = samples;
        self.hint = Some((y - first) / width);
        found
    }

    /// The integral over the time of a travel of functions of the node's voltage.
    pub fn integral(&mut self, node: &Node, k: f64, function: impl Fn(f64) -> f64) -> f64 {
        let (end, turning) = self.turning(node, k);
        if end == 0.0 {
            return 0.0;
        }
        let up = self.up;
        self.samples(node, end, turning).integral(k, |distance| {
            function(if up { distance } else { -distance })
        })
    }

    /// The end of a travel and the point, there or beyond, where the current
    /// would come to zero.
    fn turning(&self, node: &Node, k: f64) -> (f64, f64) {
        let excess = k - self.need;
        let span = self.span;
        if excess >= 0.0 {
            return (span, span + self.beyond(excess));
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
                high = distance;
            } else {
                low = distance;
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
    fn beyond(&self, excess: f64) -> f64 {
        let farthest = BEYOND * self.span;
        let (at_end, slope) = self.at_level;
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
    fn fill(&self, node: &Node, end: f64, turning: f64, rule: &gauss::Rule, samples: &mut Samples) {
        samples.clear(end, turning);
        let mut sample = |distance: f64, width: f64| {
            let w = self.signed(distance);
            let spent = self.factor * node.moments(w).work;
            samples.push(width * node.capacitance(w), spent, distance);
        };
        let mut part = |from: f64, to: f64, rule: &gauss::Rule| {
            let (far, near) = ((turning - from).sqrt(), (turning - to).sqrt());
            let width = (to - from) / (far + near);
            gauss::each(rule, |s, weight| {
                let (y, rate) = if from == 0.0 {
                    (far - width * s * s, 2.0 * s)
                } else {
                    (far - width * s, 1.0)
                };
                sample(turning - y * y, 2.0 * y * width * rate * weight);
            });
        };
        let mut from = 0.0;
        for next in self.breaks.iter().copied().filter(|d| *d < end) {
            part(from, next, &gauss::PART);
            from = next;
        }
        let unbroken = from == 0.0;
        part(from, end, if unbroken { rule } else { &gauss::PART });
    }

    /// Charge and energy at the level.
    pub fn at_end(&self, node: &Node) -> Moments {
        node.moments(self.signed(self.span))
    }
}
