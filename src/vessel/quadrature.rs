//! Numerical integration, for shapes without a closed form.

/// Nodes in 0..1 and weights of the Gauss–Legendre rule of 16 nodes on −1..1,
/// which lie evenly around 0. Abramowitz and Stegun, Handbook of mathematical
/// functions, table 25.4; worked out here again, and held by a test against
/// the polynomials that the rule must integrate exactly.
const NODES: [(f64, f64); 8] = [
    (0.095_012_509_837_637_44, 0.189_450_610_455_068_5),
    (0.281_603_550_779_258_9, 0.182_603_415_044_923_6),
    (0.458_016_777_657_227_37, 0.169_156_519_395_002_54),
    (0.617_876_244_402_643_7, 0.149_595_988_816_576_73),
    (0.755_404_408_355_003_1, 0.124_628_971_255_533_88),
    (0.865_631_202_387_831_7, 0.095_158_511_682_492_78),
    (0.944_575_023_073_232_6, 0.062_253_523_938_647_894),
    (0.989_400_934_991_649_9, 0.027_152_459_411_754_095),
];

/// The integral of `f` from `from` to `to`, where `f` may begin at `from` like
/// a square root: over s with t = from + (to − from)·s², in which it is smooth.
pub(super) fn integral_from_root(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    let length = to - from;
    let at = |node: f64| {
        let s = 0.5 * (1.0 + node);
        s * f(from + length * s * s)
    };
    let sum = |(node, weight): &(f64, f64)| weight * (at(*node) + at(-node));
    length * NODES.iter().map(sum).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// With t = s², polynomials in t up to the 15th power have at most the 31st
    /// in s, which the rule integrates exactly.
    #[test]
    fn polynomials_up_to_the_fifteenth_power_are_exact() {
        for power in 0..=15 {
            let got = integral_from_root(0.0, 1.0, |t| t.powi(power));
            let want = 1.0 / (f64::from(power) + 1.0);
            assert!((got - want).abs() < 1e-15, "t^{power}: {got}");
        }
    }

    #[test]
    fn a_square_root_at_the_beginning_does_no_harm() {
        let got = integral_from_root(2.0, 5.0, |t| (t - 2.0).sqrt());
        assert!((got - 2.0 * 3f64.sqrt()).abs() < 1e-14, "{got}");
    }
}
