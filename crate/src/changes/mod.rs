//! What differs between two revisions of a design: inputs, results, verdicts.
//!
//! ```no_run
//! use slewbook::{changes::Changes, design::Design, stage::DEMONSTRATION};
//! let old = Design::derive(DEMONSTRATION).unwrap();
//! let new = Design::derive(&DEMONSTRATION.replace("0.68 uH", "0.6 uH")).unwrap();
//! let changes = Changes::between(&old, &new);
//! assert_eq!(changes.inputs[0].key, "stage.inductance.nominal");
//! ```

mod input;
mod output;

use serde::Serialize;

use crate::design::{Design, Finding, Requirement};
use crate::quantity::print_value;
use crate::quantity::symbol::name_of;
use crate::stage::Specification;

pub use input::InputChange;

/// What differs between two revisions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Changes {
    /// The two revisions.
    pub revisions: [Revision; 2],
    /// Inputs that differ, in the order of their keys.
    pub inputs: Vec<InputChange>,
    /// Whether the texts differ in layout or comments alone.
    pub layout_alone: bool,
    /// Verdicts that differ.
    pub verdicts: Vec<Turned>,
    /// How many requirements there are in the new revision.
    pub requirements: usize,
    /// Results that differ by more than rounding, the most significant first.
    pub results: Vec<Moved>,
    /// How many results are the same in both.
    pub unmoved: usize,
}

/// What a revision is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Revision {
    /// Its title.
    pub title: String,
    /// Its revision, where stated.
    pub revision: Option<String>,
    /// The digest of its inputs.
    pub input_hash: String,
}

/// A result that is not the same in both.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Moved {
    /// Its name.
    pub name: String,
    /// Where it was taken, in words: old and new.
    pub places: [Option<String>; 2],
    /// Its values in the coherent unit: old and new.
    pub values: [Option<f64>; 2],
    /// Their standard uncertainties.
    pub standard_uncertainties: [Option<f64>; 2],
    /// The coherent unit.
    pub unit: String,
    /// The values as text.
    pub shown: [String; 2],
    /// The difference as a part of the old value.
    pub relative: Option<f64>,
    /// The magnitude of the difference over the combined standard uncertainty of both, as
    /// if they were independent.
    pub significance: Option<f64>,
}

/// A requirement whose verdict is not the same in both.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Turned {
    /// Its name in data.
    pub name: &'static str,
    /// What is required, in words.
    pub words: &'static str,
    /// The verdicts, old and new; none where there is no such requirement.
    pub verdicts: [Option<&'static str>; 2],
    /// Value and limit as text, old and new.
    pub shown: [Option<String>; 2],
}

/// Below it a difference is rounding.
const ROUNDING: f64 = 1e-9;

impl Changes {
    /// What differs between two designs.
    #[must_use]
    pub fn between(old: &Design, new: &Design) -> Self {
        let both = [old, new];
        let specifications = both.map(|own| &own.stage.specification);
        let inputs = input::between(specifications[0], specifications[1]);
        let texts = specifications.map(Specification::hash);
        let (mut results, mut unmoved) = (Vec::new(), 0);
        for pair in paired(&results_of(old), &results_of(new), |own| &own.name) {
            match moved(pair) {
                Some(own) => results.push(own),
                None => unmoved += 1,
            }
        }
        let rank = |own: &Moved| {
            let relative = own.relative.map_or(f64::INFINITY, f64::abs);
            (own.significance.unwrap_or(0.0), relative)
        };
        results.sort_by(|a, b| {
            let ((a, x), (b, y)) = (rank(a), rank(b));
            b.total_cmp(&a).then(y.total_cmp(&x))
        });
        let requirements = both.map(|own| own.requirements.iter().collect::<Vec<_>>());
        let verdicts = paired(&requirements[0], &requirements[1], |own| own.name);
        Self {
            revisions: specifications.map(|own| Revision {
                title: own.title.clone(),
                revision: own.revision.clone(),
                input_hash: own.hash(),
            }),
            layout_alone: inputs.is_empty() && texts[0] != texts[1],
            inputs,
            verdicts: verdicts.into_iter().filter_map(turned).collect(),
            requirements: new.requirements.len(),
            results,
            unmoved,
        }
    }
}

/// A result, or a value proposed.
#[derive(Clone)]
struct Taken {
    name: String,
    place: String,
    value: Option<f64>,
    uncertainty: Option<f64>,
    exponents: crate::quantity::Exponents,
}

fn results_of(design: &Design) -> Vec<Taken> {
    let findings = design.findings.iter().map(|own: &Finding| Taken {
        name: own.name().to_owned(),
        place: own.place(),
        value: own.value(),
        uncertainty: own.standard_uncertainty(),
        exponents: own.exponents(),
    });
    let proposals = design.proposals.iter().map(|own| Taken {
        name: own.name.to_owned(),
        place: "a preferred value".to_owned(),
        value: Some(own.value),
        uncertainty: None,
        exponents: own.exponents,
    });
    findings.chain(proposals).collect()
}

/// Those of one name belong together, several in their order; the new ones' order first.
fn paired<T: Clone>(old: &[T], new: &[T], name: impl Fn(&T) -> &str) -> Vec<[Option<T>; 2]> {
    let mut left: Vec<&T> = old.iter().collect();
    let mut pairs = Vec::new();
    for own in new {
        let place = left.iter().position(|other| name(other) == name(own));
        let other = place.map(|place| left.remove(place).clone());
        pairs.push([other, Some(own.clone())]);
    }
    pairs.extend(left.into_iter().map(|own| [Some(own.clone()), None]));
    pairs
}

/// How a result differs, if it does.
fn moved(pair: [Option<Taken>; 2]) -> Option<Moved> {
    let either = pair[1].clone().or_else(|| pair[0].clone())?;
    let values = pair.each_ref().map(|own| own.as_ref()?.value);
    let uncertainties = pair.each_ref().map(|own| own.as_ref()?.uncertainty);
    let both = values[0].zip(values[1]);
    let difference = both.map(|(old, new)| new - old);
    let same =
        both.is_some_and(|(old, new)| (new - old).abs() <= ROUNDING * old.abs().max(new.abs()));
    if same || (values == [None, None] && pair.iter().all(Option::is_some)) {
        return None;
    }
    let combined = uncertainties[0]
        .zip(uncertainties[1])
        .map(|(a, b)| a.hypot(b));
    let significance = difference
        .zip(combined.filter(|own| *own > 0.0))
        .map(|(difference, combined)| difference.abs() / combined);
    let relative = both
        .filter(|(old, _)| *old != 0.0)
        .map(|(old, new)| (new - old) / old);
    Some(Moved {
        name: either.name,
        unit: name_of(either.exponents).plain,
        shown: shown(&pair, either.exponents),
        places: pair.map(|own| own.map(|own| own.place)),
        values,
        standard_uncertainties: uncertainties,
        relative,
        significance,
    })
}

/// Both values as text, with as many digits as tell them apart.
fn shown(pair: &[Option<Taken>; 2], exponents: crate::quantity::Exponents) -> [String; 2] {
    let with = |digits| {
        pair.each_ref().map(|own| match own {
            None => "not there".to_owned(),
            Some(own) => own.value.map_or_else(
                || "no value".to_owned(),
                |value| print_value(value, exponents, digits),
            ),
        })
    };
    let mut all = (4..=10).map(with);
    let first = all.next().unwrap_or_default();
    if first[0] != first[1] {
        return first;
    }
    all.find(|own| own[0] != own[1]).unwrap_or(first)
}

/// How a verdict differs, if it does.
fn turned(pair: [Option<&Requirement>; 2]) -> Option<Turned> {
    let either = pair[1].or(pair[0])?;
    let verdicts = pair.map(|own| Some(own?.verdict.words()));
    (verdicts[0] != verdicts[1]).then(|| Turned {
        name: either.name,
        words: either.words,
        verdicts,
        shown: pair.map(|own| {
            let (value, limit) = own?.comparison();
            Some(format!("{value}, {limit}"))
        }),
    })
}
