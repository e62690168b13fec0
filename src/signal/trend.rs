//! The straight line through readings that a few wrong ones cannot turn: the
//! median of the slopes of all pairs.
//!
//! Sources: H. Theil (1950) and P. K. Sen, "Estimates of the regression
//! coefficient based on Kendall's tau", JASA 63 (1968), from memory; the
//! interval is Sen's, from Kendall's variance with its correction for ties.
//! Checked against `tests/reference/trend_small.csv`.
//!
//! Bounded: at most [`TREND_CAPACITY`] points, so at most 131 thousand slopes,
//! which are held for the length of the call. It is for questions that are
//! asked now and then, not for every reading.

use crate::units::{Measured, Span, Timestamp, median};

/// Points that a trend is drawn through at most.
pub const TREND_CAPACITY: usize = 512;

/// Fewer points have no trend: two always lie on a line.
const FEWEST: usize = 3;

/// How sure an interval is to hold the true slope, where the errors of the
/// points do not depend on each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Confidence {
    /// In nine of ten cases.
    Ninety,
    /// In nineteen of twenty cases.
    NinetyFive,
}

impl Confidence {
    /// So many standard deviations of a normal distribution lie between its
    /// middle and either end of the interval.
    const fn sigmas(self) -> f64 {
        match self {
            Confidence::Ninety => 1.644_853_626_951_472_7,
            Confidence::NinetyFive => 1.959_963_984_540_054,
        }
    }
}

/// A robust straight line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Median slope of all pairs, in the value's unit per unit of x.
    pub slope: f64,
    /// The interval of the slope, lowest and highest. Readings that depend on
    /// each other (smoothed ones, daily rhythms) make it too narrow.
    pub interval: (f64, f64),
    /// Value at x = 0, of the line through the medians of x and of y.
    pub intercept: f64,
    /// Value at x = 0, the median of what each point gives with this slope. It
    /// bears it better that x is unevenly spread.
    pub joint_intercept: f64,
    /// Kendall's rank correlation τ-b of x and y, −1 to 1: how steadily the
    /// values rise or fall. Zero where all are the same.
    pub tau_b: f64,
    confidence: Confidence,
}

impl Trend {
    /// The slope with a standard uncertainty: the wider half of its interval
    /// over the normal deviate of its confidence. Worked out here.
    pub fn slope_measured(&self) -> Measured {
        let (low, high) = self.interval;
        let half = (self.slope - low).max(high - self.slope);
        Measured::new(self.slope, half / self.confidence.sigmas())
    }

    /// Whether the interval excludes a level line.
    pub fn is_certain(&self) -> bool {
        let (low, high) = self.interval;
        low > 0.0 || high < 0.0
    }
}

/// Why there is no trend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TrendError {
    /// Too few points.
    #[error("a trend needs at least {FEWEST} points, there are {found}; wait for more readings")]
    TooFew {
        /// Points given.
        found: usize,
    },
    /// Too many points.
    #[error(
        "a trend is drawn through at most {TREND_CAPACITY} points, there are {found}; take means over longer spans"
    )]
    TooMany {
        /// Points given.
        found: usize,
    },
    /// A point is no number.
    #[error("point {place} is not finite; leave it out")]
    NotFinite {
        /// Its place, counted from 0.
        place: usize,
    },
    /// All points have the same x.
    #[error("all points are of the same time; a trend needs readings of several")]
    OneTime,
}

/// The trend through points (x, y) in any order and at any distances.
///
/// # Errors
/// When there are too few or too many points, one is not finite, or all have
/// the same x.
pub fn theil_sen(points: &[(f64, f64)], confidence: Confidence) -> Result<Trend, TrendError> {
    check(points)?;
    let mut pairs = Pairs::of(points);
    let slope = median(&mut pairs.slopes).ok_or(TrendError::OneTime)?;
    let tau_b = pairs.tau_b(points.len());
    let interval = interval(points, &mut pairs.slopes, confidence);
    let mut xs: Vec<f64> = points.iter().map(|&(x, _)| x).collect();
    let mut ys: Vec<f64> = points.iter().map(|&(_, y)| y).collect();
    let mut rests: Vec<f64> = points.iter().map(|&(x, y)| y - slope * x).collect();
    Ok(Trend {
        slope,
        interval,
        intercept: middle(&mut ys)? - slope * middle(&mut xs)?,
        joint_intercept: middle(&mut rests)?,
        tau_b,
        confidence,
    })
}

/// The trend of readings per hour; x = 0 is the time of the newest, so that the
/// intercepts are what the line says of then.
///
/// # Errors
/// As [`theil_sen`].
pub fn theil_sen_per_hour(
    readings: &[(Timestamp, f64)],
    confidence: Confidence,
) -> Result<Trend, TrendError> {
    let found = readings.len();
    let newest = readings.iter().map(|&(time, _)| time).max();
    let newest = newest.ok_or(TrendError::TooFew { found })?;
    if found > TREND_CAPACITY {
        return Err(TrendError::TooMany { found });
    }
    let hours = |time: Timestamp| (time - newest).secs_f64() / Span::from_hours(1).secs_f64();
    let points: Vec<(f64, f64)> = readings.iter().map(|&(t, y)| (hours(t), y)).collect();
    theil_sen(&points, confidence)
}

fn check(points: &[(f64, f64)]) -> Result<(), TrendError> {
    let found = points.len();
    if found < FEWEST {
        return Err(TrendError::TooFew { found });
    }
    if found > TREND_CAPACITY {
        return Err(TrendError::TooMany { found });
    }
    let wrong = points
        .iter()
        .position(|(x, y)| !x.is_finite() || !y.is_finite());
    wrong.map_or(Ok(()), |place| Err(TrendError::NotFinite { place }))
}

/// What all pairs of points say.
struct Pairs {
    /// Slopes of those with different x.
    slopes: Vec<f64>,
    /// Pairs that rise less those that fall.
    excess: i64,
    /// Pairs with the same x, and with the same y.
    ties: (i64, i64),
}

impl Pairs {
    fn of(points: &[(f64, f64)]) -> Self {
        let mut pairs = Pairs {
            slopes: Vec::with_capacity(points.len() * (points.len() - 1) / 2),
            excess: 0,
            ties: (0, 0),
        };
        for (place, &(x1, y1)) in points.iter().enumerate() {
            for &(x2, y2) in &points[place + 1..] {
                pairs.add(x2 - x1, y2 - y1);
            }
        }
        pairs
    }

    fn add(&mut self, dx: f64, dy: f64) {
        self.ties.0 += i64::from(dx == 0.0);
        self.ties.1 += i64::from(dy == 0.0);
        if dx == 0.0 {
            return;
        }
        // Numbers at the ends of what can be written overflow to no slope.
        let slope = dy / dx;
        if slope.is_finite() {
            self.slopes.push(slope);
        }
        self.excess += sign(dx) * sign(dy);
    }

    /// τ-b = (rising − falling) / √((n₀ − ties in x)(n₀ − ties in y)), of n₀
    /// pairs. Kendall (1945), from memory.
    fn tau_b(&self, points: usize) -> f64 {
        let all = (points * (points - 1) / 2) as f64;
        let of = (all - self.ties.0 as f64) * (all - self.ties.1 as f64);
        if of > 0.0 {
            self.excess as f64 / of.sqrt()
        } else {
            0.0
        }
    }
}

/// Sen's interval: of the N slopes in order, those at the places (N ∓ z σ) / 2,
/// where σ² is the variance of Kendall's statistic. The median of the slopes was
/// taken, so that each half holds its own.
fn interval(points: &[(f64, f64)], slopes: &mut [f64], confidence: Confidence) -> (f64, f64) {
    let count = slopes.len() as f64;
    let spread = confidence.sigmas() * kendall_variance(points).max(0.0).sqrt();
    let last = slopes.len() - 1;
    // A negative place is the first: casting to unsigned saturates at 0.
    let high = ((0.5 * (count + spread)).round_ties_even() as usize).min(last);
    let low = ((0.5 * (count - spread)).round_ties_even() - 1.0) as usize;
    (place(slopes, low.min(last)), place(slopes, high))
}

/// Variance of Kendall's statistic: (n(n−1)(2n+5) − Σ t(t−1)(2t+5)) / 18, the
/// sum over groups of t equal x and of t equal y.
fn kendall_variance(points: &[(f64, f64)]) -> f64 {
    let term = |n: usize| (n as f64) * (n as f64 - 1.0) * (2.0 * n as f64 + 5.0);
    let tied = |of: fn(&(f64, f64)) -> f64| -> f64 {
        let mut values: Vec<f64> = points.iter().map(of).collect();
        values.sort_unstable_by(f64::total_cmp);
        values
            .chunk_by(|a, b| a == b)
            .map(|group| term(group.len()))
            .sum()
    };
    (term(points.len()) - tied(|p| p.0) - tied(|p| p.1)) / 18.0
}

fn sign(number: f64) -> i64 {
    i64::from(number > 0.0) - i64::from(number < 0.0)
}

fn middle(values: &mut [f64]) -> Result<f64, TrendError> {
    median(values).ok_or(TrendError::TooFew {
        found: values.len(),
    })
}

/// What stands at `place` when `values`, of which the median was taken, are in
/// order.
fn place(values: &mut [f64], place: usize) -> f64 {
    let half = values.len() / 2;
    let (values, place) = match place.checked_sub(half) {
        None => (&mut values[..half], place),
        Some(0) => return values[half],
        Some(beyond) => (&mut values[half + 1..], beyond - 1),
    };
    *values.select_nth_unstable_by(place, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn series() -> Vec<(f64, f64)> {
        let rows = include_str!("../../tests/reference/filters_small.csv").lines();
        let points = rows.filter_map(|line| {
            let mut cells = line.split(',');
            let i = cells.next()?.parse().ok()?;
            Some((i, cells.next()?.parse().ok()?))
        });
        points.collect()
    }

    /// What the check table says, by name; the last is to nine digits.
    fn reference() -> Vec<(String, f64)> {
        let rows = include_str!("../../tests/reference/trend_small.csv").lines();
        let rows = rows.filter_map(|line| {
            let mut cells = line.split(',');
            let name = cells.next()?.to_owned();
            Some((name, cells.next()?.parse().ok()?))
        });
        rows.collect()
    }

    /// The usual least squares line, to read the whole table: slope, intercept,
    /// standard error of the slope and share explained.
    fn least_squares(points: &[(f64, f64)]) -> [f64; 4] {
        let n = points.len() as f64;
        let (mx, my) = (
            points.iter().map(|p| p.0).sum::<f64>() / n,
            points.iter().map(|p| p.1).sum::<f64>() / n,
        );
        let sum = |f: &dyn Fn(f64, f64) -> f64| -> f64 {
            points.iter().map(|&(x, y)| f(x - mx, y - my)).sum()
        };
        let (xx, xy, yy) = (sum(&|x, _| x * x), sum(&|x, y| x * y), sum(&|_, y| y * y));
        let slope = xy / xx;
        let rest = yy - slope * xy;
        let error = (rest / (n - 2.0) / xx).sqrt();
        [slope, my - slope * mx, error, 1.0 - rest / yy]
    }

    #[test]
    fn every_row_of_the_check_table() {
        let points = series();
        assert_eq!(points.len(), 24);
        let trend = theil_sen(&points, Confidence::NinetyFive).unwrap();
        let [slope, intercept, error, explained] = least_squares(&points);
        let mut rows = 0;
        for (name, expected) in reference() {
            let found = match name.as_str() {
                "theil_sen_slope" => trend.slope,
                "theil_sen_intercept_separate" => trend.intercept,
                "theil_sen_slope_lo95" => trend.interval.0,
                "theil_sen_slope_hi95" => trend.interval.1,
                "theil_sen_intercept_joint" => trend.joint_intercept,
                "kendall_tau_b" => trend.tau_b,
                "ols_slope" => slope,
                "ols_intercept" => intercept,
                "ols_slope_stderr" => error,
                "ols_r2" => explained,
                other => panic!("nobody works out {other}"),
            };
            assert!(
                (found - expected).abs() < 1e-9,
                "{name}: {found} {expected}"
            );
            rows += 1;
        }
        assert_eq!(rows, 10);
    }

    #[test]
    fn spikes_do_not_turn_it() {
        let trend = theil_sen(&series(), Confidence::Ninety).unwrap();
        // The series rises by 0.03 a step beneath its spikes.
        assert!((trend.slope - 0.03).abs() < 1e-9 && trend.is_certain());
        let measured = trend.slope_measured();
        assert!(measured.uncertainty > 0.0 && measured.uncertainty < 0.01);
        let [by_least_squares, ..] = least_squares(&series());
        assert!(by_least_squares < 0.01, "it is turned: {by_least_squares}");
    }

    #[test]
    fn irregular_times_count_by_the_hour() {
        let minute = |m: i64| Timestamp::from_millis(m * 60_000);
        let readings = [0, 7, 30, 31, 90, 600].map(|m| (minute(m), 8.0 - m as f64 / 600.0));
        let trend = theil_sen_per_hour(&readings, Confidence::Ninety).unwrap();
        assert!((trend.slope + 0.1).abs() < 1e-9);
        assert!((trend.intercept - 7.0).abs() < 1e-9, "as of the newest");
        assert!((trend.joint_intercept - 7.0).abs() < 1e-9);
        assert!((trend.tau_b + 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_has_no_trend_says_why() {
        let of = |points: &[(f64, f64)]| theil_sen(points, Confidence::Ninety).unwrap_err();
        assert_eq!(of(&[(0.0, 1.0); 2]), TrendError::TooFew { found: 2 });
        assert_eq!(of(&[(0.0, 1.0); 513]), TrendError::TooMany { found: 513 });
        assert_eq!(of(&[(0.0, 1.0); 9]), TrendError::OneTime);
        let broken = [(0.0, 1.0), (1.0, f64::NAN), (2.0, 1.0)];
        assert_eq!(of(&broken), TrendError::NotFinite { place: 1 });
        let none = theil_sen_per_hour(&[], Confidence::Ninety).unwrap_err();
        assert_eq!(none, TrendError::TooFew { found: 0 });
    }

    #[test]
    fn a_level_line_has_no_slope_and_is_not_certain() {
        let points: Vec<_> = (0..20).map(|i| (f64::from(i), 5.0)).collect();
        let trend = theil_sen(&points, Confidence::NinetyFive).unwrap();
        assert_eq!((trend.slope, trend.interval), (0.0, (0.0, 0.0)));
        assert_eq!(trend.tau_b, 0.0);
        assert!(!trend.is_certain());
    }

    proptest! {
        #[test]
        fn order_does_not_matter_and_the_slope_lies_in_its_interval(
            points in prop::collection::vec((-100i32..100, -100i32..100), 3..60),
        ) {
            let points: Vec<(f64, f64)> = points
                .into_iter()
                .map(|(x, y)| (f64::from(x), f64::from(y)))
                .collect();
            let Ok(trend) = theil_sen(&points, Confidence::Ninety) else {
                prop_assert!(points.iter().all(|p| p.0 == points[0].0));
                return Ok(());
            };
            let mut turned = points.clone();
            turned.reverse();
            prop_assert_eq!(theil_sen(&turned, Confidence::Ninety).unwrap(), trend);
            prop_assert!(trend.interval.0 <= trend.slope && trend.slope <= trend.interval.1);
            prop_assert!((-1.0 - 1e-12..=1.0 + 1e-12).contains(&trend.tau_b));
        }

        #[test]
        fn a_line_is_found_exactly(slope in -10f64..10.0, n in 3usize..100) {
            let points: Vec<_> = (0..n).map(|i| (i as f64, slope * i as f64 + 1.0)).collect();
            let trend = theil_sen(&points, Confidence::NinetyFive).unwrap();
            prop_assert!((trend.slope - slope).abs() < 1e-9);
            prop_assert!((trend.intercept - 1.0).abs() < 1e-6);
        }
    }
}
