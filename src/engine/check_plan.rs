//! The check plan of a sump: what is due when, and what is overdue.

use serde::Serialize;

use crate::rules::{Begins, Check, PlannedCheck, Rule};
use crate::units::{Span, Timestamp};

use super::entry::Entry;
use super::watch::SumpWatch;

const DAY: Span = Span::from_hours(24);
const DAY_MS: f64 = 86_400_000.0;

/// Of a check that fell due while nobody worked, so much of the next shift is
/// left to make it in, and up to so much more: to each sump its own, as the
/// checks of many fall due, or are overdue, in one week-end. (choice)
const INTO_THE_SHIFT: Span = Span::from_hours(3);
const SPREAD: Span = Span::from_hours(3);

/// A check of the plan that counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CheckStatus {
    /// The check.
    pub check: Check,
    /// How often it is to be made now, d.
    pub every_d: f64,
    /// When it was last made, where it ever was.
    pub last: Option<Timestamp>,
    /// When it is due.
    pub due: Timestamp,
    /// Whether it is overdue: a quarter of the interval later, a day at most,
    /// and in a shift, where these are known.
    pub overdue: bool,
}

/// The time in which a check is to be made once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Interval {
    check: Check,
    from: Timestamp,
    every: Span,
}

impl SumpWatch {
    /// What the plan asks of this sump.
    fn check_plan(&self) -> impl Iterator<Item = &PlannedCheck> {
        self.setup
            .rules
            .iter()
            .filter_map(|setup| match &setup.rule {
                Rule::Overdue(planned) => Some(planned),
                _ => None,
            })
    }

    /// A check that is new in the plan counts from now on.
    pub(super) fn follow_check_plan(&mut self) {
        let plan: Vec<PlannedCheck> = self.check_plan().copied().collect();
        self.upkeep.checks.follow(&plan, self.now);
        let intervals = plan.iter().filter_map(|planned| self.interval(planned));
        let dates = intervals.map(|interval| (interval, self.due_after(interval)));
        self.due_dates = dates.collect();
    }

    /// Keeps what the entry did of the plan; what it supersedes never did.
    pub(super) fn note_check(&mut self, entry: &Entry, time: Timestamp) {
        let checks = &mut self.upkeep.checks;
        if let Some(superseded) = &entry.supersedes {
            checks.forget(superseded);
        }
        checks.note(&entry.id, &entry.kind, time);
    }

    /// How a check stands; nothing of one that does not count yet.
    pub(super) fn check_state(&self, planned: &PlannedCheck) -> Option<CheckStatus> {
        let interval = self.interval(planned)?;
        let (due, every) = (self.due_after(interval), interval.every);
        let overdue =
            self.now >= due + grace(every) && self.now >= self.overdue_from(&interval, due);
        Some(CheckStatus {
            check: interval.check,
            every_d: every.millis() as f64 / DAY_MS,
            last: self.upkeep.checks.last(interval.check),
            due,
            overdue,
        })
    }

    /// The present interval of a check; none of one that does not count yet.
    fn interval(&self, planned: &PlannedCheck) -> Option<Interval> {
        let (check, checks) = (planned.check, &self.upkeep.checks);
        if check == Check::Mixer && self.setup.mixers.is_empty() {
            return None;
        }
        let since = checks.since(check)?;
        let every = match planned.stretched {
            Some(stretched) if checks.nitrite_is_stretched() => stretched.max(planned.every),
            _ => planned.every,
        };
        let from = match (checks.last(check), planned.begins) {
            (Some(last), _) if last >= since => last,
            // Made before it was in the plan, but not given up since.
            (Some(last), Begins::OnceMade) if last >= since - every - every => since,
            (_, Begins::OnceMade) => return None,
            (_, Begins::AtStart) => since,
            (_, Begins::Spread) => since + self.own_share(check.name(), every),
        };
        Some(Interval { check, from, every })
    }

    /// When it is due. The mix need not be looked at in a stand-still, which
    /// gives back its days; cleaning out and the make-up water go by the
    /// calendar. Reckoned through the days of the interval once only: the shifts
    /// are of the settings, so that it is the same each time.
    fn due_after(&self, interval: Interval) -> Timestamp {
        let mut dates = self.due_dates.iter();
        if let Some((_, due)) = dates.find(|(known, _)| *known == interval) {
            return *due;
        }
        let Interval { check, from, every } = interval;
        let by_calendar = matches!(check, Check::CleanOut | Check::MakeUpWater);
        let shifts = self.setup.shifts.as_ref().filter(|_| !by_calendar);
        shifts.map_or(from + every, |shifts| shifts.over_after(from, every))
    }

    /// The checks that are overdue, in the order of the plan.
    pub(super) fn overdue_checks(&self) -> Vec<Check> {
        let plan = self.check_plan();
        let overdue = plan.filter_map(|planned| self.check_state(planned));
        let overdue = overdue.filter(|state| state.overdue);
        overdue.map(|state| state.check).collect()
    }

    /// When a check that is due is overdue.
    fn overdue_from(&self, interval: &Interval, due: Timestamp) -> Timestamp {
        let Interval { check, every, .. } = *interval;
        let late = due + grace(every);
        let Some(shifts) = &self.setup.shifts else {
            return late;
        };
        let working = |time: Timestamp| {
            if shifts.is_working(time) {
                return time;
            }
            let begins = shifts.next_change(time).unwrap_or(time);
            begins + self.own_share(check.name(), SPREAD)
        };
        let left = working(due) + grace(every).min(INTO_THE_SHIFT);
        working(late.max(left))
    }

    /// A part of the interval, the same for this sump and what is spread each time:
    /// by FNV-1a over their names.
    pub(super) fn own_share(&self, what: &str, every: Span) -> Span {
        let names = self.setup.name.bytes().chain(what.bytes());
        let hash = names.fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        });
        Span::from_millis((hash >> 1) as i64 % every.millis().max(1))
    }

    /// How the checks of the plan stand.
    pub(super) fn check_status(&self) -> Vec<CheckStatus> {
        let plan = self.check_plan();
        plan.filter_map(|planned| self.check_state(planned))
            .collect()
    }
}

/// Nobody makes a check to the hour: so much later it is overdue. (choice)
fn grace(every: Span) -> Span {
    Span::from_millis(every.millis() / 4).min(DAY)
}
