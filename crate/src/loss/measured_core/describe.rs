//! What a table of losses tells, in words and as JSON.

use serde_json::json as value;

use super::{CONSTANTS, MeasuredCore, Point};
use crate::identity::Program;
use crate::quantity::{Dimensioned, Frequency, MagneticFluxDensity, Ratio, print_value};
use crate::visible::json_document;

/// Digits of constants for a specification: more than their uncertainties have.
const DIGITS: usize = 6;
/// The format of the JSON.
const FORMAT: u32 = 1;

/// The smallest and the largest of what points have.
fn range(points: &[Point], of: fn(&Point) -> f64) -> [f64; 2] {
    let values = || points.iter().map(of);
    [
        values().fold(f64::INFINITY, f64::min),
        values().fold(f64::NEG_INFINITY, f64::max),
    ]
}

/// Pairs of constants.
const PAIRS: [(usize, usize); 3] = [(0, 1), (0, 2), (1, 2)];

fn constants(core: &MeasuredCore) -> [f64; 3] {
    [core.law.k, core.law.alpha, core.law.beta]
}

/// What the points tell, in words, for a person.
#[must_use]
pub fn text(core: &MeasuredCore) -> String {
    let shown = |value, exponents| print_value(value, exponents, 4);
    let number = |value| shown(value, Ratio::EXPONENTS);
    let between = |[low, high]: [f64; 2], exponents| {
        format!("{} to {}", shown(low, exponents), shown(high, exponents))
    };
    let each = CONSTANTS
        .iter()
        .zip(constants(core))
        .zip(core.uncertainties());
    let each = each.map(|((name, value), u)| format!("{name} = {} ± {}", number(value), number(u)));
    let correlations = PAIRS.map(|(i, j)| {
        let of = core.fit.correlation(i, j);
        format!(
            "{} and {} {}",
            CONSTANTS[i],
            CONSTANTS[j],
            print_value(of, Ratio::EXPONENTS, 3)
        )
    });
    let percent = |part: f64| format!("{} %", print_value(100.0 * part, Ratio::EXPONENTS, 3));
    let (place, largest) = core.largest_error();
    let plain = constants(core).map(|value| {
        let rounded = format!("{value:.*e}", DIGITS - 1);
        rounded.parse::<f64>().unwrap_or(value)
    });
    format!(
        "{} points of {}, {}, amplitude {}\n\
         P_v = k·(f/Hz)^alpha·(B/T)^beta in W/m³ for a sinusoidal flux of amplitude B\n\
         {} (standard uncertainties, from the scatter of the points)\n\
         correlations: {}\n\
         relative error of the law: {} standard deviation, {} mean size, {} at most, at point {place}\n\
         for the specification: steinmetz = {{ k = {}, alpha = {}, beta = {} }}\n\
         note: the uncertainties hold where errors of points are independent; where the law does \
         not fit, they are too small\n\
         note: the constants hold in these ranges, at the temperature and bias of the measurement\n",
        core.points.len(),
        core.waveform.words(),
        between(
            range(&core.points, |point| point.frequency),
            Frequency::EXPONENTS
        ),
        between(
            range(&core.points, |point| point.amplitude),
            MagneticFluxDensity::EXPONENTS
        ),
        each.collect::<Vec<String>>().join(", "),
        correlations.join(", "),
        percent(core.fit.scatter()),
        percent(core.mean_error()),
        percent(largest),
        plain[0],
        plain[1],
        plain[2],
    )
}

/// What the points tell, for machines; values in coherent units.
#[must_use]
pub fn json(core: &MeasuredCore) -> String {
    let each = CONSTANTS
        .iter()
        .zip(constants(core))
        .zip(core.uncertainties());
    let each = each.map(
        |((name, value), u)| value!({ "name": name, "value": value, "standard_uncertainty": u }),
    );
    let correlations = PAIRS.map(|(i, j)| {
        value!({ "between": [CONSTANTS[i], CONSTANTS[j]], "value": core.fit.correlation(i, j) })
    });
    let (place, largest) = core.largest_error();
    let document = value!({
        "format": FORMAT,
        "program": Program::own(),
        "points": core.points.len(),
        "waveform": core.waveform.words(),
        "frequency_Hz": range(&core.points, |point| point.frequency),
        "amplitude_T": range(&core.points, |point| point.amplitude),
        "constants": each.collect::<Vec<_>>(),
        "correlations": correlations,
        "singular_values": core.fit.singular_values,
        "relative_error": {
            "standard_deviation": core.fit.scatter(),
            "mean_size": core.mean_error(),
            "largest": largest,
            "largest_at_point": place,
        },
    });
    json_document(&document) + "\n"
}
