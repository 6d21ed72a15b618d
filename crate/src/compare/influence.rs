//! Which input decides the verdict, and how far the stated tolerances move it.

use super::{CompareError, SOFT, difference};
use crate::loss::Model;
use crate::quantity::{Current, Dimensioned, Inductance, Power};
use crate::scheme::Scheme;
use crate::stage::{OperatingPoint, Specification};
use crate::uncertainty::Distribution;
use crate::uncertainty::stream::Stream;

/// By how much each input is changed: a tenth.
const CHANGE: f64 = 1.1;
/// Runs of a tolerance band.
const RUNS: u32 = 1000;
/// Seed of its random numbers.
const SEED: u64 = 1;

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
    /// The 2.5 % quantile of the difference, soft less other.
    pub low: Power,
    /// The 97.5 % quantile.
    pub high: Power,
    /// Runs of which both schemes had losses.
    pub runs: usize,
    /// Runs of which one had none.
    pub without: usize,
}

/// An input, and how a specification with more of it is made.
type Input = (&'static str, fn(&mut Specification));

fn more<Q: Dimensioned>(quantity: &mut Option<Q>) {
    *quantity = quantity.map(|q| Q::from_coherent(CHANGE * q.coherent()));
}

const INPUTS: &[Input] = &[
    ("turn-off time of the high side", |s| more(&mut s.high.data.turn_off_time)),
    ("gate charge of the leg", |s| {
        more(&mut s.high.data.gate_charge);
        more(&mut s.low.data.gate_charge);
    }),
    ("gate charge of the clamp", |s| more(&mut s.clamp.data.gate_charge)),
    ("channel resistance of the leg", |s| {
        for transistor in [&mut s.high, &mut s.low] {
            transistor.on_resistance = transistor.on_resistance * CHANGE;
            more(&mut transistor.data.hot_resistance);
        }
    }),
    ("resistance of the clamp", |s| {
        s.clamp.resistance = s.clamp.resistance * CHANGE;
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
    ("recovery charge of the low side", |s| more(&mut s.low.data.recovery_charge)),
    ("constant node capacitance", |s| s.node_capacitance = s.node_capacitance * CHANGE),
    ("switching frequency", |s| s.switching_frequency = s.switching_frequency * CHANGE),
];

/// What decides the difference to another scheme at a point, greatest first.
pub(super) fn influences(
    s: &Specification,
    other: Scheme,
    inductance: Inductance,
    trip: Current,
    at: OperatingPoint,
) -> Result<Vec<Influence>, CompareError> {
    let take = |s: &Specification, inductance, scale: f64| -> Result<Option<f64>, CompareError> {
        let mut outcomes = Vec::new();
        for scheme in [SOFT, other] {
            let mut model = Model::new(s, scheme, inductance, trip)?;
            let mut circuit = *model.circuit();
            circuit.high.scale *= scale;
            circuit.low.scale *= scale;
            model.change(&circuit)?;
            outcomes.push(model.at(at)?);
        }
        Ok(difference(&outcomes[0], &outcomes[1]).map(|[most, _]| most))
    };
    let Some(base) = take(s, inductance, 1.0)? else {
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
        add(words, take(&changed, inductance, 1.0)?);
    }
    add("output capacitance of the leg", take(s, inductance, CHANGE)?);
    add("inductance", take(s, CHANGE * inductance, 1.0)?);
    list.retain(|influence| influence.change.coherent() != 0.0);
    list.sort_by(|one, two| {
        let size = |i: &Influence| i.change.coherent().abs();
        size(two).total_cmp(&size(one))
    });
    Ok(list)
}

fn drawn<Q: Dimensioned>(quantity: &mut Q, spread: Option<Distribution>, stream: &mut Stream) {
    if let Some(distribution) = spread {
        let value = quantity.coherent() + stream.deviation(&distribution);
        *quantity = Q::from_coherent(value.max(0.0));
    }
}

/// The difference's range at a point; `None` where no tolerance is stated.
pub(super) fn band(
    s: &Specification,
    soft: &Model,
    other: &Model,
    at: OperatingPoint,
) -> Result<Option<Band>, CompareError> {
    let spreads = &s.spreads;
    if *spreads == crate::stage::Spreads::default() {
        return Ok(None);
    }
    let (mut soft, mut other) = (soft.clone(), other.clone());
    let bases = [*soft.circuit(), *other.circuit()];
    let mut differences = Vec::new();
    for run in 0..RUNS {
        let mut outcomes = Vec::new();
        for (model, base) in [&mut soft, &mut other].into_iter().zip(bases) {
            // The same parts under both schemes: the same numbers are drawn.
            let mut stream = Stream::new(SEED, u64::from(run));
            let mut circuit = base;
            let mut own = base.inductance;
            drawn(&mut own, spreads.inductance, &mut stream);
            if circuit.scheme != Scheme::Continuous {
                circuit.inductance = own;
            }
            drawn(&mut circuit.node_capacitance, spreads.node_capacitance, &mut stream);
            drawn(&mut circuit.trip_delay, spreads.trip_delay, &mut stream);
            drawn(&mut circuit.trip_threshold, spreads.trip_threshold, &mut stream);
            for (scale, spread) in [
                (&mut circuit.high.scale, spreads.high_scale),
                (&mut circuit.low.scale, spreads.low_scale),
                (&mut circuit.clamp_scale, spreads.clamp_scale),
            ] {
                if let Some(distribution) = spread {
                    *scale = (*scale + stream.deviation(&distribution)).max(0.0);
                }
            }
            if let Some(path) = &mut circuit.freewheel {
                drawn(&mut path.resistance, spreads.clamp_resistance, &mut stream);
            }
            model.change(&circuit)?;
            outcomes.push(model.at(at)?);
        }
        differences.extend(difference(&outcomes[0], &outcomes[1]).map(|[most, _]| most));
    }
    differences.sort_by(f64::total_cmp);
    let runs = differences.len();
    let without = usize::try_from(RUNS).unwrap_or(0) - runs;
    if runs < 40 {
        return Ok(None);
    }
    Ok(Some(Band {
        low: Power::from_coherent(differences[runs / 40]),
        high: Power::from_coherent(differences[runs - 1 - runs / 40]),
        runs,
        without,
    }))
}
