//! An interval in which switches hold the node: a linear system of second order.
//!
//! Current and driving voltage obey
//! `L di/dt = w + e - R i` and `dw/dt = g - κ i`,
//! where `κ` is the sum of the elastances that the current passes, `e` a
//! constant drop and `g` the load's pull on the output capacitor. The solution
//! is summed as its power series about the interval's start. That series is the
//! solution in every case, oscillating, overdamped and degenerate (`R`, `κ` or
//! both zero), and no case loses digits to a division by what is nearly zero.

/// Most terms of the series; with [`Law::span`] the first one left out is below
/// 1e-18 of the largest.
const TERMS: usize = 20;
/// Part of the largest term below which two terms one after the other end the series.
const NEGLIGIBLE: f64 = 1e-18;

/// Abscissae and weights of the 6-point Gauss rule on -1 to 1 (Abramowitz and
/// Stegun, table 25.4).
const GAUSS: [(f64, f64); 3] = [
    (0.238_619_186_083_196_9, 0.467_913_934_572_691_04),
    (0.661_209_386_466_264_5, 0.360_761_573_048_138_6),
    (0.932_469_514_203_152, 0.171_324_492_379_170_36),
];

/// The law of an interval.
#[derive(Clone, Copy, Debug)]
pub(super) struct Law {
    pub inductance: f64,
    pub resistance: f64,
    /// `κ`: volts by which the driving voltage falls per coulomb.
    pub elastance: f64,
    /// `e`: constant voltage beside the driving one.
    pub force: f64,
    /// `g`: slope of the driving voltage without current.
    pub slope: f64,
}

impl Law {
    /// The longest time over which the series is summed at once.
    pub fn span(&self) -> f64 {
        let damping = self.inductance / self.resistance;
        let swing = (self.inductance / self.elastance).sqrt();
        damping.min(swing)
    }

    /// The current over `span` seconds from a current and a driving voltage.
    pub fn ramp(&self, current: f64, voltage: f64, span: f64) -> Ramp {
        let (mut i, mut w) = (current, voltage + self.force);
        let mut terms = [0.0; TERMS];
        terms[0] = i;
        let slope = span / self.inductance;
        // Only the first derivative of the driving voltage has a constant.
        let mut constant = self.slope;
        let (mut largest, mut before) = (i.abs(), i.abs());
        let mut count = TERMS;
        for (order, term) in terms.iter_mut().enumerate().skip(1) {
            let part = INVERSE[order];
            let next = slope * (w - self.resistance * i) * part;
            w = span * (constant - self.elastance * i) * part;
            constant = 0.0;
            i = next;
            *term = i;
            if i.abs().max(before) <= NEGLIGIBLE * largest && order > 2 {
                count = order;
                break;
            }
            before = i.abs();
            largest = largest.max(before);
        }
        Ramp { span, terms, count }
    }
}

/// Inverses of the numbers from 0, of which the first is not used.
const INVERSE: [f64; TERMS + 2] = {
    let mut inverse = [0.0; TERMS + 2];
    let mut k = 1;
    while k < TERMS + 2 {
        inverse[k] = 1.0 / k as f64;
        k += 1;
    }
    inverse
};

/// The current as a power series in the part of `span` that has passed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ramp {
    pub span: f64,
    terms: [f64; TERMS],
    count: usize,
}

impl Ramp {
    fn terms(&self) -> &[f64] {
        &self.terms[..self.count]
    }

    /// Current at a part of the span.
    pub fn current(&self, part: f64) -> f64 {
        self.terms().iter().rev().fold(0.0, |sum, c| sum * part + c)
    }

    /// Slope of the current by the part of the span.
    fn slope(&self, part: f64) -> f64 {
        let terms = self.terms().iter().enumerate().skip(1).rev();
        terms.fold(0.0, |sum, (order, c)| sum * part + c * order as f64)
    }

    /// Charge that has passed.
    pub fn charge(&self, part: f64) -> f64 {
        let terms = self.terms().iter().enumerate().rev();
        let sum = terms.fold(0.0, |sum, (k, c)| sum * part + c * INVERSE[k + 1]);
        sum * part * self.span
    }

    /// Integral of the charge over time.
    pub fn charge_area(&self, part: f64) -> f64 {
        let terms = self.terms().iter().enumerate().rev();
        let sum = terms.fold(0.0, |sum, (k, c)| {
            sum * part + c * INVERSE[k + 1] * INVERSE[k + 2]
        });
        sum * (part * self.span).powi(2)
    }

    /// Integral of the current's square over time.
    pub fn square(&self, part: f64) -> f64 {
        let half = part / 2.0;
        let sum: f64 = GAUSS
            .iter()
            .map(|(x, weight)| {
                let (a, b) = (
                    self.current(half * (1.0 - x)),
                    self.current(half * (1.0 + x)),
                );
                weight * (a * a + b * b)
            })
            .sum();
        sum * half * self.span
    }

    /// The first part, up to `until`, at which the current passes a level.
    pub fn when_current(&self, level: f64, until: f64) -> Option<f64> {
        first(
            until,
            |part| self.current(part) - level,
            |part| self.slope(part),
            |part| self.slope(part),
        )
    }

    /// The first part, up to `until`, at which a charge has passed.
    pub fn when_charge(&self, charge: f64, until: f64) -> Option<f64> {
        first(
            until,
            |part| self.charge(part) - charge,
            |part| self.current(part) * self.span,
            |part| self.current(part),
        )
    }
}

/// The first zero of a function with at most one turn between 0 and `until`,
/// where it starts away from zero; a start at zero is a zero only where the
/// function turns back to it.
fn first(
    until: f64,
    value: impl Fn(f64) -> f64,
    slope: impl Fn(f64) -> f64,
    turning: impl Fn(f64) -> f64,
) -> Option<f64> {
    let start = value(0.0);
    let side = if start == 0.0 { turning(0.0) } else { start };
    if side == 0.0 {
        return None;
    }
    let passed = |v: f64| v == 0.0 || (v < 0.0) != (side < 0.0);
    let low = if start == 0.0 { f64::EPSILON } else { 0.0 };
    if passed(value(until)) {
        return Some(refine(low, until, side, &value, &slope));
    }
    // Both ends on one side: it may have turned behind the zero and come back.
    let (from, to) = (turning(0.0), turning(until));
    if (from < 0.0) == (side < 0.0) || (to < 0.0) == (from < 0.0) || start == 0.0 {
        return None;
    }
    let turn = crate::equation::root::find(0.0, until, &turning)?;
    passed(value(turn)).then(|| refine(0.0, turn, side, &value, &slope))
}

/// Newton's method kept inside the bracket, to the last digit.
pub(super) fn refine(
    mut low: f64,
    mut high: f64,
    side: f64,
    value: impl Fn(f64) -> f64,
    slope: impl Fn(f64) -> f64,
) -> f64 {
    let mut x = high;
    for _ in 0..80 {
        let v = value(x);
        if v == 0.0 {
            return x;
        }
        if (v < 0.0) == (side < 0.0) {
            low = x;
        } else {
            high = x;
        }
        let mut next = x - v / slope(x);
        if !(next > low && next < high) {
            next = f64::midpoint(low, high);
        }
        if (next - x).abs() <= f64::EPSILON * high {
            return next;
        }
        x = next;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const LAW: Law = Law {
        inductance: 0.68e-6,
        resistance: 0.02,
        elastance: 1.1e5,
        force: 0.0,
        slope: 0.0,
    };

    #[test]
    fn oscillation_is_the_textbook_one() {
        let span = LAW.span();
        let ramp = LAW.ramp(0.0, 16.0, span);
        let decay = LAW.resistance / (2.0 * LAW.inductance);
        let omega = (LAW.elastance / LAW.inductance - decay * decay).sqrt();
        let exact =
            |t: f64| 16.0 / (omega * LAW.inductance) * (-decay * t).exp() * (omega * t).sin();
        for part in [0.1, 0.5, 1.0] {
            assert_relative_eq!(ramp.current(part), exact(part * span), max_relative = 1e-14);
        }
    }

    #[test]
    fn without_resistance_and_capacitors_it_is_a_line() {
        let law = Law {
            resistance: 0.0,
            elastance: 0.0,
            ..LAW
        };
        assert_eq!(law.span(), f64::INFINITY);
        let ramp = law.ramp(1.0, -6.0, 1e-6);
        assert_relative_eq!(ramp.current(1.0), 1.0 - 6.0 / 0.68, max_relative = 1e-15);
        let zero = ramp.when_current(0.0, 1.0).unwrap();
        assert_relative_eq!(zero * 1e-6, 0.68e-6 / 6.0, max_relative = 1e-15);
        let charge = 0.5 * zero * 1e-6;
        assert_relative_eq!(ramp.charge(zero), charge, max_relative = 1e-15);
        assert_relative_eq!(ramp.square(zero), zero * 1e-6 / 3.0, max_relative = 1e-14);
        assert_relative_eq!(
            ramp.charge_area(zero),
            (zero * 1e-6).powi(2) / 3.0,
            max_relative = 1e-14
        );
    }

    #[test]
    fn a_level_passed_twice_is_found_the_first_time() {
        // The current rises, turns and comes back within one span.
        let span = LAW.span();
        let ramp = LAW.ramp(2.0, 0.7, span);
        let turn = crate::equation::root::find(0.0, 1.0, |p| ramp.slope(p)).unwrap();
        let level = f64::midpoint(ramp.current(turn), ramp.current(0.0).max(ramp.current(1.0)));
        let part = ramp.when_current(level, 1.0).unwrap();
        assert!(part < turn);
        assert_relative_eq!(ramp.current(part), level, max_relative = 1e-15);
        assert_eq!(ramp.when_current(ramp.current(turn) + 0.1, 1.0), None);
    }
}
