//! What a sump has used: since its charge began, by day and by month.

use jiff::tz::Offset;
use serde::{Deserialize, Serialize};

use crate::units::{Measured, Timestamp};

/// Days that are kept one by one.
const DAYS: usize = 31;
/// Months that are kept one by one.
const MONTHS: usize = 24;

/// Milliseconds of a day of UTC; leap seconds are not counted in its time.
const DAY_MS: i64 = 86_400_000;

/// Litres that went in and out.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Litres {
    /// Concentrate that went in, neat or in premix, L.
    pub concentrate_l: f64,
    /// Water that went in, alone or in premix, L.
    pub water_l: f64,
    /// Mix that was let out for disposal, L.
    pub drained_l: f64,
}

/// Something that went in or out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Movement {
    /// When.
    pub time: Timestamp,
    /// How much.
    pub litres: Litres,
}

/// Litres of one day or month, UTC.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Period {
    /// Days since 1970-01-01, or months since January 1970.
    pub number: i32,
    /// What went in and out in it.
    #[serde(flatten)]
    pub litres: Litres,
}

/// Why a movement is not counted.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum MovementError {
    /// An amount below zero, or none at all.
    #[error("an amount of {found} L cannot be counted; give 0 L or more")]
    Amount {
        /// What was given.
        found: f64,
    },
    /// A time beyond the calendar.
    #[error("{found} is no time of the calendar; give one of the years 1 to 9999")]
    Time {
        /// What was given.
        found: Timestamp,
    },
}

/// What a sump has used, in a memory that does not grow: the sum since its
/// charge began, the last 31 days and the last 24 months, counted
/// back from the newest movement. Movements may come in any order; one that is
/// older than a table goes back is missing there and counted where it still
/// fits.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Consumption {
    #[serde(default)]
    since: Option<Timestamp>,
    #[serde(default)]
    first_day: Option<i32>,
    #[serde(default)]
    charge: Litres,
    #[serde(default)]
    days: Recent<DAYS>,
    #[serde(default)]
    months: Recent<MONTHS>,
}

impl Consumption {
    /// A new charge begins, and what is used from then on is counted for it.
    /// Where that is told late, the days since then are counted for it too, as
    /// far as they are kept, and the rest of the day itself is not.
    pub fn begin_charge(&mut self, time: Timestamp) {
        self.since = Some(time);
        self.charge = Litres::default();
        let Ok(day) = day_of(time) else { return };
        for later in self.days.periods.iter().filter(|later| later.number > day) {
            self.charge.count(&later.litres, 1.0);
        }
    }

    /// Counts a movement. Before the first known charge everything is counted
    /// for it; later, what is older than the charge is not.
    ///
    /// # Errors
    /// When an amount is negative or not a number, or the time is beyond the
    /// calendar. Nothing is counted then.
    pub fn add(&mut self, movement: &Movement) -> Result<(), MovementError> {
        self.count(movement, 1.0)
    }

    /// Takes a movement back that was counted and is not so. No sum falls
    /// below zero.
    ///
    /// # Errors
    /// As [`Consumption::add`].
    pub fn take_back(&mut self, movement: &Movement) -> Result<(), MovementError> {
        self.count(movement, -1.0)
    }

    fn count(&mut self, movement: &Movement, sign: f64) -> Result<(), MovementError> {
        let Movement { time, litres } = movement;
        litres.check()?;
        let (day, month) = (day_of(*time)?, month_of(*time)?);
        self.first_day = Some(self.first_day.map_or(day, |first| first.min(day)));
        if self.since.is_none_or(|since| since <= *time) {
            self.charge.count(litres, sign);
        }
        self.days.count(day, litres, sign);
        self.months.count(month, litres, sign);
        Ok(())
    }

    /// When the charge began, where that is known.
    pub fn charge_since(&self) -> Option<Timestamp> {
        self.since
    }

    /// What was used since then.
    pub fn charge(&self) -> &Litres {
        &self.charge
    }

    /// The days that something was moved on, oldest first.
    pub fn days(&self) -> &[Period] {
        &self.days.periods
    }

    /// The months that something was moved in, oldest first.
    pub fn months(&self) -> &[Period] {
        &self.months.periods
    }

    /// What was moved in and out on so many days, that of `now` the last.
    pub fn of_last_days(&self, now: Timestamp, days: u16) -> Litres {
        day_of(now).map_or(Litres::default(), |today| {
            self.between(today.saturating_sub(i32::from(days) - 1), today)
        })
    }

    /// What was moved in and out since this day began (days since 1970-01-01),
    /// as far as days are kept; see [`Consumption::kept_from`].
    pub fn since_day(&self, day: i32) -> Litres {
        self.between(day, i32::MAX)
    }

    fn between(&self, first: i32, last: i32) -> Litres {
        let mut sum = Litres::default();
        for day in self.days() {
            if (first..=last).contains(&day.number) {
                sum.count(&day.litres, 1.0);
            }
        }
        sum
    }

    /// The first day (days since 1970-01-01) from which on every movement is
    /// known by its day; nothing before the first movement.
    pub fn kept_from(&self) -> Option<i32> {
        let newest = self.days().last()?.number;
        let reach = i32::try_from(DAYS).ok()? - 1;
        self.first_day
            .map(|first| first.max(newest.saturating_sub(reach)))
    }

    /// Concentrate used a day, L: the mean of the whole days before `now` that
    /// are kept, those without a movement included, with its standard error
    /// s/√n. Nothing before there are two of them.
    ///
    /// Days are taken to be independent; where a top-up every other day makes
    /// them swing, the error is rather too large than too small.
    pub fn daily_concentrate(&self, now: Timestamp) -> Option<Measured> {
        let today = day_of(now).ok()?;
        let kept = i32::try_from(DAYS).ok()? - 1;
        let from = self.first_day?.max(today - kept);
        let count = f64::from(today - from);
        if count < 2.0 {
            return None;
        }
        let whole = self.days().iter();
        let used = whole
            .filter(|day| (from..today).contains(&day.number))
            .map(|day| day.litres.concentrate_l);
        let (sum, squares) = used.fold((0.0, 0.0), |(sum, squares), litres| {
            (sum + litres, squares + litres * litres)
        });
        let mean = sum / count;
        let variance = (squares - count * mean * mean).max(0.0) / (count - 1.0);
        Some(Measured::new(mean, (variance / count).sqrt()))
    }
}

impl Litres {
    /// Whether each amount can be counted.
    fn check(&self) -> Result<(), MovementError> {
        let amounts = [self.concentrate_l, self.water_l, self.drained_l];
        match amounts
            .into_iter()
            .find(|litres| !(0.0..f64::INFINITY).contains(litres))
        {
            Some(found) => Err(MovementError::Amount { found }),
            None => Ok(()),
        }
    }

    fn count(&mut self, other: &Litres, sign: f64) {
        let add = |sum: &mut f64, litres: f64| *sum = (*sum + sign * litres).max(0.0);
        add(&mut self.concentrate_l, other.concentrate_l);
        add(&mut self.water_l, other.water_l);
        add(&mut self.drained_l, other.drained_l);
    }
}

/// The newest `N` periods; those without a movement are left out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
struct Recent<const N: usize> {
    /// Ascending numbers, the last at most `N` − 1 above the first.
    periods: Vec<Period>,
}

impl<const N: usize> Recent<N> {
    fn count(&mut self, number: i32, litres: &Litres, sign: f64) {
        let newest = self
            .periods
            .last()
            .map_or(number, |last| last.number.max(number));
        let reach = i32::try_from(N).unwrap_or(i32::MAX);
        let kept = |number: i32| newest.saturating_sub(number) < reach;
        if !kept(number) {
            return;
        }
        let place = self
            .periods
            .partition_point(|period| period.number < number);
        match self.periods.get_mut(place) {
            Some(period) if period.number == number => period.litres.count(litres, sign),
            _ => {
                let mut fresh = Litres::default();
                fresh.count(litres, sign);
                self.periods.insert(
                    place,
                    Period {
                        number,
                        litres: fresh,
                    },
                );
            }
        }
        self.periods.retain(|period| kept(period.number));
    }
}

fn day_of(time: Timestamp) -> Result<i32, MovementError> {
    i32::try_from(time.millis().div_euclid(DAY_MS)).map_err(|_| MovementError::Time { found: time })
}

fn month_of(time: Timestamp) -> Result<i32, MovementError> {
    let instant = jiff::Timestamp::from_millisecond(time.millis())
        .map_err(|_| MovementError::Time { found: time })?;
    let date = Offset::UTC.to_datetime(instant).date();
    Ok(12 * (i32::from(date.year()) - 1970) + i32::from(date.month()) - 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(text: &str) -> Timestamp {
        Timestamp::parse(text).unwrap()
    }

    fn movement(time: Timestamp, concentrate_l: f64) -> Movement {
        let litres = Litres {
            concentrate_l,
            water_l: 10.0 * concentrate_l,
            drained_l: 0.0,
        };
        Movement { time, litres }
    }

    #[test]
    fn counts_by_charge_day_and_month() {
        let mut used = Consumption::default();
        used.add(&movement(at("2026-10-31T23:59:59Z"), 3.0))
            .unwrap();
        used.begin_charge(at("2026-11-01T00:00:00Z"));
        used.add(&movement(at("2026-11-01T06:00:00Z"), 5.0))
            .unwrap();
        used.add(&movement(at("2026-11-01T18:00:00Z"), 1.0))
            .unwrap();
        assert_eq!(used.charge().concentrate_l, 6.0);
        assert_eq!(used.charge().water_l, 60.0);
        let by = |periods: &[Period]| -> Vec<f64> {
            periods.iter().map(|p| p.litres.concentrate_l).collect()
        };
        assert_eq!(by(used.days()), [3.0, 6.0]);
        assert_eq!(by(used.months()), [3.0, 6.0]);
        // October 2026 is 56 years and 9 months after January 1970.
        assert_eq!(used.months()[0].number, 56 * 12 + 9);
    }

    #[test]
    fn days_are_summed_from_either_end() {
        let mut used = Consumption::default();
        assert_eq!(used.kept_from(), None);
        for (day, litres) in [("18", 1.0), ("19", 2.0), ("25", 4.0)] {
            used.add(&movement(at(&format!("2026-11-{day}T12:00:00Z")), litres))
                .unwrap();
        }
        let now = at("2026-11-25T13:00:00Z");
        // Seven days reach back to the 19th.
        assert_eq!(used.of_last_days(now, 7).concentrate_l, 6.0);
        assert_eq!(used.of_last_days(now, 31).concentrate_l, 7.0);
        let eighteenth = used.kept_from().unwrap();
        assert_eq!(used.since_day(eighteenth + 1).concentrate_l, 6.0);
        // A day later than all others pushes the first ones out.
        used.add(&movement(at("2026-12-19T00:00:00Z"), 8.0))
            .unwrap();
        assert_eq!(used.kept_from(), Some(eighteenth + 1));
        assert_eq!(used.since_day(eighteenth).concentrate_l, 14.0);
    }

    #[test]
    fn a_charge_told_late_has_the_days_since() {
        let mut used = Consumption::default();
        for day in ["20", "21", "23"] {
            used.add(&movement(at(&format!("2026-11-{day}T08:00:00Z")), 2.0))
                .unwrap();
        }
        used.begin_charge(at("2026-11-20T12:00:00Z"));
        assert_eq!(used.charge().concentrate_l, 4.0);
        assert_eq!(used.charge_since(), Some(at("2026-11-20T12:00:00Z")));
    }

    #[test]
    fn what_is_too_old_for_the_days_still_counts_for_its_month_and_charge() {
        let mut used = Consumption::default();
        used.add(&movement(at("2026-11-25T00:00:00Z"), 1.0))
            .unwrap();
        used.add(&movement(at("2026-10-01T00:00:00Z"), 2.0))
            .unwrap();
        assert_eq!((used.days().len(), used.months().len()), (1, 2));
        assert_eq!(used.charge().concentrate_l, 3.0);
    }

    #[test]
    fn the_daily_use_counts_days_without_any() {
        let mut used = Consumption::default();
        for day in ["21", "23"] {
            used.add(&movement(at(&format!("2026-11-{day}T08:00:00Z")), 6.0))
                .unwrap();
        }
        // 6, 0, 6, 0 L on the four whole days: mean 3, s² = 12, s/√n = √3.
        let use_of = used.daily_concentrate(at("2026-11-25T09:00:00Z")).unwrap();
        assert!((use_of.value - 3.0).abs() < 1e-12);
        assert!((use_of.uncertainty - 3f64.sqrt()).abs() < 1e-12);
        assert_eq!(used.daily_concentrate(at("2026-11-22T09:00:00Z")), None);
    }

    #[test]
    fn refuses_what_is_no_amount_and_counts_nothing_of_it() {
        let mut used = Consumption::default();
        for wrong in [-1.0, f64::NAN, f64::INFINITY] {
            assert!(
                used.add(&movement(at("2026-11-25T00:00:00Z"), wrong))
                    .is_err()
            );
        }
        let never = Timestamp::from_millis(i64::MAX);
        assert!(used.add(&movement(never, 1.0)).is_err());
        assert_eq!(used, Consumption::default());
    }

    proptest! {
        #[test]
        fn the_order_does_not_matter_within_the_days_that_are_kept(
            moved in prop::collection::vec((0i64..31 * DAY_MS, 0u8..100), 1..60),
        ) {
            let start = at("2026-10-26T00:00:00Z");
            let moves: Vec<_> = moved
                .iter()
                .map(|(ms, litres)| {
                    movement(Timestamp::from_millis(start.millis() + ms), f64::from(*litres))
                })
                .collect();
            let sum = |moves: &mut dyn Iterator<Item = &Movement>| {
                let mut used = Consumption::default();
                moves.for_each(|one| used.add(one).unwrap());
                used
            };
            let forth = sum(&mut moves.iter());
            prop_assert_eq!(&forth, &sum(&mut moves.iter().rev()));
            let of_days: f64 = forth.days().iter().map(|day| day.litres.concentrate_l).sum();
            let of_months: f64 = forth.months().iter().map(|month| month.litres.concentrate_l).sum();
            prop_assert_eq!(of_days, forth.charge().concentrate_l);
            prop_assert_eq!(of_months, of_days);
        }

        #[test]
        fn memory_is_fixed_and_survives_a_snapshot(
            moved in prop::collection::vec((0i64..3000 * DAY_MS, 0u8..100), 1..200),
        ) {
            let mut used = Consumption::default();
            for (ms, litres) in moved {
                used.add(&movement(Timestamp::from_millis(ms), f64::from(litres))).unwrap();
            }
            prop_assert!(used.days().len() <= DAYS && used.months().len() <= MONTHS);
            let text = serde_json::to_string(&used).unwrap();
            prop_assert_eq!(serde_json::from_str::<Consumption>(&text).unwrap(), used);
        }

        #[test]
        fn what_is_taken_back_was_never_there(litres in 0u8..100, more in 0u8..100) {
            let mut used = Consumption::default();
            let time = at("2026-11-25T08:00:00Z");
            used.add(&movement(time, f64::from(more))).unwrap();
            let before = used.clone();
            used.add(&movement(time, f64::from(litres))).unwrap();
            used.take_back(&movement(time, f64::from(litres))).unwrap();
            prop_assert_eq!(used, before);
        }
    }
}
