//! Middle and upper end of what was measured several times.

/// The median.
///
/// # Panics
/// When there is nothing.
pub fn median(values: impl IntoIterator<Item = f64>) -> f64 {
    quantile(values, 0.5)
}

/// The value that the share `q` of all values does not exceed: the nearest
/// rank, so that it is one of them.
///
/// # Panics
/// When there is nothing.
pub fn quantile(values: impl IntoIterator<Item = f64>, q: f64) -> f64 {
    let mut sorted: Vec<f64> = values.into_iter().collect();
    sorted.sort_by(f64::total_cmp);
    let rank = (q * sorted.len() as f64).ceil() as usize;
    sorted[rank.clamp(1, sorted.len()) - 1]
}
