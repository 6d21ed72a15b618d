//! Capacitance against voltage, with its charge and energy in closed form.

use super::error::CurveError;
use super::glyph::Glyph;
use crate::quantity::{Capacitance, Charge, Dimensioned as _, Energy, Ratio, Voltage};

/// A capacitance curve `C(v)`: constant, junction law, or table.
///
/// Below zero volts it keeps its value at zero: a body diode conducts there.
///
/// ```
/// use slewbook::equation::Curve;
/// use slewbook::quantity::{print, unit::{pF, volt}, Ratio};
/// let curve = Curve::law("C_H", 900.0 * pF, 0.8 * volt, 0.5.into(), 60.0 * pF).unwrap();
/// assert_eq!(print(curve.capacitance(22.0 * volt)), "228.6 pF");
/// assert_eq!(print(curve.charge(22.0 * volt)), "7.567 nC");
/// ```
#[derive(Clone, Debug)]
pub struct Curve {
    glyph: Glyph,
    pub(super) shape: Shape,
    /// Whether points of a table were too close together to be kept apart.
    stepped: bool,
}

#[derive(Clone, Debug)]
pub(super) enum Shape {
    Constant(f64),
    Law {
        zero_bias: f64,
        built_in: f64,
        grading: f64,
        floor: f64,
    },
    /// Points, and what lies between any two of them.
    Table(Vec<Knot>, Hulls),
}

/// How close together, as a part of their voltage, points of a table are taken as one
/// step; of a volt for those below one.
const STEP: f64 = 1e-9;

/// A point of a table with the charge and energy accumulated up to it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Knot {
    pub voltage: f64,
    pub capacitance: f64,
    pub charge: f64,
    pub energy: f64,
}

/// The least and the greatest capacitance of the points, and slope between them, over
/// any run of points: kept for runs of each power of two, of which two make any other.
#[derive(Clone, Debug)]
pub(super) struct Hulls {
    pub capacitance: Runs,
    pub slope: Runs,
}

/// Least and greatest values of runs, by the power of two and the first of them.
#[derive(Clone, Debug)]
pub(super) struct Runs(Vec<Vec<(f64, f64)>>);

impl Hulls {
    fn new(knots: &[Knot]) -> Self {
        let slopes = knots.windows(2).map(|pair| {
            (pair[1].capacitance - pair[0].capacitance) / (pair[1].voltage - pair[0].voltage)
        });
        Self {
            capacitance: Runs::new(knots.iter().map(|k| k.capacitance)),
            slope: Runs::new(slopes),
        }
    }
}

impl Runs {
    fn new(values: impl Iterator<Item = f64>) -> Self {
        let mut levels: Vec<Vec<(f64, f64)>> = vec![values.map(|v| (v, v)).collect()];
        let mut reach = 1;
        while let Some(last) = levels.last()
            && last.len() > reach
        {
            let joined = last.iter().zip(&last[reach..]);
            let joined = joined.map(|(a, b)| (a.0.min(b.0), a.1.max(b.1))).collect();
            levels.push(joined);
            reach *= 2;
        }
        Self(levels)
    }

    /// Over the values from `first` up to, not including, `end`; none where there are
    /// none.
    pub fn over(&self, first: usize, end: usize) -> Option<(f64, f64)> {
        let level = end.checked_sub(first)?.checked_ilog2()?;
        let run = &self.0[level as usize];
        let (a, b) = (run[first], run[end - (1 << level)]);
        Some((a.0.min(b.0), a.1.max(b.1)))
    }
}

impl Curve {
    /// The same capacitance at every voltage.
    ///
    /// # Errors
    /// A capacitance that is negative or not finite.
    pub fn constant(name: &str, capacitance: Capacitance) -> Result<Self, CurveError> {
        non_negative("constant", capacitance.value)?;
        Ok(Self {
            glyph: Glyph::new(name),
            shape: Shape::Constant(capacitance.value),
            stepped: false,
        })
    }

    /// A curve without capacitance.
    #[must_use]
    pub fn empty(name: &str) -> Self {
        Self {
            glyph: Glyph::new(name),
            shape: Shape::Constant(0.0),
            stepped: false,
        }
    }

    /// Whether the capacitance is zero at every voltage.
    #[must_use]
    pub fn is_zero(&self) -> bool {
        match &self.shape {
            Shape::Constant(c) => *c == 0.0,
            Shape::Law {
                zero_bias, floor, ..
            } => *zero_bias == 0.0 && *floor == 0.0,
            Shape::Table(knots, _) => knots.iter().all(|k| k.capacitance == 0.0),
        }
    }

    /// The first and the last voltage of a table, beyond which its capacitance is
    /// taken as constant; none for a law or a constant.
    #[must_use]
    pub fn table_ends(&self) -> Option<(Voltage, Voltage)> {
        let Shape::Table(knots, _) = &self.shape else {
            return None;
        };
        let (first, last) = (knots.first()?, knots.last()?);
        let volts = Voltage::from_coherent;
        Some((volts(first.voltage), volts(last.voltage)))
    }

    /// The junction law `C(v) = zero_bias / (1 + v / built_in)^grading + floor`.
    ///
    /// # Errors
    /// A negative capacitance, a built-in voltage that is not above zero, a
    /// grading outside 0 to below 1.
    pub fn law(
        name: &str,
        zero_bias: Capacitance,
        built_in: Voltage,
        grading: Ratio,
        floor: Capacitance,
    ) -> Result<Self, CurveError> {
        non_negative("zero_bias", zero_bias.value)?;
        non_negative("floor", floor.value)?;
        if !(built_in.value > 0.0 && built_in.value.is_finite()) {
            return Err(CurveError::Parameter {
                name: "built_in",
                value: built_in.value,
                expected: "a voltage above 0 V",
            });
        }
        if !(0.0..1.0).contains(&grading.value) {
            return Err(CurveError::Parameter {
                name: "grading",
                value: grading.value,
                expected: "a number from 0 to below 1",
            });
        }
        Ok(Self {
            glyph: Glyph::new(name),
            shape: Shape::Law {
                zero_bias: zero_bias.value,
                built_in: built_in.value,
                grading: grading.value,
                floor: floor.value,
            },
            stepped: false,
        })
    }

    /// A table, linear in voltage between its points and constant beyond its ends.
    ///
    /// Points closer together than a billionth of their voltage, or than 1 nV, are
    /// taken as one step of that width, from the first of them to the last.
    ///
    /// # Errors
    /// Fewer than two points, voltages that do not rise, negative values.
    pub fn table(name: &str, points: &[(Voltage, Capacitance)]) -> Result<Self, CurveError> {
        if points.len() < 2 {
            return Err(CurveError::TooFewPoints {
                points: points.len(),
            });
        }
        for (index, (voltage, capacitance)) in points.iter().enumerate() {
            non_negative("voltage of the table", voltage.value)?;
            non_negative("capacitance of the table", capacitance.value)?;
            if index > 0 && voltage.value <= points[index - 1].0.value {
                return Err(CurveError::NotRising {
                    point: index + 1,
                    voltage: voltage.value,
                });
            }
        }
        let points: Vec<_> = points.iter().map(|(v, c)| (v.value, c.value)).collect();
        let kept = steps(&points);
        let ((v, c), rest) = (kept[0], &kept[1..]);
        let mut knots = vec![Knot {
            voltage: v,
            capacitance: c,
            charge: c * v,
            energy: c * v * v / 2.0,
        }];
        for (voltage, capacitance) in rest {
            let from = knots[knots.len() - 1];
            let (charge, energy) = linear(from, *voltage, *capacitance);
            knots.push(Knot {
                voltage: *voltage,
                capacitance: *capacitance,
                charge,
                energy,
            });
        }
        let hulls = Hulls::new(&knots);
        Ok(Self {
            glyph: Glyph::new(name),
            shape: Shape::Table(knots, hulls),
            stepped: kept != points,
        })
    }

    /// Whether points of a table lie so close together that they are taken as a step.
    #[must_use]
    pub fn is_stepped(&self) -> bool {
        self.stepped
    }

    /// How the curve is written.
    #[must_use]
    pub fn glyph(&self) -> &Glyph {
        &self.glyph
    }

    /// The capacitance at a voltage.
    #[must_use]
    pub fn capacitance(&self, voltage: Voltage) -> Capacitance {
        crate::quantity::Dimensioned::from_coherent(self.at(voltage.value))
    }

    /// The charge from 0 V up to a voltage, the integral of `C dv`.
    #[must_use]
    pub fn charge(&self, voltage: Voltage) -> Charge {
        crate::quantity::Dimensioned::from_coherent(self.moments(voltage.value).0)
    }

    /// The energy from 0 V up to a voltage, the integral of `C v dv`.
    #[must_use]
    pub fn energy(&self, voltage: Voltage) -> Energy {
        crate::quantity::Dimensioned::from_coherent(self.moments(voltage.value).1)
    }

    /// The formula of the curve in plain text, for the table of symbols.
    #[must_use]
    pub fn describe(&self) -> String {
        use crate::quantity::{Dimensioned as _, print_value};
        let farads = |c| print_value(c, Capacitance::EXPONENTS, 4);
        let volts = |v| print_value(v, Voltage::EXPONENTS, 4);
        match &self.shape {
            Shape::Constant(c) => format!("constant {}", farads(*c)),
            Shape::Law {
                zero_bias,
                built_in,
                grading,
                floor,
            } => format!(
                "{} / (1 + v / {})^{grading} + {}",
                farads(*zero_bias),
                volts(*built_in),
                farads(*floor)
            ),
            Shape::Table(knots, _) => {
                let points: Vec<_> = knots
                    .iter()
                    .map(|k| format!("{} at {}", farads(k.capacitance), volts(k.voltage)))
                    .collect();
                format!("linear between {}", points.join(", "))
            }
        }
    }

    /// Capacitance in farad at `v` volts.
    pub(crate) fn at(&self, v: f64) -> f64 {
        let v = v.max(0.0);
        match &self.shape {
            Shape::Constant(c) => *c,
            Shape::Law {
                zero_bias,
                built_in,
                grading,
                floor,
            } => zero_bias / raised(1.0 + v / built_in, *grading) + floor,
            Shape::Table(knots, _) => segment(knots, v).capacitance(knots, v),
        }
    }

    /// Slope of the capacitance, in farad per volt.
    pub(crate) fn slope(&self, v: f64) -> f64 {
        if v < 0.0 {
            return 0.0;
        }
        match &self.shape {
            Shape::Constant(_) => 0.0,
            Shape::Law {
                zero_bias,
                built_in,
                grading,
                ..
            } => {
                let y = 1.0 + v / built_in;
                -grading * zero_bias / (built_in * y * raised(y, *grading))
            }
            Shape::Table(knots, _) => match segment(knots, v) {
                Segment::Below | Segment::Above => 0.0,
                Segment::Within(from, to) => {
                    (to.capacitance - from.capacitance) / (to.voltage - from.voltage)
                }
            },
        }
    }

    /// The integrals of `C dv` and `C v dv` from 0 to `v`.
    pub(crate) fn moments(&self, v: f64) -> (f64, f64) {
        let (_, charge, energy) = self.sample(v);
        (charge, energy)
    }

    /// The capacitance at `v` and the integrals of `C dv` and `C v dv` from 0 to `v`.
    pub(crate) fn sample(&self, v: f64) -> (f64, f64, f64) {
        if v < 0.0 {
            let c = self.at(0.0);
            return (c, c * v, c * v * v / 2.0);
        }
        match &self.shape {
            Shape::Constant(c) => (*c, c * v, c * v * v / 2.0),
            Shape::Law {
                zero_bias,
                built_in,
                grading,
                floor,
            } => {
                if *grading == 0.5 {
                    return abrupt(*zero_bias, *built_in, 1.0 / built_in, *floor, v);
                }
                let y = 1.0 + v / built_in;
                let first = 1.0 - grading;
                let power = y.powf(first);
                let charge = zero_bias * built_in * (power - 1.0) / first;
                let energy = zero_bias
                    * built_in
                    * built_in
                    * ((power * y - 1.0) / (first + 1.0) - (power - 1.0) / first);
                (
                    zero_bias * power / y + floor,
                    charge + floor * v,
                    energy + floor * v * v / 2.0,
                )
            }
            Shape::Table(knots, _) => {
                let part = segment(knots, v);
                let c = part.capacitance(knots, v);
                let (charge, energy) = match part {
                    Segment::Below => (c * v, c * v * v / 2.0),
                    Segment::Above => linear(knots[knots.len() - 1], v, c),
                    Segment::Within(from, _) => linear(*from, v, c),
                };
                (c, charge, energy)
            }
        }
    }

    /// The capacitance and its two integrals at many voltages: the same as
    /// [`Self::sample`] one by one, faster for an abrupt junction.
    pub(crate) fn sample_each(
        &self,
        voltages: &[f64],
        mut found: impl FnMut(usize, f64, f64, f64),
    ) {
        if let Shape::Law {
            zero_bias,
            built_in,
            grading: 0.5,
            floor,
        } = self.shape
            && voltages.iter().all(|v| *v >= 0.0)
        {
            let inverse = 1.0 / built_in;
            for (k, v) in voltages.iter().enumerate() {
                let (capacitance, charge, energy) = abrupt(zero_bias, built_in, inverse, floor, *v);
                found(k, capacitance, charge, energy);
            }
        } else {
            for (k, v) in voltages.iter().enumerate() {
                let (capacitance, charge, energy) = self.sample(*v);
                found(k, capacitance, charge, energy);
            }
        }
    }

    /// Voltages of a table's points strictly between two, evenly chosen where there are
    /// more than `most`; and whether these are all.
    pub(crate) fn knots_within(
        &self,
        low: f64,
        high: f64,
        most: usize,
    ) -> (impl Iterator<Item = f64>, bool) {
        let knots: &[Knot] = match &self.shape {
            Shape::Table(knots, _) => knots,
            Shape::Constant(_) | Shape::Law { .. } => &[],
        };
        let first = knots.partition_point(|k| k.voltage <= low);
        let last = knots.partition_point(|k| k.voltage < high).max(first);
        let step = (last - first).div_ceil(most).max(1);
        let chosen = knots[first..last].iter().step_by(step);
        (chosen.map(|k| k.voltage), step == 1)
    }

    /// Voltages at which the curve has a kink.
    pub(crate) fn kinks(&self) -> Vec<f64> {
        match &self.shape {
            Shape::Constant(_) => vec![],
            Shape::Law { .. } => vec![0.0],
            Shape::Table(knots, _) => knots.iter().map(|k| k.voltage).collect(),
        }
    }
}

/// Capacitance, charge and energy of an abrupt junction, whose capacitance goes by
/// the inverse root, above a floor; `inverse` is that of the built-in voltage.
fn abrupt(zero_bias: f64, built_in: f64, inverse: f64, floor: f64, v: f64) -> (f64, f64, f64) {
    let root = (1.0 + v * inverse).sqrt();
    // √y - 1, and (y^1.5 - 1)/3 - (√y - 1) by it.
    let rise = root - 1.0;
    let scale = 2.0 * zero_bias * built_in;
    (
        zero_bias / root + floor,
        scale * rise + floor * v,
        scale * built_in * rise * rise * (root + 2.0) / 3.0 + floor * v * v / 2.0,
    )
}

/// A power; the square root of an abrupt junction is worth its own case, being
/// several times faster and exact to the last digit.
fn raised(base: f64, exponent: f64) -> f64 {
    if exponent == 0.5 {
        base.sqrt()
    } else {
        base.powf(exponent)
    }
}

enum Segment<'k> {
    Below,
    Within(&'k Knot, &'k Knot),
    Above,
}

impl Segment<'_> {
    fn capacitance(&self, knots: &[Knot], v: f64) -> f64 {
        match self {
            Self::Below => knots[0].capacitance,
            Self::Above => knots[knots.len() - 1].capacitance,
            Self::Within(from, to) => {
                from.capacitance
                    + (to.capacitance - from.capacitance) * (v - from.voltage)
                        / (to.voltage - from.voltage)
            }
        }
    }
}

fn segment(knots: &[Knot], v: f64) -> Segment<'_> {
    match knots.partition_point(|k| k.voltage <= v) {
        0 => Segment::Below,
        n if n == knots.len() => Segment::Above,
        n => Segment::Within(&knots[n - 1], &knots[n]),
    }
}

/// Charge and energy at `v`, the capacitance running in a line from `from` to `c`.
fn linear(from: Knot, v: f64, c: f64) -> (f64, f64) {
    let step = v - from.voltage;
    let charge = from.charge + f64::midpoint(from.capacitance, c) * step;
    let energy = from.energy
        + step
            * (from.voltage * (from.capacitance + c) / 2.0
                + step * (from.capacitance / 6.0 + c / 3.0));
    (charge, energy)
}

/// The points of a table, those that are too close together as one step.
fn steps(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::with_capacity(points.len());
    // Where the last step begins, and where it ends if there is one.
    let (mut start, mut end) = (f64::NEG_INFINITY, None);
    for (voltage, capacitance) in points {
        let reach = start + STEP * start.max(1.0);
        if *voltage > reach {
            kept.push((*voltage, *capacitance));
            (start, end) = (*voltage, None);
        } else if let Some(place) = end {
            kept[place] = (reach, *capacitance);
        } else {
            kept.push((reach, *capacitance));
            end = Some(kept.len() - 1);
        }
    }
    kept
}

fn non_negative(name: &'static str, value: f64) -> Result<(), CurveError> {
    if value >= 0.0 && value.is_finite() {
        Ok(())
    } else {
        Err(CurveError::Parameter {
            name,
            value,
            expected: "a value not below zero",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::unit::{pF, volt};

    #[test]
    fn points_closer_than_a_billionth_are_one_step() {
        let near: Vec<_> = [(0.0, 900.0), (2.2e-14, 800.0), (4.4e-14, 300.0)]
            .map(|(v, c)| (v * volt, c * pF))
            .into();
        let curve = Curve::table("C", &near).unwrap();
        assert!(curve.is_stepped());
        assert_eq!(curve.kinks(), [0.0, 1e-9]);
        assert_eq!((curve.at(0.0), curve.at(1.0)), (900e-12, 300e-12));
        let jump: Vec<_> = [
            (0.0, 900.0),
            (10.0, 500.0),
            (10.0 + 1e-12, 100.0),
            (20.0, 90.0),
        ]
        .map(|(v, c)| (v * volt, c * pF))
        .into();
        let curve = Curve::table("C", &jump).unwrap();
        assert!((curve.at(9.999_999) - 500e-12).abs() < 1e-16);
        assert!((curve.at(10.000_001) - 100e-12).abs() < 1e-16);
        let apart: Vec<_> = [(0.0, 900.0), (2e-9, 800.0)]
            .map(|(v, c)| (v * volt, c * pF))
            .into();
        assert!(!Curve::table("C", &apart).unwrap().is_stepped());
    }

    #[test]
    fn runs_know_the_least_and_the_greatest_of_any_points() {
        let values: Vec<f64> = (0..23_u8).map(|k| f64::from(k * 7 % 23)).collect();
        let runs = Runs::new(values.iter().copied());
        for first in 0..23 {
            for end in 0..=23 {
                let own = values.get(first..end).filter(|own| !own.is_empty());
                let plain = own.map(|own| {
                    let each = own.iter().copied();
                    (
                        each.clone().fold(f64::INFINITY, f64::min),
                        each.fold(f64::NEG_INFINITY, f64::max),
                    )
                });
                assert_eq!(runs.over(first, end), plain, "{first} to {end}");
            }
        }
    }
}
