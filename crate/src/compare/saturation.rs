//! What an inductance that falls with the current does to a scheme, as a bound.
//!
//! A cell is solved with one inductance. Where the inductor's data say by how much its
//! own has fallen at the saturation current, the cell is solved once more with the
//! inductance left at its peak current, held over the whole cell. The part itself has
//! more than that everywhere but at the peak: its peak current lies between the two.

use crate::cycle::CycleError;
use crate::loss::{Model, Outcome};
use crate::quantity::{Current, Dimensioned as _, Inductance, Power, Ratio};
use crate::scheme::Scheme;
use crate::stage::InductorData;

/// Rounds in which the inductance and the peak current it leads to settle.
const ROUNDS: u32 = 100;
/// Part of the inductance to which it settles.
const SETTLED: f64 = 1e-9;

/// A scheme with the inductance that is left at its peak current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Saturated {
    /// The inductance left.
    pub inductance: Inductance,
    /// Its fall below the one in force.
    pub fall: Ratio,
    /// Peak current of a cell that has no more than that.
    pub peak_current: Current,
    /// The whole loss there; `None` where a part is past what it bears.
    pub total: Option<Power>,
}

/// The part of the inductance that is left at a current, from the fall at the
/// saturation current: `1/(1 + d/(1 − d)·(i/I_sat)²)`.
///
/// `d` is the fall at `I_sat`, as data sheets state it. The law is even in the current,
/// one at zero, `1 − d` at the saturation current and never negative: common practice,
/// no more than a way to join the two points that are known.
///
/// ```
/// use slewbook::compare::remaining;
/// assert_eq!(remaining(0.2, 0.0), 1.0);
/// assert_eq!(remaining(0.2, 1.0), 0.8);
/// ```
#[must_use]
pub fn remaining(fall: f64, part_of_saturation: f64) -> f64 {
    1.0 / (1.0 + fall / (1.0 - fall) * part_of_saturation * part_of_saturation)
}

/// A scheme's outcome with the inductance left at its peak current. `None` without
/// data, without a cell, and in continuous conduction, whose inductor is another part.
///
/// # Errors
/// As [`Model::at`].
pub(super) fn saturated(
    model: &Model,
    inductor: &InductorData,
    nominal: &Outcome,
) -> Result<Option<Saturated>, CycleError> {
    let (Some(limit), Some(fall)) = (inductor.saturation_current, inductor.saturation_drop) else {
        return Ok(None);
    };
    if model.circuit().scheme == Scheme::Continuous {
        return Ok(None);
    }
    let mut model = model.clone();
    let mut circuit = *model.circuit();
    let whole = circuit.inductance;
    let mut found = nominal.clone();
    for _ in 0..ROUNDS {
        let Some(peak) = found.peak_current else {
            return Ok(None);
        };
        let part = remaining(fall.coherent(), (peak / limit).coherent());
        let settled = (part * whole / circuit.inductance).coherent() - 1.0;
        if settled.abs() <= SETTLED {
            return Ok(Some(Saturated {
                inductance: circuit.inductance,
                fall: (1.0 - (circuit.inductance / whole).coherent()).into(),
                peak_current: peak,
                total: found.losses.map(|losses| losses.total()),
            }));
        }
        circuit.inductance = part * whole;
        model.change(&circuit)?;
        found = model.at(nominal.at)?;
    }
    // With each round less inductance is left and more current flows.
    Ok(None)
}
