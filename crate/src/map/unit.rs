//! Units as they come off the line: parts within their spread.

use crate::stage::{Circuit, Deviation, Specification, UncertainInput};
use crate::uncertainty::UncertaintyError;
use crate::uncertainty::random::Stream;

/// How far one unit's parts are from their values: those of its inputs that a circuit
/// holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Unit(Box<[(UncertainInput, Deviation)]>);

/// Random units, the same for every point of a map and any number of threads;
/// what the specification says is correlated is drawn jointly.
///
/// # Errors
/// Correlations that cannot hold together or have no joint distribution; reading a
/// specification refuses them.
pub fn drawn(
    specification: &Specification,
    count: usize,
    seed: u64,
) -> Result<Vec<Unit>, UncertaintyError> {
    let (inputs, joint) = specification.joint()?;
    let rest: Vec<Deviation> = inputs
        .iter()
        .map(|input| input.deviation(specification, 0.0))
        .collect();
    let (mut stream, mut deviates) = (Stream::new(seed, 0), Vec::new());
    let unit = |_| {
        let mut drawn = rest.clone();
        joint.draw(&mut stream, &mut deviates, |k, amount| {
            drawn[k] = drawn[k].by(amount);
        });
        let all = inputs.iter().copied().zip(drawn);
        Unit(all.filter(|(input, _)| input.is_in_circuits()).collect())
    };
    Ok((0..count).map(unit).collect())
}

/// The units at every combination of the tolerances' ends, correlated or not. An
/// input with a standard uncertainty has no ends and keeps its value.
#[must_use]
pub fn corners(specification: &Specification) -> Vec<Unit> {
    let mut units = vec![Unit::default()];
    for (input, distribution) in specification.spreads.iter() {
        let half = distribution.half_width().filter(|half| *half > 0.0);
        let Some(half) = half.filter(|_| input.is_in_circuits()) else {
            continue;
        };
        let ends = [-half, half].map(|amount| input.deviation(specification, amount));
        units = units
            .iter()
            .flat_map(|unit| {
                ends.map(|end| Unit(unit.0.iter().copied().chain([(input, end)]).collect()))
            })
            .collect();
    }
    units
}

impl Unit {
    /// The circuit of this unit.
    #[must_use]
    pub fn of(&self, circuit: &Circuit) -> Circuit {
        let mut unit = *circuit;
        for (input, deviation) in &self.0 {
            input.change_circuit(&mut unit, *deviation);
        }
        unit
    }
}

/// The quantile of the normal distribution for a two-sided 95 %.
const NORMAL_95: f64 = 1.959_963_984_540_054;

/// The interval of 95 % confidence for a share, from so many hits in so many
/// trials: Wilson's score interval (Newcombe, Statistics in Medicine 17 (1998),
/// method 3), which behaves at no hits and at all hits too.
///
/// ```
/// use slewbook::map::share;
/// let (low, high) = share(81, 263);
/// assert_eq!((format!("{low:.4}"), format!("{high:.4}")), ("0.2553".into(), "0.3662".into()));
/// ```
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "counts are far below 2⁵²")]
pub fn share(hits: usize, trials: usize) -> (f64, f64) {
    if trials == 0 {
        return (0.0, 1.0);
    }
    let (n, z2) = (trials as f64, NORMAL_95 * NORMAL_95);
    let part = hits as f64 / n;
    let centre = part + z2 / (2.0 * n);
    let reach = NORMAL_95 * (part * (1.0 - part) / n + z2 / (4.0 * n * n)).sqrt();
    let whole = 1.0 + z2 / n;
    let low = if hits == 0 {
        0.0
    } else {
        (centre - reach) / whole
    };
    let high = if hits >= trials {
        1.0
    } else {
        (centre + reach) / whole
    };
    (low.clamp(0.0, 1.0), high.clamp(0.0, 1.0))
}
