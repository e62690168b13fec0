//! Published tables, read on straight lines between their rows.

/// The straight line between the two rows around `x`; none outside the rows.
pub(super) fn interpolate(rows: usize, row: impl Fn(usize) -> (f64, f64), x: f64) -> Option<f64> {
    let above = (1..rows).find(|&i| x <= row(i).0)?;
    let ((x0, y0), (x1, y1)) = (row(above - 1), row(above));
    (x >= x0).then(|| y0 + (y1 - y0) * (x - x0) / (x1 - x0))
}

/// As [`interpolate`], for rows that lie in one slice.
pub(super) fn between(rows: &[(f64, f64)], x: f64) -> Option<f64> {
    interpolate(rows.len(), |i| rows[i], x)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// The rows of a file of `tests/reference`, without its head.
    pub(in crate::chemistry) fn rows(text: &str) -> Vec<csv::StringRecord> {
        csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(text.as_bytes())
            .records()
            .map(Result::unwrap)
            .collect()
    }

    /// The numbers in the first columns of a row.
    pub(in crate::chemistry) fn numbers<const N: usize>(row: &csv::StringRecord) -> [f64; N] {
        std::array::from_fn(|i| row[i].parse().unwrap())
    }

    #[test]
    fn lines_are_straight_and_end_with_the_rows() {
        let rows = [(0.0, 1.0), (2.0, 5.0), (3.0, 5.0)];
        assert_eq!(between(&rows, 0.0), Some(1.0));
        assert_eq!(between(&rows, 0.5), Some(2.0));
        assert_eq!(between(&rows, 2.0), Some(5.0));
        assert_eq!(between(&rows, 3.0), Some(5.0));
        assert_eq!(between(&rows, -0.01), None);
        assert_eq!(between(&rows, 3.01), None);
        assert_eq!(between(&rows, f64::NAN), None);
    }
}
