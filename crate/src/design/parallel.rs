//! The same work on many items, on all cores.

use std::num::NonZero;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Threads that are started, at most.
const MOST: usize = 16;

/// `work` on every item, the results in the items' order whatever the number of
/// threads.
pub(crate) fn map<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::with_capacity(items.len()));
    std::thread::scope(|scope| {
        for _ in 0..cores.min(items.len()).min(MOST) {
            scope.spawn(|| {
                while let Some((index, item)) = take(items, &next) {
                    let result = work(item);
                    done.lock()
                        .unwrap_or_else(std::sync::PoisonError::into_inner)
                        .push((index, result));
                }
            });
        }
    });
    let mut done = done
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, result)| result).collect()
}

fn take<'t, T>(items: &'t [T], next: &AtomicUsize) -> Option<(usize, &'t T)> {
    let index = next.fetch_add(1, Ordering::Relaxed);
    items.get(index).map(|item| (index, item))
}

#[cfg(test)]
mod tests {
    #[test]
    fn results_keep_the_order_of_the_items() {
        let items: Vec<u64> = (0..1000).collect();
        let squares = super::map(&items, |x| x * x);
        assert!(
            squares
                .iter()
                .zip(&items)
                .all(|(square, x)| *square == x * x)
        );
        assert!(super::map(&[], |x: &u64| *x).is_empty());
    }
}
