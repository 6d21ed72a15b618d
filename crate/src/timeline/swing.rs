//! An edge: the inductor's current moves the node's capacitance.
//!
//! `L di/dt = u - V_out`, `C(u) du/dt = -i`: while the output voltage stands
//! still, `L i²/2` and `P(u)`, the integral of `C (u - V_out) du` from the output
//! voltage, keep their sum. In the plane of `√(2 P)` and `√L i` every edge is an
//! arc of a circle; with its angle `θ`, counted from where the node passes the
//! output voltage, `dt = √L √(2 P)/|u - V_out| dθ`. That integrand is smooth,
//! turning points included, so a Gauss rule takes it to about 1e-11 of the edge;
//! where `C` is constant it is constant, and the rule exact.

use super::gauss::gauss;
use super::node::{NodeCapacitance, Rails};
use crate::equation::root;

/// What an edge starts from and where it may end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    pub node: f64,
    pub current: f64,
    /// Whether the clamp catches a node that rises to the output voltage.
    pub catch: bool,
    /// Time after which it is looked at again in any case.
    pub limit: f64,
}

/// How an edge ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// The node arrived at a rail, or at the output voltage with the clamp ready.
    Arrived,
    /// The current reached zero: the node turns back.
    Turned,
    /// Neither before the time was over.
    Timer,
}

/// An edge or the part of it that was looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Swing {
    pub node: f64,
    pub current: f64,
    pub duration: f64,
    pub end: End,
}

/// The tank of an edge.
#[derive(Clone, Copy)]
pub(super) struct Tank<'n> {
    pub capacitance: &'n NodeCapacitance,
    pub rails: Rails,
    pub inductance: f64,
}

/// Storage of the rule and the breaks, kept between edges.
#[derive(Clone, Debug)]
pub(super) struct Scratch {
    rule: Vec<(f64, f64)>,
    breaks: Vec<f64>,
}

/// Points of the Gauss rule on each part of an edge.
const POINTS: usize = 12;
/// Part of the step next to a rail that is a part of its own: a junction's
/// capacitance is steep there.
const STEEP: f64 = 0.1;

impl Default for Scratch {
    fn default() -> Self {
        Self {
            rule: gauss(POINTS),
            breaks: vec![],
        }
    }
}

/// Part of an edge's extent below which node voltage and current count as at rest: some
/// ten microvolts, whose energy is lost in the rounding of the whole.
const REST: f64 = 1e-6;
/// Part of an edge's extent from the output voltage within which `P` is taken from the
/// capacitance there, lest digits cancel.
const NEAR: f64 = 2e-4;

impl Tank<'_> {
    /// The greatest voltage of the edge: the step, or the way to the output voltage.
    fn extent(&self) -> f64 {
        let Rails { low, high, output } = self.rails;
        let away = (high - output).abs().max((low - output).abs());
        (high - low).abs().max(away)
    }

    /// Direction in which the node moves: 1 up, -1 down, 0 at rest.
    fn direction(&self, node: f64, current: f64) -> f64 {
        let rest = REST * self.extent();
        let impedance = (self.inductance / self.capacitance.at(node, &self.rails)).sqrt();
        let away = node - self.rails.output;
        if (current * impedance).abs() <= rest && away.abs() <= rest {
            0.0
        } else if current == 0.0 {
            -away.signum()
        } else {
            -current.signum()
        }
    }

    /// The current's square at another node voltage of the same swing.
    fn square(&self, from: f64, square: f64, to: f64) -> f64 {
        let work = self
            .capacitance
            .work(from, to, self.rails.output, &self.rails);
        square - 2.0 * work / self.inductance
    }

    /// Follows an edge to its end.
    pub fn swing(&self, start: Start, scratch: &mut Scratch) -> Swing {
        let Start { node, current, .. } = start;
        let rails = self.rails;
        let direction = self.direction(node, current);
        let rest = Swing {
            node,
            current,
            duration: start.limit,
            end: End::Timer,
        };
        if direction == 0.0 {
            return rest;
        }
        let target = if direction < 0.0 {
            rails.low
        } else if start.catch && node <= rails.output {
            rails.output.min(rails.high)
        } else {
            rails.high
        };
        if (target - node) * direction <= 0.0 {
            return Swing {
                duration: 0.0,
                end: End::Arrived,
                ..rest
            };
        }
        let initial = current * current;
        let square = self.square(node, initial, target);
        let (reached, square, end) = if square >= 0.0 {
            (target, square, End::Arrived)
        } else {
            // It rises beyond the output voltage or falls below it before it turns.
            let bottom = if (rails.output - node) * direction > 0.0 {
                rails.output
            } else {
                node
            };
            let turn = root::find(bottom, target, |u| self.square(node, initial, u));
            (turn.unwrap_or(bottom), 0.0, End::Turned)
        };
        let reached_current = -direction * square.sqrt();
        let arc = Arc::new(
            *self,
            direction,
            (node, current),
            (reached, reached_current),
        );
        let duration = arc.duration(arc.from, arc.to, scratch);
        debug_assert!(duration >= 0.0, "{start:?} {rails:?} {reached} {square}");
        if duration <= start.limit {
            return Swing {
                node: reached,
                current: reached_current,
                duration,
                end,
            };
        }
        let angle = arc.angle_at(start.limit, duration, scratch);
        let (node, current) = arc.state(angle);
        Swing {
            node,
            current,
            ..rest
        }
    }

    /// States inside an edge from `start` to `end`, for those who draw it.
    pub fn points(
        &self,
        start: Start,
        end: &Swing,
        count: f64,
        scratch: &mut Scratch,
    ) -> Vec<Swing> {
        // The current never changes its sign within an edge; the way between two
        // nodes that differ by rounding alone may have the wrong one.
        let current = start.current + end.current;
        let direction = if current == 0.0 {
            (end.node - start.node).signum()
        } else {
            -current.signum()
        };
        let arc = Arc::new(
            *self,
            direction,
            (start.node, start.current),
            (end.node, end.current),
        );
        let (mut time, mut before) = (0.0, arc.from);
        let mut points = vec![];
        let mut k = 1.0;
        while k < count {
            let part = k / count;
            k += 1.0;
            let angle = arc.from + (arc.to - arc.from) * part;
            time += arc.duration(before, angle, scratch);
            before = angle;
            let (node, current) = arc.state(angle);
            points.push(Swing {
                node,
                current,
                duration: time,
                end: End::Timer,
            });
        }
        points
    }
}

/// An edge as an arc: from one angle to another, on a circle of `radius`.
struct Arc<'n> {
    tank: Tank<'n>,
    direction: f64,
    radius: f64,
    /// The antiderivative of `C (u - V_out)` at the output voltage.
    base: f64,
    from: f64,
    to: f64,
}

impl<'n> Arc<'n> {
    fn new(tank: Tank<'n>, direction: f64, from: (f64, f64), to: (f64, f64)) -> Self {
        let centre = tank.rails.output;
        let mut arc = Self {
            tank,
            direction,
            radius: 0.0,
            base: tank.capacitance.moment(centre, centre, &tank.rails),
            from: 0.0,
            to: 0.0,
        };
        let across = |current: f64| tank.inductance.sqrt() * current.abs();
        let heights = [from, to].map(|(node, _)| arc.height(node - centre));
        let (a, b) = (across(from.1), across(to.1));
        // From the end with less current: its height is the greater part.
        arc.radius = if a < b {
            heights[0].hypot(a)
        } else {
            heights[1].hypot(b)
        };
        let sign = |node: f64| ((node - centre) * direction).signum();
        arc.from = sign(from.0) * heights[0].atan2(a);
        arc.to = sign(to.0) * heights[1].atan2(b);
        arc
    }

    /// `√(2 P)/|u - V_out|` at a distance from the output voltage: the root of a
    /// mean capacitance.
    fn ratio(&self, distance: f64) -> f64 {
        let (tank, rails) = (&self.tank, &self.tank.rails);
        if let Some(whole) = tank.capacitance.whole {
            return whole.sqrt();
        }
        if distance.abs() <= NEAR * tank.extent() {
            let centroid = rails.output + distance * 2.0 / 3.0;
            return tank.capacitance.at(centroid, rails).sqrt();
        }
        let node = rails.output + distance;
        let potential = tank.capacitance.moment(node, rails.output, rails) - self.base;
        (2.0 * potential.max(0.0)).sqrt() / distance.abs()
    }

    /// `√(2 P)` at a distance from the output voltage.
    fn height(&self, distance: f64) -> f64 {
        self.ratio(distance) * distance.abs()
    }

    /// The distance from the output voltage at an angle, and the ratio there:
    /// Newton's method on the height, which is nearly proportional to the distance.
    fn at(&self, angle: f64) -> (f64, f64) {
        let side = self.direction * angle.signum();
        let height = self.radius * angle.sin().abs();
        let tank = &self.tank;
        if let Some(whole) = tank.capacitance.whole {
            return (side * height / whole.sqrt(), whole.sqrt());
        }
        let mut distance = height / self.ratio(side * tank.extent() / 2.0);
        let mut ratio = self.ratio(side * distance);
        for _ in 0..12 {
            let missing = height - ratio * distance;
            if missing.abs() <= 1e-12 * height {
                break;
            }
            let node = tank.rails.output + side * distance;
            distance += missing * ratio / tank.capacitance.at(node, &tank.rails);
            ratio = self.ratio(side * distance);
        }
        (side * distance, ratio)
    }

    /// Node voltage and current at an angle.
    fn state(&self, angle: f64) -> (f64, f64) {
        let (distance, _) = self.at(angle);
        let current = self.radius * angle.cos() / self.tank.inductance.sqrt();
        (
            self.tank.rails.output + distance,
            -self.direction * current.max(0.0),
        )
    }

    /// The time between two angles.
    fn duration(&self, from: f64, to: f64, scratch: &mut Scratch) -> f64 {
        let tank = &self.tank;
        let root = tank.inductance.sqrt();
        if let Some(whole) = tank.capacitance.whole {
            return root * whole.sqrt() * (to - from);
        }
        self.breaks(from, to, scratch);
        let mut sum = 0.0;
        for part in scratch.breaks.windows(2) {
            let (middle, half) = (f64::midpoint(part[0], part[1]), (part[1] - part[0]) / 2.0);
            for (abscissa, weight) in &scratch.rule {
                sum += half * weight * self.at(middle + half * abscissa).1;
            }
        }
        root * sum
    }

    /// The angles at which the integrand is not smooth, with both ends.
    fn breaks(&self, from: f64, to: f64, scratch: &mut Scratch) {
        let tank = &self.tank;
        let rails = &tank.rails;
        tank.capacitance.breaks(rails, &mut scratch.breaks);
        let steep = STEEP * (rails.high - rails.low);
        scratch.breaks.push(rails.output);
        scratch.breaks.push(rails.low + steep);
        scratch.breaks.push(rails.high - steep);
        for place in &mut scratch.breaks {
            let distance = *place - rails.output;
            let sine = self.height(distance) / self.radius;
            *place = if sine < 1.0 {
                (distance * self.direction).signum() * sine.asin()
            } else {
                f64::INFINITY
            };
        }
        let margin = 1e-9 * (to - from);
        let inside = from + margin..to - margin;
        scratch.breaks.retain(|angle| inside.contains(angle));
        scratch.breaks.push(from);
        scratch.breaks.push(to);
        scratch.breaks.sort_unstable_by(f64::total_cmp);
    }

    /// The angle at a time before the edge's end: Newton's method kept in its
    /// bracket.
    fn angle_at(&self, time: f64, whole: f64, scratch: &mut Scratch) -> f64 {
        let (mut low, mut high) = (self.from, self.to);
        let mut angle = low + (high - low) * time / whole;
        let mut passed = self.duration(self.from, angle, scratch);
        for _ in 0..40 {
            let late = passed - time;
            if late.abs() <= 1e-14 * whole {
                break;
            }
            if late < 0.0 {
                low = angle;
            } else {
                high = angle;
            }
            let speed = self.tank.inductance.sqrt() * self.at(angle).1;
            let mut next = angle - late / speed;
            if !(next > low && next < high) {
                next = f64::midpoint(low, high);
            }
            if next == angle {
                break;
            }
            passed += if next > angle {
                self.duration(angle, next, scratch)
            } else {
                -self.duration(next, angle, scratch)
            };
            angle = next;
        }
        angle
    }
}
