//! The part of an edge on one side of the output voltage, and its time.

use super::super::gauss::gauss;
use super::super::node::MOST_SAMPLES;
use super::{Place, Tank};

/// A rule of so many points is taken where the current changes by less than a part.
const RULES: [(f64, usize); 3] = [(2e-3, 12), (0.2, 20), (f64::INFINITY, MOST_SAMPLES)];

/// The rules, and storage of the breaks; kept between edges.
#[derive(Clone, Debug, Default)]
pub(in crate::timeline) struct Scratch {
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

/// Part of a side beyond its end at which the current's zero is sought: farther out
/// it no longer matters.
const BEYOND: f64 = 0.125;
/// Part of what a constant capacitance would leave of the current's square that any
/// capacitance leaves.
const LEAST: f64 = 1e-3;

/// A place on a side: `z` is the tangent of half the angle whose sine is the
/// distance from the output voltage over that of the current's zero.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub z: f64,
    pub place: Place,
}

/// The part of a way that lies on one side of the output voltage.
pub(super) struct Side<'n> {
    tank: &'n Tank<'n>,
    /// 1 above the output voltage, -1 below.
    sign: f64,
    /// Distance at which the current would come to zero.
    zero: f64,
    pub from: Spot,
    pub to: Spot,
}

impl<'n> Side<'n> {
    pub fn new(tank: &'n Tank<'n>, sign: f64, from: &Place, to: &Place) -> Self {
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

    pub fn width(&self) -> f64 {
        (self.to.z - self.from.z).abs()
    }

    pub fn spot(&self, z: f64) -> Spot {
        let distance = self.zero * 2.0 * z / (1.0 + z * z);
        let node = self.tank.rails.output + self.sign * distance;
        Spot {
            z,
            place: self.tank.place(&self.from.place, node),
        }
    }

    /// The time between two places.
    pub fn time(&self, a: &Spot, b: &Spot, scratch: &mut Scratch) -> f64 {
        let tank = self.tank;
        let (inner, outer) = if a.z < b.z { (a, b) } else { (b, a) };
        if let Some(whole) = tank.whole {
            let angle = |spot: &Spot| {
                let away = (spot.place.node - tank.rails.output).abs();
                (whole.sqrt() * away).atan2(tank.inductance.sqrt() * spot.place.current())
            };
            return (tank.inductance * whole).sqrt() * (angle(outer) - angle(inner)).max(0.0);
        }
        // Every junction has a kink at zero volts, beyond a level.
        let level = if self.sign > 0.0 {
            tank.rails.high
        } else {
            tank.rails.low
        };
        let beyond = (outer.place.node - level) * self.sign > 0.0;
        if !tank.capacitance.kinked && !beyond {
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
    pub fn after(&self, time: f64, whole: f64, scratch: &mut Scratch) -> Spot {
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
