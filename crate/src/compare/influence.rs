//! Which input decides the verdict, and how far the stated tolerances move it.

use super::{CompareError, SOFT, difference};
use crate::loss::Model;
use crate::quantity::{Current, Dimensioned, Inductance, Power};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint, Specification, Spreads};
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
    add(
        "output capacitance of the leg",
        take(s, inductance, CHANGE)?,
    );
    add("inductance", take(s, CHANGE * inductance, 1.0)?);
    list.retain(|influence| influence.change.coherent() != 0.0);
    list.sort_by(|one, two| {
        let size = |i: &Influence| i.change.coherent().abs();
        size(two).total_cmp(&size(one))
    });
    Ok(list)
}

/// An uncertain value of a circuit, and how it is moved.
type Uncertain = (Option<Distribution>, fn(&mut Circuit, f64));

fn moved<Q: Dimensioned>(quantity: &mut Q, by: f64) {
    *quantity = Q::from_coherent((quantity.coherent() + by).max(0.0));
}

/// The values whose tolerances a specification may state.
fn uncertain(s: &Spreads) -> [Uncertain; 8] {
    [
        (s.inductance, |c, by| {
            // The larger inductor of continuous conduction has its own.
            if c.scheme != Scheme::Continuous {
                moved(&mut c.inductance, by);
            }
        }),
        (s.node_capacitance, |c, by| {
            moved(&mut c.node_capacitance, by);
        }),
        (s.trip_delay, |c, by| moved(&mut c.trip_delay, by)),
        (s.trip_threshold, |c, by| moved(&mut c.trip_threshold, by)),
        (s.high_scale, |c, by| {
            c.high.scale = (c.high.scale + by).max(0.0);
        }),
        (s.low_scale, |c, by| {
            c.low.scale = (c.low.scale + by).max(0.0);
        }),
        (s.clamp_scale, |c, by| {
            c.clamp_scale = (c.clamp_scale + by).max(0.0);
        }),
        (s.clamp_resistance, |c, by| {
            if let Some(path) = &mut c.freewheel {
                moved(&mut path.resistance, by);
            }
        }),
    ]
}

/// The difference's range at a point by the law of propagation (JCGM 100), its
/// slopes from one standard uncertainty to either side; `None` where no tolerance is
/// stated or a cell within it has no losses.
pub(super) fn band(
    s: &Specification,
    soft: &Model,
    other: &Model,
    at: OperatingPoint,
) -> Result<Option<Band>, CompareError> {
    let (mut soft, mut other) = (soft.clone(), other.clone());
    let bases = [*soft.circuit(), *other.circuit()];
    let mut take = |change: fn(&mut Circuit, f64), by: f64| -> Result<Option<f64>, CompareError> {
        let mut outcomes = Vec::new();
        for (model, base) in [&mut soft, &mut other].into_iter().zip(bases) {
            let mut circuit = base;
            change(&mut circuit, by);
            model.change(&circuit)?;
            outcomes.push(model.at(at)?);
        }
        Ok(difference(&outcomes[0], &outcomes[1]).map(|[most, _]| most))
    };
    let Some(middle) = take(|_, _| {}, 0.0)? else {
        return Ok(None);
    };
    let (mut variance, mut inputs) = (0.0, 0);
    for (stated, change) in uncertain(&s.spreads) {
        let Some(stated) = stated else {
            continue;
        };
        let deviation = stated.standard_uncertainty();
        let (Some(up), Some(down)) = (take(change, deviation)?, take(change, -deviation)?) else {
            return Ok(None);
        };
        variance += ((up - down) / 2.0).powi(2);
        inputs += 1;
    }
    let expanded = COVERAGE * variance.sqrt();
    Ok((inputs > 0).then(|| Band {
        low: Power::from_coherent(middle - expanded),
        high: Power::from_coherent(middle + expanded),
        inputs,
    }))
}
