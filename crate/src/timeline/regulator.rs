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
    pub sum: f64,
    /// Whole cells that belonged to the levels when it last looked.
    pub steps: f64,
    pub last: f64,
    /// The integral of the voltage when it last looked, and the mean it saw then.
    pub area: f64,
    pub mean: f64,
}

impl Regulator {
    /// At rest at the voltage to hold, with an on-time in cells.
    pub fn settle(&mut self, cells: f64, voltage: f64, step: f64) {
        self.steps = self.base(self.target, step);
        self.sum = cells - self.steps;
        self.mean = voltage;
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
        // The on-time goes on where the output passes a level.
        self.sum += self.steps - base;
        self.steps = base;
        let error = (reference - self.mean) / self.target;
        let room = self.limit - base;
        self.sum += self.integral * error * passed;
        self.sum = self.sum.clamp(0.0, room);
        self.last = time;
        base + (self.sum + self.proportional * error).clamp(0.0, room)
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
            sum: 0.0,
            steps: 0.0,
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
