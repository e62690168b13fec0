//! The checks of the plan: made, and missed.

use crate::alarm::performance::{Occurrence, Period};
use crate::engine::{Entry, SumpSetup, check_made_by};
use crate::rules::{Check, PlannedCheck, Rule};
use crate::units::{Span, Timestamp};

use super::book::Written;

/// One check over a period.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckMade {
    /// The check.
    pub check: Check,
    /// How often the plan wants it; nothing where it does not.
    pub every: Option<Span>,
    /// How often it was made.
    pub made: usize,
    /// When it was made last in the period.
    pub last: Option<Timestamp>,
    /// The longest time between two of them, and between them and the period's
    /// ends; nothing where it was never made.
    pub longest: Option<Span>,
    /// How often it became overdue.
    pub missed: usize,
    /// For how long it was overdue.
    pub overdue: Span,
    /// Whether it was overdue when the period ended.
    pub still: bool,
}

/// The checks that the plan wants or that somebody made.
pub fn checks(
    setup: &SumpSetup,
    period: Period,
    written: &[Written],
    alarms: &[&Occurrence],
) -> Vec<CheckMade> {
    let plan = |check: Check| {
        setup.rules.iter().find_map(|one| match &one.rule {
            Rule::Overdue(planned) if planned.check == check => Some(planned),
            _ => None,
        })
    };
    let each = Check::ALL.into_iter().filter_map(|check| {
        let entries = written.iter().map(|one| &one.entry);
        let made: Vec<&Entry> = entries
            .filter(|entry| check_made_by(&entry.kind) == Some(check))
            .collect();
        let planned = plan(check);
        // A check that counts once it is made is not asked of those who never do.
        let asked = planned.filter(|planned| !made.is_empty() || counts(planned, alarms));
        (asked.is_some() || !made.is_empty()).then(|| one(check, asked, period, &made, alarms))
    });
    each.collect()
}

fn counts(planned: &PlannedCheck, alarms: &[&Occurrence]) -> bool {
    use crate::rules::Begins;
    planned.begins != Begins::OnceMade || overdue(planned.check, alarms).next().is_some()
}

fn overdue<'a>(check: Check, alarms: &'a [&'a Occurrence]) -> impl Iterator<Item = &'a Occurrence> {
    let is_it = move |one: &&&Occurrence| {
        one.alarm.condition.strip_prefix("overdue.") == Some(check.name())
    };
    alarms.iter().filter(is_it).copied()
}

fn one(
    check: Check,
    planned: Option<&PlannedCheck>,
    period: Period,
    made: &[&Entry],
    alarms: &[&Occurrence],
) -> CheckMade {
    let times = made.iter().map(|entry| entry.time);
    let points: Vec<Timestamp> = [period.from]
        .into_iter()
        .chain(times)
        .chain([period.to])
        .collect();
    let between = points.windows(2).map(|pair| pair[1] - pair[0]);
    let late: Vec<(Timestamp, Timestamp, bool)> = overdue(check, alarms)
        .map(|one| {
            let ended = one.ended.filter(|ended| *ended < period.to);
            (one.raised, ended.unwrap_or(period.to), ended.is_none())
        })
        .collect();
    let within = late.iter().map(|(from, to, _)| {
        let length = (*to).min(period.to) - (*from).max(period.from);
        length.millis().max(0)
    });
    CheckMade {
        check,
        every: planned.map(|planned| planned.every),
        made: made.len(),
        last: made.last().map(|entry| entry.time),
        longest: (!made.is_empty()).then(|| between.max()).flatten(),
        missed: late
            .iter()
            .filter(|(raised, ..)| period.has(*raised))
            .count(),
        overdue: Span::from_millis(within.sum()),
        still: late.iter().any(|(_, _, still)| *still),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::Priority;
    use crate::alarm::performance::AlarmName;
    use crate::engine::EntryKind;
    use crate::settings::Settings;
    use crate::units::Quantity;

    fn at(days: i64) -> Timestamp {
        Timestamp::from_millis(days * 86_400_000)
    }

    fn ph(days: i64) -> Written {
        Written {
            entry: Entry {
                id: days.to_string(),
                time: at(days),
                sump: "s0".to_owned(),
                by: None,
                supersedes: None,
                kind: EntryKind::HandReading {
                    quantity: Quantity::Ph,
                    value: 9.0,
                    method: None,
                    mixer: None,
                    written: None,
                },
            },
            late: false,
        }
    }

    fn overdue(raised: i64, ended: Option<i64>) -> Occurrence {
        Occurrence {
            alarm: AlarmName {
                sump: "s0".into(),
                condition: "overdue.ph".into(),
            },
            priority: Priority::Low,
            raised: at(raised),
            acknowledged: None,
            ended: ended.map(at),
            hidden: false,
        }
    }

    /// In thirty days pH was measured on the 5th and the 12th; it was overdue from
    /// before to the 5th, and from the 28th on.
    #[test]
    fn what_was_made_and_what_was_missed() {
        let config = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let settings = Settings::load(&config, std::iter::empty()).unwrap();
        let alarms = [overdue(-2, Some(5)), overdue(28, None)];
        let alarms: Vec<&Occurrence> = alarms.iter().collect();
        let period = Period::new(at(0), at(30));
        let made = checks(&settings.sumps[0], period, &[ph(5), ph(12)], &alarms);
        let one = made.iter().find(|one| one.check == Check::Ph).unwrap();
        assert_eq!((one.made, one.last), (2, Some(at(12))));
        assert_eq!(one.longest, Some(at(30) - at(12)));
        // That of before was missed before.
        assert_eq!((one.missed, one.still), (1, true));
        assert_eq!(one.overdue, at(7) - at(0));
        assert!(one.every.is_some());
        // Nobody ever read a dip slide, and nobody asks for one.
        assert!(made.iter().all(|one| one.check != Check::DipSlide));
    }
}
