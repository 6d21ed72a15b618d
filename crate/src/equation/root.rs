//! A bracketed root: Brent's method, after a scan where the ends alone do not
//! bracket.

/// Parts into which a bracket is cut when its ends show no change of sign.
const PARTS: u32 = 64;
/// Part of a root to which it is found, where rounding is all that limits it.
pub(crate) const EXACT: f64 = 2.0 * f64::EPSILON;

/// The root of `function` between `lower` and `upper`, nearest to `lower` where
/// a scan finds several; `None` where no change of sign is found.
pub(crate) fn find(lower: f64, upper: f64, function: impl FnMut(f64) -> f64) -> Option<f64> {
    find_to(EXACT, lower, upper, function)
}

/// The same, to a part of the root.
pub(crate) fn find_to(
    part: f64,
    lower: f64,
    upper: f64,
    mut function: impl FnMut(f64) -> f64,
) -> Option<f64> {
    let (at_lower, at_upper) = (function(lower), function(upper));
    if at_lower == 0.0 {
        return Some(lower);
    }
    if at_upper == 0.0 {
        return Some(upper);
    }
    if changes(at_lower, at_upper) {
        return Some(brent(
            part,
            (lower, at_lower),
            (upper, at_upper),
            &mut function,
        ));
    }
    let mut before = (lower, at_lower);
    for place in 1..=PARTS {
        let x = lower + (upper - lower) * f64::from(place) / f64::from(PARTS);
        let y = function(x);
        if y == 0.0 {
            return Some(x);
        }
        if changes(before.1, y) {
            return Some(brent(part, before, (x, y), &mut function));
        }
        before = (x, y);
    }
    None
}

fn changes(a: f64, b: f64) -> bool {
    a.is_finite() && b.is_finite() && (a < 0.0) != (b < 0.0)
}

/// R. P. Brent, Algorithms for Minimization without Derivatives, 1973, chapter 4.
fn brent(
    part: f64,
    (mut a, mut fa): (f64, f64),
    (mut b, mut fb): (f64, f64),
    function: &mut impl FnMut(f64) -> f64,
) -> f64 {
    let (mut c, mut fc) = (a, fa);
    let mut step = b - a;
    let mut previous = step;
    for _ in 0..200 {
        if (fb > 0.0) == (fc > 0.0) {
            (c, fc) = (a, fa);
            step = b - a;
            previous = step;
        }
        if fc.abs() < fb.abs() {
            (a, fa, b, fb, c, fc) = (b, fb, c, fc, b, fb);
        }
        let tolerance = part * b.abs();
        let middle = (c - b) / 2.0;
        if middle.abs() <= tolerance || fb == 0.0 {
            break;
        }
        if previous.abs() >= tolerance && fa.abs() > fb.abs() {
            let s = fb / fa;
            let (mut p, mut q) = if a == c {
                (2.0 * middle * s, 1.0 - s)
            } else {
                let (q, r) = (fa / fc, fb / fc);
                (
                    s * (2.0 * middle * q * (q - r) - (b - a) * (r - 1.0)),
                    (q - 1.0) * (r - 1.0) * (s - 1.0),
                )
            };
            if p > 0.0 {
                q = -q;
            }
            p = p.abs();
            if 2.0 * p < (3.0 * middle * q - (tolerance * q).abs()).min((previous * q).abs()) {
                previous = step;
                step = p / q;
            } else {
                step = middle;
                previous = middle;
            }
        } else {
            step = middle;
            previous = middle;
        }
        (a, fa) = (b, fb);
        b += if step.abs() > tolerance {
            step
        } else {
            tolerance.copysign(middle)
        };
        fb = function(b);
    }
    b
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn cosine_meets_the_diagonal_at_the_dottie_number() {
        let root = find(0.0, 1.0, |x| x.cos() - x);
        assert_relative_eq!(root.unwrap(), 0.739_085_133_215_160_6, max_relative = 1e-15);
    }

    /// Interpolation pays: bisection alone would take fifty steps.
    #[test]
    fn smooth_functions_take_few_steps() {
        let functions: [fn(f64) -> f64; 3] =
            [|x| x.exp() - 3.0, |x| x * x * x - 2.0, |x| x.ln() + x - 1.5];
        for function in functions {
            let mut steps = 0;
            let counted = |x: f64| {
                steps += 1;
                function(x)
            };
            let (low, high) = ((0.1, function(0.1)), (4.0, function(4.0)));
            let root = brent(EXACT, low, high, &mut { counted });
            assert!(function(root).abs() < 1e-14 && steps <= 14, "{steps}");
        }
    }

    #[test]
    fn a_root_behind_a_region_without_values_is_found_by_the_scan() {
        let root = find(0.0, 4.0, |x| if x > 3.0 { f64::NAN } else { x - 2.0 });
        assert_relative_eq!(root.unwrap(), 2.0, max_relative = 1e-15);
        assert_eq!(find(0.0, 1.0, |_| 1.0), None);
    }
}
