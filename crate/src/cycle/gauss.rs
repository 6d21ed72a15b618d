//! Gauss-Legendre rules on the interval from 0 to 1.
//!
//! Abscissae and weights are the roots of the Legendre polynomials to 40 digits,
//! rounded (Abramowitz and Stegun, Handbook of Mathematical Functions, 25.4.30).

/// Half of a rule that is symmetric about the middle of its interval from -1 to
/// 1: abscissa and weight.
pub(crate) type Rule = [(f64, f64)];

/// 16 points, for one part of several.
pub(crate) const PART: [(f64, f64); 8] = [
    (0.095_012_509_837_637_44, 0.189_450_610_455_068_5),
    (0.281_603_550_779_258_9, 0.182_603_415_044_923_58),
    (0.458_016_777_657_227_37, 0.169_156_519_395_002_54),
    (0.617_876_244_402_643_8, 0.149_595_988_816_576_74),
    (0.755_404_408_355_003, 0.124_628_971_255_533_88),
    (0.865_631_202_387_831_8, 0.095_158_511_682_492_79),
    (0.944_575_023_073_232_6, 0.062_253_523_938_647_894),
    (0.989_400_934_991_649_9, 0.027_152_459_411_754_096),
];

/// 28 points, for an edge without a break.
pub(super) const WHOLE: [(f64, f64); 14] = [
    (0.055_079_289_884_034_27, 0.110_047_013_016_475_2),
    (0.164_569_282_133_380_76, 0.108_711_192_258_294_13),
    (0.272_061_627_635_178_1, 0.106_055_765_922_846_42),
    (0.376_251_516_089_078_7, 0.102_112_967_578_060_76),
    (0.475_874_224_955_118_3, 0.096_930_657_997_929_92),
    (0.569_720_471_811_401_7, 0.090_571_744_393_032_84),
    (0.656_651_094_038_865, 0.083_113_417_228_901_21),
    (0.735_610_878_013_631_8, 0.074_646_214_234_568_78),
    (0.805_641_370_917_179_1, 0.065_272_923_966_999_6),
    (0.865_892_522_574_395_1, 0.055_107_345_675_716_75),
    (0.915_633_026_392_132_1, 0.044_272_934_759_004_23),
    (0.954_259_280_628_938_2, 0.032_901_427_782_304_38),
    (0.981_303_165_370_872_7, 0.021_132_112_592_771_26),
    (0.996_442_497_573_954_4, 0.009_124_282_593_094_517),
];

/// Values of the Legendre polynomials of even and of odd degree at a rule's positive
/// points, by degree and then by point.
pub(super) type Legendre<const HALF: usize> = [[f64; HALF]; HALF];

/// Those of even degree (`odd` zero) or of odd degree (`odd` one).
const fn legendre<const HALF: usize>(rule: &[(f64, f64); HALF], odd: usize) -> Legendre<HALF> {
    let mut values = [[0.0; HALF]; HALF];
    let mut point = 0;
    while point < HALF {
        let x = rule[point].0;
        let (mut before, mut value) = (0.0, 1.0);
        let mut degree = 0;
        let mut n = 0.0;
        while degree < 2 * HALF {
            if degree % 2 == odd {
                values[degree / 2][point] = value;
            }
            (before, value) = (
                value,
                ((2.0 * n + 1.0) * x * value - n * before) / (n + 1.0),
            );
            n += 1.0;
            degree += 1;
        }
        point += 1;
    }
    values
}

/// Of each degree `n` twice itself and one, and the factors of `x P_n` and of the
/// polynomial before it in the next one.
pub(super) static RECURRENCE: [[f64; 3]; 28] = {
    let mut factors = [[0.0; 3]; 28];
    let mut degree = 0;
    let mut n = 0.0;
    while degree < 28 {
        factors[degree] = [2.0 * n + 1.0, (2.0 * n + 1.0) / (n + 1.0), n / (n + 1.0)];
        n += 1.0;
        degree += 1;
    }
    factors
};

/// The polynomials at the points of [`PART`], of even and of odd degree.
pub(super) static PART_LEGENDRE: [Legendre<8>; 2] = [legendre(&PART, 0), legendre(&PART, 1)];
/// The same at the points of [`WHOLE`].
pub(super) static WHOLE_LEGENDRE: [Legendre<14>; 2] = [legendre(&WHOLE, 0), legendre(&WHOLE, 1)];

/// Calls `visit` with every abscissa and weight of a rule on the interval from 0 to 1.
pub(crate) fn each(rule: &Rule, mut visit: impl FnMut(f64, f64)) {
    for (abscissa, weight) in rule {
        visit((1.0 - abscissa) / 2.0, weight / 2.0);
        visit(f64::midpoint(1.0, *abscissa), weight / 2.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn both_rules_integrate_their_highest_powers() {
        for (rule, power) in [(&PART[..], 31), (&WHOLE[..], 55)] {
            let mut sum = 0.0;
            each(rule, |x, weight| sum += weight * x.powi(power));
            assert_relative_eq!(sum, 1.0 / f64::from(power + 1), max_relative = 1e-13);
        }
    }
}
