//! The worst point of a function over a box: found, not assumed at a corner.

use super::node::Symbol;

/// A symbol's range.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    /// The symbol.
    pub symbol: &'static Symbol,
    /// Its least value.
    pub low: f64,
    /// Its greatest value.
    pub high: f64,
}

/// Which extreme is sought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// The greatest value.
    Greatest,
    /// The least value.
    Least,
}

/// An extreme over a box.
#[derive(Clone, Debug, PartialEq)]
pub struct Extreme {
    /// The extreme, where the function has a value somewhere.
    pub best: Option<(Vec<f64>, f64)>,
    /// A point of the box at which the function has no value, if one was met.
    pub without_value: Option<Vec<f64>>,
}

/// Points of the first look along each range.
const GRID: u32 = 6;
/// Rounds of steps at most: a search takes some twenty. Values that contradict each
/// other do not keep one going.
const ROUNDS: u32 = 2000;
/// The step, as a part of a range, at which the search ends: the last one tried
/// is a ten-millionth at most, and the value right to about its square.
const FINEST: f64 = 2.5e-8;

/// Searches a box: a grid first, then steps along the axes, each a quarter of the
/// last, until they are a ten-millionth of the range. `function` returns not-a-number where it has no
/// value.
pub fn find(box_: &[(f64, f64)], sense: Sense, function: impl FnMut(&[f64]) -> f64) -> Extreme {
    find_quick(box_, sense, 0.0, |_| None, function)
}

/// The same, where there is a quick way to a value that is right to a part `within` of
/// it, or none that it is sure of: `function` is asked only where that does not decide,
/// so that the place found is the one that `function` alone leads to.
pub(crate) fn find_quick(
    box_: &[(f64, f64)],
    sense: Sense,
    within: f64,
    quick: impl FnMut(&[f64]) -> Option<f64>,
    function: impl FnMut(&[f64]) -> f64,
) -> Extreme {
    let mut search = Search {
        sense,
        within,
        quick,
        function,
        best: None,
        without_value: None,
    };
    search.run(box_);
    search.ended()
}

/// A point that was looked at.
struct Looked {
    point: Vec<f64>,
    /// The value, quick or exact.
    value: f64,
    exact: bool,
}

/// A search under way.
struct Search<Q, F> {
    sense: Sense,
    within: f64,
    quick: Q,
    function: F,
    best: Option<Looked>,
    without_value: Option<Vec<f64>>,
}

impl<Q, F> Search<Q, F>
where
    Q: FnMut(&[f64]) -> Option<f64>,
    F: FnMut(&[f64]) -> f64,
{
    fn better(&self, new: f64, old: f64) -> bool {
        match self.sense {
            Sense::Greatest => new > old,
            Sense::Least => new < old,
        }
    }

    /// Looks at a point; whether it is better than the best one so far.
    fn look(&mut self, point: &[f64]) -> bool {
        let quick = (self.quick)(point);
        let mut new = Looked {
            point: point.to_vec(),
            value: quick.unwrap_or_else(|| (self.function)(point)),
            exact: quick.is_none(),
        };
        if !new.value.is_finite() {
            self.without_value.get_or_insert(new.point);
            return false;
        }
        if let Some(mut best) = self.best.take() {
            let near = (new.value - best.value).abs()
                <= self.within * new.value.abs().max(best.value.abs());
            if near {
                self.settle(&mut new);
                self.settle(&mut best);
            }
            if !self.better(new.value, best.value) {
                self.best = Some(best);
                return false;
            }
        }
        self.best = Some(new);
        true
    }

    /// Gives a point its exact value.
    fn settle(&mut self, looked: &mut Looked) {
        if !looked.exact {
            looked.value = (self.function)(&looked.point);
            looked.exact = true;
        }
    }

    fn ended(mut self) -> Extreme {
        let best = self.best.take().map(|mut best| {
            self.settle(&mut best);
            (best.point, best.value)
        });
        Extreme {
            best,
            without_value: self.without_value,
        }
    }

    fn run(&mut self, box_: &[(f64, f64)]) {
        let fractions = |(low, high): (f64, f64)| -> Vec<f64> {
            if low == high {
                return vec![low];
            }
            (0..=GRID)
                .map(|k| low + (high - low) * f64::from(k) / f64::from(GRID))
                .collect()
        };
        let axes: Vec<Vec<f64>> = box_.iter().map(|range| fractions(*range)).collect();
        let count: usize = axes.iter().map(Vec::len).product();
        for index in 0..count {
            let mut rest = index;
            let point: Vec<f64> = axes
                .iter()
                .map(|axis| {
                    let value = axis[rest % axis.len()];
                    rest /= axis.len();
                    value
                })
                .collect();
            self.look(&point);
        }
        let Some(mut point) = self.best.as_ref().map(|best| best.point.clone()) else {
            return;
        };
        let mut step = 0.5 / f64::from(GRID);
        let mut rounds = 0;
        while step > FINEST && rounds < ROUNDS {
            rounds += 1;
            let mut moved = false;
            for (axis, (low, high)) in box_.iter().enumerate() {
                for direction in [-1.0, 1.0] {
                    let mut next = point.clone();
                    next[axis] = (point[axis] + direction * step * (high - low)).clamp(*low, *high);
                    if next[axis].to_bits() != point[axis].to_bits() && self.look(&next) {
                        point = next;
                        moved = true;
                    }
                }
            }
            if !moved {
                step /= 4.0;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn the_greatest_value_may_lie_inside() {
        let found = find(&[(0.0, 1.0), (0.0, 2.0)], Sense::Greatest, |p| {
            5.0 - (p[0] - 0.37).powi(2) - (p[1] - 1.91).powi(2)
        });
        let (point, value) = found.best.unwrap();
        assert_relative_eq!(point[0], 0.37, epsilon = 1e-7);
        assert_relative_eq!(point[1], 1.91, epsilon = 1e-7);
        assert_relative_eq!(value, 5.0, max_relative = 1e-12);
        assert_eq!(found.without_value, None);
    }

    /// A broad hill on the diagonal, and a higher one that only the grid finds.
    #[test]
    fn every_combination_of_the_grid_is_looked_at() {
        let places = [5.0 / 6.0, 1.0 / 6.0, 4.0 / 6.0];
        for k in 0..27_usize {
            let top = [0, 1, 2].map(|axis| places[k / 3_usize.pow(axis) % 3]);
            let away = |p: &[f64], to: [f64; 3]| -> f64 {
                p.iter().zip(to).map(|(x, y)| (x - y).powi(2)).sum()
            };
            let box_ = [(0.0, 1.0), (0.0, 1.0), (3.0, 3.0), (0.0, 1.0)];
            let found = find(&box_, Sense::Greatest, |p| {
                let p = [p[0], p[1], p[3]];
                let broad = 1.0 - away(&p, [0.5; 3]);
                broad.max(2.0 - 1e3 * away(&p, top))
            });
            let (point, value) = found.best.unwrap();
            assert_relative_eq!(value, 2.0, max_relative = 1e-12);
            assert_relative_eq!(point[1], top[1], epsilon = 1e-7);
        }
    }

    /// Values that are right to a millionth lead to the place and the value that exact
    /// ones lead to, of which few are asked for.
    #[test]
    fn a_quick_way_leads_to_the_same_place() {
        let exact = |p: &[f64]| 5.0 - (p[0] - 0.37).powi(2) - (p[0] + 0.1 * p[1] - 0.4).powi(2);
        let box_ = [(0.0, 1.0), (0.0, 2.0)];
        let alone = find(&box_, Sense::Greatest, exact);
        let mut asked = 0;
        let mut quick = 0;
        let found = find_quick(
            &box_,
            Sense::Greatest,
            1e-6,
            |p| {
                quick += 1;
                Some(exact(p) * (1.0 + 4e-7 * (1e7 * p[0]).sin()))
            },
            |p| {
                asked += 1;
                exact(p)
            },
        );
        assert_eq!(found, alone);
        assert!(asked < quick, "{asked} of {quick}");
        let unsure = find_quick(&box_, Sense::Greatest, 1e-6, |_| None, exact);
        assert_eq!(unsure, alone);
    }

    #[test]
    fn the_least_value_may_lie_at_a_corner_and_gaps_are_reported() {
        let found = find(&[(1.0, 2.0)], Sense::Least, |p| {
            if p[0] > 1.95 { f64::NAN } else { p[0] }
        });
        assert_relative_eq!(found.best.unwrap().1, 1.0);
        assert_relative_eq!(found.without_value.unwrap()[0], 2.0);
    }
}
