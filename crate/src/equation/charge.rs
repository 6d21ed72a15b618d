//! Integrals over the charge of a capacitance, for tables.
//!
//! The time of a moving node is `∫ C/i du`. A table's capacitance has a kink at every
//! point, and a rule over the voltage would need a break at each. Over the charge,
//! `dq = C du`, the same time is `∫ 1/i dq`: the square of the current is an integral of
//! an integral of the capacitance, in which a kink shows in the third derivative only.
//! Breaks are set at as many points as there is room for, so that the cost does not
//! grow with a table that is finer than that.

use super::curve::Curve;

/// Part of the charge within which two breaks count as one.
const APART: f64 = 1e-12;
/// Halvings at most, and where points of a table were left out, whose kinks no number of
/// halvings would end: the parts that differ most come first, and what remains is a
/// few billionths in a table whose neighbours differ threefold, less in any other.
const HALVINGS: usize = 256;
const HALVINGS_ACROSS: usize = 16;
/// Halvings of a part, at most.
const DEPTH: u32 = 16;

/// Positive abscissae of the 7-point Kronrod rule, the last being zero; every second
/// one, from index 1, belongs to the 3-point Gauss rule.
const ABSCISSAE: [f64; 4] = [
    0.960_491_268_708_020_3,
    0.774_596_669_241_483_4,
    0.434_243_749_346_802_55,
    0.0,
];
const KRONROD: [f64; 4] = [
    0.104_656_226_026_467_27,
    0.268_488_089_868_333_44,
    0.401_397_414_775_962_2,
    0.450_916_538_658_474_15,
];
const GAUSS: [f64; 2] = [5.0 / 9.0, 8.0 / 9.0];

/// Points of the rule.
pub(crate) const POINTS: usize = 2 * ABSCISSAE.len() - 1;

/// A curve of a line in the variable, or of the line's magnitude, with its factor.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shifted {
    pub curve: &'static Curve,
    pub magnitude: bool,
    /// 1 or -1.
    pub slope: f64,
    pub shift: f64,
    pub factor: f64,
}

impl Shifted {
    fn voltage(&self, u: f64) -> f64 {
        self.slope * u + self.shift
    }
}

/// A sum of curves and a constant.
#[derive(Clone, Debug, Default)]
pub(crate) struct Measure {
    pub curves: Vec<Shifted>,
    pub constant: f64,
}

/// How sharply an integral is taken.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sharpness {
    /// The tolerance, as a part of the integral.
    pub tolerance: f64,
    /// Points of tables at which the range is broken, at most, shared by the curves.
    pub breaks: usize,
}

impl Sharpness {
    /// As sharp as the quadrature of other integrals.
    pub const FULL: Self = Self {
        tolerance: super::quadrature::TOLERANCE,
        breaks: 52,
    };
}

/// A point of the rule that an integral took.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Node {
    /// The part of the charge up to it.
    pub part: f64,
    /// The variable there.
    pub at: f64,
    /// The weight, all of them adding up to one.
    pub weight: f64,
}

/// An integral as it was taken.
#[derive(Clone, Debug)]
pub(crate) struct Taken {
    pub value: f64,
    pub nodes: Vec<Node>,
}

/// A place on the way: the smoothed variable from -1 to 1, the charge, the variable and
/// the capacitance.
#[derive(Clone, Copy, Debug)]
struct Place {
    s: f64,
    charge: f64,
    at: f64,
    capacitance: f64,
}

/// A part of the way with the rule's points on it.
#[derive(Clone, Copy, Debug)]
struct Part {
    from: Place,
    to: Place,
    middle: Place,
    depth: u32,
    nodes: [Node; POINTS],
    fine: f64,
    coarse: f64,
}

impl Measure {
    /// Charge and capacitance at a value of the variable.
    fn sample(&self, u: f64) -> (f64, f64) {
        let (mut charge, mut capacitance) = (self.constant * u, self.constant);
        for own in &self.curves {
            let v = own.voltage(u);
            let mirrored = own.magnitude && v < 0.0;
            let (here, up_to, _) = own.curve.sample(if mirrored { -v } else { v });
            let sign = if mirrored { -own.slope } else { own.slope };
            charge += own.factor * sign * up_to;
            capacitance += own.factor * here;
        }
        (charge, capacitance)
    }

    /// Integrates a function that has the capacitance as a factor, to a relative
    /// tolerance by the rule's own estimate. `function` puts its values at the points
    /// that it is given.
    pub fn integrate(
        &self,
        (lower, upper): (f64, f64),
        Sharpness { tolerance, breaks }: Sharpness,
        function: impl FnMut(&[f64; POINTS], &mut [f64]),
    ) -> Taken {
        let ends = [lower, upper].map(|u| self.place(-1.0, u));
        let whole = ends[1].charge - ends[0].charge;
        if lower == upper || whole == 0.0 {
            return Taken {
                value: 0.0,
                nodes: vec![],
            };
        }
        if !whole.is_finite() {
            return Taken {
                value: f64::NAN,
                nodes: vec![],
            };
        }
        let mut way = Way {
            measure: self,
            ends: ends.map(|end| end.charge),
            function,
        };
        let (places, complete) = self.breaks(ends, breaks);
        let most = if complete { HALVINGS } else { HALVINGS_ACROSS };
        let nodes = way.take(&places, tolerance, most);
        let mean: f64 = nodes.iter().map(|(node, value)| node.weight * value).sum();
        Taken {
            value: whole * mean,
            nodes: nodes.into_iter().map(|(node, _)| node).collect(),
        }
    }

    /// The ends of the parts at first: the limits, and points of the tables; and whether
    /// these are all.
    fn breaks(&self, [first, last]: [Place; 2], most: usize) -> (Vec<Place>, bool) {
        let place = |at: f64| {
            let place = self.place(0.0, at);
            let part = (place.charge - first.charge) / (last.charge - first.charge);
            let s = 2.0 * ((2.0 * part - 1.0).clamp(-1.0, 1.0).asin() / 3.0).sin();
            (part, Place { s, ..place })
        };
        let mut found = Vec::new();
        let mut complete = true;
        let tables = self
            .curves
            .iter()
            .filter(|own| own.curve.table_ends().is_some());
        let sides: usize = tables.map(|own| 1 + usize::from(own.magnitude)).sum();
        let most = most / sides.max(1);
        for own in &self.curves {
            let (a, b) = (own.voltage(first.at), own.voltage(last.at));
            let (low, high) = (a.min(b), a.max(b));
            let mut put = |v: f64| found.push(place((v - own.shift) * own.slope));
            let (knots, all) = own.curve.knots_within(low, high, most);
            knots.for_each(&mut put);
            complete &= all;
            if own.magnitude {
                let (knots, all) = own.curve.knots_within(-high, -low, most);
                knots.for_each(|v| put(-v));
                complete &= all;
                if low < 0.0 && high > 0.0 {
                    put(0.0);
                }
            }
        }
        found.retain(|(part, _)| *part > APART && *part < 1.0 - APART);
        found.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        found.dedup_by(|a, b| a.0 - b.0 <= APART);
        let mut places = vec![first];
        places.extend(found.into_iter().map(|(_, place)| place));
        places.push(Place { s: 1.0, ..last });
        (places, complete)
    }

    fn place(&self, s: f64, at: f64) -> Place {
        let (charge, capacitance) = self.sample(at);
        Place {
            s,
            charge,
            at,
            capacitance,
        }
    }

    /// The variable at which the charge has a value between those of two places, and the
    /// capacitance there: Newton's method kept between them, from the cubic that has their
    /// capacitances.
    fn inverse(&self, charge: f64, from: &Place, to: &Place) -> (f64, f64) {
        let (whole, span) = (to.charge - from.charge, to.at - from.at);
        let along = (charge - from.charge) / whole;
        let (mut near, mut far) = (from.at.min(to.at), from.at.max(to.at));
        let mut u = from.at + span * cubic(along, whole / span, from.capacitance, to.capacitance);
        if !(u > near && u < far) {
            u = from.at + span * along;
        }
        let mut capacitance = f64::NAN;
        for _ in 0..60 {
            let (charge_here, here) = self.sample(u);
            capacitance = here;
            let error = charge_here - charge;
            let step = error / here;
            // Below what the charge's own digits can tell.
            let noise = u.abs().max(span.abs()).max((charge / here).abs());
            if step.abs() <= 4.0 * f64::EPSILON * noise {
                break;
            }
            if (error > 0.0) == (whole / span > 0.0) {
                far = u;
            } else {
                near = u;
            }
            u -= step;
            if !(u > near && u < far) {
                u = f64::midpoint(near, far);
            }
        }
        (u, capacitance)
    }
}

/// The part of a span at a part `along` of its charge: the cubic with the inverse
/// capacitances at both ends, over the mean capacitance.
fn cubic(along: f64, mean: f64, from: f64, to: f64) -> f64 {
    let (rest, first, last) = (1.0 - along, mean / from, mean / to);
    along * (rest * rest * first + along * (3.0 - 2.0 * along - rest * last))
}

/// The way from one limit to the other.
struct Way<'m, F> {
    measure: &'m Measure,
    ends: [f64; 2],
    function: F,
}

impl<F: FnMut(&[f64; POINTS], &mut [f64])> Way<'_, F> {
    /// The points that the parts end up with, and what is integrated there. At most so
    /// many parts are halved, those first whose two rules differ most.
    fn take(&mut self, places: &[Place], tolerance: f64, most: usize) -> Vec<(Node, f64)> {
        let mut parts: Vec<_> = places
            .windows(2)
            .map(|pair| self.part(pair[0], pair[1], 0))
            .collect();
        let scale: f64 = parts.iter().map(|(part, _)| part.fine.abs()).sum();
        let differs = |part: &Part| (part.fine - part.coarse).abs();
        for _ in 0..most {
            let worst = (0..parts.len())
                .filter(|k| parts[*k].0.depth < DEPTH)
                .max_by(|j, k| differs(&parts[*j].0).total_cmp(&differs(&parts[*k].0)));
            let Some(worst) = worst else {
                break;
            };
            let part = parts[worst].0;
            // The difference is the error of the coarse rule, see `quadrature`.
            let error = (200.0 * differs(&part) / scale).powf(1.5);
            if !(error.is_finite() && error > tolerance) {
                break;
            }
            parts[worst] = self.part(part.from, part.middle, part.depth + 1);
            parts.push(self.part(part.middle, part.to, part.depth + 1));
        }
        let each = parts.into_iter();
        each.flat_map(|(part, values)| part.nodes.into_iter().zip(values))
            .collect()
    }

    fn part(&mut self, from: Place, to: Place, depth: u32) -> (Part, [f64; POINTS]) {
        let (centre, half) = (f64::midpoint(from.s, to.s), (to.s - from.s) / 2.0);
        let whole = self.ends[1] - self.ends[0];
        let mut nodes = [Node {
            part: 0.0,
            at: 0.0,
            weight: 0.0,
        }; POINTS];
        let mut at = [0.0; POINTS];
        let mut capacitances = [0.0; POINTS];
        let mut middle = from;
        for (k, node) in nodes.iter_mut().enumerate() {
            let abscissa = ABSCISSAE[k / 2];
            let s = if k % 2 == 0 {
                centre - half * abscissa
            } else {
                centre + half * abscissa
            };
            // The cubic, written from the nearer end so that no digits cancel.
            let rest = (1.0 - s.abs()) * (1.0 - s.abs()) * (2.0 + s.abs()) / 4.0;
            let (part, charge) = if s < 0.0 {
                (rest, self.ends[0] + whole * rest)
            } else {
                (1.0 - rest, self.ends[1] - whole * rest)
            };
            (at[k], capacitances[k]) = self.measure.inverse(charge, &from, &to);
            *node = Node {
                part,
                at: at[k],
                weight: KRONROD[k / 2] * half * 0.75 * (1.0 - s) * (1.0 + s),
            };
            middle = Place {
                s,
                charge,
                at: at[k],
                capacitance: capacitances[k],
            };
        }
        let mut values = [0.0; POINTS];
        (self.function)(&at, &mut values);
        let (mut fine, mut coarse) = (0.0, 0.0);
        for (k, (node, value)) in nodes.iter().zip(&mut values).enumerate() {
            *value /= capacitances[k];
            let share = node.weight * *value;
            fine += share;
            if (k / 2) % 2 == 1 {
                coarse += share * GAUSS[k / 4] / KRONROD[k / 2];
            }
        }
        let part = Part {
            from,
            to,
            middle,
            depth,
            nodes,
            fine,
            coarse,
        };
        (part, values)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Dimensioned as _, Voltage, unit::pF};
    use approx::assert_relative_eq;

    /// A table over 40 V of capacitances that a generator of numbers scatters.
    fn jagged(points: u32) -> &'static Curve {
        let mut state = 7_u32;
        let table: Vec<_> = (0..points)
            .map(|k| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let scattered = 150.0 + 300.0 * f64::from(state) / f64::from(u32::MAX);
                let v = 40.0 * f64::from(k) / f64::from(points - 1);
                (Voltage::from_coherent(v), scattered * pF)
            })
            .collect();
        Box::leak(Box::new(Curve::table("C", &table).unwrap()))
    }

    fn measure(curve: &'static Curve) -> Measure {
        Measure {
            curves: vec![Shifted {
                curve,
                magnitude: false,
                slope: -1.0,
                shift: 40.0,
                factor: 1.0,
            }],
            constant: 50e-12,
        }
    }

    /// The time up to 40 V from rest at 0 V of an inductor's current that comes to zero
    /// `beyond` times the work there: `∫ C/√(k − 2W/L) du` with `L` of 1 µH.
    fn time(measure: &Measure, beyond: f64, looked: &mut usize) -> f64 {
        let curve = measure.curves[0].curve;
        let work = |u: f64| {
            let (all, rest) = (curve.sample(40.0), curve.sample(40.0 - u));
            40.0 * (all.1 - rest.1) - (all.2 - rest.2) + measure.constant * u * u / 2.0
        };
        let k = work(40.0) * beyond;
        let sharp = Sharpness {
            tolerance: 1e-11,
            breaks: 52,
        };
        let taken = measure.integrate((0.0, 40.0), sharp, |points, values| {
            for (u, value) in points.iter().zip(values) {
                *looked += 1;
                *value = measure.sample(*u).1 / ((k - work(*u)) * 2e6).sqrt();
            }
        });
        taken.value
    }

    /// The same by midpoints over the root of the distance to 40 V, in each segment at two
    /// widths, so that the error falls with their fourth power.
    fn summed(measure: &Measure, beyond: f64, segments: u32) -> f64 {
        let curve = measure.curves[0].curve;
        let work = |u: f64| {
            let (all, rest) = (curve.sample(40.0), curve.sample(40.0 - u));
            40.0 * (all.1 - rest.1) - (all.2 - rest.2) + measure.constant * u * u / 2.0
        };
        let k = work(40.0) * beyond;
        let sum = |parts: u32| -> f64 {
            let each = |segment: u32| {
                let end = |j: u32| 40.0 * f64::from(j) / f64::from(segments);
                // Over the root of the distance to 40 V, for the inverse root there.
                let (a, b) = (
                    (40.0 - end(segment)).sqrt(),
                    (40.0 - end(segment + 1)).max(0.0).sqrt(),
                );
                let part = (a - b) / f64::from(parts);
                let at = |j: u32| {
                    let y = b + part * (f64::from(j) + 0.5);
                    let u = 40.0 - y * y;
                    2.0 * y * measure.sample(u).1 / ((k - work(u)) * 2e6).sqrt() * part
                };
                (0..parts).map(at).sum::<f64>()
            };
            (0..segments).map(each).sum()
        };
        let (coarse, fine) = (sum(200), sum(400));
        fine + (fine - coarse) / 3.0
    }

    #[test]
    fn a_table_of_any_length_is_integrated_point_by_point() {
        for (points, within) in [(2, 1e-9), (10, 1e-9), (40, 1e-9), (1000, 3e-9)] {
            let measure = measure(jagged(points));
            for beyond in [1.001, 1.2, 5.0] {
                let value = time(&measure, beyond, &mut 0);
                let reference = summed(&measure, beyond, (points - 1).max(40));
                assert_relative_eq!(value, reference, max_relative = within);
            }
        }
    }

    #[test]
    fn a_thousand_points_cost_no_more_than_twice_ten() {
        let cost = |points| {
            let mut looked = 0;
            time(&measure(jagged(points)), 1.2, &mut looked);
            looked
        };
        let (few, many) = (cost(10), cost(1000));
        assert!(many <= 2 * few, "{many} against {few}");
    }

    /// A constant capacitance of many points: the quarter circle of an inductor and a
    /// capacitor, `√(L·C)·asin(1/√beyond)`.
    #[test]
    fn a_flat_table_is_a_capacitor() {
        let points: Vec<_> = (0..200)
            .map(|k| (Voltage::from_coherent(0.2 * f64::from(k)), 250.0 * pF))
            .collect();
        let curve = Box::leak(Box::new(Curve::table("C", &points).unwrap()));
        let value = time(&measure(curve), 1.5, &mut 0);
        let exact = (1e-6_f64 * 300e-12).sqrt() * (1.0 / 1.5_f64.sqrt()).asin();
        assert_relative_eq!(value, exact, max_relative = 1e-11);
    }
}
