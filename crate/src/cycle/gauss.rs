//! Gauss-Legendre rules on the interval from 0 to 1.
//!
//! Abscissae and weights are the roots of the Legendre polynomials to 40 digits,
//! rounded (Abramowitz and Stegun, Handbook of Mathematical Functions, 25.4.30).

/// Half of a rule that is symmetric about the middle of its interval from -1 to
/// 1: abscissa and weight.
pub(super) type Rule = [(f64, f64)];

/// 16 points, for one part of several.
pub(super) const FINE_PART: [(f64, f64); 8] = [
    (0.095_012_509_837_637_44, 0.189_450_610_455_068_5),
    (0.281_603_550_779_258_9, 0.182_603_415_044_923_58),
    (0.458_016_777_657_227_37, 0.169_156_519_395_002_54),
    (0.617_876_244_402_643_8, 0.149_595_988_816_576_74),
    (0.755_404_408_355_003, 0.124_628_971_255_533_88),
    (0.865_631_202_387_831_8, 0.095_158_511_682_492_79),
    (0.944_575_023_073_232_6, 0.062_253_523_938_647_894),
    (0.989_400_934_991_649_9, 0.027_152_459_411_754_096),
];

/// 32 points, for an edge without a break.
pub(super) const WHOLE: [(f64, f64); 16] = [
    (0.048_307_665_687_738_32, 0.096_540_088_514_727_8),
    (0.144_471_961_582_796_5, 0.095_638_720_079_274_86),
    (0.239_287_362_252_137_06, 0.093_844_399_080_804_57),
    (0.331_868_602_282_127_67, 0.091_173_878_695_763_89),
    (0.421_351_276_130_635_33, 0.087_652_093_004_403_81),
    (0.506_899_908_932_229_4, 0.083_311_924_226_946_75),
    (0.587_715_757_240_762_3, 0.078_193_895_787_070_31),
    (0.663_044_266_930_215_2, 0.072_345_794_108_848_5),
    (0.732_182_118_740_289_7, 0.065_822_222_776_361_85),
    (0.794_483_795_967_942_4, 0.058_684_093_478_535_544),
    (0.849_367_613_732_57, 0.050_998_059_262_376_175),
    (0.896_321_155_766_052_1, 0.042_835_898_022_226_68),
    (0.934_906_075_937_739_7, 0.034_273_862_913_021_43),
    (0.964_762_255_587_506_4, 0.025_392_065_309_262_06),
    (0.985_611_511_545_268_4, 0.016_274_394_730_905_67),
    (0.997_263_861_849_481_6, 0.007_018_610_009_470_096),
];

/// Calls `visit` with every abscissa and weight of a rule on the interval from 0 to 1.
pub(super) fn each(rule: &Rule, mut visit: impl FnMut(f64, f64)) {
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
        for (rule, power) in [(&FINE_PART[..], 31), (&WHOLE[..], 63)] {
            let mut sum = 0.0;
            each(rule, |x, weight| sum += weight * x.powi(power));
            assert_relative_eq!(sum, 1.0 / f64::from(power + 1), max_relative = 1e-13);
        }
    }
}
