//! Closed intervals of real numbers, rounded outward.
//!
//! IEEE 754 rounds `+ − × ÷ √` correctly, so the neighbouring doubles enclose
//! the exact result; sums and products with a known exact result are not
//! widened. The other functions are in [`super::function`].

use std::ops::{Add, Div, Mul, Neg, Sub};

use super::function;

/// A closed interval; an end may be infinite.
///
/// ```
/// use slewbook::bound::Interval;
/// let third = Interval::point(1.0) / Interval::point(3.0);
/// assert!(third.low() < third.high());
/// assert!((third * Interval::point(3.0)).contains(1.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    low: f64,
    high: f64,
}

/// The exact sum of two doubles lies between these.
fn sum(x: f64, y: f64) -> (f64, f64) {
    let total = x + y;
    if !total.is_finite() {
        return (total.next_down(), total.next_up());
    }
    // The rounding error of a sum is itself a double (Knuth's two-sum).
    let part = total - x;
    let error = (x - (total - part)) + (y - part);
    if error > 0.0 {
        (total, total.next_up())
    } else if error < 0.0 {
        (total.next_down(), total)
    } else if error == 0.0 {
        (total, total)
    } else {
        (total.next_down(), total.next_up())
    }
}

/// The exact product of two doubles lies between these; zero times an infinite
/// end is zero, since the end itself is never attained.
fn product(x: f64, y: f64) -> (f64, f64) {
    if x == 0.0 || y == 0.0 {
        return (0.0, 0.0);
    }
    let value = x * y;
    if x.abs() == 1.0 || y.abs() == 1.0 {
        (value, value)
    } else {
        (value.next_down(), value.next_up())
    }
}

impl Interval {
    /// Every real number: what is known where nothing is.
    pub const ENTIRE: Self = Self {
        low: f64::NEG_INFINITY,
        high: f64::INFINITY,
    };

    pub(crate) const ZERO: Self = Self {
        low: 0.0,
        high: 0.0,
    };

    pub(crate) const ONE: Self = Self {
        low: 1.0,
        high: 1.0,
    };

    /// The interval between two numbers; every real number where an end is not
    /// a number or the ends do not rise.
    #[must_use]
    pub fn new(low: f64, high: f64) -> Self {
        if low <= high {
            Self { low, high }
        } else {
            Self::ENTIRE
        }
    }

    /// The interval that holds one double only.
    #[must_use]
    pub fn point(value: f64) -> Self {
        Self::new(value, value)
    }

    /// The lower end.
    #[must_use]
    pub fn low(self) -> f64 {
        self.low
    }

    /// The upper end.
    #[must_use]
    pub fn high(self) -> f64 {
        self.high
    }

    /// The difference of the ends, rounded up.
    #[must_use]
    pub fn width(self) -> f64 {
        sum(self.high, -self.low).1
    }

    /// A double near the middle.
    #[must_use]
    pub fn middle(self) -> f64 {
        f64::midpoint(
            self.low.clamp(f64::MIN / 4.0, f64::MAX / 4.0),
            self.high.clamp(f64::MIN / 4.0, f64::MAX / 4.0),
        )
        .clamp(self.low, self.high)
    }

    /// The greatest magnitude within.
    #[must_use]
    pub fn magnitude(self) -> f64 {
        self.low.abs().max(self.high.abs())
    }

    /// Whether a number lies within.
    #[must_use]
    pub fn contains(self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Whether both ends are finite.
    #[must_use]
    pub fn is_finite(self) -> bool {
        self.low.is_finite() && self.high.is_finite()
    }

    /// Whether every number within is above zero, or every one below.
    #[must_use]
    pub fn has_sign(self) -> bool {
        self.low > 0.0 || self.high < 0.0
    }

    /// The least interval that holds both.
    #[must_use]
    pub fn hull(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    /// What two enclosures of the same number leave of each other. Two that are
    /// apart cannot enclose the same number: then nothing is known.
    #[must_use]
    pub fn meet(self, other: Self) -> Self {
        Self::new(self.low.max(other.low), self.high.min(other.high))
    }

    /// The interval from `-radius` to `radius`.
    pub(crate) fn around_zero(radius: f64) -> Self {
        Self::new(-radius, radius)
    }

    /// A whole power; an even one is never negative.
    #[must_use]
    pub fn power(self, power: i32) -> Self {
        if power < 0 {
            return Self::ONE / self.power(-power);
        }
        if power % 2 == 0 && self.low < 0.0 {
            return self.abs().power(power);
        }
        let mut low = Self::ONE;
        let mut high = Self::ONE;
        for _ in 0..power {
            low = low * Self::point(self.low);
            high = high * Self::point(self.high);
        }
        Self::new(low.low, high.high)
    }

    /// The magnitudes.
    #[must_use]
    pub fn abs(self) -> Self {
        if self.low >= 0.0 {
            self
        } else if self.high <= 0.0 {
            -self
        } else {
            Self::new(0.0, self.magnitude())
        }
    }

    /// The lesser of two.
    #[must_use]
    pub fn min(self, other: Self) -> Self {
        Self::new(self.low.min(other.low), self.high.min(other.high))
    }

    /// The greater of two.
    #[must_use]
    pub fn max(self, other: Self) -> Self {
        Self::new(self.low.max(other.low), self.high.max(other.high))
    }

    /// The greatest whole numbers not above.
    #[must_use]
    pub fn floor(self) -> Self {
        Self::new(self.low.floor(), self.high.floor())
    }

    /// The square roots, numbers below zero counting as zero.
    #[must_use]
    pub fn sqrt(self) -> Self {
        let (low, high) = (self.low.max(0.0), self.high.max(0.0));
        let exact = |x: f64| x == 0.0 || x == 1.0;
        Self::new(
            if exact(low) {
                low
            } else {
                low.sqrt().next_down()
            },
            if exact(high) {
                high
            } else {
                high.sqrt().next_up()
            },
        )
    }

    /// A rising function by its enclosures at the ends.
    fn rising(self, function: impl Fn(f64) -> Self) -> Self {
        Self::new(function(self.low).low, function(self.high).high)
    }

    /// The exponential function.
    #[must_use]
    pub fn exp(self) -> Self {
        self.rising(function::exp)
    }

    /// The natural logarithm, minus infinity at zero and below.
    #[must_use]
    pub fn ln(self) -> Self {
        self.rising(function::ln)
    }

    /// The arc sine, arguments beyond one counting as one.
    #[must_use]
    pub fn asin(self) -> Self {
        self.rising(function::asin)
    }

    /// The arc cosine, arguments beyond one counting as one.
    #[must_use]
    pub fn acos(self) -> Self {
        (function::half_pi() - self.asin()).max(Self::ZERO)
    }

    /// The cosine.
    #[must_use]
    pub fn cos(self) -> Self {
        (self + function::half_pi()).sin()
    }

    /// The sine.
    #[must_use]
    pub fn sin(self) -> Self {
        let turn = function::half_pi() * Self::point(4.0);
        // A whole number of turns from a crest, perhaps: then the crest counts.
        let reaches = |crest: Self| {
            let turns = (self - crest) / turn;
            !turns.is_finite() || turns.low.ceil() <= turns.high.floor()
        };
        if !self.is_finite() {
            return Self::new(-1.0, 1.0);
        }
        let ends = function::sin(self.low).hull(function::sin(self.high));
        let high = if reaches(function::half_pi()) {
            1.0
        } else {
            ends.high.min(1.0)
        };
        let low = if reaches(-function::half_pi()) {
            -1.0
        } else {
            ends.low.max(-1.0)
        };
        Self::new(low, high)
    }

    /// A power of numbers above zero.
    #[must_use]
    pub fn powf(self, exponent: Self) -> Self {
        if exponent == Self::point(0.5) {
            return self.sqrt();
        }
        (exponent * self.ln()).exp()
    }
}

impl Neg for Interval {
    type Output = Self;

    fn neg(self) -> Self {
        Self {
            low: -self.high,
            high: -self.low,
        }
    }
}

impl Add for Interval {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self::new(sum(self.low, other.low).0, sum(self.high, other.high).1)
    }
}

impl Sub for Interval {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for Interval {
    type Output = Self;

    /// The corners that decide follow from the signs.
    fn mul(self, other: Self) -> Self {
        let (x, y) = (self, other);
        let between = |low: (f64, f64), high: (f64, f64)| {
            Self::new(product(low.0, low.1).0, product(high.0, high.1).1)
        };
        if x.low >= 0.0 {
            if y.low >= 0.0 {
                between((x.low, y.low), (x.high, y.high))
            } else if y.high <= 0.0 {
                between((x.high, y.low), (x.low, y.high))
            } else {
                between((x.high, y.low), (x.high, y.high))
            }
        } else if x.high <= 0.0 {
            -(-x * y)
        } else if y.low >= 0.0 || y.high <= 0.0 {
            y * x
        } else {
            between((x.low, y.high), (x.high, y.high))
                .hull(between((x.high, y.low), (x.low, y.low)))
        }
    }
}

impl Div for Interval {
    type Output = Self;

    /// By a divisor that reaches zero from one side the quotient is unbounded on
    /// one side; by one that holds zero within, nothing is known.
    fn div(self, divisor: Self) -> Self {
        if divisor == Self::ONE || (self == Self::ZERO && divisor.has_sign()) {
            return self;
        }
        if divisor.high < 0.0 || (divisor.high == 0.0 && divisor.low < 0.0) {
            return -self / -divisor;
        }
        if divisor.low < 0.0 {
            return Self::ENTIRE;
        }
        let quotient = |x: f64, y: f64| x / y;
        if divisor.low == 0.0 {
            return if self.low > 0.0 && divisor.high > 0.0 {
                Self::new(quotient(self.low, divisor.high).next_down(), f64::INFINITY)
            } else if self.high < 0.0 && divisor.high > 0.0 {
                Self::new(
                    f64::NEG_INFINITY,
                    quotient(self.high, divisor.high).next_up(),
                )
            } else {
                Self::ENTIRE
            };
        }
        let low = quotient(
            self.low,
            if self.low >= 0.0 {
                divisor.high
            } else {
                divisor.low
            },
        );
        let high = quotient(
            self.high,
            if self.high >= 0.0 {
                divisor.low
            } else {
                divisor.high
            },
        );
        Self::new(
            if self.low == 0.0 {
                0.0
            } else {
                low.next_down()
            },
            if self.high == 0.0 {
                0.0
            } else {
                high.next_up()
            },
        )
    }
}
