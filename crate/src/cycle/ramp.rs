//! The ramps: an inductor's current under a constant voltage through a
//! resistance, and its decay through the clamp.

/// Part of the final current beyond which the closed forms are used: below it
/// their differences would cancel, and the series needs few terms.
const SERIES: f64 = 0.05;
/// Terms of the series at most: the next one is below a double's last digit.
const TERMS: usize = 16;
/// The inverses of the powers in it.
const INVERSE: [f64; 4 + TERMS] = {
    let mut inverses = [0.0; 4 + TERMS];
    let mut power = 1;
    let mut number = 1.0;
    while power < inverses.len() {
        inverses[power] = 1.0 / number;
        number += 1.0;
        power += 1;
    }
    inverses
};

/// `L di/dt = drive - R i`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ramp {
    pub drive: f64,
    pub resistance: f64,
    pub inductance: f64,
}

/// A ramp that was run: its duration, the integral of the current, and that of
/// the current's square.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Ramped {
    pub time: f64,
    pub charge: f64,
    pub square: f64,
}

impl Ramped {
    /// Two ramps, one after the other.
    pub fn and(self, other: Self) -> Self {
        Self {
            time: self.time + other.time,
            charge: self.charge + other.charge,
            square: self.square + other.square,
        }
    }
}

impl Ramp {
    /// The ramp from one current to another; infinite where the current cannot
    /// reach it.
    pub fn between(self, from: f64, to: f64) -> Ramped {
        if from == to {
            return Ramped::default();
        }
        let part = self.resistance / self.drive;
        let (start, end) = (part * from, part * to);
        if end >= 1.0 || start >= 1.0 {
            return Ramped {
                time: f64::INFINITY,
                charge: f64::INFINITY,
                square: f64::INFINITY,
            };
        }
        let scale = self.inductance / self.drive;
        if start.abs().max(end.abs()) < SERIES {
            return Self::series(part, from, to, scale);
        }
        let step = to - from;
        let time = self.inductance / self.resistance * (part * step / (1.0 - end)).ln_1p();
        let charge = (self.drive * time - self.inductance * step) / self.resistance;
        let square = (self.drive * charge - self.inductance * step * f64::midpoint(from, to))
            / self.resistance;
        Ramped {
            time,
            charge,
            square,
        }
    }

    /// The integrals of `i^k / (1 - part i)` for k = 0, 1, 2, by powers of `part`.
    fn series(part: f64, from: f64, to: f64, scale: f64) -> Ramped {
        let (mut high, mut low) = (to, from);
        let mut moment = |power: usize| {
            let value = (high - low) * INVERSE[power];
            high *= to;
            low *= from;
            value
        };
        let (mut first, mut second, mut third) = (moment(1), moment(2), moment(3));
        let mut sum = (first, second, third);
        let mut factor = 1.0;
        let reach = (part * from).abs().max((part * to).abs());
        let mut rest = reach;
        for power in 4..4 + TERMS {
            if rest < 1e-17 {
                break;
            }
            factor *= part;
            rest *= reach;
            (first, second, third) = (second, third, moment(power));
            sum.0 += factor * first;
            sum.1 += factor * second;
            sum.2 += factor * third;
        }
        Ramped {
            time: scale * sum.0,
            charge: scale * sum.1,
            square: scale * sum.2,
        }
    }

    /// The current a time before.
    pub fn before(self, to: f64, time: f64) -> f64 {
        self.after(to, -time)
    }

    /// The current after a time.
    pub fn after(self, from: f64, time: f64) -> f64 {
        let decay = self.resistance * time / self.inductance;
        let slope = (self.drive - self.resistance * from) / self.inductance;
        from + slope * time * mean_decay(decay)
    }
}

/// `(1 - exp(-x))/x`, which is one at zero; where it is near, by its series.
fn mean_decay(x: f64) -> f64 {
    if x.abs() < SERIES {
        // Each term is the one before times -x/(n + 1): nine leave less than 1e-17.
        INVERSE[2..10]
            .iter()
            .rev()
            .fold(1.0, |sum, inverse| 1.0 - x * inverse * sum)
    } else {
        -(-x).exp_m1() / x
    }
}

/// The clamp's path: the magnitude of the current falls through a resistance and
/// a constant drop, and stays at zero once it is there.
#[derive(Clone, Copy, Debug)]
pub(super) struct Decay {
    pub drop: f64,
    pub resistance: f64,
    pub inductance: f64,
}

impl Decay {
    fn ramp(self) -> Ramp {
        Ramp {
            drive: -self.drop,
            resistance: self.resistance,
            inductance: self.inductance,
        }
    }

    /// The time after which nothing is left; infinite without a drop.
    pub fn end(self, current: f64) -> f64 {
        if self.drop == 0.0 {
            return f64::INFINITY;
        }
        let part = current * self.resistance / self.drop;
        let lengthened = if part == 0.0 {
            1.0
        } else {
            part.ln_1p() / part
        };
        self.inductance * current / self.drop * lengthened
    }

    /// The current left after a hold.
    pub fn after(self, current: f64, hold: f64) -> f64 {
        if hold >= self.end(current) {
            return 0.0;
        }
        self.ramp().after(current, hold).max(0.0)
    }

    /// The current from which one is left after a hold.
    pub fn before(self, left: f64, hold: f64) -> f64 {
        self.ramp().before(left, hold)
    }

    /// Charge and squared current of a hold, as magnitudes.
    pub fn over(self, current: f64, hold: f64) -> Ramped {
        let time = hold.min(self.end(current));
        // The current is an exponential of a small exponent: three points of a
        // Gauss rule are exact to its sixth power.
        let mut sum = Ramped {
            time: hold,
            ..Ramped::default()
        };
        let exponent = self.resistance * time / self.inductance;
        let parts = (exponent * 20.0).ceil().clamp(1.0, 64.0);
        let step = time / parts;
        let mut k = 0.0;
        while k < parts {
            for (place, weight) in [
                (0.5 - 0.387_298_334_620_741_7, 5.0 / 18.0),
                (0.5, 8.0 / 18.0),
                (0.5 + 0.387_298_334_620_741_7, 5.0 / 18.0),
            ] {
                let i = self.after(current, (k + place) * step);
                sum.charge += weight * step * i;
                sum.square += weight * step * i * i;
            }
            k += 1.0;
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// The series and the closed forms are two independent ways to one ramp.
    #[test]
    fn series_and_closed_forms_agree_where_they_meet() {
        let ramp = |resistance| Ramp {
            drive: 12.0,
            resistance,
            inductance: 0.68e-6,
        };
        let below = ramp(0.0499 * 12.0 / 16.0);
        let part = below.resistance / below.drive;
        let series = Ramp::series(part, -0.6, 16.0, below.inductance / below.drive);
        let time = below.inductance / below.resistance
            * ((12.0 + 0.6 * below.resistance) / (12.0 - 16.0 * below.resistance)).ln();
        assert_relative_eq!(series.time, time, max_relative = 1e-13);
        let charge = (12.0 * time - below.inductance * 16.6) / below.resistance;
        assert_relative_eq!(series.charge, charge, max_relative = 1e-12);
        let square = (12.0 * charge - below.inductance * (256.0 - 0.36) / 2.0) / below.resistance;
        assert_relative_eq!(series.square, square, max_relative = 1e-11);
        let run = below.between(-0.6, 16.0);
        assert_relative_eq!(below.after(-0.6, run.time), 16.0, max_relative = 1e-13);
        assert_eq!(ramp(1.0).between(0.0, 12.0).time, f64::INFINITY);
    }

    #[test]
    fn a_clamp_with_a_drop_takes_all_current_and_then_nothing() {
        let decay = Decay {
            drop: 0.7,
            resistance: 0.02,
            inductance: 0.68e-6,
        };
        let end = decay.end(0.6);
        assert!(decay.after(0.6, end * (1.0 - 1e-9)) > 0.0);
        assert_eq!(decay.after(0.6, end), 0.0);
        let (short, long) = (decay.over(0.6, end), decay.over(0.6, 2.0 * end));
        assert_eq!(short.charge, long.charge);
        // What the inductor gives up is what path and drop take.
        let stored = 0.5 * 0.68e-6 * 0.36;
        assert_relative_eq!(
            0.7 * short.charge + 0.02 * short.square,
            stored,
            max_relative = 1e-10
        );
    }
}
