//! Units as they come off the line: parts within their spread.

use crate::quantity::Dimensioned;
use crate::stage::{Circuit, Spreads};
use crate::uncertainty::Distribution;
use crate::uncertainty::random::Stream;

/// How many inputs a specification can give a spread.
const INPUTS: usize = 8;

/// The deviations of one unit's parts from their values, in coherent units; those
/// of the capacitance curves are of a factor.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Unit([f64; INPUTS]);

fn distributions(spreads: &Spreads) -> [Option<Distribution>; INPUTS] {
    [
        spreads.inductance,
        spreads.node_capacitance,
        spreads.clamp_resistance,
        spreads.trip_delay,
        spreads.trip_threshold,
        spreads.high_scale,
        spreads.low_scale,
        spreads.clamp_scale,
    ]
}

/// Random units, the same for every point of a map and any number of threads.
#[must_use]
pub fn drawn(spreads: &Spreads, count: usize, seed: u64) -> Vec<Unit> {
    let distributions = distributions(spreads);
    let mut stream = Stream::new(seed, 0);
    (0..count)
        .map(|_| Unit(distributions.map(|d| d.map_or(0.0, |d| stream.deviation(&d)))))
        .collect()
}

/// The units at every combination of the tolerances' ends. An input with a
/// standard uncertainty has no ends and keeps its value.
#[must_use]
pub fn corners(spreads: &Spreads) -> Vec<Unit> {
    let halves = distributions(spreads).map(|d| d.and_then(|d| d.half_width()));
    let mut units = vec![Unit::default()];
    for (k, half) in halves.iter().enumerate() {
        let Some(half) = half.filter(|half| *half > 0.0) else {
            continue;
        };
        units = units
            .iter()
            .flat_map(|unit| {
                [-half, half].map(|deviation| {
                    let mut unit = *unit;
                    unit.0[k] = deviation;
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
        fn moved<Q: Dimensioned>(value: Q, by: f64) -> Q {
            let value = value.coherent();
            Q::from_coherent((value + by).max(LEAST * value))
        }
        let [
            inductance,
            node,
            resistance,
            delay,
            threshold,
            high,
            low,
            clamp,
        ] = self.0;
        let mut unit = *circuit;
        unit.inductance = moved(unit.inductance, inductance);
        unit.node_capacitance = moved(unit.node_capacitance, node);
        if let Some(path) = &mut unit.freewheel {
            path.resistance = moved(path.resistance, resistance);
        }
        unit.trip_delay = moved(unit.trip_delay, delay);
        unit.trip_threshold = moved(unit.trip_threshold, threshold);
        unit.high.scale = (unit.high.scale + high).max(LEAST);
        unit.low.scale = (unit.low.scale + low).max(LEAST);
        unit.clamp_scale = (unit.clamp_scale + clamp).max(LEAST);
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
