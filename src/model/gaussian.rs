//! What is known of several quantities together: their means and how their
//! errors hang together.
//!
//! The formulas are those of the Kalman filter (R. E. Kalman, "A new approach
//! to linear filtering and prediction problems", 1960), one measurement at a
//! time. There are two covariances. The first weighs what a measurement says
//! against what was known, and leaves out errors that are better borne than
//! guessed at; the second, worked out for the same weights (Joseph's form: P ←
//! (I − KH) P (I − KH)ᵀ + K R Kᵀ), has them in, and is the one that is told.

use serde::{Deserialize, Serialize};

/// Most quantities that are known together.
pub(super) const MOST: usize = 11;

/// Covariances of each with each: of two quantities they are the same either way,
/// and are held once, row by row up to the diagonal.
#[derive(Debug, Clone, PartialEq)]
struct Matrix([f64; held(MOST)]);

/// Covariances of the first `n` with each other.
const fn held(n: usize) -> usize {
    n * (n + 1) / 2
}

impl Matrix {
    const NOTHING: Matrix = Matrix([0.0; held(MOST)]);

    #[inline]
    fn place(i: usize, j: usize) -> usize {
        held(i.max(j)) + i.min(j)
    }

    #[inline]
    fn get(&self, i: usize, j: usize) -> f64 {
        self.0[Matrix::place(i, j)]
    }

    #[inline]
    fn set(&mut self, i: usize, j: usize, covariance: f64) {
        self.0[Matrix::place(i, j)] = covariance;
    }

    fn add(&mut self, i: usize, j: usize, covariance: f64) {
        self.set(i, j, self.get(i, j) + covariance);
    }

    /// The covariance of a sum with each quantity.
    fn with_all(&self, row: Row<'_>) -> [f64; MOST] {
        std::array::from_fn(|j| row.iter().map(|&(i, a)| a * self.get(i, j)).sum())
    }

    /// The variance of a sum.
    fn variance_of(&self, row: Row<'_>) -> f64 {
        let with = self.with_all(row);
        row.iter().map(|&(i, a)| a * with[i]).sum()
    }

    /// The covariances of each of the first `n` with those up to it.
    fn lower(&self, n: usize) -> Vec<f64> {
        self.0[..held(n)].to_vec()
    }

    /// From what [`Matrix::lower`] gave.
    fn from_lower(lower: Vec<f64>, n: usize) -> Self {
        let mut matrix = Matrix::NOTHING;
        for (covariance, read) in matrix.0[..held(n)].iter_mut().zip(lower) {
            *covariance = read;
        }
        matrix
    }
}

/// Means and covariances of `n` quantities.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(into = "Written", from = "Written")]
pub(super) struct Gaussian {
    n: usize,
    mean: [f64; MOST],
    weighing: Matrix,
    told: Matrix,
}

/// As it is kept: the means, and the covariances of each with those up to it.
#[derive(Serialize, Deserialize)]
struct Written {
    mean: Vec<f64>,
    weighing: Vec<f64>,
    told: Vec<f64>,
}

/// A measurement as a sum of quantities: place and weight of each.
pub(super) type Row<'a> = &'a [(usize, f64)];

impl Gaussian {
    /// Independent quantities with these means and variances.
    pub(super) fn independent(parts: &[(f64, f64)]) -> Self {
        let mut gaussian = Gaussian {
            n: 0,
            mean: [0.0; MOST],
            weighing: Matrix::NOTHING,
            told: Matrix::NOTHING,
        };
        for &(mean, variance) in parts {
            gaussian.push(mean, variance);
        }
        gaussian
    }

    /// Whether every mean and covariance is a finite number.
    pub(super) fn is_finite(&self) -> bool {
        let means = self.mean[..self.n].iter();
        let finite = |matrix: &Matrix| matrix.0.iter().all(|c| c.is_finite());
        means.copied().all(f64::is_finite) && finite(&self.weighing) && finite(&self.told)
    }

    /// How many quantities there are.
    pub(super) fn len(&self) -> usize {
        self.n
    }

    /// Adds a quantity that hangs together with none of the others.
    pub(super) fn push(&mut self, mean: f64, variance: f64) {
        let i = self.n;
        self.n += 1;
        self.begin_anew(i, mean, variance);
    }

    /// Forgets the quantities from place `n` on.
    pub(super) fn truncate(&mut self, n: usize) {
        self.n = self.n.min(n);
    }

    /// The mean of the quantity at `i`.
    pub(super) fn mean(&self, i: usize) -> f64 {
        self.mean[i]
    }

    /// The covariance of two quantities, as it is told.
    pub(super) fn covariance(&self, i: usize, j: usize) -> f64 {
        self.told.get(i, j)
    }

    /// The mean of a sum and its variance, as it is told.
    pub(super) fn sum(&self, row: Row<'_>) -> (f64, f64) {
        (self.mean_of(row), self.told.variance_of(row))
    }

    /// What a measurement is expected to be, and the variance by which it is
    /// weighed, without the instrument's own.
    pub(super) fn expected(&self, row: Row<'_>) -> (f64, f64) {
        (self.mean_of(row), self.weighing.variance_of(row))
    }

    fn mean_of(&self, row: Row<'_>) -> f64 {
        row.iter().map(|&(i, a)| a * self.mean[i]).sum()
    }

    /// Adds to a mean and, as noise of its own, to its variance.
    pub(super) fn shift(&mut self, i: usize, by: f64, variance: f64) {
        self.mean[i] += by;
        self.weighing.add(i, i, variance);
        self.told.add(i, i, variance);
    }

    /// Adds noise that is told and not weighed.
    pub(super) fn bear(&mut self, i: usize, variance: f64) {
        self.told.add(i, i, variance);
    }

    /// Adds noise that two different quantities share.
    pub(super) fn add_covariance(&mut self, i: usize, j: usize, covariance: f64) {
        for matrix in [&mut self.weighing, &mut self.told] {
            matrix.add(i, j, covariance);
        }
    }

    /// Scales a quantity: an error that fades.
    pub(super) fn fade(&mut self, i: usize, factor: f64) {
        self.mean[i] *= factor;
        for matrix in [&mut self.weighing, &mut self.told] {
            let own = matrix.get(i, i);
            for j in 0..self.n {
                matrix.set(i, j, factor * matrix.get(i, j));
            }
            matrix.set(i, i, factor * factor * own);
        }
    }

    /// Replaces what is known of a quantity: it hangs together with no other
    /// any more.
    pub(super) fn begin_anew(&mut self, i: usize, mean: f64, variance: f64) {
        self.mean[i] = mean;
        for matrix in [&mut self.weighing, &mut self.told] {
            for j in 0..self.n {
                matrix.set(i, j, 0.0);
            }
            matrix.set(i, i, variance);
        }
    }

    /// The quantity at `i` becomes itself plus a weighted sum of others (and
    /// of itself); its mean moves by `by`, worked out by the caller where the
    /// sum is not exact.
    pub(super) fn mix_in(&mut self, i: usize, row: Row<'_>, by: f64) {
        self.mean[i] += by;
        for matrix in [&mut self.weighing, &mut self.told] {
            let with = matrix.with_all(row);
            let own: f64 = row.iter().map(|&(k, a)| a * with[k]).sum();
            for (j, with) in with.iter().enumerate().take(self.n) {
                matrix.add(i, j, if j == i { 2.0 * with + own } else { *with });
            }
        }
    }

    /// Takes in a measurement that came out `surprise` above what was expected
    /// of it, with the instrument's variance.
    pub(super) fn learn(&mut self, row: Row<'_>, surprise: f64, variance: f64) {
        let with = self.weighing.with_all(row);
        let told_with = self.told.with_all(row);
        let sum = |with: &[f64; MOST]| row.iter().map(|&(i, a)| a * with[i]).sum::<f64>();
        let total = sum(&with) + variance;
        if total <= 0.0 {
            return;
        }
        let told_total = sum(&told_with) + variance;
        let gain = with.map(|with| with / total);
        for i in 0..self.n {
            self.mean[i] += gain[i] * surprise;
            for j in 0..=i {
                self.weighing.add(i, j, -gain[i] * with[j]);
                let joseph = gain[i] * gain[j] * told_total
                    - gain[i] * told_with[j]
                    - gain[j] * told_with[i];
                self.told.add(i, j, joseph);
            }
            for matrix in [&mut self.weighing, &mut self.told] {
                matrix.set(i, i, matrix.get(i, i).max(0.0));
            }
        }
    }
}

impl From<Gaussian> for Written {
    fn from(gaussian: Gaussian) -> Self {
        let n = gaussian.n;
        Written {
            mean: gaussian.mean[..n].to_vec(),
            weighing: gaussian.weighing.lower(n),
            told: gaussian.told.lower(n),
        }
    }
}

impl From<Written> for Gaussian {
    fn from(written: Written) -> Self {
        let n = written.mean.len().min(MOST);
        let mut mean = [0.0; MOST];
        mean[..n].copy_from_slice(&written.mean[..n]);
        Gaussian {
            n,
            mean,
            weighing: Matrix::from_lower(written.weighing, n),
            told: Matrix::from_lower(written.told, n),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn two_measurements_of_one_quantity_are_weighted_by_their_variances() {
        let mut known = Gaussian::independent(&[(10.0, 4.0)]);
        known.learn(&[(0, 1.0)], 12.0 - 10.0, 1.0);
        assert!((known.mean(0) - 11.6).abs() < 1e-12);
        assert!((known.covariance(0, 0) - 0.8).abs() < 1e-12);
    }

    #[test]
    fn agrees_with_the_local_level_filter_of_the_check_table() {
        let mut known: Option<Gaussian> = None;
        let mut rows = 0;
        for line in include_str!("../../tests/reference/filters_small.csv").lines() {
            let cells: Vec<&str> = line.split(',').collect();
            if cells[0].parse::<usize>().is_err() {
                continue;
            }
            let number = |i: usize| cells[i].parse::<f64>().unwrap();
            let x = number(1);
            let known = known.get_or_insert_with(|| Gaussian::independent(&[(x, 0.0064)]));
            known.shift(0, 0.0, 0.0004);
            known.learn(&[(0, 1.0)], x - known.mean(0), 0.0064);
            assert!((known.mean(0) - number(10)).abs() < 1e-7, "{line}");
            assert!((known.covariance(0, 0) - number(11)).abs() < 1e-9, "{line}");
            rows += 1;
        }
        assert_eq!(rows, 24);
    }

    #[test]
    fn what_is_borne_is_told_and_changes_no_weight() {
        let mut known = Gaussian::independent(&[(10.0, 4.0), (0.0, 0.0)]);
        known.bear(1, 9.0);
        known.learn(&[(0, 1.0), (1, 1.0)], 2.0, 1.0);
        // Weighed 4 : 1; the error that was left out comes in at that weight.
        assert!((known.mean(0) - 11.6).abs() < 1e-12);
        let told = 0.2_f64.powi(2) * 4.0 + 0.8_f64.powi(2) * (9.0 + 1.0);
        assert!((known.covariance(0, 0) - told).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn it_is_the_same_after_it_was_written_and_read(
            parts in prop::collection::vec((-1e3f64..1e3, 0.1f64..1e3), 2..6), surprise in -10f64..10.0,
        ) {
            let mut known = Gaussian::independent(&parts);
            known.mix_in(0, &[(1, 0.5)], 1.0);
            known.learn(&[(0, 1.0)], surprise, 1.0);
            let again: Gaussian = Written::from(known.clone()).into();
            prop_assert_eq!(again.len(), known.len());
            for i in 0..known.len() {
                prop_assert_eq!(again.mean(i), known.mean(i));
                for j in 0..known.len() {
                    prop_assert_eq!(again.covariance(i, j), known.covariance(i, j));
                    prop_assert_eq!(again.weighing.get(i, j), known.weighing.get(i, j));
                }
            }
        }

        #[test]
        fn a_measurement_never_adds_doubt(
            parts in prop::collection::vec((-1e3f64..1e3, 0.1f64..1e3), 3..6),
            weights in prop::collection::vec(-2f64..2.0, 3), variance in 0.01f64..10.0,
        ) {
            let mut known = Gaussian::independent(&parts);
            known.mix_in(0, &[(1, 0.7), (2, -0.2)], 0.0);
            let before: Vec<f64> = (0..known.len()).map(|i| known.covariance(i, i)).collect();
            let row: Vec<(usize, f64)> = weights.into_iter().enumerate().collect();
            known.learn(&row, 1.0, variance);
            for (i, before) in before.into_iter().enumerate() {
                prop_assert!(known.covariance(i, i) <= before * (1.0 + 1e-9));
                prop_assert!(known.covariance(i, i) >= 0.0);
            }
        }
    }
}
