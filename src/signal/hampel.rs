//! The Hampel identifier: a reading far from the median of its window, in
//! robust standard deviations, is a spike.
//!
//! Source: F. R. Hampel, "The influence curve and its role in robust
//! estimation", JASA 69 (1974), from memory; checked against
//! `tests/reference/filters_small.csv`.

use serde::{Deserialize, Serialize};

use crate::units::{Span, Timestamp};

/// Readings that a despiking window holds at most.
pub const DESPIKE_CAPACITY: usize = 11;

/// Standard deviation over median absolute deviation for a normal
/// distribution, 1 / Φ⁻¹(3/4).
const MAD_TO_SIGMA: f64 = 1.4826;

/// A window must hold so many readings before one of them can be called a
/// spike.
const FEWEST: usize = 4;

/// Settings of the Hampel filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DespikeSetup {
    /// Readings older than this are left out of the median.
    pub window: Span,
    /// A reading further from the median than so many robust standard
    /// deviations is a spike.
    pub sigmas: f64,
    /// The robust standard deviation is taken to be at least this, so that the
    /// last digit of a quiet signal is no spike.
    pub floor: f64,
}

/// What became of a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Judged {
    /// It stands.
    Kept(f64),
    /// It was a spike; this is the median of its window.
    Spike(f64),
}

/// Judges `x` against the values of its window, which it is one of.
///
/// `sorted` holds the window in rising order and must not be empty. Returns
/// the median where `x` is a spike.
#[inline]
pub fn hampel(sorted: &[f64], x: f64, sigmas: f64, floor: f64) -> Option<f64> {
    let median = middle(sorted);
    let sigma = (MAD_TO_SIGMA * median_deviation(sorted, median)).max(floor);
    ((x - median).abs() > sigmas * sigma).then_some(median)
}

#[inline]
fn middle(sorted: &[f64]) -> f64 {
    let n = sorted.len();
    if n % 2 == 1 {
        sorted[n / 2]
    } else {
        0.5 * (sorted[n / 2 - 1] + sorted[n / 2])
    }
}

/// Median of |x − median|. The deviations rise outwards from the median on
/// both sides, so merging the two sides yields them in order without a sort.
#[inline]
fn median_deviation(sorted: &[f64], median: f64) -> f64 {
    let n = sorted.len();
    let mut above = sorted.partition_point(|&x| x < median);
    let mut below = above;
    let (mut last, mut before) = (0.0, 0.0);
    for _ in 0..=n / 2 {
        before = last;
        let down = (below > 0).then(|| median - sorted[below - 1]);
        let up = (above < n).then(|| sorted[above] - median);
        last = match (down, up) {
            (Some(d), Some(u)) if d <= u => {
                below -= 1;
                d
            }
            (_, Some(u)) => {
                above += 1;
                u
            }
            (Some(d), None) => {
                below -= 1;
                d
            }
            (None, None) => last,
        };
    }
    if n % 2 == 1 {
        last
    } else {
        0.5 * (before + last)
    }
}

/// The trailing window of one channel: the newest reading is judged against
/// the ones before it, so that nothing waits for the future.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Despike {
    times: [i64; DESPIKE_CAPACITY],
    values: [f64; DESPIKE_CAPACITY],
    /// Place of the newest reading.
    newest: usize,
    len: usize,
}

impl Despike {
    /// Takes in the next reading and judges it.
    #[inline]
    pub fn step(&mut self, setup: &DespikeSetup, time: Timestamp, x: f64) -> Judged {
        self.newest = if self.newest + 1 == DESPIKE_CAPACITY {
            0
        } else {
            self.newest + 1
        };
        self.times[self.newest] = time.millis();
        self.values[self.newest] = x;
        self.len = (self.len + 1).min(DESPIKE_CAPACITY);

        let mut sorted = [0.0; DESPIKE_CAPACITY];
        let n = self.sort_window(time - setup.window, &mut sorted);
        if n < FEWEST {
            return Judged::Kept(x);
        }
        match hampel(&sorted[..n], x, setup.sigmas, setup.floor) {
            Some(median) => Judged::Spike(median),
            None => Judged::Kept(x),
        }
    }

    /// Forgets everything: the signal starts anew.
    pub fn clear(&mut self) {
        self.len = 0;
    }

    /// Insertion sort of the readings not older than `oldest`, newest first.
    #[inline]
    fn sort_window(&self, oldest: Timestamp, sorted: &mut [f64; DESPIKE_CAPACITY]) -> usize {
        let mut place = self.newest;
        let mut n = 0;
        while n < self.len && self.times[place] >= oldest.millis() {
            let x = self.values[place];
            let mut at = n;
            while at > 0 && sorted[at - 1] > x {
                sorted[at] = sorted[at - 1];
                at -= 1;
            }
            sorted[at] = x;
            n += 1;
            place = if place == 0 {
                DESPIKE_CAPACITY - 1
            } else {
                place - 1
            };
        }
        n
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Reference rows: x, median5_trunc, hampel_flag, hampel_out of the check
    /// table.
    fn reference() -> Vec<(f64, f64, bool, f64)> {
        include_str!("../../tests/reference/filters_small.csv")
            .lines()
            .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()))
            .map(|l| {
                let cells: Vec<&str> = l.split(',').collect();
                (
                    cells[1].parse().unwrap(),
                    cells[2].parse().unwrap(),
                    cells[5] == "1",
                    cells[6].parse().unwrap(),
                )
            })
            .collect()
    }

    #[test]
    fn agrees_with_the_check_table() {
        let rows = reference();
        assert_eq!(rows.len(), 24);
        // The values about row i, so many on each side, in order.
        let window = |i: usize, half: usize| {
            let window = i.saturating_sub(half)..(i + half + 1).min(rows.len());
            let mut sorted: Vec<f64> = rows[window].iter().map(|r| r.0).collect();
            sorted.sort_by(f64::total_cmp);
            sorted
        };
        for (i, &(x, median, flag, out)) in rows.iter().enumerate() {
            assert!((middle(&window(i, 2)) - median).abs() < 1e-9, "row {i}");
            let judged = hampel(&window(i, 3), x, 3.0, 0.0);
            assert_eq!(judged.is_some(), flag, "row {i}");
            assert!((judged.unwrap_or(x) - out).abs() < 1e-9, "row {i}");
        }
    }

    #[test]
    fn a_step_is_followed_after_half_a_window() {
        let setup = DespikeSetup {
            window: Span::from_mins(60),
            sigmas: 3.0,
            floor: 0.01,
        };
        let mut despike = Despike::default();
        let mut spikes = 0;
        for i in 0..40 {
            let x = if i < 20 { 5.0 } else { 6.0 };
            let t = Timestamp::from_millis(i * 60_000);
            if matches!(despike.step(&setup, t, x), Judged::Spike(_)) {
                assert!(i >= 20);
                spikes += 1;
            }
        }
        assert_eq!(spikes, 5);
    }

    proptest! {
        #[test]
        fn deviation_equals_the_plain_way(mut xs in prop::collection::vec(-1e3f64..1e3, 1..12)) {
            xs.sort_by(f64::total_cmp);
            let m = middle(&xs);
            let mut plain: Vec<f64> = xs.iter().map(|x| (x - m).abs()).collect();
            plain.sort_by(f64::total_cmp);
            prop_assert!((median_deviation(&xs, m) - middle(&plain)).abs() < 1e-9);
        }

        #[test]
        fn a_constant_signal_has_no_spikes(x in -1e3f64..1e3, n in 1usize..40) {
            let setup = DespikeSetup { window: Span::from_mins(15), sigmas: 3.0, floor: 0.0 };
            let mut despike = Despike::default();
            for i in 0..n {
                let t = Timestamp::from_millis(i as i64 * 1000);
                prop_assert_eq!(despike.step(&setup, t, x), Judged::Kept(x));
            }
        }
    }
}
