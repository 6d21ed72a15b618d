//! An edge: the inductor's current moves the node's capacitance.
//!
//! `L di/dt = u - V_out`, `C(u) du/dt = -i`: while the voltages about it stand
//! still, `L i²/2` and the work `W(u)`, the integral of `C (u - V_out) du`, keep
//! their sum. So the current at every node voltage is known in closed form, and
//! the time is the integral of `C/i du`, taken outwards from the output voltage on
//! either side of it. Two things keep that integral short:
//!
//! - Where the current would come to zero, at a distance `D` at or beyond the
//!   side's end, `1/i` has an inverse root. With `d = D 2z/(1 + z²)`, the sine by the
//!   tangent of its half angle, the integrand is smooth in `z`; where `C` is constant
//!   the angle itself is the time, and no rule is needed.
//! - The charge moved is known in closed form: a rule integrates only by what `1/i`
//!   differs from its mean, for which few points do where the current hardly changes.

mod side;

use super::node::{NodeCapacitance, Rails, Sample};
use super::ramp::refine;
pub(super) use side::Scratch;
use side::Side;

/// What an edge starts from and where it may end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    pub node: f64,
    pub current: f64,
    /// Whether the clamp catches a node that rises to the output voltage.
    pub catch: bool,
    /// Whether the node stands at or beyond its lower and its upper level.
    pub beyond: [bool; 2],
    /// Drops of the low and the high side's body diode, which takes the current so far
    /// beyond its level.
    pub drops: [f64; 2],
}

/// How an edge ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// The node came to its lower level.
    Low,
    /// The node came to its upper level.
    High,
    /// The node stands the diode's drop below its lower level.
    Below,
    /// The node stands the diode's drop above its upper level.
    Above,
    /// The node arrived at the output voltage with the clamp ready.
    Output,
    /// The current reached zero: the node turns back.
    Turned,
    /// Neither before the time was over.
    Timer,
}

impl End {
    /// Where the node is then, as far as the end says it.
    pub fn place(self, rails: &Rails, drops: [f64; 2]) -> Option<f64> {
        match self {
            Self::Low => Some(rails.low),
            Self::High => Some(rails.high),
            Self::Below => Some(rails.low - drops[0]),
            Self::Above => Some(rails.high + drops[1]),
            Self::Output => Some(rails.output),
            Self::Turned | Self::Timer => None,
        }
    }
}

/// The state at the end of an edge or of the part of it that was looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Swing {
    pub node: f64,
    pub current: f64,
    pub end: End,
}

/// Part of an edge's extent below which node voltage and current count as at rest: some
/// ten microvolts, whose energy is lost in the rounding of the whole.
const REST: f64 = 1e-6;
/// Part of an edge's extent from the output voltage within which the capacitance is
/// taken as that at the output voltage, lest digits cancel.
const NEAR: f64 = 2e-4;
/// Part of an edge's extent by which the voltage against which the inductor works is
/// moved at most: beyond it the charge moved is nothing but rounding.
const NEAREST: f64 = 0.02;

/// The tank of an edge.
#[derive(Clone, Copy)]
pub(super) struct Tank<'n> {
    capacitance: &'n NodeCapacitance,
    rails: Rails,
    inductance: f64,
    /// The capacitance where it counts as constant.
    whole: Option<f64>,
}

/// The node at a voltage, with the current's square there.
#[derive(Clone, Copy, Debug)]
struct Place {
    node: f64,
    square: f64,
    sample: Sample,
}

impl Place {
    /// The current's magnitude.
    fn current(&self) -> f64 {
        self.square.max(0.0).sqrt()
    }
}

/// A way from one place to another.
#[derive(Clone, Copy, Debug)]
pub(super) struct Way {
    /// 1 up, -1 down.
    direction: f64,
    from: Place,
    to: Place,
    end: End,
}

impl<'n> Tank<'n> {
    pub fn new(
        capacitance: &'n NodeCapacitance,
        rails: Rails,
        inductance: f64,
        start: &Start,
    ) -> Self {
        let mut tank = Self {
            capacitance,
            rails,
            inductance,
            whole: capacitance.whole,
        };
        if tank.whole.is_none() {
            let near = NEAR * tank.extent();
            if (start.node - rails.output).abs() <= near {
                let middle = capacitance.sample(rails.output, &rails).capacitance;
                let height = start.current * (inductance / middle).sqrt();
                tank.whole = (height.abs() <= near).then_some(middle);
            }
        }
        tank
    }

    /// The greatest voltage of the edge: the step, or the way to the output voltage.
    fn extent(&self) -> f64 {
        let Rails { low, high, output } = self.rails;
        let away = (high - output).abs().max((low - output).abs());
        (high - low).abs().max(away)
    }

    fn sample(&self, node: f64) -> Sample {
        let Some(capacitance) = self.whole else {
            return self.capacitance.sample(node, &self.rails);
        };
        let across = node - self.rails.output;
        Sample {
            capacitance,
            charge: capacitance * across,
            work: capacitance * across * across / 2.0,
        }
    }

    /// The direction in which the node moves from a place; none at rest.
    fn direction(&self, from: &Place, current: f64) -> Option<f64> {
        let rest = REST * self.extent();
        let away = from.node - self.rails.output;
        let height = current * (self.inductance / from.sample.capacitance).sqrt();
        if height.abs() <= rest && away.abs() <= rest {
            None
        } else if current == 0.0 {
            Some(-away.signum())
        } else {
            Some(-current.signum())
        }
    }

    /// Another node voltage of the same swing.
    fn place(&self, from: &Place, node: f64) -> Place {
        let sample = self.sample(node);
        Place {
            node,
            square: from.square - 2.0 * (sample.work - from.sample.work) / self.inductance,
            sample,
        }
    }

    /// The way to an edge's end, whatever time it takes; none where the node rests.
    pub fn way(&self, start: &Start) -> Option<Way> {
        let rails = self.rails;
        let from = Place {
            node: start.node,
            square: start.current * start.current,
            sample: self.sample(start.node),
        };
        let direction = self.direction(&from, start.current)?;
        let caught = start.catch && start.node <= rails.output && rails.output < rails.high;
        let end = match (direction < 0.0, start.beyond) {
            (true, [true, _]) => End::Below,
            (true, [false, _]) => End::Low,
            (false, _) if caught => End::Output,
            (false, [_, true]) => End::Above,
            (false, [_, false]) => End::High,
        };
        let target = end.place(&rails, start.drops).unwrap_or(start.node);
        let way = |to, end| {
            Some(Way {
                direction,
                from,
                to,
                end,
            })
        };
        if (target - start.node) * direction <= 0.0 {
            return way(from, end);
        }
        let to = self.place(&from, target);
        // Beyond the output voltage it rises against its energy.
        let distance = |node: f64| (node - rails.output) * direction;
        let far = distance(target);
        if to.square >= 0.0 || far <= 0.0 {
            return way(to, end);
        }
        let near = distance(start.node).max(0.0);
        let node = |distance: f64| rails.output + direction * distance;
        let turn = refine(
            near,
            far,
            1.0,
            |d| self.place(&from, node(d)).square,
            |d| -2.0 * self.sample(node(d)).capacitance * d / self.inductance,
        );
        let mut to = self.place(&from, node(turn));
        to.square = 0.0;
        way(to, End::Turned)
    }

    /// A way between two states, the second of which was found elsewhere: the voltage
    /// against which the inductor works is set so that their energies agree.
    pub fn between(mut self, start: &Start, end: &Swing) -> (Self, Way) {
        let kinetic = (start.current.powi(2) - end.current.powi(2)) * self.inductance / 2.0;
        // Twice, for the clamp's capacitance hangs on that voltage too.
        for _ in 0..2 {
            let [from, to] = [start.node, end.node].map(|node| self.sample(node));
            let step = (to.work - from.work - kinetic) / (to.charge - from.charge);
            if step.abs() < NEAREST * self.extent() {
                self.rails.output += step;
            }
        }
        let place = |node: f64, current: f64| Place {
            node,
            square: current * current,
            sample: self.sample(node),
        };
        // The current never changes its sign within an edge; the way between two nodes
        // that differ by rounding alone may have the wrong one.
        let current = start.current + end.current;
        let down = if current == 0.0 {
            end.node < start.node
        } else {
            current > 0.0
        };
        let way = Way {
            direction: if down { -1.0 } else { 1.0 },
            from: place(start.node, start.current),
            to: place(end.node, end.current),
            end: end.end,
        };
        (self, way)
    }

    /// How long a way takes.
    pub fn time(&self, way: &Way, scratch: &mut Scratch) -> f64 {
        let sides = self.sides(way);
        let times = sides.iter().flatten();
        let time: f64 = times.map(|s| s.time(&s.from, &s.to, scratch)).sum();
        time.max(0.0)
    }

    /// The state a time after the start of an edge, where it has not ended by then.
    pub fn cut(&self, start: &Start, time: f64, scratch: &mut Scratch) -> Option<Swing> {
        let way = self.way(start)?;
        let mut left = time;
        for side in self.sides(&way).iter().flatten() {
            let time = side.time(&side.from, &side.to, scratch);
            if time > left {
                let place = side.after(left, time, scratch).place;
                return Some(Swing {
                    node: place.node,
                    current: -way.direction * place.current(),
                    end: End::Timer,
                });
            }
            left -= time;
        }
        None
    }

    /// The parts of a way: to the output voltage, and from it outwards.
    fn sides(&self, way: &Way) -> [Option<Side<'_>>; 2] {
        let output = self.rails.output;
        let distance = |place: &Place| (place.node - output) * way.direction;
        let (before, after) = (distance(&way.from), distance(&way.to));
        if before >= after {
            return [None, None];
        }
        let middle = (before < 0.0 && after > 0.0).then(|| self.place(&way.from, output));
        let inwards = (before < 0.0)
            .then(|| Side::new(self, -way.direction, &way.from, &middle.unwrap_or(way.to)));
        let outwards = (after > 0.0)
            .then(|| Side::new(self, way.direction, &middle.unwrap_or(way.from), &way.to));
        [inwards, outwards]
    }

    /// Times and states inside a way of a duration, for those who draw it.
    pub fn points(
        &self,
        way: &Way,
        duration: f64,
        count: f64,
        scratch: &mut Scratch,
    ) -> Vec<(f64, Swing)> {
        let sides = self.sides(way);
        let whole: f64 = sides.iter().flatten().map(Side::width).sum();
        let (mut passed, mut before) = (0.0, 0.0);
        let mut points = vec![];
        let mut k = 1.0;
        for side in sides.iter().flatten() {
            let mut last = side.from;
            while k < count {
                let within = whole * k / count - before;
                if within >= side.width() {
                    break;
                }
                k += 1.0;
                let spot = side.spot(side.from.z + (side.to.z - side.from.z).signum() * within);
                passed += side.time(&last, &spot, scratch);
                last = spot;
                let state = Swing {
                    node: spot.place.node,
                    current: -way.direction * spot.place.current(),
                    end: End::Timer,
                };
                points.push((passed, state));
            }
            passed += side.time(&last, &side.to, scratch);
            before += side.width();
        }
        let scale = if passed > 0.0 { duration / passed } else { 0.0 };
        for (time, _) in &mut points {
            *time *= scale;
        }
        points
    }
}

impl Way {
    /// The state at its end.
    pub fn end(&self) -> Swing {
        Swing {
            node: self.to.node,
            current: -self.direction * self.to.current(),
            end: self.end,
        }
    }

    /// About how long it takes: the time with a capacitance that moves as much charge.
    pub fn estimate(&self, tank: &Tank) -> f64 {
        let step = self.to.node - self.from.node;
        if step == 0.0 {
            return 0.0;
        }
        // The charge of a short way is nothing but rounding.
        let [from, to] = [&self.from.sample, &self.to.sample];
        let least = from.capacitance.min(to.capacitance) / 4.0;
        let mean = ((to.charge - from.charge) / step).max(least);
        let angle = |place: &Place| {
            let away = (place.node - tank.rails.output) * self.direction;
            (mean.sqrt() * away).atan2(tank.inductance.sqrt() * place.current())
        };
        (tank.inductance * mean).sqrt() * (angle(&self.to) - angle(&self.from))
    }
}
