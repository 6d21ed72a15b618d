//! Which parts of two sequences belong together.

use std::ops::Range;

/// Beyond as many pairs what differs is taken as a whole.
const MOST_PAIRS: usize = 10_000_000;

/// The stretches in which two sequences differ: between them they are equal, one by one.
pub(super) fn gaps<T: PartialEq>(old: &[T], new: &[T]) -> Vec<(Range<usize>, Range<usize>)> {
    let start = old.iter().zip(new).take_while(|(a, b)| a == b).count();
    let (a, b) = (&old[start..], &new[start..]);
    let end = a
        .iter()
        .rev()
        .zip(b.iter().rev())
        .take_while(|(a, b)| a == b)
        .count();
    let (a, b) = (&a[..a.len() - end], &b[..b.len() - end]);
    if a.is_empty() && b.is_empty() {
        return vec![];
    }
    let mut all = Vec::new();
    let (mut last_a, mut last_b) = (0, 0);
    for (i, j) in common(a, b).into_iter().chain([(a.len(), b.len())]) {
        if i > last_a || j > last_b {
            all.push((start + last_a..start + i, start + last_b..start + j));
        }
        (last_a, last_b) = (i + 1, j + 1);
    }
    all
}

/// A longest common subsequence, as pairs of places.
fn common<T: PartialEq>(a: &[T], b: &[T]) -> Vec<(usize, usize)> {
    if a.len().saturating_mul(b.len()) > MOST_PAIRS {
        return vec![];
    }
    let width = b.len() + 1;
    // The longest of what follows a pair of places.
    let mut longest = vec![0_u32; (a.len() + 1) * width];
    for i in (0..a.len()).rev() {
        for j in (0..b.len()).rev() {
            longest[i * width + j] = if a[i] == b[j] {
                longest[(i + 1) * width + j + 1] + 1
            } else {
                longest[(i + 1) * width + j].max(longest[i * width + j + 1])
            };
        }
    }
    let (mut i, mut j, mut pairs) = (0, 0, Vec::new());
    while i < a.len() && j < b.len() {
        if a[i] == b[j] {
            pairs.push((i, j));
            (i, j) = (i + 1, j + 1);
        } else if longest[(i + 1) * width + j] >= longest[i * width + j + 1] {
            i += 1;
        } else {
            j += 1;
        }
    }
    pairs
}

/// Pairs what belongs together in a stretch: what has one key first, the rest in order.
/// What is left on one side has no partner.
pub(super) fn pairs<T, K: PartialEq>(
    old: &[T],
    new: &[T],
    key: impl Fn(&T) -> K,
) -> Vec<(Option<usize>, Option<usize>)> {
    let mut all = Vec::new();
    let (mut last_a, mut last_b) = (0, 0);
    let old_keys: Vec<K> = old.iter().map(&key).collect();
    let new_keys: Vec<K> = new.iter().map(&key).collect();
    let ends = [(old.len(), new.len())];
    for (i, j) in common(&old_keys, &new_keys).into_iter().chain(ends) {
        let (a, b) = (last_a..i, last_b..j);
        for k in 0..a.len().max(b.len()) {
            let within = |range: &Range<usize>| Some(range.start + k).filter(|at| *at < range.end);
            all.push((within(&a), within(&b)));
        }
        if i < old.len() && j < new.len() {
            all.push((Some(i), Some(j)));
        }
        (last_a, last_b) = (i + 1, j + 1);
    }
    all
}
