//! The middle of some numbers.

/// The median of `values`, which it puts in another order; of an even number
/// the mean of the two in the middle, of none none. At half of their number then
/// stands what would stand there in order, none before it is above it and none
/// behind it below.
pub fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let half = values.len() / 2;
    let (below, upper, _) = values.select_nth_unstable_by(half, f64::total_cmp);
    let upper = *upper;
    let lower = below.iter().copied().max_by(f64::total_cmp);
    Some(match lower {
        Some(lower) if half * 2 == values.len() => 0.5 * (lower + upper),
        _ => upper,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn nothing_has_no_middle() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [4.0, 1.0]), Some(2.5));
    }

    proptest! {
        #[test]
        fn medians_are_the_plain_ones(mut xs in prop::collection::vec(-1e6f64..1e6, 1..60)) {
            let found = median(&mut xs.clone()).unwrap();
            let mut moved = xs.clone();
            median(&mut moved);
            xs.sort_by(f64::total_cmp);
            let half = xs.len() / 2;
            prop_assert_eq!(moved[half], xs[half]);
            prop_assert!(moved[..half].iter().all(|x| *x <= xs[half]));
            let n = xs.len();
            let plain = 0.5 * (xs[(n - 1) / 2] + xs[n / 2]);
            prop_assert!((found - plain).abs() <= 1e-9 * plain.abs().max(1.0));
        }
    }
}
