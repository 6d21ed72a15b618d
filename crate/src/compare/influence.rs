//! Which input decides the verdict, and how far the stated tolerances move it.

use super::{CompareError, Comparison, SOFT, difference};
use crate::loss::{Model, Outcome};
use crate::quantity::{Current, Dimensioned, Inductance, Power};
use crate::scheme::Scheme;
use crate::stage::{OperatingPoint, Specification, UncertainInput};
use crate::uncertainty::Distribution;

/// By how much each input is changed: a tenth.
const CHANGE: f64 = 1.1;
/// Coverage factor of a band.
const COVERAGE: f64 = 2.0;

/// What a change of an input by a tenth does to the difference of losses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Influence {
    /// The input, in words.
    pub words: &'static str,
    /// The change of the difference, soft less other: positive against soft switching.
    pub change: Power,
}

/// The range of the difference under the tolerances that the specification states.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// The difference, soft less other, less twice its standard uncertainty.
    pub low: Power,
    /// And more.
    pub high: Power,
    /// Tolerances stated.
    pub inputs: usize,
}

/// An input, and how a specification with more of it is made.
type Input = (&'static str, fn(&mut Specification));

fn more<Q: Dimensioned>(quantity: &mut Option<Q>) {
    *quantity = quantity.map(|q| Q::from_coherent(CHANGE * q.coherent()));
}

const INPUTS: &[Input] = &[
    ("turn-off time of the high side", |s| {
        more(&mut s.high.data.turn_off_time);
    }),
    ("turn-off time of low side and clamp", |s| {
        more(&mut s.low.data.turn_off_time);
        more(&mut s.clamp.data.turn_off_time);
    }),
    ("gate charge of the leg", |s| {
        more(&mut s.high.data.gate_charge);
        more(&mut s.low.data.gate_charge);
    }),
    ("gate charge of the clamp", |s| {
        more(&mut s.clamp.data.gate_charge);
    }),
    ("channel resistance of the leg", |s| {
        for transistor in [&mut s.high, &mut s.low] {
            transistor.on_resistance *= CHANGE;
            more(&mut transistor.data.hot_resistance);
        }
    }),
    ("resistance of the clamp", |s| {
        s.clamp.resistance *= CHANGE;
        more(&mut s.clamp.data.hot_resistance);
    }),
    ("resistance of the winding", |s| {
        more(&mut s.parts.inductor_resistance);
        more(&mut s.parts.continuous_resistance);
    }),
    ("core loss", |s| {
        if let Some(law) = &mut s.parts.inductor.steinmetz {
            law.k *= CHANGE;
        }
    }),
    ("drop of the body diodes", |s| {
        more(&mut s.high.diode_drop);
        more(&mut s.low.diode_drop);
    }),
    ("recovery charge of the low side", |s| {
        more(&mut s.low.data.recovery_charge);
    }),
    ("drop of the diode in the other clamp", |s| {
        if let Some(diode) = &mut s.clamp.diode {
            diode.drop *= CHANGE;
        }
    }),
    ("inductance of continuous conduction", |s| {
        more(&mut s.parts.continuous_inductance);
    }),
    ("series resistance of the capacitors", |s| {
        more(&mut s.parts.input_capacitor_resistance);
        more(&mut s.parts.flying_capacitor_resistance);
        more(&mut s.parts.output_capacitor_resistance);
    }),
    ("constant node capacitance", |s| {
        s.node_capacitance *= CHANGE;
    }),
    ("switching frequency", |s| {
        s.switching_frequency *= CHANGE;
    }),
    ("output capacitance of the leg", |s| {
        s.high.scale *= CHANGE;
        s.low.scale *= CHANGE;
    }),
];

/// What decides the difference to another scheme at a point, greatest first.
pub(super) fn influences(
    s: &Specification,
    other: Scheme,
    inductance: Inductance,
    trip: Current,
    at: OperatingPoint,
) -> Result<Vec<Influence>, CompareError> {
    let take = |s: &Specification, inductance| -> Result<Option<f64>, CompareError> {
        let mut outcomes = Vec::new();
        for scheme in [SOFT, other] {
            outcomes.push(Model::new(s, scheme, inductance, trip)?.at(at)?);
        }
        Ok(difference(&outcomes[0], &outcomes[1]).map(|[most, _]| most))
    };
    let Some(base) = take(s, inductance)? else {
        return Ok(vec![]);
    };
    let mut list = Vec::new();
    let mut add = |words, found: Option<f64>| {
        list.extend(found.map(|found| Influence {
            words,
            change: Power::from_coherent(found - base),
        }));
    };
    for (words, change) in INPUTS {
        let mut changed = s.clone();
        change(&mut changed);
        add(words, take(&changed, inductance)?);
    }
    add("inductance", take(s, CHANGE * inductance)?);
    list.retain(|influence| influence.change.coherent() != 0.0);
    list.sort_by(|one, two| {
        let size = |i: &Influence| i.change.coherent().abs();
        size(two).total_cmp(&size(one))
    });
    Ok(list)
}

/// The difference to another scheme at a point with every turn-off time multiplied.
pub(super) fn with_turn_off_times(
    c: &Comparison,
    other: Scheme,
    at: OperatingPoint,
    factor: f64,
) -> Option<f64> {
    let mut s = c.specification().clone();
    for data in [&mut s.high.data, &mut s.low.data, &mut s.clamp.data] {
        data.turn_off_time = data.turn_off_time.map(|time| factor * time);
    }
    let of = |scheme| -> Option<Outcome> {
        let mut model = Model::new(&s, scheme, c.inductance, c.trip).ok()?;
        model.at(at).ok()
    };
    difference(&of(SOFT)?, &of(other)?).map(|[most, _]| most)
}

/// A scheme's losses at a point with each input one standard uncertainty up, and down.
///
/// Resistances, charges and other data of the losses are no part of a circuit: every
/// model is made from a changed specification.
fn responses(
    s: &Specification,
    moved: &[(UncertainInput, f64)],
    scheme: Scheme,
    in_force: (Inductance, Current),
    at: OperatingPoint,
) -> Result<Vec<[Outcome; 2]>, CompareError> {
    let take = |input: UncertainInput, amount: f64| -> Result<Outcome, CompareError> {
        let mut changed = s.clone();
        input.change(&mut changed, input.deviation(s, amount));
        // What is not stated was proposed or derived, and stays.
        let inductance = changed.inductance.unwrap_or(in_force.0);
        let trip = changed.trip.threshold.unwrap_or(in_force.1);
        Ok(Model::new(&changed, scheme, inductance, trip)?.at(at)?)
    };
    moved
        .iter()
        .map(|(input, amount)| Ok([take(*input, *amount)?, take(*input, -amount)?]))
        .collect()
}

/// The ranges of the differences to the schemes after the first at a point, by the law
/// of propagation (JCGM 100) with the correlations stated, slopes from one standard
/// uncertainty to either side; `None` where no tolerance is stated or a cell within it
/// has no losses.
pub(super) fn bands(
    s: &Specification,
    outcomes: &[Outcome],
    in_force: (Inductance, Current),
    at: OperatingPoint,
) -> Result<Vec<Option<Band>>, CompareError> {
    let (inputs, joint) = s.joint()?;
    let deviations = joint.distributions().iter();
    let deviations = deviations.map(Distribution::standard_uncertainty);
    let moved: Vec<(UncertainInput, f64)> = inputs.into_iter().zip(deviations).collect();
    let sides = outcomes
        .iter()
        .map(|outcome| {
            let responses = responses(s, &moved, outcome.scheme, in_force, at)?;
            Ok((outcome, responses))
        })
        .collect::<Result<Vec<_>, CompareError>>()?;
    let Some((soft, others)) = sides.split_first() else {
        return Ok(vec![]);
    };
    let band = |other: &(&Outcome, Vec<[Outcome; 2]>)| {
        let most = |one: &Outcome, other: &Outcome| difference(one, other).map(|[most, _]| most);
        let middle = most(soft.0, other.0)?;
        let pairs = soft.1.iter().zip(&other.1);
        let contributions: Vec<f64> = pairs
            .map(|([up, down], [other_up, other_down])| {
                Some((most(up, other_up)? - most(down, other_down)?) / 2.0)
            })
            .collect::<Option<_>>()?;
        let expanded = COVERAGE * joint.combined(&contributions);
        Some(Band {
            low: Power::from_coherent(middle - expanded),
            high: Power::from_coherent(middle + expanded),
            inputs: s.spreads.iter().count(),
        })
    };
    Ok(others
        .iter()
        .map(|other| band(other).filter(|band| band.inputs > 0))
        .collect())
}
