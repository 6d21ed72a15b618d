//! What follows from a comparison, in sentences computed from its numbers.

use super::{Comparison, difference};
use crate::loss::{Losses, Mechanism, Outcome};
use crate::quantity::{Current, Dimensioned as _, Power, Time, Voltage, print};
use crate::scheme::Scheme;

/// Watts in words, three digits.
fn watts(value: f64) -> String {
    crate::quantity::print_value(value, Power::EXPONENTS, 3)
}

/// A scheme in words where a sentence goes on.
fn words(scheme: Scheme) -> &'static str {
    scheme.words()
}

pub(super) fn sentences(c: &Comparison) -> Vec<String> {
    let Some((soft, others)) = c.sides() else {
        return vec![];
    };
    let mut list = vec![without(soft).unwrap_or_else(|| {
        format!(
            "At {} in and {} out the {} runs with {}.",
            print(soft.at.input_voltage),
            print(soft.at.output_current),
            words(soft.scheme),
            soft.losses.as_ref().map_or_else(String::new, |losses| {
                format!(
                    "{} of losses{}; efficiency of the power stage {:.2} %{}",
                    watts(losses.total().coherent()),
                    drive(losses),
                    100.0 * losses.efficiency_stage().coherent(),
                    if drive(losses).is_empty() {
                        String::new()
                    } else {
                        let total = 100.0 * losses.efficiency_total().coherent();
                        format!(", in total {total:.2} %")
                    },
                )
            })
        )
    })];
    for (index, other) in others.iter().enumerate() {
        list.extend(without(other));
        if let (Some(one), Some(two)) = (&soft.losses, &other.losses) {
            list.extend(verdict(c, index, soft, other, one, two));
        }
    }
    list.extend(optimum(c));
    list.extend(left_out(c));
    list
}

/// What gate drive and control take of the losses, where they are known.
fn drive(losses: &Losses) -> String {
    let taken = (losses.total() - losses.stage()).coherent();
    if taken > 0.0 {
        format!(", of which {} in gate drive and control", watts(taken))
    } else {
        String::new()
    }
}

/// What no verdict above counts.
fn left_out(c: &Comparison) -> Option<String> {
    let names: Vec<&str> = c
        .left_out
        .iter()
        .filter_map(|words| words.split(':').next())
        .collect();
    (!names.is_empty()).then(|| {
        format!(
            "These verdicts are incomplete, the specification having no data for: {}.",
            names.join(", ")
        )
    })
}

/// Why an outcome has no losses.
fn without(outcome: &Outcome) -> Option<String> {
    if outcome.losses.is_some() {
        return None;
    }
    let because = if outcome.findings.is_empty() {
        outcome.state.words().to_owned()
    } else {
        let all: Vec<_> = outcome.findings.iter().map(ToString::to_string).collect();
        format!("{}.", all.join("; "))
    };
    Some(format!(
        "No losses to compare at {1} in and {2} out for {0}: {because}",
        words(outcome.scheme),
        print(outcome.at.input_voltage),
        print(outcome.at.output_current),
    ))
}

/// What one scheme saves and costs against another.
fn verdict(
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
    let name = words(other.scheme);
    let mut list = Vec::new();
    let change = |m: Mechanism| (one.of(m) - two.of(m)).coherent();
    let mut parts: Vec<(Mechanism, f64)> =
        Mechanism::ALL.into_iter().map(|m| (m, change(m))).collect();
    parts.sort_by(|x, y| y.1.abs().total_cmp(&x.1.abs()));
    let named = |negative: bool| {
        let found: Vec<String> = parts
            .iter()
            .filter(|(_, w)| (*w < 0.0) == negative && w.abs() > 1e-6)
            .take(4)
            .map(|(m, w)| format!("{} {}", m.words(), watts(w.abs())))
            .collect();
        if found.is_empty() {
            "nothing".to_owned()
        } else {
            found.join(", ")
        }
    };
    let against = format!(
        "Against {name} it saves {} and costs {}",
        named(true),
        named(false)
    );
    let bounds = if (most - least).abs() < 5e-4 {
        String::new()
    } else {
        format!(
            " (with the capacitance holding the voltage back at turn-off, the lower bound, {})",
            signed(least)
        )
    };
    let sentence = if most < 0.0 && least < 0.0 {
        format!(
            "{against}: in all it loses {} less{bounds}. {} pays here.",
            watts(-most),
            case(other.scheme)
        )
    } else if most > 0.0 && least > 0.0 {
        format!(
            "{against}: in all it loses {} more{bounds}. {} does not pay here.",
            watts(most),
            case(other.scheme)
        )
    } else {
        format!(
            "{against}: whether it pays depends on the turn-off alone: {} with full overlap, {} \
             where the capacitance holds the voltage back.",
            signed(most),
            signed(least)
        )
    };
    list.push(sentence);
    list.extend(ring(two, one));
    if least > 0.0 {
        list.extend(remedies(c, index, most, change(Mechanism::TurnOff)));
    }
    list.extend(line(c, index));
    if let Some(Some(band)) = c.bands.get(index) {
        let (low, high) = (band.low.coherent(), band.high.coherent());
        let firm = if low.signum() * high.signum() <= 0.0 {
            "the verdict turns within it"
        } else if most.signum() * least.signum() > 0.0 {
            "the verdict stands over the whole range"
        } else {
            "with full overlap the sign stands over the whole range, but the turn-off still decides"
        };
        let inputs = match band.inputs {
            1 => "The one stated tolerance moves".to_owned(),
            n => format!("The {n} stated tolerances move"),
        };
        list.push(format!(
            "{inputs} the difference from {} to {} (k = 2): {firm}.",
            signed(low),
            signed(high)
        ));
    }
    if let Some(first) = c.influences.get(index).and_then(|list| list.first()) {
        list.push(format!(
            "What decides it most is the {}: with a tenth more of it the clamp loses {} than now, set \
             against the other.",
            first.words,
            signed(first.change.coherent())
        ));
    }
    list
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
fn ring(other: &Losses, soft: &Losses) -> Option<String> {
    let [best, worst] = other.turn_on_over_ring()?;
    let mean = other.of(Mechanism::TurnOn);
    let with = |turn_on: Power| (soft.total() - other.total() + mean - turn_on).coherent();
    Some(format!(
        "There the node rings, and the mean over the ring is counted; with every turn-on at the best \
         instant the difference is {}, at the worst {}.",
        signed(with(best)),
        signed(with(worst))
    ))
}

/// What would change the verdict.
fn remedies(c: &Comparison, index: usize, most: f64, turn_off: f64) -> Option<String> {
    if most <= 0.0 {
        return None;
    }
    let time = c.specification().high.data.turn_off_time?.coherent();
    if turn_off > 0.0 && most < turn_off {
        // The overlap is proportional to the time: the rest of the difference is not.
        let enough = time * (turn_off - most) / turn_off;
        return Some(format!(
            "The turn-off at the peak current costs more than the turn-on saves: a turn-off time \
             below {} instead of {} would turn the verdict, and so would a lower peak current.",
            print(Time::from_coherent(enough)),
            print(Time::from_coherent(time))
        ));
    }
    let first = c
        .influences
        .get(index)?
        .iter()
        .find(|i| i.words != "inductance")?;
    Some(format!(
        "No turn-off however fast would turn the verdict; most would come from the {}.",
        first.words
    ))
}

/// Where on the load it pays, at the ends and in the middle of the line.
fn line(c: &Comparison, index: usize) -> Option<String> {
    let map = c.maps.get(index)?;
    let all = || map.watts.iter().flatten().flatten();
    all().next()?;
    if all().all(|w| *w < 0.0) {
        return Some("It loses less over the whole range of line and load.".to_owned());
    }
    if all().all(|w| *w >= 0.0) {
        return Some("It loses more over the whole range of line and load.".to_owned());
    }
    let last = map.inputs.len() - 1;
    let mut places = vec![0, last / 2, last];
    places.dedup();
    let (mut parts, mut nowhere) = (Vec::new(), Vec::new());
    for column in places {
        let at = print(Voltage::from_coherent(map.inputs[column]));
        match loads(map, column) {
            Some(range) => parts.push(format!("at {at} in {range}")),
            None => nowhere.push(at),
        }
    }
    if parts.is_empty() {
        let places = nowhere.join(", ");
        return Some(format!("It loses less at no load at {places} in."));
    }
    if !nowhere.is_empty() {
        parts.push(format!("at no load at {} in", nowhere.join(" or ")));
    }
    Some(format!("It loses less {}.", parts.join("; ")))
}

/// The loads at which it pays at one input voltage, if any.
fn loads(map: &super::Map, column: usize) -> Option<String> {
    let amperes = |load: f64| {
        print(Current::from_coherent(crate::quantity::significant(
            load, 3,
        )))
    };
    let mut ranges: Vec<[f64; 2]> = Vec::new();
    let mut open: Option<f64> = None;
    let row = &map.watts[column];
    for (k, value) in row.iter().enumerate() {
        let pays = value.is_some_and(|w| w < 0.0);
        // The crossing between this load and the one before, where both have a value.
        let crossing = k.checked_sub(1).and_then(|before| {
            let (one, two) = (row[before]?, (*value)?);
            Some(map.loads[before] + one / (one - two) * (map.loads[k] - map.loads[before]))
        });
        match (open, pays) {
            (None, true) => open = Some(crossing.unwrap_or(map.loads[k])),
            (Some(from), false) => {
                ranges.push([from, crossing.unwrap_or(map.loads[k - 1])]);
                open = None;
            }
            _ => {}
        }
    }
    if let (Some(from), Some(last)) = (open, map.loads.last()) {
        ranges.push([from, *last]);
    }
    if ranges.is_empty() {
        return None;
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
    Some(words.join(" and "))
}

/// Where the sweeps have their least loss.
fn optimum(c: &Comparison) -> Vec<String> {
    let least = |points: &[super::SweepPoint]| -> Option<(f64, f64)> {
        points
            .iter()
            .filter_map(|p| Some((p.value, p.total?.coherent())))
            .min_by(|x, y| x.1.total_cmp(&y.1))
    };
    let mut list = Vec::new();
    if let Some((value, total)) = least(&c.inductance_sweep) {
        list.push(format!(
            "With the trip set for each inductance, the clamp's stage loses least at the nominal \
             point, {}, at {}.",
            watts(total),
            print(crate::quantity::Inductance::from_coherent(
                crate::quantity::significant(value, 3)
            ))
        ));
    }
    if let Some((value, total)) = least(&c.margin_sweep) {
        list.push(format!(
            "Over the margin of the freewheel current its loss is least, {}, at {} times the floor.",
            watts(total),
            crate::quantity::number(value, 3)
        ));
    }
    list
}
