//! At which input voltages and loads the clamp pays against another scheme.

use crate::compare::{Comparison, difference};
use crate::loss::Outcome;
use crate::quantity::{Current, Dimensioned as _, print, significant};

/// Where on the load it pays, at the least, nominal and greatest input voltage.
pub(super) fn sentence(c: &Comparison, index: usize) -> Option<String> {
    let map = c.maps.get(index)?;
    let all = || map.watts.iter().flatten().flatten();
    all().next()?;
    if all().all(|w| *w < 0.0) {
        return Some(
            "With full overlap at turn-off it loses less over the whole map of line and load."
                .to_owned(),
        );
    }
    if all().all(|w| *w > 0.0) {
        return Some(
            "With full overlap at turn-off it loses more over the whole map of line and load."
                .to_owned(),
        );
    }
    let (mut parts, mut nowhere) = (Vec::new(), Vec::new());
    for outcomes in &c.over_load {
        let (soft, other) = (outcomes.first()?, outcomes.get(index + 1)?);
        let at = print(soft.first()?.at.input_voltage);
        match loads(soft, other) {
            Some(range) => parts.push(format!("at {at} in {range}")),
            None => nowhere.push(at),
        }
    }
    let none = format!(
        "at {} in it does so at none of the loads",
        nowhere.join(" and ")
    );
    Some(match (parts.is_empty(), nowhere.is_empty()) {
        (true, _) => format!(
            "With full overlap at turn-off there is no load at which it loses less at {} in.",
            nowhere.join(", ")
        ),
        (false, true) => format!(
            "With full overlap at turn-off it loses less {}.",
            parts.join("; ")
        ),
        (false, false) => format!(
            "With full overlap at turn-off it loses less {}; {none}.",
            parts.join("; ")
        ),
    })
}

/// The loads at which it pays at one input voltage, if any.
fn loads(soft: &[Outcome], other: &[Outcome]) -> Option<String> {
    let amperes = |load: f64| print(Current::from_coherent(significant(load, 3)));
    let points: Vec<(f64, Option<f64>)> = soft
        .iter()
        .zip(other)
        .map(|(one, two)| {
            let watts = difference(one, two).map(|[most, _]| most);
            (one.at.output_current.coherent(), watts)
        })
        .collect();
    let mut ranges: Vec<[f64; 2]> = Vec::new();
    let mut open: Option<f64> = None;
    let mut before: Option<(f64, Option<f64>)> = None;
    for (load, value) in &points {
        let pays = value.is_some_and(|w| w < 0.0);
        // The crossing between this load and the one before, where both have a value.
        let crossing = before.and_then(|(earlier, one)| {
            let (one, two) = (one?, (*value)?);
            Some(earlier + one / (one - two) * (load - earlier))
        });
        match (open, pays) {
            (None, true) => open = Some(crossing.unwrap_or(*load)),
            (Some(from), false) => {
                let last = before.map_or(*load, |(earlier, _)| earlier);
                ranges.push([from, crossing.unwrap_or(last)]);
                open = None;
            }
            _ => {}
        }
        before = Some((*load, *value));
    }
    let (first, last) = (points.first()?.0, points.last()?.0);
    if let Some(from) = open {
        ranges.push([from, last]);
    }
    if ranges == [[first, last]] {
        return Some("over the whole load range".to_owned());
    }
    // The instant of a ring moves with the load: a baseline that rings gives many stretches.
    if let (true, [[from, _], .., [_, to]]) = (ranges.len() > 3, ranges.as_slice()) {
        return Some(format!(
            "over {} stretches between {} and {}",
            ranges.len(),
            amperes(*from),
            amperes(*to)
        ));
    }
    let words: Vec<String> = ranges
        .iter()
        .map(|[from, to]| format!("from {} to {}", amperes(*from), amperes(*to)))
        .collect();
    (!words.is_empty()).then(|| words.join(" and "))
}
