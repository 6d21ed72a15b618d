//! Gates of the leg and the clamp, and what must never be on together.

use super::leg::PAIRS;

/// The gates.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Gates {
    /// High side of each pair.
    pub high: [bool; PAIRS],
    /// Low side of each pair.
    pub low: [bool; PAIRS],
    /// The clamp's device that lets the partner's diode catch the node.
    pub clamp_early: bool,
    /// The clamp's other device.
    pub clamp_second: bool,
}

/// Gates that would short a capacitor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Short {
    /// Both transistors of a pair, counted from 1, are on.
    Pair(usize),
    /// The clamp is on while every pair conducts: it ties the output to a level.
    Clamp,
    /// The clamp's second device is on before the node has been caught.
    ClampBeforeCatch,
}

impl Gates {
    /// The pair with both transistors off, if there is one.
    #[must_use]
    pub fn open(&self, pairs: usize) -> Option<usize> {
        (0..pairs).find(|k| !self.high[*k] && !self.low[*k])
    }

    /// How many high sides are on.
    #[must_use]
    pub fn high_count(&self) -> usize {
        self.high.iter().filter(|on| **on).count()
    }

    /// What these gates would short, if anything.
    #[must_use]
    pub fn short(&self, pairs: usize, caught: bool) -> Option<Short> {
        if let Some(pair) = (0..pairs).find(|k| self.high[*k] && self.low[*k]) {
            return Some(Short::Pair(pair + 1));
        }
        if (self.clamp_early || self.clamp_second) && self.open(pairs).is_none() {
            return Some(Short::Clamp);
        }
        (self.clamp_second && !caught).then_some(Short::ClampBeforeCatch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn overlaps_are_seen() {
        let mut gates = Gates::default();
        gates.low[0] = true;
        gates.high[1] = true;
        assert_eq!(gates.short(2, false), None);
        gates.clamp_early = true;
        assert_eq!(gates.short(2, false), Some(Short::Clamp));
        gates.low[0] = false;
        assert_eq!(gates.short(2, false), None);
        gates.clamp_second = true;
        assert_eq!(gates.short(2, false), Some(Short::ClampBeforeCatch));
        assert_eq!(gates.short(2, true), None);
        gates.low[1] = true;
        assert_eq!(gates.short(2, true), Some(Short::Pair(2)));
    }
}
