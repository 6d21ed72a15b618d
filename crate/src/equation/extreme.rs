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
/// The step, as a part of a range, at which the search ends: the last one tried
/// is a ten-millionth at most, and the value right to about its square.
const FINEST: f64 = 2.5e-8;

/// Searches a box: a grid first, then steps along the axes, each a quarter of the
/// last, until they are a ten-millionth of the range. `function` returns not-a-number where it has no
/// value.
pub fn find(box_: &[(f64, f64)], sense: Sense, mut function: impl FnMut(&[f64]) -> f64) -> Extreme {
    let better = |new: f64, old: f64| match sense {
        Sense::Greatest => new > old,
        Sense::Least => new < old,
    };
    let mut result = Extreme {
        best: None,
        without_value: None,
    };
    let mut look = |point: &[f64], result: &mut Extreme| {
        let value = function(point);
        if !value.is_finite() {
            result.without_value.get_or_insert_with(|| point.to_vec());
            return false;
        }
        let improved = result
            .best
            .as_ref()
            .is_none_or(|(_, best)| better(value, *best));
        if improved {
            result.best = Some((point.to_vec(), value));
        }
        improved
    };
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
        look(&point, &mut result);
    }
    let Some((mut point, _)) = result.best.clone() else {
        return result;
    };
    let mut step = 0.5 / f64::from(GRID);
    while step > FINEST {
        let mut moved = false;
        for (axis, (low, high)) in box_.iter().enumerate() {
            for direction in [-1.0, 1.0] {
                let mut next = point.clone();
                next[axis] = (point[axis] + direction * step * (high - low)).clamp(*low, *high);
                if next[axis].to_bits() != point[axis].to_bits() && look(&next, &mut result) {
                    point = next;
                    moved = true;
                }
            }
        }
        if !moved {
            step /= 4.0;
        }
    }
    result
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

    #[test]
    fn the_least_value_may_lie_at_a_corner_and_gaps_are_reported() {
        let found = find(&[(1.0, 2.0)], Sense::Least, |p| {
            if p[0] > 1.95 { f64::NAN } else { p[0] }
        });
        assert_relative_eq!(found.best.unwrap().1, 1.0);
        assert_relative_eq!(found.without_value.unwrap()[0], 2.0);
    }
}
