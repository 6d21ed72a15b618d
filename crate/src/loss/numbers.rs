//! The formulas of the losses in plain numbers, for many points: each is held to
//! its derivation by a test.

use crate::cycle::Course;
use crate::quantity::Dimensioned as _;

/// The rise that settles, as [`super::heat::rise`]; `None` where it runs away.
pub(super) fn settled(
    thermal: f64,
    fixed: f64,
    square: f64,
    resistance: f64,
    slope: f64,
) -> Option<f64> {
    let feedback = thermal * square * slope;
    (feedback < 1.0).then(|| thermal * (fixed + square * resistance) / (1.0 - feedback))
}

/// As [`super::winding::layer_factor`]; one below a hundredth of a skin depth.
pub(super) fn layer_factor(thickness: f64, layers: f64) -> f64 {
    if thickness < 0.01 {
        return 1.0;
    }
    let x = thickness.min(300.0);
    let skin = ((2.0 * x).sinh() + (2.0 * x).sin()) / ((2.0 * x).cosh() - (2.0 * x).cos());
    let near = (x.sinh() - x.sin()) / (x.cosh() + x.cos());
    x * (skin + 2.0 * (layers * layers - 1.0) / 3.0 * near)
}

/// As [`super::core::triangular`], from the method's constant.
pub(super) fn triangular(
    constant: f64,
    alpha: f64,
    beta: f64,
    swing: f64,
    flanks: [f64; 2],
    period: f64,
) -> f64 {
    let slopes: f64 = flanks.iter().map(|t| t.powf(1.0 - alpha)).sum();
    constant * swing.powf(beta) * slopes / period
}

/// The squares of the rms values of the harmonics of the inductor's current, from
/// the first on, the current taken as straight between the ends of its intervals.
pub(super) fn harmonics(course: &Course, squares: &mut [f64]) {
    let mut corners = [(0.0, 0.0); 6];
    let mut count = 0;
    let mut time = 0.0;
    let intervals = [
        Some(course.rise),
        Some(course.energise),
        Some(course.fall),
        Some(course.release),
        course.partial_rise,
        course.hold,
    ];
    for interval in intervals.into_iter().flatten() {
        let duration = interval.duration.coherent();
        if duration > 0.0 {
            corners[count] = (time, interval.start_current.coherent());
            count += 1;
            time += duration;
        }
    }
    let corners = &corners[..count];
    let slope = |k: usize| {
        let (from, to) = (corners[k], corners.get(k + 1).copied());
        let (end, current) = to.unwrap_or((time, corners[0].1));
        (current - from.1) / (end - from.0)
    };
    // The second derivative is a pulse at each corner, which turns from harmonic to
    // harmonic: one array for each part, so that several corners turn at a time.
    let (mut jumps, mut cos, mut sin) = ([0.0; 6], [0.0; 6], [0.0; 6]);
    for k in 0..count {
        let before = slope(if k == 0 { count - 1 } else { k - 1 });
        jumps[k] = slope(k) - before;
        (sin[k], cos[k]) = (std::f64::consts::TAU * corners[k].0 / time).sin_cos();
    }
    let (one_cos, one_sin) = (cos, sin);
    let base = std::f64::consts::TAU / time;
    let mut number = 1.0;
    for square in squares {
        let (mut real, mut imaginary) = (0.0, 0.0);
        for k in 0..6 {
            real += jumps[k] * cos[k];
            imaginary += jumps[k] * sin[k];
        }
        for k in 0..6 {
            let turned = cos[k] * one_cos[k] - sin[k] * one_sin[k];
            sin[k] = sin[k] * one_cos[k] + cos[k] * one_sin[k];
            cos[k] = turned;
        }
        let omega = base * number;
        let scale = 1.0 / (time * omega * omega);
        *square = 2.0 * scale * scale * (real * real + imaginary * imaginary);
        number += 1.0;
    }
}
