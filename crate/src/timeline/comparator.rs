//! The comparators that watch the inductor current.

/// A comparator with hysteresis: it trips where the current falls to its
/// threshold and is ready again above the threshold plus the hysteresis. Its
/// decision takes a delay. That of the peak limit sees the current with its sign
/// turned.
#[derive(Clone, Copy, Debug)]
pub(super) struct Comparator {
    /// Current at which it trips, in ampere; negative.
    pub threshold: f64,
    pub hysteresis: f64,
    pub delay: f64,
    pub tripped: bool,
}

impl Comparator {
    /// Looks at the current; gives whether it trips now.
    pub fn sample(&mut self, current: f64) -> bool {
        if self.tripped {
            self.tripped = current <= self.threshold + self.hysteresis;
            false
        } else {
            self.tripped = current <= self.threshold;
            self.tripped
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_within_the_hysteresis_does_not_trip_it_again() {
        let mut comparator = Comparator {
            threshold: -0.4,
            hysteresis: 0.1,
            delay: 0.0,
            tripped: false,
        };
        let seen = [0.0, -0.39, -0.4, -0.35, -0.41, -0.29, -0.4];
        let trips = seen.map(|i| comparator.sample(i));
        assert_eq!(trips, [false, false, true, false, false, false, true]);
    }
}
