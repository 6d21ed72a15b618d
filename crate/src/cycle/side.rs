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
use super::samples::{Samples, Stretch, Sums};

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
/// Part of a side beyond its end from which a turning point is far enough for a rule
/// that takes it to be at the end.
const CLEAR: f64 = 0.02;
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
    /// The samples that were made last, up to a turning point before the level and up
    /// to the level.
    samples: [Samples; 2],
    /// The travels that were made last, with their start and their turning point.
    travels: [(f64, Travel, f64); 2],
    /// The sums of the last travel on which a place was sought.
    sums: Sums,
}

impl Side {
    pub fn set(&mut self, node: &Node, kinks: &Kinks, inductance: f64, up: bool) {
        self.up = up;
        self.span = if up { node.above } else { node.below };
        self.factor = 2.0 / inductance;
        self.samples.iter_mut().for_each(Samples::forget);
        self.sums.forget();
        self.travels = [(f64::NAN, Travel::default(), 0.0); 2];
        node.breaks(kinks, up, &mut self.breaks);
        let (capacitance, moments) = node.sample(self.signed(self.span));
        self.at_level = (capacitance, node.slope_outwards(up));
        self.need = self.factor * moments.work.max(0.0);
    }

    /// Forgets where the last place lay.
    pub fn forget_place(&mut self) {
        self.sums.forget_place();
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
        self.travelled(node, k).0
    }

    /// The same with the turning point.
    fn travelled(&mut self, node: &Node, k: f64) -> (Travel, f64) {
        if let Some((_, travel, turning)) = self.travels.iter().find(|(start, ..)| *start == k) {
            return (*travel, *turning);
        }
        let (end, turning) = self.turning(node, k);
        if end == 0.0 {
            return (Travel::default(), turning);
        }
        let need = self.need;
        let kept = self.sampled(node, end, turning);
        let (time, square) = self.samples[kept].sums(k, need);
        let travel = Travel {
            time,
            square,
            distance: end,
            current: if turning > end {
                (k - self.need).max(0.0).sqrt()
            } else {
                0.0
            },
        };
        if Samples::summed(k, need) {
            self.travels = [(k, travel, turning), self.travels[0]];
        }
        (travel, turning)
    }

    /// Where the samples of a travel are kept. With the current clear of zero at the level, those of
    /// one that comes to zero there serve as well: which ones are taken depends on
    /// nothing but the travel, so that what was asked before makes no difference.
    fn sampled(&mut self, node: &Node, end: f64, turning: f64) -> usize {
        let complete = end == self.span;
        let turning = if complete && turning - end > CLEAR * self.span {
            end
        } else {
            turning
        };
        let place = usize::from(complete);
        let kept = &self.samples[place];
        if !(kept.end == end && kept.turning == turning) {
            let mut samples = std::mem::take(&mut self.samples[place]);
            self.fill(node, end, turning, &mut samples);
            self.samples[place] = samples;
        }
        place
    }

    /// Where the node is a time after it left the output.
    pub fn after(&mut self, node: &Node, k: f64, time: f64) -> Travel {
        let (whole, turning) = self.travelled(node, k);
        if time >= whole.time {
            return whole;
        }
        if time <= 0.0 {
            return Travel {
                current: k.max(0.0).sqrt(),
                ..Travel::default()
            };
        }
        let end = whole.distance;
        let kept = self.sampled(node, end, turning);
        let place = self.samples[kept].place(k, time, &mut self.sums);
        place.map_or(whole, |place| {
            let distance = place.distance.clamp(0.0, end);
            let work = node.moments(self.signed(distance)).work;
            Travel {
                time,
                square: place.square,
                distance,
                current: (k - self.factor * work).max(0.0).sqrt(),
            }
        })
    }

    /// The integral over the time of a travel of a function of the node's voltage and
    /// its charge and energy there.
    pub fn integral(&mut self, node: &Node, k: f64, function: impl Fn(f64, Moments) -> f64) -> f64 {
        let (travel, turning) = self.travelled(node, k);
        let end = travel.distance;
        if end == 0.0 {
            return 0.0;
        }
        let (up, factor) = (self.up, self.factor);
        let kept = self.sampled(node, end, turning);
        self.samples[kept].integral(k, |distance, charge, spent| {
            let work = spent / factor;
            function(
                if up { distance } else { -distance },
                Moments { charge, work },
            )
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
            let (capacitance, moments) = node.sample(w);
            let error = self.factor * moments.work - k;
            if error.abs() <= 2.0 * f64::EPSILON * k {
                break;
            }
            if error > 0.0 {
                high = distance;
            } else {
                low = distance;
            }
            let slope = self.factor * capacitance * distance;
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
    fn fill(&self, node: &Node, end: f64, turning: f64, samples: &mut Samples) {
        samples.clear(end, turning);
        let mut stretch = |from: f64, to: f64, rule: &gauss::Rule| {
            let (far, near) = ((turning - from).sqrt(), (turning - to).sqrt());
            let width = (to - from) / (far + near);
            let squared = from == 0.0;
            samples.begin(Stretch {
                far,
                width,
                squared,
                half: rule.len(),
            });
            gauss::each(rule, |s, weight| {
                let (y, rate) = if squared {
                    (far - width * s * s, 2.0 * s)
                } else {
                    (far - width * s, 1.0)
                };
                let distance = turning - y * y;
                let (capacitance, moments) = node.sample(self.signed(distance));
                samples.push(
                    2.0 * y * width * rate * weight * capacitance,
                    self.factor * moments.work,
                    moments.charge,
                    distance,
                );
            });
        };
        let mut from = 0.0;
        for next in self.breaks.iter().copied().filter(|d| *d < end) {
            stretch(from, next, &gauss::PART);
            from = next;
        }
        let unbroken = from == 0.0;
        stretch(
            from,
            end,
            if unbroken {
                &gauss::WHOLE
            } else {
                &gauss::PART
            },
        );
        samples.finish();
    }

    /// Charge and energy at the level.
    pub fn at_end(&self, node: &Node) -> Moments {
        node.moments(self.signed(self.span))
    }
}
