//! The points of a rule along a travel of the node.

/// Least part of the current's square at a point of a rule: next to a turning
/// point rounding must not bring it to zero.
const LEAST: f64 = 1e-10;
/// Sums that run beside each other.
const LANES: usize = 4;

/// Points with the end and the turning point they were made for. Columns rather
/// than rows: the sums over them then run several points at a time.
#[derive(Clone, Debug, Default)]
pub(super) struct Samples {
    /// Capacitance times the rule's weight.
    weight: Vec<f64>,
    /// The current's square that is used up there.
    spent: Vec<f64>,
    distance: Vec<f64>,
    pub end: f64,
    pub turning: f64,
}

impl Samples {
    /// Nothing is sampled any more.
    pub fn forget(&mut self) {
        self.end = f64::NAN;
    }

    pub fn clear(&mut self, end: f64, turning: f64) {
        self.weight.clear();
        self.spent.clear();
        self.distance.clear();
        (self.end, self.turning) = (end, turning);
    }

    pub fn push(&mut self, weight: f64, spent: f64, distance: f64) {
        self.weight.push(weight);
        self.spent.push(spent);
        self.distance.push(distance);
    }

    /// Duration of the travel and the integral of the current's square, from the
    /// square at its start.
    pub fn sums(&self, k: f64) -> (f64, f64) {
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

    /// The integral over the time of a function of the distance.
    pub fn integral(&self, k: f64, function: impl Fn(f64) -> f64) -> f64 {
        let points = self.weight.iter().zip(&self.spent).zip(&self.distance);
        points
            .map(|((weight, spent), distance)| {
                weight / (k - spent).max(LEAST * k).sqrt() * function(*distance)
            })
            .sum()
    }
}
