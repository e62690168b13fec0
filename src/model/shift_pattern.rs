//! When a plant works: its shifts by the clocks on its walls, less its
//! holidays.
//!
//! A shift belongs to the day on which it begins: on a holiday none begins,
//! and one of the evening before is worked to its end [choice: a night shift is
//! planned and paid as one]. Where the clocks are changed, a shift begins and
//! ends as RFC 5545, section 3.3.5, reads local times: of a time that comes
//! twice the first is meant, and one that is left out is counted with the
//! offset from before the change. So a night shift of eight hours takes seven
//! in spring and nine in autumn.

use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;

use crate::units::{Span, Timestamp};

use super::shift::Shift;

/// Most lines of a week. Choice: three shifts a day, each by itself, are 21.
const MAX_SHIFTS: usize = 64;

/// Most holidays. Choice: twelve a year for 80 years.
const MAX_HOLIDAYS: usize = 1000;

/// So many days ahead a change is looked for. Choice: a year; who asks wants to
/// know of a night, a weekend or a shut-down.
const HORIZON_DAYS: usize = 366;

/// A shift that began so many days before can still go on: one by itself, the
/// other for zones that have left out a whole day.
const DAYS_BACK: i64 = 2;

/// Where clocks are changed in a weekend it is longer by so much, and still is one.
const CLOCK_CHANGE: Span = Span::from_hours(1);

const DAY_MIN: u16 = 24 * 60;
const HOUR_MS: f64 = 3_600_000.0;

/// A week's working hours in a time zone, and the days on which they do not
/// hold.
#[derive(Debug, Clone, PartialEq)]
pub struct ShiftPattern {
    zone: TimeZone,
    /// Begin and end of each day's shifts in minutes after its midnight, by
    /// their begin; Monday first.
    week: [Vec<(u16, u16)>; 7],
    /// In order, each once.
    holidays: Vec<Date>,
    /// The longest pause of a week without holidays: as a rule the weekend.
    weekend: Span,
}

/// Why shifts do not make a pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ShiftPatternError {
    /// A week without work.
    #[error("has no shift; write one, as \"mon-fri 06:00-22:00\", or leave the shifts out")]
    NoShift,
    /// A longer list of shifts than any plant has.
    #[error(
        "has {0} shifts; at most {MAX_SHIFTS} are allowed: write days with the same hours as mon-fri"
    )]
    TooManyShifts(usize),
    /// A longer list of holidays than anyone looks ahead.
    #[error(
        "has {0} holidays; at most {MAX_HOLIDAYS} are allowed: leave out those that have passed"
    )]
    TooManyHolidays(usize),
}

/// A stretch of work.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    begin: Timestamp,
    /// Not part of it.
    end: Timestamp,
}

impl ShiftPattern {
    /// The pattern of a week of `shifts`, in any order; they may overlap.
    ///
    /// # Errors
    /// When there is no shift, or too many of something.
    pub fn new(
        zone: TimeZone,
        shifts: &[Shift],
        holidays: &[Date],
    ) -> Result<Self, ShiftPatternError> {
        match (shifts.len(), holidays.len()) {
            (0, _) => return Err(ShiftPatternError::NoShift),
            (many, _) if many > MAX_SHIFTS => return Err(ShiftPatternError::TooManyShifts(many)),
            (_, many) if many > MAX_HOLIDAYS => {
                return Err(ShiftPatternError::TooManyHolidays(many));
            }
            _ => {}
        }
        let week = std::array::from_fn(|day| {
            let shifts = shifts.iter().filter(|shift| shift.begins_on(day));
            let mut hours: Vec<_> = shifts.map(Shift::minutes).collect();
            hours.sort_unstable();
            hours
        });
        let mut holidays = holidays.to_vec();
        holidays.sort_unstable();
        holidays.dedup();
        Ok(ShiftPattern {
            zone,
            weekend: longest_pause(&week),
            week,
            holidays,
        })
    }

    /// Whether people work at this time.
    pub fn is_working(&self, at: Timestamp) -> bool {
        self.stretches(at)
            .take_while(|stretch| stretch.begin <= at)
            .any(|stretch| at < stretch.end)
    }

    /// When work begins or ends next, after this time; nothing where it goes on
    /// as it is for a year. It goes through the days up to the change, so ask
    /// again only when that has come.
    pub fn next_change(&self, at: Timestamp) -> Option<Timestamp> {
        let mut worked_to = at;
        for stretch in self.stretches(at) {
            if stretch.begin > worked_to {
                let is_idle = worked_to == at;
                return Some(if is_idle { stretch.begin } else { worked_to });
            }
            worked_to = worked_to.max(stretch.end);
        }
        None
    }

    /// When an interval that began at `from` is over, if what a pause is longer
    /// than a weekend does not count: a stand-still gives back its days, and a
    /// long weekend its holidays. A pause that begins in the interval is given
    /// back as a whole.
    pub fn over_after(&self, from: Timestamp, interval: Span) -> Timestamp {
        let mut over = from + interval;
        if !self.has_holiday_between(from, over) {
            return over;
        }
        let mut worked_to = from;
        for stretch in self.stretches(from) {
            if worked_to >= over {
                break;
            }
            let pause = stretch.begin - worked_to;
            if pause > self.weekend {
                over = over + pause - self.weekend;
            }
            worked_to = worked_to.max(stretch.end);
        }
        over
    }

    /// The newest start of work between two times, both included, that follows a
    /// pause longer than any of a week without holidays: a stand-still, or a
    /// weekend made longer by a holiday. It goes through the days between the times
    /// where a holiday is near, so ask again only from time to time.
    pub fn start_after_long_pause(&self, from: Timestamp, to: Timestamp) -> Option<Timestamp> {
        let usual = Span::from_millis(self.weekend.millis() + CLOCK_CHANGE.millis());
        let mut worked_to = from - usual - Span::from_millis(1);
        let days_back = Span::from_hours(24 * (DAYS_BACK + 1));
        if !self.has_holiday_between(worked_to - days_back, to) {
            return None;
        }
        let mut start = None;
        for stretch in self.stretches(worked_to) {
            if stretch.begin > to {
                break;
            }
            if stretch.begin >= from && stretch.begin - worked_to > usual {
                start = Some(stretch.begin);
            }
            worked_to = worked_to.max(stretch.end);
        }
        start
    }

    /// Hours worked between two times; none where `to` is not after `from`.
    /// Takes longer the more days lie between.
    pub fn working_hours_between(&self, from: Timestamp, to: Timestamp) -> f64 {
        let worked = self.worked_between(from, to);
        let millis: i64 = worked.map(|(begin, end)| (end - begin).millis()).sum();
        millis as f64 / HOUR_MS
    }

    /// Begin and end of what is worked between two times, in order and none
    /// twice; shifts that follow each other are told apart.
    pub fn worked_between(
        &self,
        from: Timestamp,
        to: Timestamp,
    ) -> impl Iterator<Item = (Timestamp, Timestamp)> {
        let mut counted_to = from;
        let stretches = self.days_from(from).flat_map(|date| self.on(date));
        stretches
            .take_while(move |stretch| stretch.begin < to)
            .filter_map(move |stretch| {
                let (begin, end) = (stretch.begin.max(counted_to), stretch.end.min(to));
                counted_to = counted_to.max(end);
                (begin < end).then_some((begin, end))
            })
    }

    fn has_holiday_between(&self, from: Timestamp, to: Timestamp) -> bool {
        let date = |time: Timestamp| {
            let time = jiff::Timestamp::from_millisecond(time.millis()).ok()?;
            Some(self.zone.to_datetime(time).date())
        };
        date(from).zip(date(to)).is_some_and(|(first, last)| {
            let next = self.holidays.partition_point(|day| *day < first);
            self.holidays.get(next).is_some_and(|day| *day <= last)
        })
    }

    /// What is worked from some days before a time to the horizon, by its
    /// begin.
    fn stretches(&self, at: Timestamp) -> impl Iterator<Item = Stretch> {
        self.days_from(at)
            .take(HORIZON_DAYS)
            .flat_map(|date| self.on(date))
    }

    /// The days of the plant from some days before a time to the last that
    /// there is; none for a time that no calendar has.
    fn days_from(&self, at: Timestamp) -> impl Iterator<Item = Date> {
        let today = jiff::Timestamp::from_millisecond(at.millis())
            .map(|at| self.zone.to_datetime(at).date());
        let first = today.map(|date| date.saturating_sub(jiff::Span::new().days(DAYS_BACK)));
        std::iter::successors(first.ok(), |date| date.tomorrow().ok())
    }

    /// What is worked in the shifts that begin on a day.
    fn on(&self, date: Date) -> impl Iterator<Item = Stretch> {
        let day = date.weekday().to_monday_zero_offset() as usize;
        let is_holiday = self.holidays.binary_search(&date).is_ok();
        let hours = if is_holiday { &[][..] } else { &self.week[day] };
        hours.iter().filter_map(move |(begin, end)| {
            let begin = self.instant(date, *begin)?;
            let end = self.instant(date, *end)?;
            (begin < end).then_some(Stretch { begin, end })
        })
    }

    /// When the clocks show so many minutes after the midnight of a day.
    fn instant(&self, date: Date, minutes: u16) -> Option<Timestamp> {
        let (days, of_day) = (minutes / DAY_MIN, minutes % DAY_MIN);
        let date = (0..days).try_fold(date, |date, _| date.tomorrow().ok())?;
        let time = Time::new((of_day / 60) as i8, (of_day % 60) as i8, 0, 0).ok()?;
        let instant = self.zone.to_timestamp(date.to_datetime(time)).ok()?;
        Some(Timestamp::from_millis(instant.as_millisecond()))
    }
}

/// The longest pause between the shifts of a week that follows itself.
fn longest_pause(week: &[Vec<(u16, u16)>; 7]) -> Span {
    let mut worked_to = None;
    let mut longest = 0;
    for (day, shifts) in (0_i64..).zip(week.iter().chain(week)) {
        for (begin, end) in shifts {
            let at = |minutes: u16| 1440 * day + i64::from(minutes);
            let before = *worked_to.get_or_insert(at(*begin));
            longest = longest.max(at(*begin) - before);
            worked_to = Some(before.max(at(*end)));
        }
    }
    Span::from_mins(longest)
}

#[cfg(test)]
mod tests;
