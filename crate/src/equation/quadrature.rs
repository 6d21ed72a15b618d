//! Adaptive Gauss-Kronrod quadrature, smoothed at the ends.
//!
//! Every interval is first mapped by `u = c + h (3 s - s³) / 2`, whose slope is
//! zero at both ends: an integrand that grows like an inverse square root
//! there (the duration of an edge whose current just reaches zero) becomes
//! smooth, and points crowd where junction capacitances change fastest.

/// Positive abscissae of the 21-point Kronrod rule, the last being zero; every
/// second one, from index 1, belongs to the 10-point Gauss rule.
const ABSCISSAE: [f64; 11] = [
    0.995_657_163_025_808_1,
    0.973_906_528_517_171_7,
    0.930_157_491_355_708_2,
    0.865_063_366_688_984_5,
    0.780_817_726_586_416_9,
    0.679_409_568_299_024_4,
    0.562_757_134_668_604_7,
    0.433_395_394_129_247_2,
    0.294_392_862_701_460_2,
    0.148_874_338_981_631_22,
    0.0,
];

const KRONROD: [f64; 11] = [
    0.011_694_638_867_371_874,
    0.032_558_162_307_964_725,
    0.054_755_896_574_351_995,
    0.075_039_674_810_919_96,
    0.093_125_454_583_697_6,
    0.109_387_158_802_297_64,
    0.123_491_976_262_065_85,
    0.134_709_217_311_473_34,
    0.142_775_938_577_060_09,
    0.147_739_104_901_338_49,
    0.149_445_554_002_916_9,
];

const GAUSS: [f64; 5] = [
    0.066_671_344_308_688_14,
    0.149_451_349_150_580_6,
    0.219_086_362_515_982_04,
    0.269_266_719_309_996_35,
    0.295_524_224_714_752_87,
];

/// Relative error at which an interval is accepted, by the rule's own estimate.
pub(crate) const TOLERANCE: f64 = 1e-11;
/// Halvings after which an interval is taken as it is: next to an end the
/// variable is then closer to it than its double can tell.
const DEPTH: u32 = 16;

/// Points at which a rule evaluates the integrand on one interval.
pub(crate) const NODES: usize = 2 * ABSCISSAE.len() - 1;

/// The storage of an integration, kept between calls so that none allocates.
#[derive(Debug, Default)]
pub(crate) struct Storage {
    ends: Vec<f64>,
    stack: Vec<(f64, f64, u32)>,
    scale: Vec<f64>,
    floor: Vec<f64>,
    fine: Vec<f64>,
    coarse: Vec<f64>,
    values: Vec<f64>,
}

/// Integrates a function of several components from `lower` to `upper`, split at
/// the `breaks` that lie between. There is a component for every `floor`: the
/// magnitude that counts as its own where it is less, so that one that is zero but
/// for rounding does not halve intervals to no end. An interval is accepted at the
/// relative error `tolerance`, by the rule's own estimate.
pub(crate) fn integrate(
    lower: f64,
    upper: f64,
    breaks: &[f64],
    floor: &[f64],
    tolerance: f64,
    mut function: impl FnMut(f64, &mut [f64]),
) -> Vec<f64> {
    let width = floor.len();
    let mut total = vec![0.0; width];
    let mut storage = Storage {
        floor: floor.to_vec(),
        ..Storage::default()
    };
    integrate_nodes(
        (lower, upper),
        breaks,
        &mut storage,
        &mut total,
        tolerance,
        |nodes, values| {
            for (u, out) in nodes.iter().zip(values.chunks_mut(width)) {
                function(*u, out);
            }
        },
    );
    total
}

/// As [`integrate`], the function given all [`NODES`] of a rule at once; its
/// components at each node stand together.
pub(crate) fn integrate_nodes(
    (lower, upper): (f64, f64),
    breaks: &[f64],
    storage: &mut Storage,
    total: &mut [f64],
    tolerance: f64,
    mut function: impl FnMut(&[f64; NODES], &mut [f64]),
) {
    total.fill(0.0);
    if total.is_empty() || lower == upper {
        return;
    }
    if !(lower.is_finite() && upper.is_finite()) {
        total.fill(f64::NAN);
        return;
    }
    let (low, high) = (lower.min(upper), lower.max(upper));
    let margin = (high - low) * 1e-12;
    let mut ends = std::mem::take(&mut storage.ends);
    ends.clear();
    ends.push(low);
    ends.extend(
        breaks
            .iter()
            .filter(|b| **b > low + margin && **b < high - margin),
    );
    ends[1..].sort_unstable_by(f64::total_cmp);
    ends.dedup();
    ends.push(high);
    for pair in ends.windows(2) {
        let half = (pair[1] - pair[0]) / 2.0;
        let mut smooth = |nodes: &mut [f64; NODES], out: &mut [f64]| {
            // The cubic, written from the nearer end so that no digits cancel.
            let from_end = |s: f64| half * (1.0 + s) * (1.0 + s) * (2.0 - s) / 2.0;
            let slopes = nodes.map(|s| half * 1.5 * (1.0 - s) * (1.0 + s));
            for node in nodes.iter_mut() {
                *node = if *node < 0.0 {
                    pair[0] + from_end(*node)
                } else {
                    pair[1] - from_end(-*node)
                };
            }
            function(nodes, out);
            let width = out.len() / NODES;
            for (values, slope) in out.chunks_mut(width).zip(slopes) {
                for value in values {
                    *value *= slope;
                }
            }
        };
        adaptive(&mut smooth, storage, total, tolerance);
    }
    storage.ends = ends;
    if upper < lower {
        for value in total {
            *value = -*value;
        }
    }
}

/// Adds the integral over `s` from -1 to 1 to `total`.
fn adaptive(
    function: &mut impl FnMut(&mut [f64; NODES], &mut [f64]),
    storage: &mut Storage,
    total: &mut [f64],
    tolerance: f64,
) {
    let width = total.len();
    let Storage {
        stack,
        scale,
        floor,
        fine,
        coarse,
        values,
        ..
    } = storage;
    stack.push((-1.0, 1.0, 0));
    scale.clone_from(floor);
    scale.resize(width, 0.0);
    for list in [&mut *fine, &mut *coarse] {
        list.clear();
        list.resize(width, 0.0);
    }
    values.resize(NODES * width, 0.0);
    while let Some((from, to, depth)) = stack.pop() {
        let (centre, half) = (f64::midpoint(from, to), (to - from) / 2.0);
        let mut nodes = [centre; NODES];
        for (pair, abscissa) in nodes.chunks_exact_mut(2).zip(ABSCISSAE) {
            pair[0] = centre - half * abscissa;
            pair[1] = centre + half * abscissa;
        }
        function(&mut nodes, values);
        fine.fill(0.0);
        coarse.fill(0.0);
        for (node, values) in values.chunks(width).enumerate() {
            let index = node / 2;
            for (k, value) in values.iter().enumerate() {
                fine[k] += KRONROD[index] * half * value;
                if index % 2 == 1 {
                    coarse[k] += GAUSS[index / 2] * half * value;
                }
            }
        }
        let accepted = (0..width).all(|k| {
            scale[k] = scale[k].max(fine[k].abs());
            let difference = (fine[k] - coarse[k]).abs();
            // The difference is the error of the coarse rule; that of the fine
            // rule is about its 3/2 power (Piessens et al., QUADPACK).
            difference == 0.0
                || !difference.is_finite()
                || (200.0 * difference / scale[k]).powf(1.5) <= tolerance
        });
        if accepted || depth == DEPTH {
            for (sum, part) in total.iter_mut().zip(&*fine) {
                *sum += part;
            }
        } else {
            stack.push((centre, to, depth + 1));
            stack.push((from, centre, depth + 1));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Piessens et al., QUADPACK (1983), test integral: the integral of
    /// ln(x)/√x from 0 to 1 is -4 (from memory, and exact by parts); harder at its
    /// end than any integrand here, hence the wide tolerance.
    #[test]
    fn logarithm_over_root() {
        let value = integrate(0.0, 1.0, &[], &[0.0], TOLERANCE, |x, out| {
            out[0] = x.ln() / x.sqrt();
        })[0];
        assert_relative_eq!(value, -4.0, max_relative = 1e-7);
    }

    #[test]
    fn inverse_square_root_at_both_ends_is_pi() {
        let f = |x: f64, out: &mut [f64]| out[0] = 1.0 / ((1.0 - x) * (1.0 + x)).sqrt();
        let value = integrate(-1.0, 1.0, &[], &[0.0], TOLERANCE, f)[0];
        assert_relative_eq!(value, std::f64::consts::PI, max_relative = 1e-11);
    }

    /// A component that is zero but for rounding costs no more than the other.
    #[test]
    fn rounding_is_not_halved_to_no_end() {
        let mut evaluations = 0;
        let noise = |x: f64| (x + 0.1) - x - 0.1;
        let value = integrate(0.0, 1.0, &[], &[0.0, 1e-4], TOLERANCE, |x, out| {
            evaluations += 1;
            (out[0], out[1]) = (x.exp(), noise(x));
        });
        assert_relative_eq!(value[0], 1f64.exp_m1(), max_relative = 1e-14);
        assert!(
            value[1].abs() < 1e-16 && evaluations <= 5 * NODES,
            "{evaluations}"
        );
    }

    #[test]
    fn reversed_limits_change_the_sign_and_breaks_change_nothing() {
        let f = |x: f64, out: &mut [f64]| {
            out[0] = (x - 0.3).abs();
            out[1] = 1.0;
        };
        let forward = integrate(0.0, 1.0, &[0.3, 0.3, 7.0], &[0.0; 2], TOLERANCE, f);
        let backward = integrate(1.0, 0.0, &[0.3], &[0.0; 2], TOLERANCE, f);
        assert_relative_eq!(forward[0], 0.045 + 0.245, max_relative = 1e-14);
        assert_relative_eq!(forward[1], 1.0, max_relative = 1e-14);
        assert_relative_eq!(backward[0], -forward[0], max_relative = 1e-14);
    }
}
