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

use super::gauss::gauss;
use super::node::{MOST_SAMPLES, NodeCapacitance, Rails, Sample};
use super::ramp::refine;

/// What an edge starts from and where it may end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    pub node: f64,
    pub current: f64,
    /// Whether the clamp catches a node that rises to the output voltage.
    pub catch: bool,
}

/// How an edge ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// The node arrived at its lower level.
    Low,
    /// The node arrived at its upper level.
    High,
    /// The node arrived at the output voltage with the clamp ready.
    Output,
    /// The current reached zero: the node turns back.
    Turned,
    /// Neither before the time was over.
    Timer,
}

/// The state at the end of an edge or of the part of it that was looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Swing {
    pub node: f64,
    pub current: f64,
    pub end: End,
}

/// A rule of so many points is taken where the current changes by less than a part.
const RULES: [(f64, usize); 3] = [(2e-3, 12), (0.2, 20), (f64::INFINITY, MOST_SAMPLES)];

/// The rules, and storage of the breaks; kept between edges.
#[derive(Clone, Debug, Default)]
pub(super) struct Scratch {
    rules: [Vec<(f64, f64)>; 3],
    breaks: Vec<f64>,
}

impl Scratch {
    pub fn new() -> Self {
        Self {
            rules: RULES.map(|(_, points)| gauss(points)),
            breaks: vec![],
        }
    }
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
/// Part of a side beyond its end at which the current's zero is sought: farther out
/// it no longer matters.
const BEYOND: f64 = 0.125;
/// Part of what a constant capacitance would leave of the current's square that any
/// capacitance leaves.
const LEAST: f64 = 1e-3;

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
        let (target, end) = if direction < 0.0 {
            (rails.low, End::Low)
        } else if start.catch && start.node <= rails.output && rails.output < rails.high {
            (rails.output, End::Output)
        } else {
            (rails.high, End::High)
        };
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

/// A place on a side: `z` is the tangent of half the angle whose sine is the
/// distance from the output voltage over that of the current's zero.
#[derive(Clone, Copy, Debug)]
struct Spot {
    z: f64,
    place: Place,
}

/// The part of a way that lies on one side of the output voltage.
struct Side<'n> {
    tank: &'n Tank<'n>,
    /// 1 above the output voltage, -1 below.
    sign: f64,
    /// Distance at which the current would come to zero.
    zero: f64,
    from: Spot,
    to: Spot,
}

impl<'n> Side<'n> {
    fn new(tank: &'n Tank<'n>, sign: f64, from: &Place, to: &Place) -> Self {
        let distance = |place: &Place| (place.node - tank.rails.output) * sign;
        let (a, b) = (distance(from), distance(to));
        let (outer, place) = if a > b { (a, from) } else { (b, to) };
        let zero = outer + beyond(tank, sign, outer, place);
        let spot = |d: f64, place: &Place| Spot {
            z: d / (zero + (zero * zero - d * d).max(0.0).sqrt()),
            place: *place,
        };
        Self {
            tank,
            sign,
            zero,
            from: spot(a, from),
            to: spot(b, to),
        }
    }

    fn width(&self) -> f64 {
        (self.to.z - self.from.z).abs()
    }

    fn spot(&self, z: f64) -> Spot {
        let distance = self.zero * 2.0 * z / (1.0 + z * z);
        let node = self.tank.rails.output + self.sign * distance;
        Spot {
            z,
            place: self.tank.place(&self.from.place, node),
        }
    }

    /// The time between two places.
    fn time(&self, a: &Spot, b: &Spot, scratch: &mut Scratch) -> f64 {
        let tank = self.tank;
        let (inner, outer) = if a.z < b.z { (a, b) } else { (b, a) };
        if let Some(whole) = tank.whole {
            let angle = |spot: &Spot| {
                let away = (spot.place.node - tank.rails.output).abs();
                (whole.sqrt() * away).atan2(tank.inductance.sqrt() * spot.place.current())
            };
            return (tank.inductance * whole).sqrt() * (angle(outer) - angle(inner)).max(0.0);
        }
        if !tank.capacitance.kinked {
            return self.smooth(inner, outer, scratch);
        }
        let mut breaks = std::mem::take(&mut scratch.breaks);
        tank.capacitance.breaks(&tank.rails, &mut breaks);
        for place in &mut breaks {
            let sine = (*place - tank.rails.output) * self.sign / self.zero;
            *place = sine / (1.0 + (1.0 - sine * sine).max(0.0).sqrt());
        }
        let margin = 1e-9 * (outer.z - inner.z);
        let inside = inner.z + margin..outer.z - margin;
        breaks.retain(|z| inside.contains(z));
        breaks.sort_unstable_by(f64::total_cmp);
        let (mut time, mut before) = (0.0, *inner);
        for z in &breaks {
            let spot = self.spot(*z);
            time += self.smooth(&before, &spot, scratch);
            before = spot;
        }
        scratch.breaks = breaks;
        time + self.smooth(&before, outer, scratch)
    }

    /// The time between two places without a kink between them.
    fn smooth(&self, inner: &Spot, outer: &Spot, scratch: &Scratch) -> f64 {
        let (tank, rails) = (self.tank, &self.tank.rails);
        let (first, last) = (inner.place.current(), outer.place.current());
        let half = (outer.z - inner.z) / 2.0;
        // Without a current at either end the way is nothing but rounding.
        if half <= 0.0 || first + last == 0.0 {
            return 0.0;
        }
        let mean = 2.0 / (first + last);
        let change = (first - last).abs() / first.max(last);
        let rule = RULES.iter().position(|(most, _)| change < *most);
        let middle = f64::midpoint(inner.z, outer.z);
        let reference = &inner.place;
        let factor = 2.0 / tank.inductance;
        let energy = reference.square + factor * reference.sample.work;
        // Next to its zero the square is a difference that rounding may spoil.
        let cosine = |z: f64| (1.0 - z * z) / (1.0 + z * z);
        let least = LEAST * reference.square / cosine(inner.z).powi(2);
        let rule = &scratch.rules[rule.unwrap_or(RULES.len() - 1)][..];
        let [
            mut across,
            mut cosines,
            mut weights,
            mut capacitances,
            mut works,
        ] = [[0.0; MOST_SAMPLES]; 5];
        for (k, (abscissa, weight)) in rule.iter().enumerate() {
            let z = middle + half * abscissa;
            let part = 1.0 / (1.0 + z * z);
            across[k] = self.sign * self.zero * 2.0 * z * part;
            cosines[k] = (1.0 - z * z) * part;
            weights[k] = weight * cosines[k] * part;
        }
        let count = rule.len();
        tank.capacitance.sample_each(
            &across[..count],
            rails,
            &mut capacitances[..count],
            &mut works[..count],
        );
        let mut sum = 0.0;
        for k in 0..count {
            let square = (energy - factor * works[k]).max(least * cosines[k] * cosines[k]);
            sum += weights[k] * capacitances[k] * (1.0 / square.sqrt() - mean);
        }
        let charge = outer.place.sample.charge - inner.place.sample.charge;
        let even = mean * charge.abs();
        let time = even + 2.0 * self.zero * half * sum;
        // Where rounding spoils even that, the way is too short to matter.
        if time.is_finite() { time } else { even }
    }

    /// The place a time after the side's start: Newton's method kept in its bracket.
    fn after(&self, time: f64, whole: f64, scratch: &mut Scratch) -> Spot {
        let onwards = (self.to.z - self.from.z).signum();
        let (mut early, mut late) = (self.from, self.to);
        let mut spot = self.spot(early.z + (late.z - early.z) * time / whole);
        let mut passed = self.time(&self.from, &spot, scratch);
        for _ in 0..60 {
            let error = passed - time;
            if error.abs() <= 1e-14 * whole {
                break;
            }
            if error < 0.0 {
                early = spot;
            } else {
                late = spot;
            }
            let part = 1.0 / (1.0 + spot.z * spot.z);
            let rate = 2.0 * self.zero * (1.0 - spot.z * spot.z) * part * part;
            let slowness = spot.place.sample.capacitance / spot.place.current();
            let mut z = spot.z - onwards * error / (rate * slowness);
            if !((z - early.z) * onwards > 0.0 && (late.z - z) * onwards > 0.0) {
                z = f64::midpoint(early.z, late.z);
            }
            if z == spot.z {
                break;
            }
            let next = self.spot(z);
            let step = self.time(&spot, &next, scratch);
            passed += step.copysign((next.z - spot.z) * onwards);
            spot = next;
        }
        spot
    }
}

/// How far beyond the end of a side the current would come to zero, the capacitance
/// continued in a line; only that far out as matters.
fn beyond(tank: &Tank, sign: f64, distance: f64, end: &Place) -> f64 {
    let excess = end.square.max(0.0);
    if let Some(whole) = tank.whole {
        let square = distance * distance + tank.inductance * excess / whole;
        return square.sqrt() - distance;
    }
    if excess == 0.0 {
        return 0.0;
    }
    let farthest = BEYOND * distance;
    let capacitance = end.sample.capacitance;
    let factor = 2.0 / tank.inductance;
    // Far out whatever the slope.
    if excess > 3.0 * factor * farthest * capacitance * distance {
        return farthest;
    }
    let slope = sign * tank.capacitance.slope(end.node, &tank.rails);
    let spent = |x: f64| {
        let line = capacitance * (distance + x / 2.0) + slope * x * (distance / 2.0 + x / 3.0);
        factor * x * line
    };
    if spent(farthest) <= excess {
        return farthest;
    }
    let mut x = (excess / (factor * capacitance * distance)).min(farthest);
    for _ in 0..5 {
        let rate = factor * (capacitance + slope * x) * (distance + x);
        x = (x - (spent(x) - excess) / rate).clamp(0.0, farthest);
    }
    x
}
