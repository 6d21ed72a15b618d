//! The brief as text and as JSON.

use super::{Advice, Brief, DIGITS, End, Failure, Interval, line};
use crate::caution;
use crate::design::Design;
use crate::identity::Program;
use crate::loss::Outcome;
use crate::quantity::{
    Dimensioned as _, Exponents, Power, number, print, print_value, symbol::name_of,
};
use crate::stage::{Edit, Input};
use crate::verdict::Check;
use crate::visible::json_document;

/// The version of the machine-readable form.
const FORMAT: u32 = 1;

/// The brief as text.
#[must_use]
pub fn text(brief: &Brief, design: &Design) -> String {
    let s = &design.stage.specification;
    let mut out = format!("{}\n{}.\n", s.title, design.verdicts_in_words());
    for note in &s.notes {
        out.push_str(&format!("{note}\n"));
    }
    out.push_str(&format!(
        "\nWhat to set. Each interval is for that value alone, with all others as they are; it was \
         searched over line, load, tolerances and temperature. A requirement that the value alone \
         cannot make met {} sets no limit here and stands in the list below.\n",
        line::within_reach()
    ));
    out.push_str(&held(design));
    for own in &brief.advice {
        out.push_str(&advised(own));
    }
    if !brief.failures.is_empty() {
        out.push_str("\nWhat would mend each requirement that is not met or not decided, one value changed.\n");
        for own in &brief.failures {
            out.push_str(&mending(own, design));
        }
        for sentence in never_together(brief) {
            out.push_str(&format!("{sentence}\n"));
        }
    }
    if let Some(losses) = losses_in_words(brief) {
        out.push_str(&format!("\nLosses. {losses}\n"));
    }
    out.push_str(&format!("\n{}\n", design.search_in_words()));
    out
}

/// What is held at its value in force though the specification does not state it.
fn held(design: &Design) -> String {
    let own = &design.in_force;
    let list: Vec<String> = [
        (!own.inductance.is_stated())
            .then(|| format!("inductance {}", print(own.inductance.value))),
        (!own.trip.is_stated()).then(|| format!("trip threshold {}", print(own.trip.value))),
    ]
    .into_iter()
    .flatten()
    .collect();
    if list.is_empty() {
        return String::new();
    }
    format!(
        "Not stated, and held here at the value in force: {}. The options to paste state it.\n",
        list.join(", ")
    )
}

fn shown(value: f64, exponents: Exponents) -> String {
    print_value(value, exponents, DIGITS)
}

fn advised(own: &Advice) -> String {
    let of = |value| shown(value, own.knob.exponents());
    let value = if own.stated {
        of(own.value)
    } else {
        "not stated".to_owned()
    };
    let mut out = format!("\n{}: {value}.", own.knob.words());
    if own.value <= 0.0 {
        // Looks are ratios of the value.
        return out + " No interval is searched from zero: state a value above it.\n";
    }
    let never = own.never_met();
    if !never.is_empty() {
        let list: Vec<String> = never.iter().map(|c| format!("\"{}\"", c.words())).collect();
        out.push_str(&format!(
            " No value {} meets {}.\n",
            line::within_reach(),
            list.join(" and ")
        ));
        return out;
    }
    let (allowed, words) = match (&own.allowed, &own.kept) {
        (Some(allowed), _) if own.stated && own.is_inside() => (allowed, "Limits:"),
        (Some(allowed), _) => (allowed, "To be set:"),
        (None, Some(kept)) => (
            kept,
            "No single value mends all that depends on it. What is met now stays met for",
        ),
        (None, None) => {
            let reach = line::within_reach();
            return out + &format!(" No value {reach} meets all that depends on it.\n");
        }
    };
    let Interval { low, high } = allowed;
    out.push_str(&format!(" {words} {}.\n", within(low, high, of)));
    out.push_str(&ended("Below", low));
    out.push_str(&ended("Above", high));
    out
}

/// An interval in words.
fn within(low: &End, high: &End, of: impl Fn(f64) -> String) -> String {
    match (&low.limit, &high.limit) {
        (Some(_), None) => format!("{} or more", of(low.value)),
        (None, Some(_)) => format!("{} or less", of(high.value)),
        (Some(_), Some(_)) => format!("{} to {}", of(low.value), of(high.value)),
        (None, None) => format!(
            "{} to {}, the whole span searched",
            of(low.value),
            of(high.value)
        ),
    }
}

fn ended(side: &str, end: &End) -> String {
    end.limit
        .as_ref()
        .map_or_else(String::new, |(check, place)| {
            format!("  {side} it, \"{}\" is not met: {place}.\n", check.words())
        })
}

fn mending(own: &Failure, design: &Design) -> String {
    let mut out = format!("\n{}:\n", own.check.words());
    if own.changes.is_empty() {
        let reach = line::within_reach();
        out.push_str(&format!("  No single value {reach} mends it.\n"));
    }
    for change in &own.changes {
        let settings = change.knob.settings(design, change.to);
        out.push_str(&format!("  {}. {settings}\n", change.words()));
    }
    out
}

/// Pairs of failed requirements that the same values mend, each at another value.
fn exclusive(brief: &Brief) -> Vec<(Check, Check)> {
    let mut pairs = Vec::new();
    for (k, one) in brief.failures.iter().enumerate() {
        for other in &brief.failures[k + 1..] {
            let both = brief.advice.iter().filter_map(|own| {
                let of = |check| own.mends.iter().find(|mending| mending.check == check);
                Some((&of(one.check)?.passes, &of(other.check)?.passes))
            });
            let meet: Vec<bool> = both
                .map(|(one, other)| {
                    one.low.value <= other.high.value && other.low.value <= one.high.value
                })
                .collect();
            if !meet.is_empty() && !meet.contains(&true) {
                pairs.push((one.check, other.check));
            }
        }
    }
    pairs
}

/// The same in sentences.
fn never_together(brief: &Brief) -> Vec<String> {
    let pairs = exclusive(brief).into_iter();
    pairs
        .map(|(one, other)| {
            format!(
                "No single value meets both \"{}\" and \"{}\".",
                one.words(),
                other.words()
            )
        })
        .collect()
}

/// The losses in a sentence, where they have a value.
fn losses_in_words(brief: &Brief) -> Option<String> {
    brief.losses.as_ref().and_then(lost)
}

/// Power out, losses and efficiency in a sentence.
fn lost(outcome: &Outcome) -> Option<String> {
    let losses = outcome.losses.as_ref()?;
    let at = &outcome.at;
    let out = (at.output_voltage * at.output_current).coherent();
    let total = losses.total().coherent();
    let watts = |value| print_value(value, Power::EXPONENTS, DIGITS);
    Some(format!(
        "At {} in, {} out and {}: {} out, {} lost, efficiency {} %.",
        print(at.input_voltage),
        print(at.output_voltage),
        print(at.output_current),
        watts(out),
        watts(total),
        number(100.0 * out / (out + total), 3)
    ))
}

#[derive(serde::Serialize)]
struct Document<'d> {
    format: u32,
    program: Program,
    title: &'d str,
    input_hash: String,
    notes: Vec<String>,
    settings: &'d [Edit],
    inputs: Vec<Input<'d>>,
    values: Vec<Value>,
    failures: Vec<Mending>,
    /// Pairs of failed requirements that no single value serves both.
    exclusive: Vec<[&'static str; 2]>,
    /// At nominal voltages and the greatest load.
    losses: Option<Losses>,
}

#[derive(serde::Serialize)]
struct Value {
    keys: &'static [&'static str],
    unit: String,
    in_force: f64,
    stated: bool,
    inside: bool,
    allowed: Option<Between>,
    /// Where what holds now holds.
    kept: Option<Between>,
    does_not_mend: Vec<&'static str>,
    /// Of these, the requirements on the value itself.
    never_met: Vec<&'static str>,
}

#[derive(serde::Serialize)]
struct Between {
    low: Limit,
    high: Limit,
}

#[derive(serde::Serialize)]
struct Limit {
    value: f64,
    /// The requirement that fails beyond; none where what was looked at ends first.
    limited_by: Option<&'static str>,
    place: Option<String>,
}

#[derive(serde::Serialize)]
struct Mending {
    requirement: &'static str,
    changes: Vec<Changed>,
}

#[derive(serde::Serialize)]
struct Changed {
    keys: &'static [&'static str],
    unit: String,
    from: f64,
    to: f64,
    breaks: Vec<&'static str>,
}

#[derive(serde::Serialize)]
struct Losses {
    output_power: f64,
    lost: f64,
    efficiency: f64,
    unit: &'static str,
}

/// The brief as one JSON object, in coherent units.
#[must_use]
pub fn json(brief: &Brief, design: &Design) -> String {
    let s = &design.stage.specification;
    let names = |checks: &[Check]| checks.iter().map(|check| check.name()).collect();
    let unit = |exponents| name_of(exponents).plain;
    let limit = |end: &End| Limit {
        value: end.value,
        limited_by: end.limit.as_ref().map(|(check, _)| check.name()),
        place: end.limit.as_ref().map(|(_, place)| place.clone()),
    };
    let between = |own: &Interval| Between {
        low: limit(&own.low),
        high: limit(&own.high),
    };
    let values = brief.advice.iter().map(|own| Value {
        keys: own.knob.keys(),
        unit: unit(own.knob.exponents()),
        in_force: own.value,
        stated: own.stated,
        inside: own.is_inside(),
        allowed: own.allowed.as_ref().map(between),
        kept: own.kept.as_ref().map(between),
        does_not_mend: names(&own.beyond_it),
        never_met: names(&own.never_met()),
    });
    let failures = brief.failures.iter().map(|own| Mending {
        requirement: own.check.name(),
        changes: own
            .changes
            .iter()
            .map(|change| Changed {
                keys: change.knob.keys(),
                unit: unit(change.knob.exponents()),
                from: change.from,
                to: change.to,
                breaks: names(&change.breaks),
            })
            .collect(),
    });
    let losses = brief.losses.as_ref().and_then(|outcome| {
        let lost = outcome.losses.as_ref()?.total().coherent();
        let output_power = (outcome.at.output_voltage * outcome.at.output_current).coherent();
        Some(Losses {
            output_power,
            lost,
            efficiency: output_power / (output_power + lost),
            unit: "W",
        })
    });
    json_document(&Document {
        format: FORMAT,
        program: Program::own(),
        title: &s.title,
        input_hash: s.hash(),
        notes: caution::notes(s),
        settings: &s.edits,
        inputs: s.inputs(),
        values: values.collect(),
        failures: failures.collect(),
        exclusive: exclusive(brief)
            .into_iter()
            .map(|(one, other)| [one.name(), other.name()])
            .collect(),
        losses,
    })
}
