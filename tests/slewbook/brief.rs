//! The brief's laws: what it allows is met, a little beyond it fails, and what is said to
//! mend a requirement does. Specifications are read anew from their text.

use slewbook::brief::{Advice, Brief, Interval, Knob};
use slewbook::design::Design;
use slewbook::in_force::InForce;
use slewbook::quantity::Dimensioned;
use slewbook::stage::{DEMONSTRATION, Specification};
use slewbook::verdict::{Check, Space, Verdict, judge};

use crate::program::{folder, succeed, write};
use crate::support::{Random, set};
use crate::verdicts::design;

/// The text with a value for a knob; a tolerance in a table stays.
fn with(text: &str, knob: Knob, value: f64, unit: &str) -> String {
    knob.keys().iter().fold(text.to_owned(), |text, key| {
        let own = key.rsplit('.').next().unwrap();
        let stated = text
            .lines()
            .find(|line| line.split('=').next().is_some_and(|k| k.trim() == own));
        let spread = stated
            .and_then(|line| line.split_once('{'))
            .map(|(_, table)| {
                let (_, rest) = table.split_once(", ").unwrap();
                rest.split('}').next().unwrap().trim().to_owned()
            });
        let value = format!("\"{value:e} {unit}\"");
        let value = match spread {
            Some(rest) => format!("{{ nominal = {value}, {rest} }}"),
            None => value,
        };
        set(&text, key, &value)
    })
}

/// The requirements that do not hold, everything read and judged anew.
fn failing(text: &str) -> Vec<Check> {
    let s = Specification::read(text).unwrap_or_else(|problems| panic!("{problems}\n{text}"));
    let in_force = InForce::of(&s).unwrap();
    let space = Space::of(&s, in_force.inductance.value, in_force.trip.value).unwrap();
    let judged = judge(&s, &space).unwrap().judgements;
    let failing = judged.iter().filter(|own| {
        // No setting is said of windows that a dead time as it is may still meet by degrees.
        own.verdict.fails()
    });
    failing.map(|own| own.check).collect()
}

/// The text with what is in force stated.
fn pinned(text: &str, design: &Design) -> String {
    let own = &design.in_force;
    let mut text = text.to_owned();
    if !own.inductance.is_stated() {
        let value = own.inductance.value.coherent();
        text = set(&text, "stage.inductance", &format!("\"{value:e} H\""));
    }
    if !own.trip.is_stated() {
        let value = own.trip.value.coherent();
        text = set(&text, "trip.threshold", &format!("\"{value:e} A\""));
    }
    text
}

const UNITS: [(Knob, &str); 10] = [
    (Knob::Inductance, "H"),
    (Knob::TripThreshold, "A"),
    (Knob::DeadTime, "s"),
    (Knob::LowDeadTime, "s"),
    (Knob::SwitchingFrequency, "Hz"),
    (Knob::FlyingCapacitance, "F"),
    (Knob::OutputCapacitance, "F"),
    (Knob::LegVoltage, "V"),
    (Knob::ClampVoltage, "V"),
    (Knob::Saturation, "A"),
];

/// Beyond an end: more than its rounding to four digits.
const BEYOND: f64 = 3e-3;

#[derive(Debug, Default)]
struct Counts {
    ends: usize,
    limits: usize,
    mended: usize,
}

fn audited(text: &str, counts: &mut Counts) {
    let Ok(design) = Design::derive(text) else {
        return;
    };
    let text = pinned(text, &design);
    let brief = Brief::of(&design, &|_, _| {}).unwrap();
    let holds: Vec<Check> = design
        .requirements
        .iter()
        .filter(|own| own.verdict == Verdict::Met)
        .map(|own| own.check)
        .collect();
    for own in &brief.advice {
        let unit = UNITS.iter().find(|(knob, _)| *knob == own.knob).unwrap().1;
        let at = |value: f64| failing(&with(&text, own.knob, value, unit));
        let mut served = holds.clone();
        served.extend(own.mends.iter().map(|mending| mending.check));
        if let Some(Interval { low, high }) = &own.allowed {
            for (end, outwards) in [(low, -1.0), (high, 1.0)] {
                let failed: Vec<_> = at(end.value);
                let asked = own.knob.requirements();
                assert!(
                    !own.never_met().is_empty() || failed.iter().all(|c| !asked.contains(c)),
                    "{:?} {}: {failed:?}\n{text}",
                    own.knob,
                    end.value
                );
                let broken: Vec<_> = failed.iter().filter(|c| served.contains(c)).collect();
                assert!(
                    broken.is_empty(),
                    "{:?} {}: {broken:?}\n{text}",
                    own.knob,
                    end.value
                );
                counts.ends += 1;
                if let Some((check, _)) = &end.limit {
                    let beyond = at(end.value * (1.0 + outwards * BEYOND));
                    assert!(
                        beyond.contains(check),
                        "{:?} beyond {}: {check:?} holds, {beyond:?} fail\n{text}",
                        own.knob,
                        end.value
                    );
                    counts.limits += 1;
                }
            }
        }
        mends(own, &at, &holds, counts);
    }
}

/// What is said to mend a requirement does, and breaks what it is said to break.
fn mends(own: &Advice, at: &impl Fn(f64) -> Vec<Check>, holds: &[Check], counts: &mut Counts) {
    for mending in &own.mends {
        let left = at(mending.to);
        assert!(
            !left.contains(&mending.check),
            "{:?}: {mending:?}",
            own.knob
        );
        let breaks: Vec<Check> = left.into_iter().filter(|c| holds.contains(c)).collect();
        assert_eq!(breaks, mending.breaks, "{:?}: {mending:?}", own.knob);
        counts.mended += 1;
    }
}

fn held(numbers: std::ops::Range<u64>) -> Counts {
    let mut counts = Counts::default();
    for number in numbers {
        let mut random = Random(77_000 + number);
        audited(&design::text(&mut random), &mut counts);
    }
    counts
}

#[test]
fn what_the_brief_allows_is_met_and_beyond_it_fails() {
    let counts = held(0..4);
    assert!(
        counts.ends > 20 && counts.limits > 10 && counts.mended > 4,
        "{counts:?}"
    );
}

#[test]
fn what_another_brief_allows_is_met_and_beyond_it_fails() {
    let mut counts = held(4..7);
    audited(DEMONSTRATION, &mut counts);
    assert!(
        counts.ends > 20 && counts.limits > 10 && counts.mended > 4,
        "{counts:?}"
    );
}

/// On demand: `cargo test --test slewbook many_briefs -- --ignored`, with `DESIGNS` as many
/// designs.
#[test]
#[ignore = "minutes"]
fn many_briefs_hold() {
    let designs = std::env::var("DESIGNS")
        .ok()
        .and_then(|own| own.parse().ok());
    let mut counts = Counts::default();
    for number in 0..designs.unwrap_or(200) {
        let mut random = Random(91_000 + number);
        audited(&design::text(&mut random), &mut counts);
    }
    println!("{counts:?}");
}

/// What the program says of the demonstration: the settings can be pasted.
#[test]
fn a_brief_as_text_and_as_json() {
    let folder = folder("brief");
    let specification = write(&folder, DEMONSTRATION);
    let said = succeed(&folder, &["brief", specification]);
    assert!(
        said.contains("Trip threshold: 400 mA. To be set: 530.1 mA to 1.528 A."),
        "{said}"
    );
    assert!(said.contains("--set 'trip.threshold=530.1 mA'"), "{said}");
    assert!(said.contains("--set 'stage.inductance.nominal="), "{said}");
    let json = succeed(&folder, &["brief", specification, "--json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let of = |key: &str| {
        let values = json["values"].as_array().unwrap();
        values
            .iter()
            .find(|own| own["keys"][0] == key)
            .unwrap()
            .clone()
    };
    assert_eq!(of("trip.threshold")["allowed"]["low"]["value"], 0.5301);
    assert_eq!(
        of("trip.threshold")["allowed"]["low"]["limited_by"],
        "trip_threshold"
    );
    // With the value set, the requirement holds.
    let set = succeed(
        &folder,
        &[
            "derive",
            specification,
            "--json",
            "--set",
            "trip.threshold=530.1 mA",
        ],
    );
    let set: serde_json::Value = serde_json::from_str(&set).unwrap();
    let verdict = |name: &str| {
        let all = set["requirements"].as_array().unwrap();
        all.iter().find(|own| own["name"] == name).unwrap()["verdict"].clone()
    };
    assert_eq!(verdict("trip_threshold"), "met");
}

/// An interval is not offered where the requirement on the value itself fails throughout.
#[test]
fn a_value_that_cannot_be_met_has_no_interval() {
    let text = set(DEMONSTRATION, "clamp.rated_voltage", "\"10 V\"");
    let design = Design::derive(&text).unwrap();
    let brief = Brief::of(&design, &|_, _| {}).unwrap();
    let clamp = brief
        .advice
        .iter()
        .find(|own| own.knob == Knob::ClampVoltage)
        .unwrap();
    // 44 V at a start with empty capacitors; four times 10 V does not block it.
    assert_eq!(clamp.never_met(), [Check::ClampStart]);
    let said = slewbook::brief::text(&brief, &design);
    let line = said
        .lines()
        .find(|line| line.starts_with("Rated voltage of the clamp"))
        .unwrap();
    assert_eq!(
        line,
        "Rated voltage of the clamp: 10 V. No value within a factor of 4 meets \"Voltage blocked \
         by the clamp at start-up\"."
    );
}
