//! Losses along the load, the line, the inductance and the freewheel margin.

use super::{CompareError, LINES, LOADS, difference, point, spread};
use crate::design::parallel_map;
use crate::freewheel;
use crate::loss::{Model, Outcome};
use crate::quantity::{Current, Dimensioned as _, Inductance, Power, Voltage};
use crate::scheme::Scheme;
use crate::stage::{OperatingPoint, Specification, Stage};

/// Least part of the largest load at which efficiencies are taken.
const LEAST_LOAD: f64 = 0.05;

/// The difference of the soft scheme's losses to another's over line and load.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    /// The other scheme.
    pub scheme: Scheme,
    /// Input voltages, in volt.
    pub inputs: Vec<f64>,
    /// Output currents, in ampere.
    pub loads: Vec<f64>,
    /// Watts, by input voltage and then by load: negative where soft switching
    /// loses less. `None` where one of the two has no cell or bears it not.
    pub watts: Vec<Vec<Option<f64>>>,
    /// Where the difference is zero.
    pub break_even: Vec<BreakEven>,
}

/// A load at which two schemes lose the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BreakEven {
    /// The input voltage.
    pub input_voltage: Voltage,
    /// The load.
    pub output_current: Current,
    /// Whether soft switching loses less above it.
    pub pays_above: bool,
}

/// A loss against a design value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SweepPoint {
    /// The design value in its coherent unit.
    pub value: f64,
    /// The soft scheme's whole loss, where it has one.
    pub total: Option<Power>,
    /// That of the scheme without a clamp, on the same parts.
    pub hard: Option<Power>,
    /// Peak current, where there is a cell.
    pub peak_current: Option<Current>,
}

fn loads(s: &Specification, count: u32) -> Vec<f64> {
    let most = s.output_current.max.coherent();
    let least = s
        .output_current
        .min
        .coherent()
        .max(LEAST_LOAD * most)
        .min(most);
    spread(least, most, count)
}

pub(super) fn over_load(
    s: &Specification,
    model: &mut Model,
    line: Voltage,
) -> Result<Vec<Outcome>, CompareError> {
    loads(s, LOADS)
        .into_iter()
        .map(|load| Ok(model.at(point(s, line.coherent(), load))?))
        .collect()
}

pub(super) fn map(s: &Specification, soft: &Model, other: &Model) -> Result<Map, CompareError> {
    let inputs = spread(
        s.input_voltage.min.coherent(),
        s.input_voltage.max.coherent(),
        LINES,
    );
    let loads = loads(s, LOADS);
    let rows: Vec<Result<Vec<Option<f64>>, CompareError>> = parallel_map(&inputs, |input| {
        let (mut soft, mut other) = (soft.clone(), other.clone());
        let row = loads.iter().map(|load| {
            let at = point(s, *input, *load);
            let both = difference(&soft.at(at)?, &other.at(at)?);
            Ok(both.map(|[most, _]| most))
        });
        row.collect()
    });
    let watts = rows.into_iter().collect::<Result<Vec<_>, _>>()?;
    let mut break_even = Vec::new();
    for (input, row) in inputs.iter().zip(&watts) {
        for (pair, at) in row.windows(2).zip(loads.windows(2)) {
            if let [Some(one), Some(two)] = pair
                && one.signum() * two.signum() < 0.0
            {
                let part = one / (one - two);
                break_even.push(BreakEven {
                    input_voltage: Voltage::from_coherent(*input),
                    output_current: Current::from_coherent(at[0] + part * (at[1] - at[0])),
                    pays_above: *two < 0.0,
                });
            }
        }
    }
    Ok(Map {
        scheme: other.circuit().scheme,
        inputs,
        loads,
        watts,
        break_even,
    })
}

/// The losses at the nominal point with the trip that the point needs.
fn at(
    s: &Specification,
    inductance: Inductance,
    full: OperatingPoint,
    value: f64,
) -> Result<SweepPoint, CompareError> {
    let stage = Stage::new(s.clone(), inductance, "sweep");
    let none = SweepPoint {
        value,
        total: None,
        hard: None,
        peak_current: None,
    };
    let Ok(trip) = freewheel::trip_current(&stage).at(&stage.nominal()) else {
        return Ok(none);
    };
    let take = |scheme| -> Result<Outcome, CompareError> {
        Ok(Model::new(s, scheme, inductance, trip)?.at(full)?)
    };
    let (soft, hard) = (take(super::SOFT)?, take(Scheme::Discontinuous)?);
    let total = |outcome: &Outcome| outcome.losses.map(|losses| losses.total());
    Ok(SweepPoint {
        total: total(&soft),
        hard: total(&hard),
        peak_current: soft.peak_current,
        ..none
    })
}

/// Against the inductance, the margin as specified.
pub(super) fn inductance(
    s: &Specification,
    nominal: Inductance,
    full: OperatingPoint,
) -> Result<Vec<SweepPoint>, CompareError> {
    let values = spread(0.3 * nominal.coherent(), 2.0 * nominal.coherent(), 34);
    parallel_map(&values, |value| {
        at(s, Inductance::from_coherent(*value), full, *value)
    })
    .into_iter()
    .collect()
}

/// Against the margin of the freewheel current over its floor.
pub(super) fn margin(
    s: &Specification,
    nominal: Inductance,
    full: OperatingPoint,
) -> Result<Vec<SweepPoint>, CompareError> {
    let values = spread(1.0, 3.0, 20);
    parallel_map(&values, |value| {
        let mut changed = s.clone();
        changed.trip.margin = (*value).into();
        at(&changed, nominal, full, *value)
    })
    .into_iter()
    .collect()
}
