//! What follows from a comparison, in sentences computed from its numbers.

use super::{Comparison, difference};
use crate::loss::{Losses, Mechanism, Outcome};
use crate::quantity::{Current, Dimensioned, Power, Time, print};
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
    let mut list = vec![match &soft.losses {
        Some(losses) => with(soft, losses),
        None => without(soft),
    }];
    for (index, other) in others.iter().enumerate() {
        match (&soft.losses, &other.losses) {
            (_, None) => list.push(without(other)),
            (Some(one), Some(two)) => list.extend(verdict(c, index, soft, other, one, two)),
            (None, Some(_)) => {}
        }
    }
    list.extend(optimum(c));
    list.extend(left_out(c));
    list
}

/// The losses of an outcome. What gate drive and control take is told where it is
/// known.
fn with(outcome: &Outcome, losses: &Losses) -> String {
    let taken = (losses.total() - losses.stage()).coherent();
    let (drive, total) = if taken > 0.0 {
        let percent = 100.0 * losses.efficiency_total().coherent();
        (
            format!(", of which {} in gate drive and control", watts(taken)),
            format!(", in total {percent:.2} %"),
        )
    } else {
        Default::default()
    };
    format!(
        "At {} in and {} out the {} runs with {} of losses{drive}; efficiency of the power \
         stage {:.2} %{total}.",
        print(outcome.at.input_voltage),
        print(outcome.at.output_current),
        words(outcome.scheme),
        watts(losses.total().coherent()),
        100.0 * losses.efficiency_stage().coherent(),
    )
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
fn without(outcome: &Outcome) -> String {
    let because = if outcome.findings.is_empty() {
        outcome.state.words(outcome.scheme).to_owned()
    } else {
        let all: Vec<_> = outcome.findings.iter().map(ToString::to_string).collect();
        format!("{}.", all.join("; "))
    };
    format!(
        "No losses to compare at {1} in and {2} out for {0}: {because}",
        words(outcome.scheme),
        print(outcome.at.input_voltage),
        print(outcome.at.output_current),
    )
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
            .map(|(m, w)| format!("{} {}", m.words(), watts(w.abs())))
            .collect();
        if found.is_empty() {
            "nothing".to_owned()
        } else {
            found.join(", ")
        }
    };
    let against = format!(
        "Against {} it saves {} and costs {}",
        against(other.scheme),
        named(true),
        named(false)
    );
    let bounds = if (most - least).abs() < 5e-4 {
        String::new()
    } else {
        format!(
            " ({} where the capacitance holds the voltage back at turn-off)",
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
    list.extend(ring(two, one, c.damped_turn_on));
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
            "What decides it most is the {}: a tenth more of it moves the difference by {} {}.",
            first.words,
            watts(first.change.coherent().abs()),
            if first.change.coherent() > 0.0 {
                "against the clamp"
            } else {
                "in its favour"
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
            "; where the ring has died out, its own energy counted, {}",
            signed(with(damped))
        )
    });
    Some(format!(
        "There the node rings, and the mean over the ring is counted; with every turn-on at the best \
         instant the difference is {}, at the worst {}{damped}.",
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
        "No turn-off time, however short, would turn the verdict; a change of the {} would move the \
         difference most.",
        first.words
    ))
}

/// Where on the load it pays, at the least, nominal and greatest input voltage.
fn line(c: &Comparison, index: usize) -> Option<String> {
    let map = c.maps.get(index)?;
    let all = || map.watts.iter().flatten().flatten();
    all().next()?;
    if all().all(|w| *w < 0.0) {
        return Some("It loses less over the whole range of line and load.".to_owned());
    }
    if all().all(|w| *w > 0.0) {
        return Some("It loses more over the whole range of line and load.".to_owned());
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
    let none = format!("at {} in there is no such load", nowhere.join(" and "));
    Some(match (parts.is_empty(), nowhere.is_empty()) {
        (true, _) => format!(
            "At {} in there is no load at which it loses less.",
            nowhere.join(", ")
        ),
        (false, true) => format!("It loses less {}.", parts.join("; ")),
        (false, false) => format!("It loses less {}; {none}.", parts.join("; ")),
    })
}

/// The loads at which it pays at one input voltage, if any.
fn loads(soft: &[Outcome], other: &[Outcome]) -> Option<String> {
    let amperes = |load: f64| {
        print(Current::from_coherent(crate::quantity::significant(
            load, 3,
        )))
    };
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
        return Some("over the whole load".to_owned());
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

/// The values of a sweep that have a loss.
fn swept(points: &[super::SweepPoint]) -> Vec<(f64, f64)> {
    let known = |p: &super::SweepPoint| Some((p.value, p.total?.coherent()));
    points.iter().filter_map(known).collect()
}

fn least(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    points.iter().copied().min_by(|x, y| x.1.total_cmp(&y.1))
}

/// Where the sweeps have their least loss.
fn optimum(c: &Comparison) -> Vec<String> {
    let henries = |value: f64| {
        print(crate::quantity::Inductance::from_coherent(
            crate::quantity::significant(value, 3),
        ))
    };
    let mut list = Vec::new();
    let points = swept(&c.inductance_sweep);
    if let Some((value, total)) = least(&points) {
        let end = if points.last().is_some_and(|(last, _)| *last <= value) {
            ", the largest swept that the point allows"
        } else {
            ""
        };
        list.push(format!(
            "With the trip set for each inductance, the stage with the clamp loses least at the nominal \
             point, {}, at {}{end}.",
            watts(total),
            henries(value),
        ));
        let ceiling = c.ceiling.map(Dimensioned::coherent);
        if let Some(ceiling) = ceiling.filter(|ceiling| value > *ceiling) {
            let below: Vec<_> = points.into_iter().filter(|(l, _)| *l <= ceiling).collect();
            let instead = least(&below).map_or_else(String::new, |(value, total)| {
                format!(
                    "; below it the least is {} at {}",
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
        let times = |value: f64| crate::quantity::number(value, 3);
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
                "Over the margin of the freewheel current its loss is least, {}, at {} times the floor.",
                watts(total),
                times(value)
            )
        });
    }
    list
}
