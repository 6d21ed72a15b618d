//! Whether the clamp pays against another scheme, what decides it, and what would
//! turn the verdict.

use super::{load, watts, words};
use crate::compare::{Comparison, difference, influence};
use crate::loss::{Losses, Mechanism, Outcome};
use crate::quantity::{Dimensioned as _, Power, number};
use crate::scheme::Scheme;

/// What one scheme saves and costs against another.
pub(super) fn sentences(
    c: &Comparison,
    index: usize,
    soft: &Outcome,
    other: &Outcome,
    one: &Losses,
    two: &Losses,
) -> Vec<String> {
    let Some([most, least]) = difference(soft, other) else {
        return vec![];
    };
    let mut list = Vec::new();
    let change = |m: Mechanism| (one.of(m) - two.of(m)).coherent();
    let mut parts: Vec<(Mechanism, f64)> =
        Mechanism::ALL.into_iter().map(|m| (m, change(m))).collect();
    parts.sort_by(|x, y| y.1.abs().total_cmp(&x.1.abs()));
    // What is a hundredth of the largest change is not worth a reader's time.
    let least_told = parts.first().map_or(0.0, |(_, w)| 0.01 * w.abs());
    let named = |negative: bool| {
        let found: Vec<String> = parts
            .iter()
            .filter(|(_, w)| (*w < 0.0) == negative && w.abs() > least_told)
            .take(4)
            .map(|(m, w)| format!("{} in {}", watts(w.abs()), m.words()))
            .collect();
        if found.is_empty() {
            "nothing".to_owned()
        } else {
            found.join(", ")
        }
    };
    let against = format!(
        "Compared with {}, the clamp of two transistors saves {} and adds {}",
        against(other.scheme),
        named(true),
        named(false)
    );
    let bounds = if (most - least).abs() < 5e-4 {
        String::new()
    } else {
        format!(" ({} with capacitance-limited turn-off)", signed(least))
    };
    let sentence = if most < 0.0 && least < 0.0 {
        format!(
            "{against}. In all it loses {} less{bounds}. {} pays here.",
            watts(-most),
            case(other.scheme)
        )
    } else if most > 0.0 && least > 0.0 {
        format!(
            "{against}. In all it loses {} more{bounds}. {} does not pay here.",
            watts(most),
            case(other.scheme)
        )
    } else {
        format!(
            "{against}. Whether it pays depends on the turn-off alone: {} with full overlap, {} \
             with capacitance-limited turn-off.",
            signed(most),
            signed(least)
        )
    };
    list.push(sentence);
    list.extend(ring(two, one, c.damped_turn_on));
    if least > 0.0 {
        list.extend(remedies(c, index, most));
    }
    list.extend(load::sentence(c, index));
    if let Some(Some(band)) = c.bands.get(index) {
        let (low, high) = (band.low.coherent(), band.high.coherent());
        let firm = if low.signum() * high.signum() <= 0.0 {
            "the verdict changes within this band"
        } else if most.signum() * least.signum() > 0.0 {
            "the verdict is the same over this whole band"
        } else {
            "with full overlap the sign is the same over this whole band, but the turn-off still decides"
        };
        let inputs = match band.inputs {
            1 => "Within the one stated tolerance".to_owned(),
            n => format!("Within the {n} stated tolerances"),
        };
        list.push(format!(
            "{inputs} the difference lies between {} and {} (k = 2): {firm}.",
            signed(low),
            signed(high)
        ));
    }
    if let Some(first) = c.influences.get(index).and_then(|list| list.first()) {
        list.push(format!(
            "The {} has the largest influence: 10 % more of it moves the difference by {} {}.",
            first.words,
            watts(first.change.coherent().abs()),
            if first.change.coherent() > 0.0 {
                "against the clamp"
            } else {
                "in favour of the clamp"
            }
        ));
    }
    list
}

/// A scheme after "against".
fn against(other: Scheme) -> String {
    let article = match other {
        Scheme::FreewheelTransistors | Scheme::FreewheelDiode => "the ",
        Scheme::NegativeValley => "a ",
        Scheme::Discontinuous | Scheme::Continuous => "",
    };
    format!("{article}{}", words(other))
}

/// What is argued for against a scheme.
fn case(other: Scheme) -> &'static str {
    match other {
        Scheme::FreewheelDiode => "The clamp of two transistors",
        Scheme::NegativeValley => "The clamp",
        _ => "Soft turn-on",
    }
}

fn signed(value: f64) -> String {
    if value < 0.0 {
        format!("{} less", watts(-value))
    } else {
        format!("{} more", watts(value))
    }
}

/// What the instant of the ring adds to a baseline whose node rings.
fn ring(other: &Losses, soft: &Losses, damped: Option<Power>) -> Option<String> {
    let [best, worst] = other.turn_on_over_ring()?;
    let mean = other.of(Mechanism::TurnOn);
    let with = |turn_on: Power| (soft.total() - other.total() + mean - turn_on).coherent();
    let damped = damped.map_or_else(String::new, |damped| {
        format!(
            "; where the ring has died out and its energy is counted, {}",
            signed(with(damped))
        )
    });
    Some(format!(
        "With that scheme the node rings, and the mean over the ring is counted. With every turn-on at \
         the ring's best instant, which makes the switching frequency vary, the difference is {}; at \
         its worst it is {}{damped}.",
        signed(with(best)),
        signed(with(worst))
    ))
}

/// What would change the verdict, each computed again with it.
fn remedies(c: &Comparison, index: usize, most: f64) -> Option<String> {
    if most <= 0.0 {
        return None;
    }
    c.specification().high.data.turn_off_time?;
    let (other, at) = (*c.schemes.get(index + 1)?, c.nominal.first()?.at);
    let pays = |factor: f64| {
        let watts = influence::with_turn_off_times(c, other, at, factor);
        watts.is_some_and(|watts| watts < 0.0)
    };
    if pays(0.0) {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if pays(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        return Some(format!(
            "The turn-off costs more than the turn-on saves: with every turn-off time at {} % of \
             that stated or less the verdict would be the other.",
            number(99.0 * low, 2)
        ));
    }
    let first = c
        .influences
        .get(index)?
        .iter()
        .find(|i| i.words != "inductance")?;
    Some(format!(
        "No turn-off time, however short, would reverse the verdict; of the inputs other than the \
         inductance, the {} would move the difference most.",
        first.words
    ))
}

/// Halvings that find a factor to more than the two digits that are shown.
const HALVINGS: u32 = 16;
