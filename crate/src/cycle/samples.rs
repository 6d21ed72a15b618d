//! The points of a rule along a travel of the node.

use super::gauss::{self, Legendre};

/// Least part of the current's square at a point of a rule: next to a turning
/// point rounding must not bring it to zero.
const LEAST: f64 = 1e-10;
/// Sums that run beside each other.
const LANES: usize = 4;
/// Terms of the series in the part of the current's square that a travel uses up,
/// and the greatest part for which the next one is below 1e-14.
const TERMS: usize = 10;
const SMALL: f64 = 1.0 / 20.0;
/// Coefficients of the series of the inverse root of `1 - x`, and of the root.
const BINOMIAL: [[f64; 2]; TERMS] = {
    let mut coefficients = [[1.0; 2]; TERMS];
    let mut n = 0.0;
    let mut term = 1;
    while term < TERMS {
        let [inverse, root] = coefficients[term - 1];
        coefficients[term] = [
            inverse * (n + 0.5) / (n + 1.0),
            root * (n - 0.5) / (n + 1.0),
        ];
        n += 1.0;
        term += 1;
    }
    coefficients
};
/// Part of a stretch's time below which a polynomial's share is none.
const NOTHING: f64 = 1e-13;
/// Part of a stretch's variable from which one step more finds a place.
const PLACED: f64 = 1e-7;

/// Points with the end and the turning point they were made for. Columns rather
/// than rows: the sums over them then run several points at a time.
#[derive(Clone, Debug, Default)]
pub(super) struct Samples {
    /// Capacitance times the rule's weight.
    weight: Vec<f64>,
    /// The current's square that is used up there.
    spent: Vec<f64>,
    /// The node's charge there, from the output voltage.
    charge: Vec<f64>,
    distance: Vec<f64>,
    stretches: Vec<Stretch>,
    /// Sums of the weights times powers of what is spent.
    powers: [f64; TERMS],
    pub end: f64,
    pub turning: f64,
}

/// A stretch with a rule of its own: the root of the distance to the turning point,
/// from `far`, less a `width` times the rule's variable; at the output voltage its
/// square.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    pub far: f64,
    pub width: f64,
    pub squared: bool,
    /// Half the points of the rule.
    pub half: usize,
}

/// A place on a travel: the distance, and the integral of the current's square up to
/// it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub distance: f64,
    pub square: f64,
}

impl Samples {
    /// Nothing is sampled any more.
    pub fn forget(&mut self) {
        self.end = f64::NAN;
    }

    pub fn clear(&mut self, end: f64, turning: f64) {
        self.weight.clear();
        self.spent.clear();
        self.charge.clear();
        self.distance.clear();
        self.stretches.clear();
        (self.end, self.turning) = (end, turning);
    }

    pub fn begin(&mut self, stretch: Stretch) {
        self.stretches.push(stretch);
    }

    pub fn push(&mut self, weight: f64, spent: f64, charge: f64, distance: f64) {
        self.weight.push(weight);
        self.spent.push(spent);
        self.charge.push(charge);
        self.distance.push(distance);
    }

    /// After the last point.
    pub fn finish(&mut self) {
        let mut sums = [0.0; TERMS];
        for (weight, spent) in self.weight.iter().zip(&self.spent) {
            let mut product = *weight;
            for sum in &mut sums {
                *sum += product;
                product *= spent;
            }
        }
        self.powers = sums;
    }

    /// Whether the points are summed one by one: for a current that hardly changes there
    /// is a series.
    pub fn summed(k: f64, need: f64) -> bool {
        need >= SMALL * k
    }

    /// Duration of the travel and the integral of the current's square, from the
    /// square at its start, of which it uses up `need`.
    pub fn sums(&self, k: f64, need: f64) -> (f64, f64) {
        if !Self::summed(k, need) {
            return self.series(k);
        }
        let least = LEAST * k;
        let (mut time, mut square) = ([0.0; LANES], [0.0; LANES]);
        let (weights, spents) = (
            self.weight.chunks_exact(LANES),
            self.spent.chunks_exact(LANES),
        );
        // Every rule has a whole number of lanes.
        for (weight, spent) in weights.zip(spents) {
            for lane in 0..LANES {
                let current = (k - spent[lane]).max(least).sqrt();
                time[lane] += weight[lane] / current;
                square[lane] += weight[lane] * current;
            }
        }
        (time.iter().sum(), square.iter().sum())
    }

    /// The same by the binomial series of the current's square and its root.
    fn series(&self, k: f64) -> (f64, f64) {
        let inverse = 1.0 / k;
        let (mut time, mut square) = (0.0, 0.0);
        for (power, [of_time, of_square]) in self.powers.iter().zip(&BINOMIAL).rev() {
            time = time * inverse + of_time * power;
            square = square * inverse + of_square * power;
        }
        let current = k.sqrt();
        (time / current, square * current)
    }

    /// The integral over the time of a function of the distance and the charge and
    /// the square of the current used up there.
    pub fn integral(&self, k: f64, function: impl Fn(f64, f64, f64) -> f64) -> f64 {
        let points = self.weight.iter().zip(&self.spent);
        let places = self.distance.iter().zip(&self.charge);
        points
            .zip(places)
            .map(|((weight, spent), (distance, charge))| {
                weight / (k - spent).max(LEAST * k).sqrt() * function(*distance, *charge, *spent)
            })
            .sum()
    }

    /// The place that the node has come to after a time. `sums` are those of the last
    /// place.
    pub fn place(&self, k: f64, time: f64, sums: &mut Sums) -> Option<Place> {
        let (mut left, mut square) = (time, 0.0);
        let mut first = 0;
        for stretch in &self.stretches {
            let next = first + 2 * stretch.half;
            let points = (&self.weight[first..next], &self.spent[first..next]);
            if sums.of != (self.end, self.turning, k, first) {
                match stretch.half {
                    8 => sums.fill(points, k, &gauss::PART_LEGENDRE),
                    _ => sums.fill(points, k, &gauss::WHOLE_LEGENDRE),
                }
                sums.of = (self.end, self.turning, k, first);
            }
            if left < sums.time[0] {
                let (s, part) = sums.reach(left, stretch.squared);
                let y = stretch.far - stretch.width * if stretch.squared { s * s } else { s };
                return Some(Place {
                    distance: self.turning - y * y,
                    square: square + part,
                });
            }
            left -= sums.time[0];
            square += sums.square[0];
            first = next;
        }
        None
    }
}

/// Time and squared current of a stretch as sums of Legendre polynomials of its
/// variable: their integrals over a part of it are such sums again.
#[derive(Clone, Debug)]
pub(super) struct Sums {
    time: [f64; 28],
    square: [f64; 28],
    degrees: usize,
    /// End, turning point, start and first point that they are made for.
    of: (f64, f64, f64, usize),
    /// The variable of the stretch where the last place lay.
    hint: Option<f64>,
}

impl Default for Sums {
    fn default() -> Self {
        Self {
            time: [0.0; 28],
            square: [0.0; 28],
            degrees: 0,
            of: (f64::NAN, 0.0, 0.0, 0),
            hint: None,
        }
    }
}

impl Sums {
    /// Nothing is kept any more.
    pub fn forget(&mut self) {
        self.of.0 = f64::NAN;
        self.forget_place();
    }

    /// Forgets where the last place lay.
    pub fn forget_place(&mut self) {
        self.hint = None;
    }

    fn fill<const HALF: usize>(
        &mut self,
        (weight, spent): (&[f64], &[f64]),
        k: f64,
        legendre: &[Legendre<HALF>; 2],
    ) {
        let least = LEAST * k;
        // Even and odd parts of both: a rule's points come in pairs.
        let (mut times, mut squares) = ([[0.0; HALF]; 2], [[0.0; HALF]; 2]);
        for pair in 0..HALF {
            let [low, high] = [2 * pair, 2 * pair + 1].map(|point| {
                let current = (k - spent[point]).max(least).sqrt();
                (weight[point] / current, weight[point] * current)
            });
            (times[0][pair], times[1][pair]) = (high.0 + low.0, high.0 - low.0);
            (squares[0][pair], squares[1][pair]) = (high.1 + low.1, high.1 - low.1);
        }
        for odd in 0..2 {
            for (n, values) in legendre[odd].iter().enumerate() {
                let (mut time, mut square) = (0.0, 0.0);
                for (pair, value) in values.iter().enumerate() {
                    time += times[odd][pair] * value;
                    square += squares[odd][pair] * value;
                }
                self.time[2 * n + odd] = time;
                self.square[2 * n + odd] = square;
            }
        }
        // What comes after the last degree of any size is rounding.
        let least = NOTHING * self.time[0];
        let last = self.time[..2 * HALF].iter().rposition(|t| t.abs() > least);
        self.degrees = last.map_or(1, |degree| degree + 1);
    }

    /// Time and squared current up to a place of the variable from -1 to 1, with their
    /// slopes.
    fn up_to(&self, x: f64) -> [(f64, f64); 2] {
        let (mut before, mut value) = (1.0, x);
        let mut time = (self.time[0] * (x + 1.0), self.time[0]);
        let mut square = (self.square[0] * (x + 1.0), self.square[0]);
        for n in 1..self.degrees {
            let [twice, forward, back] = gauss::RECURRENCE[n];
            let next = forward * x * value - back * before;
            let step = next - before;
            time.0 += self.time[n] * step;
            square.0 += self.square[n] * step;
            time.1 += self.time[n] * (twice * value);
            square.1 += self.square[n] * (twice * value);
            (before, value) = (value, next);
        }
        [time, square].map(|(sum, slope)| (sum / 2.0, slope / 2.0))
    }

    /// The variable from 0 to 1 at which a time is reached, and the squared current up
    /// to there.
    fn reach(&mut self, target: f64, squared: bool) -> (f64, f64) {
        let part = target / self.time[0];
        let guess = self
            .hint
            .unwrap_or(if squared { part.max(0.0).sqrt() } else { part });
        let (mut low, mut high) = (-1.0, 1.0);
        let mut x = 2.0 * guess - 1.0;
        let mut found = 0.0;
        for _ in 0..60 {
            if !(x > low && x < high) {
                x = f64::midpoint(low, high);
            }
            let [time, square] = self.up_to(x);
            let error = time.0 - target;
            if error > 0.0 {
                high = x;
            } else {
                low = x;
            }
            let step = error / time.1;
            x -= step;
            found = square.0 - square.1 * step;
            if step.abs() <= PLACED || high - low <= 4.0 * f64::EPSILON {
                break;
            }
        }
        let s = f64::midpoint(x.clamp(-1.0, 1.0), 1.0);
        self.hint = Some(s);
        (s, found)
    }
}
