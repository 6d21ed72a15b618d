//! Units as they come off the line: parts within their spread.

use crate::quantity::{Current, Dimensioned, Ratio};
use crate::stage::{Circuit, Specification};
use crate::uncertainty::random::Stream;
use crate::uncertainty::{Distribution, Joint, UncertaintyError, not_drawn};

/// How many inputs a specification can give a spread.
const INPUTS: usize = 8;

/// How far one unit's parts are from their values, in the order of
/// [`Spreads::named`](crate::stage::Spreads::named).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit([Deviation; INPUTS]);

/// A deviation. A tolerance is stated of one value and holds for the part that a
/// scheme uses in its place: of an inductance five times as large it is five times
/// as much.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Deviation {
    /// As a part of the value.
    Part(f64),
    /// In the coherent unit, of a value that is stated as zero.
    Amount(f64),
}

impl Deviation {
    const NONE: Self = Self::Part(0.0);

    fn of(deviation: f64, estimate: f64) -> Self {
        if estimate > 0.0 {
            Self::Part(deviation / estimate)
        } else {
            Self::Amount(deviation)
        }
    }

    /// The value with the deviation; parts stay above zero.
    fn moves<Q: Dimensioned>(self, value: Q) -> Q {
        let value = value.coherent();
        Q::from_coherent(match self {
            Self::Part(part) => value * (1.0 + part).max(LEAST),
            Self::Amount(amount) => (value + amount).max(0.0),
        })
    }

    fn factor(self, factor: f64) -> f64 {
        self.moves(Ratio::from_coherent(factor)).coherent()
    }
}

/// The values that the spreads are stated about, in their order.
fn estimates(s: &Specification) -> [f64; INPUTS] {
    [
        s.inductance.map_or(0.0, Dimensioned::coherent),
        s.node_capacitance.coherent(),
        s.clamp.resistance.coherent(),
        1.0,
        s.trip.delay.coherent(),
        s.trip.threshold.map_or(0.0, Current::coherent),
        1.0,
        1.0,
    ]
}

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
    let s = specification;
    let named = s.spreads.named();
    let uncertain: Vec<(usize, Distribution)> = named
        .iter()
        .enumerate()
        .filter_map(|(place, (_, distribution))| Some((place, (*distribution)?)))
        .filter(|(_, distribution)| distribution.standard_uncertainty() > 0.0)
        .collect();
    let name = |k: usize| named[uncertain[k].0].0;
    let distributions: Vec<Distribution> = uncertain.iter().map(|(_, d)| *d).collect();
    let coefficient = |i, j| {
        let pair = [name(i), name(j)];
        let own = s
            .correlations
            .iter()
            .find(|own| own.between == pair || own.between == [pair[1], pair[0]]);
        own.map_or(0.0, |own| own.coefficient)
    };
    let joint = Joint::new(distributions.clone(), coefficient)
        .map_err(|refused| not_drawn(refused, &distributions, |k| name(k).to_owned()))?;
    let estimates = estimates(s);
    let (mut stream, mut deviates) = (Stream::new(seed, 0), Vec::new());
    let unit = |_| {
        let mut unit = Unit([Deviation::NONE; INPUTS]);
        joint.draw(&mut stream, &mut deviates, |k, deviation| {
            let place = uncertain[k].0;
            unit.0[place] = Deviation::of(deviation, estimates[place]);
        });
        unit
    };
    Ok((0..count).map(unit).collect())
}

/// The units at every combination of the tolerances' ends, correlated or not. An
/// input with a standard uncertainty has no ends and keeps its value.
#[must_use]
pub fn corners(specification: &Specification) -> Vec<Unit> {
    let named = specification.spreads.named();
    let estimates = estimates(specification);
    let mut units = vec![Unit([Deviation::NONE; INPUTS])];
    for (k, (_, distribution)) in named.into_iter().enumerate() {
        let half = distribution.and_then(|d| d.half_width());
        let Some(half) = half.filter(|half| *half > 0.0) else {
            continue;
        };
        units = units
            .iter()
            .flat_map(|unit| {
                [-half, half].map(|deviation| {
                    let mut unit = *unit;
                    unit.0[k] = Deviation::of(deviation, estimates[k]);
                    unit
                })
            })
            .collect();
    }
    units
}

/// Least part of a value that a deviation leaves: parts stay above zero.
const LEAST: f64 = 1e-3;

impl Unit {
    /// The circuit of this unit.
    #[must_use]
    pub fn of(&self, circuit: &Circuit) -> Circuit {
        let [
            inductance,
            node,
            resistance,
            clamp,
            delay,
            threshold,
            high,
            low,
        ] = self.0;
        let mut unit = *circuit;
        unit.inductance = inductance.moves(unit.inductance);
        unit.node_capacitance = node.moves(unit.node_capacitance);
        if let Some(path) = &mut unit.freewheel {
            path.resistance = resistance.moves(path.resistance);
        }
        unit.trip_delay = delay.moves(unit.trip_delay);
        unit.trip_threshold = threshold.moves(unit.trip_threshold);
        unit.high.scale = high.factor(unit.high.scale);
        unit.low.scale = low.factor(unit.low.scale);
        unit.clamp_scale = clamp.factor(unit.clamp_scale);
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
