//! The middle of a few numbers and how far they scatter, whatever one of them
//! says.

use crate::units;

/// The median absolute deviation of normally distributed numbers is this share
/// of their standard deviation.
const MAD_PER_SIGMA: f64 = 0.674_489_750_196_081_7;

/// The median of those that are numbers.
pub(super) fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut finite: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    units::median(&mut finite)
}

/// The standard deviation by the median absolute deviation around `centre`.
pub(super) fn spread(values: impl Iterator<Item = f64>, centre: f64) -> Option<f64> {
    median(values.map(|value| (value - centre).abs())).map(|mad| mad / MAD_PER_SIGMA)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wild_number_moves_neither() {
        let values = [5.0, 1.0, 3.0, 900.0, 2.0];
        assert_eq!(median(values.into_iter()), Some(3.0));
        let spread = spread(values.into_iter(), 3.0).unwrap();
        assert!(
            (spread - 2.0 * 1.482_602_218_505_602).abs() < 1e-12,
            "{spread}"
        );
        assert_eq!(median([1.0, 4.0].into_iter()), Some(2.5));
        assert_eq!(median([].into_iter()), None);
    }
}
