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
    Table(Vec<Knot>),
}

/// A point of a table with the charge and energy accumulated up to it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Knot {
    pub voltage: f64,
    pub capacitance: f64,
    charge: f64,
    energy: f64,
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
        })
    }

    /// A curve without capacitance.
    #[must_use]
    pub fn empty(name: &str) -> Self {
        Self {
            glyph: Glyph::new(name),
            shape: Shape::Constant(0.0),
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
            Shape::Table(knots) => knots.iter().all(|k| k.capacitance == 0.0),
        }
    }

    /// The first and the last voltage of a table, beyond which its capacitance is
    /// taken as constant; none for a law or a constant.
    #[must_use]
    pub fn table_ends(&self) -> Option<(Voltage, Voltage)> {
        let Shape::Table(knots) = &self.shape else {
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
        })
    }

    /// A table, linear in voltage between its points and constant beyond its ends.
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
        let (first, rest) = (points[0], &points[1..]);
        let (v, c) = (first.0.value, first.1.value);
        let mut knots = vec![Knot {
            voltage: v,
            capacitance: c,
            charge: c * v,
            energy: c * v * v / 2.0,
        }];
        for (voltage, capacitance) in rest {
            let from = knots[knots.len() - 1];
            let (charge, energy) = linear(from, voltage.value, capacitance.value);
            knots.push(Knot {
                voltage: voltage.value,
                capacitance: capacitance.value,
                charge,
                energy,
            });
        }
        Ok(Self {
            glyph: Glyph::new(name),
            shape: Shape::Table(knots),
        })
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
            Shape::Table(knots) => {
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
            Shape::Table(knots) => match segment(knots, v) {
                Segment::Below => knots[0].capacitance,
                Segment::Above => knots[knots.len() - 1].capacitance,
                Segment::Within(from, to) => {
                    from.capacitance
                        + (to.capacitance - from.capacitance) * (v - from.voltage)
                            / (to.voltage - from.voltage)
                }
            },
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
            Shape::Table(knots) => match segment(knots, v) {
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
            Shape::Table(knots) => {
                let c = self.at(v);
                let (charge, energy) = match segment(knots, v) {
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

    /// Voltages at which the curve has a kink.
    pub(crate) fn kinks(&self) -> Vec<f64> {
        match &self.shape {
            Shape::Constant(_) => vec![],
            Shape::Law { .. } => vec![0.0],
            Shape::Table(knots) => knots.iter().map(|k| k.voltage).collect(),
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
