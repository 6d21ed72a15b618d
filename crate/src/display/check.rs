//! Statements that hold or do not.

use serde_json::{Value, json};

use super::{Bundle, Show};
use crate::quantity::{DIGITS, Dimensioned, Exponents, print_value};

/// A statement that holds or does not: PASS or FAIL in words, with value and limit.
///
/// A notebook with a failed check fails when it is run or verified.
///
/// ```
/// use slewbook::display::Check;
/// use slewbook::quantity::unit::{mA, volt};
/// let rating = Check::at_most("clamp voltage", 32.0 * volt, 40.0 * volt);
/// assert_eq!(rating.text, "PASS: clamp voltage: 32 V is at most 40 V");
/// let floor = Check::near("floor", 475.3 * mA, 475.0 * mA, 0.1 * mA, "an independent calculation");
/// assert!(!floor.holds);
/// ```
#[derive(Clone, Debug)]
pub struct Check {
    /// What is checked.
    pub name: String,
    /// Whether it holds.
    pub holds: bool,
    /// The verdict in words.
    pub text: String,
    data: Value,
}

impl Check {
    /// `value` is at most `limit`. A value that is no number fails.
    #[must_use]
    pub fn at_most<Q: Dimensioned>(name: &str, value: Q, limit: Q) -> Self {
        Compared::new(value, limit).at_most(name)
    }

    /// `value` is at least `limit`. A value that is no number fails.
    #[must_use]
    pub fn at_least<Q: Dimensioned>(name: &str, value: Q, limit: Q) -> Self {
        Compared::new(value, limit).at_least(name)
    }

    /// `value` agrees with a value from elsewhere within a tolerance; `source`
    /// says where it is from.
    #[must_use]
    pub fn near<Q: Dimensioned>(
        name: &str,
        value: Q,
        expected: Q,
        tolerance: Q,
        source: &str,
    ) -> Self {
        Compared::new(value, expected).near(name, tolerance.coherent(), source)
    }
}

/// A value and what it is held against, in the coherent unit of their
/// dimension: what a check does is the same for all of them.
#[derive(Clone, Copy)]
struct Compared {
    value: f64,
    limit: f64,
    exponents: Exponents,
}

impl Compared {
    fn new<Q: Dimensioned>(value: Q, limit: Q) -> Self {
        Self {
            value: value.coherent(),
            limit: limit.coherent(),
            exponents: Q::EXPONENTS,
        }
    }

    fn at_most(self, name: &str) -> Check {
        let holds = self.value <= self.limit;
        let relation = if holds { "is at most" } else { "is above" };
        self.verdict(name, holds, relation, DIGITS, "")
    }

    fn at_least(self, name: &str) -> Check {
        let holds = self.value >= self.limit;
        let relation = if holds { "is at least" } else { "is below" };
        self.verdict(name, holds, relation, DIGITS, "")
    }

    fn near(self, name: &str, tolerance: f64, source: &str) -> Check {
        let holds = (self.value - self.limit).abs() <= tolerance;
        let relation = if holds { "agrees with" } else { "differs from" };
        let tolerance = print_value(tolerance, self.exponents, DIGITS);
        let ending = format!(" (tolerance {tolerance}; {source})");
        self.verdict(name, holds, relation, 6, &ending)
    }

    fn verdict(
        self,
        name: &str,
        holds: bool,
        relation: &str,
        digits: usize,
        ending: &str,
    ) -> Check {
        let print = |value| print_value(value, self.exponents, digits);
        let verdict = if holds { "PASS" } else { "FAIL" };
        let text = format!(
            "{verdict}: {name}: {} {relation} {}{ending}",
            print(self.value),
            print(self.limit)
        );
        Check {
            name: name.to_owned(),
            holds,
            data: json!({
                "name": name,
                "ok": holds,
                "value": self.value,
                "limit": self.limit,
                "unit": self.exponents.to_string(),
                "text": text,
            }),
            text,
        }
    }
}

impl Show for Check {
    fn bundle(&self) -> Bundle {
        let (verdict, rest) = self.text.split_at(4);
        Bundle {
            thing: "check",
            data: self.data.clone(),
            plain: self.text.clone(),
            markdown: format!("**{verdict}**{rest}"),
            special: None,
        }
    }
}
