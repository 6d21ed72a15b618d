//! At which inductance and at which margin the stage with the clamp loses least.

use super::watts;
use crate::compare::{Comparison, SweepPoint};
use crate::quantity::{Dimensioned, Inductance, number, print, significant};

/// The values of a sweep that have a loss.
fn swept(points: &[SweepPoint]) -> Vec<(f64, f64)> {
    let known = |p: &SweepPoint| Some((p.value, p.total?.coherent()));
    points.iter().filter_map(known).collect()
}

fn least(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    points.iter().copied().min_by(|x, y| x.1.total_cmp(&y.1))
}

/// Where the sweeps have their least loss.
pub(super) fn sentences(c: &Comparison) -> Vec<String> {
    let henries = |value: f64| print(Inductance::from_coherent(significant(value, 3)));
    let mut list = Vec::new();
    let points = swept(&c.inductance_sweep);
    if let Some((value, total)) = least(&points) {
        let end = if points.last().is_some_and(|(last, _)| *last <= value) {
            ", the largest inductance swept that this point allows"
        } else {
            ""
        };
        list.push(format!(
            "With the trip set for each inductance, the minimum loss of the stage with the clamp at the \
             nominal point is {}, at {}{end}.",
            watts(total),
            henries(value),
        ));
        let ceiling = c.ceiling.map(Dimensioned::coherent);
        if let Some(ceiling) = ceiling.filter(|ceiling| value > *ceiling) {
            let below: Vec<_> = points.into_iter().filter(|(l, _)| *l <= ceiling).collect();
            let instead = least(&below).map_or_else(String::new, |(value, total)| {
                format!(
                    "; below it the minimum is {} at {}",
                    watts(total),
                    henries(value)
                )
            });
            list.push(format!(
                "That is above the ceiling in operation over the whole range, {}{instead}.",
                henries(ceiling)
            ));
        }
    }
    let points = swept(&c.margin_sweep);
    if let (Some((value, total)), Some(first), Some(last)) =
        (least(&points), points.first(), points.last())
    {
        let times = |value: f64| number(value, 3);
        list.push(if value <= first.0 {
            format!(
                "Its loss grows with the margin of the freewheel current, from {} at {} to {} at {} times \
                 the floor.",
                watts(total),
                times(value),
                watts(last.1),
                times(last.0)
            )
        } else {
            format!(
                "Swept over the margin of the freewheel current, its minimum loss is {}, at {} times the floor.",
                watts(total),
                times(value)
            )
        });
    }
    list
}
