//! The voltage loop.

/// What sets the common on-time.
#[derive(Clone, Copy, Debug)]
pub(super) enum OnTime {
    /// Fixed, in cells: the duty times the number of pairs.
    Fixed(f64),
    /// From the output voltage.
    Regulated(Regulator),
}

impl OnTime {
    /// The on-time in cells at a time, from what is seen of the output.
    pub fn sample(&mut self, time: f64, seen: Seen, step: f64) -> f64 {
        match self {
            Self::Fixed(cells) => *cells,
            Self::Regulated(regulator) => regulator.sample(time, seen, step),
        }
    }
}

/// What is seen of the output.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    /// Voltage now.
    pub voltage: f64,
    /// Integral of the voltage over the time since the start.
    pub area: f64,
}

/// How the on-time follows the input voltage, so that neither the output current nor the
/// loop's gain changes with it: a feed-forward. In discontinuous conduction a current takes
/// an on-time as `√(b/(a·(a + b)))`, `a` and `b` being the steps above and below the
/// output; where releases fire, as `1/a`; in continuous conduction the whole on-time goes
/// with `1/V_in`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Law {
    /// The whole on-time in inverse proportion.
    Duty,
    /// The peak current, the time between two firings being fixed.
    Charge,
    /// The peak current, the time between two firings following.
    Slope,
}

/// Part of a step by which the output counts as away from a level at least: next to one
/// the on-time of these laws has no limit.
const AWAY: f64 = 0.05;

/// The feed-forward of the input voltage.
#[derive(Clone, Copy, Debug)]
pub(super) struct FeedForward {
    pub law: Law,
    /// A pair's step of the input voltage at which the gains hold.
    pub reference: f64,
}

impl FeedForward {
    /// What the gains are multiplied by at another step of the input.
    pub fn scale(&self, step: f64, output: f64) -> f64 {
        let shape = |step: f64| {
            let below = (output / step).floor() * step;
            let b = (output - below).max(AWAY * step);
            let a = (below + step - output).max(AWAY * step);
            match self.law {
                Law::Duty => 1.0 / step,
                Law::Charge => (b / (a * (a + b))).sqrt(),
                Law::Slope => 1.0 / a,
            }
        };
        if step == self.reference {
            1.0
        } else {
            shape(step) / shape(self.reference)
        }
    }
}

/// A proportional-integral controller with limits on its output and its
/// integral, whose reference rises in a line during the soft start. It sees the
/// mean of the output voltage since it last looked, a cell before: at one instant
/// of the ripple it would hold that instant at the reference, not the mean.
#[derive(Clone, Copy, Debug)]
pub(super) struct Regulator {
    /// Cells per relative error.
    pub proportional: f64,
    /// Cells per relative error and second.
    pub integral: f64,
    /// Voltage to hold.
    pub target: f64,
    /// Voltage from which the reference starts.
    pub from: f64,
    /// Duration of the soft start.
    pub soft_start: f64,
    /// Greatest on-time in cells.
    pub limit: f64,
    /// How the on-time follows the input voltage, where it does.
    pub feed_forward: Option<FeedForward>,
    /// Its integral, in cells at the feed-forward's reference.
    pub sum: f64,
    /// Whole cells that belonged to the levels when it last looked.
    pub steps: f64,
    /// A pair's step of the input when it last looked; zero before it has.
    pub step: f64,
    pub last: f64,
    /// The integral of the voltage when it last looked, and the mean it saw then.
    pub area: f64,
    pub mean: f64,
}

impl Regulator {
    /// At rest at the voltage to hold, with an on-time in cells.
    pub fn settle(&mut self, cells: f64, voltage: f64, step: f64) {
        self.steps = self.base(self.target, step);
        self.step = step;
        self.sum = (cells - self.steps) / self.scale(step);
        self.mean = voltage;
    }

    /// What the gains are multiplied by at a step of the input.
    fn scale(&self, step: f64) -> f64 {
        self.feed_forward
            .map_or(1.0, |forward| forward.scale(step, self.target))
    }

    /// Whole cells below a voltage: they belong to the levels, not to the loop.
    fn base(&self, voltage: f64, step: f64) -> f64 {
        (voltage / step).floor().clamp(0.0, self.limit)
    }

    /// The voltage to hold at a time.
    pub fn reference(&self, time: f64) -> f64 {
        if time >= self.soft_start {
            self.target
        } else {
            self.from + (self.target - self.from) * time / self.soft_start
        }
    }

    /// The integral goes on in other levels, or at another input voltage.
    fn follow(&mut self, base: f64, step: f64, scale: f64) {
        if self.step == step || self.step == 0.0 || self.feed_forward.is_none() {
            // The on-time goes on where the output passes a level.
            self.sum += (self.steps - base) / scale;
        } else if let Some(forward) = self.feed_forward
            && forward.law == Law::Duty
        {
            let before = self.steps + self.sum * self.scale(self.step);
            self.sum = (before * self.step / step - base) / scale;
        }
        self.steps = base;
        self.step = step;
    }

    fn sample(&mut self, time: f64, seen: Seen, step: f64) -> f64 {
        let passed = time - self.last;
        if passed > 0.0 {
            self.mean = (seen.area - self.area) / passed;
        } else if time == 0.0 {
            self.mean = seen.voltage;
        }
        self.area = seen.area;
        let reference = self.reference(time);
        // An output that is behind its reference is not driven by the reference's levels.
        let base = self.base(reference.min(self.mean), step);
        let scale = self.scale(step);
        self.follow(base, step, scale);
        let error = (reference - self.mean) / self.target;
        let room = (self.limit - base) / scale;
        self.sum += self.integral * error * passed;
        self.sum = self.sum.clamp(0.0, room);
        self.last = time;
        base + (self.sum + self.proportional * error).clamp(0.0, room) * scale
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_integral_stops_at_the_limit_and_comes_back_at_once() {
        let mut regulator = Regulator {
            proportional: 0.0,
            integral: 1e3,
            target: 6.0,
            from: 0.0,
            soft_start: 1e-3,
            limit: 0.9,
            feed_forward: None,
            sum: 0.0,
            steps: 0.0,
            step: 0.0,
            last: 0.0,
            area: 0.0,
            mean: 0.0,
        };
        let seen = |area| Seen { voltage: 0.0, area };
        assert_eq!(regulator.sample(0.0, seen(0.0), 22.0), 0.0);
        for k in 1..=100 {
            let on = regulator.sample(1e-3 * f64::from(k), seen(0.0), 22.0);
            assert!(on <= 0.9);
        }
        let on = regulator.sample(0.101, seen(12e-3), 22.0);
        assert!(on <= 1e-12, "{on}");
    }
}
