//! What was truly wrong at a sump, and by when it should have been told.

use sumpward::engine::LimitLevel;
use sumpward::simulate::year::{Channel, FaultKind, Happened, STEP, Truth, stands_still};
use sumpward::units::{Quantity, Span, Timestamp};

use super::kinds::{self, Allowed, Kind, tells};
use super::record::{Limit, Slip, SlipKind, SumpRecord};

/// Limits of hardness and chloride that the settings come with, mg/L.
const MINERALS: (f64, f64) = (400.0, 100.0);
/// A limit is asked for only after it has been passed for so long, h.
const LASTS_H: f64 = 1.0;

/// Something wrong that should be told.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Expected {
    pub(crate) kind: Kind,
    /// When it began.
    pub(crate) from: Timestamp,
    /// When it was over, or the end of the trial.
    pub(crate) until: Timestamp,
    /// From when on it could be seen, if ever.
    pub(crate) seen_from: Option<Timestamp>,
    /// By when it must be told; none where it was over before, or hidden by
    /// another fault that is told by itself.
    pub(crate) deadline: Option<Timestamp>,
}

/// How it was told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Outcome {
    /// In time, so many hours after it could first be seen.
    InTime(f64),
    /// Too late, likewise.
    Late(f64),
    /// Never while it lasted.
    Missed,
    /// It did not last, or could not be seen, and was not told.
    NotAsked,
    /// Likewise, and told all the same.
    Extra(f64),
}

/// Everything wrong at this sump.
pub(crate) fn expected(record: &SumpRecord) -> Vec<Expected> {
    let mut all: Vec<Expected> = record
        .faults
        .iter()
        .map(|fault| of_fault(record, fault))
        .collect();
    let slips = record.slips.iter();
    all.extend(slips.filter_map(|slip| match slip.kind.is_missed_check() {
        true => of_missed_check(record, slip),
        false => of_slip(record, slip),
    }));
    all.extend(of_limits(record));
    all
}

fn of_slip(record: &SumpRecord, slip: &Slip) -> Option<Expected> {
    let allowed = kinds::of_slip(slip)?;
    let until = slip.time + Span::from_millis((2.0 * allowed.hours * 3_600_000.0) as i64);
    let lasts = |_: usize, truth: &Truth| truth.pumps_run;
    let (seen_from, deadline) = due(record, slip.time, until, &allowed, lasts);
    Some(Expected {
        kind: Kind::Slip(slip.kind),
        from: slip.time,
        until,
        seen_from,
        deadline: deadline.filter(|_| !blind(record, slip.time)),
    })
}

/// A check that people leave out is missed once its interval is over and nobody
/// has made it on another occasion; that nobody ever made it is no plan. A
/// stand-still does not count.
fn of_missed_check(record: &SumpRecord, slip: &Slip) -> Option<Expected> {
    let allowed = kinds::of_slip(slip)?;
    let (made, days) = match slip.kind {
        SlipKind::MissedMonthly => (&record.made.minerals, 30),
        _ => (&record.made.slides, 7),
    };
    let last = made.iter().rev().find(|time| **time <= slip.time)?;
    let from = after_work_days(*last, days);
    let next = made.iter().find(|time| **time > slip.time).copied();
    let until = next.unwrap_or(record.end()).min(record.end());
    if from >= until {
        return None;
    }
    let counts = |place: usize, _: &Truth| !stands_still(record.time(place));
    let (seen_from, deadline) = due(record, from, until, &allowed, counts);
    Some(Expected {
        kind: Kind::Slip(slip.kind),
        from,
        until,
        seen_from,
        deadline,
    })
}

/// So many days later, those of stand-stills left out.
pub(crate) fn after_work_days(from: Timestamp, days: i64) -> Timestamp {
    let day = Span::from_hours(24);
    let (mut time, mut left) = (from, days);
    while left > 0 {
        time = time + day;
        left -= i64::from(!stands_still(time));
    }
    time
}

fn over(record: &SumpRecord, fault: &Happened) -> Timestamp {
    fault.over.unwrap_or(record.end())
}

fn of_fault(record: &SumpRecord, fault: &Happened) -> Expected {
    let planned = &fault.planned;
    let until = over(record, fault);
    let allowed = kinds::of_fault(planned, &record.spec);
    let due = allowed.map(|allowed| {
        let sees = |place: usize, truth: &Truth| {
            let hidden = kinds::needs(planned.kind)
                .is_some_and(|channel| is_lost(record, channel, record.time(place), planned.kind));
            kinds::shows(planned.kind, record.time(place), truth, MINERALS)
                && !hidden
                && !truth.held_off
        };
        due(record, planned.from, until, &allowed, sees)
    });
    let (seen_from, deadline) = due.unwrap_or((None, None));
    Expected {
        kind: Kind::Fault(planned.kind),
        from: planned.from,
        until,
        seen_from,
        deadline,
    }
}

/// From when on it shows, and when the hours allowed are over, of those in which
/// it does.
fn due(
    record: &SumpRecord,
    from: Timestamp,
    until: Timestamp,
    allowed: &Allowed,
    shows: impl Fn(usize, &Truth) -> bool,
) -> (Option<Timestamp>, Option<Timestamp>) {
    let step_h = STEP.secs_f64() / 3600.0;
    let grown = from + Span::from_millis((allowed.grown_h * 3_600_000.0) as i64);
    if grown > until {
        return (None, None);
    }
    let (mut left, mut seen_from) = (allowed.hours, None);
    for place in record.place(grown)..=record.place(until) {
        if shows(place, &record.truth[place]) {
            left -= step_h;
            seen_from.get_or_insert(record.time(place));
        }
        if left <= 0.0 {
            return (seen_from, Some(record.time(place)));
        }
    }
    (seen_from, None)
}

/// Whether the instrument tells nothing true at that time, for another reason
/// than `but`.
pub(crate) fn is_lost(
    record: &SumpRecord,
    channel: Channel,
    time: Timestamp,
    but: FaultKind,
) -> bool {
    record.faults.iter().any(|fault| {
        let kind = fault.planned.kind;
        let of_it = match kind {
            FaultKind::BrokerGone => true,
            FaultKind::Frozen(of)
            | FaultKind::Silent(of)
            | FaultKind::Spiking(of)
            | FaultKind::BrokenLoop(of) => of == channel,
            FaultKind::Bubbles | FaultKind::FouledPrism | FaultKind::TrampOil => {
                channel == Channel::Brix
            }
            FaultKind::Foam => channel == Channel::Level,
            _ => false,
        };
        of_it && kind != but && (fault.planned.from..=over(record, fault)).contains(&time)
    })
}

fn blind(record: &SumpRecord, time: Timestamp) -> bool {
    [Channel::Brix, Channel::Level]
        .into_iter()
        .any(|channel| is_lost(record, channel, time, FaultKind::PumpsStopped))
}

/// The instrument that shows a signal.
pub(crate) fn shown_by(signal: Quantity) -> Channel {
    match signal {
        Quantity::Ph => Channel::Ph,
        Quantity::Conductivity => Channel::Conductivity,
        Quantity::Temperature => Channel::Temperature,
        Quantity::Volume | Quantity::Level => Channel::Level,
        _ => Channel::Brix,
    }
}

/// The true value of a signal.
pub(crate) fn value(signal: Quantity, truth: &Truth) -> Option<f64> {
    match signal {
        Quantity::Concentration => Some(truth.nozzle_pct),
        Quantity::Volume => Some(truth.volume_l),
        Quantity::Ph => Some(truth.ph),
        Quantity::Temperature => Some(truth.temperature_c),
        _ => None,
    }
}

/// Whether the true value lies beyond the limit by more than `by`.
pub(crate) fn beyond(limit: &Limit, truth: &Truth, by: f64) -> bool {
    let Some(value) = value(limit.signal, truth) else {
        return false;
    };
    match limit.level.is_low() {
        true => value < limit.threshold - by,
        false => value > limit.threshold + by,
    }
}

/// Stretches in which a signal truly lies beyond a limit by more than it can be
/// measured to. Only the inner limits: the outer ones tell the same later.
fn of_limits(record: &SumpRecord) -> Vec<Expected> {
    let inner = |limit: &&Limit| matches!(limit.level, LimitLevel::Low | LimitLevel::High);
    let mut all = Vec::new();
    for limit in record.limits.iter().filter(inner) {
        let mut since = None;
        for place in 0..=record.truth.len() {
            let truth = record.truth.get(place);
            let out = truth.is_some_and(|truth| {
                // Near the limit it stays the same stretch.
                let by = if since.is_some() {
                    0.0
                } else {
                    limit.uncertainty
                };
                beyond(limit, truth, by)
            });
            match (since, out) {
                (None, true) => since = Some(place),
                (Some(first), false) => {
                    since = None;
                    all.extend(stretch(record, limit, first, place - 1));
                }
                _ => {}
            }
        }
    }
    all
}

fn stretch(record: &SumpRecord, limit: &Limit, first: usize, last: usize) -> Option<Expected> {
    let (from, until) = (record.time(first), record.time(last));
    let lasts_h = (until - from).secs_f64() / 3600.0;
    let channel = shown_by(limit.signal);
    let sees = |place: usize, truth: &Truth| {
        let flows = truth.pumps_run || limit.signal == Quantity::Volume;
        let well = !is_lost(record, channel, record.time(place), FaultKind::PumpsStopped);
        flows && well && !truth.held_off && beyond(limit, truth, limit.uncertainty)
    };
    let (seen_from, deadline) = due(record, from, until, &kinds::OF_LIMIT, sees);
    (lasts_h >= LASTS_H).then(|| Expected {
        kind: Kind::Limit(limit.signal, kinds::is_low(limit.level)),
        from,
        until,
        seen_from,
        deadline,
    })
}

/// How this was told. An alarm that stood already when it began tells it, and
/// one that came in the hour before, by foresight, does so too.
pub(crate) fn outcome(record: &SumpRecord, expected: &Expected) -> Outcome {
    let foresight = match expected.kind {
        Kind::Limit(..) => Span::from_hours(24),
        _ => Span::from_mins(0),
    };
    let stands = |told: &&super::record::Told| {
        let back = told.returned.unwrap_or(record.end());
        let until = expected.until + Span::from_mins(30);
        tells(expected.kind, &told.condition)
            && told.time <= until
            && (told.time >= expected.from - foresight || back >= expected.from)
    };
    let first = record
        .told
        .iter()
        .filter(stands)
        .map(|told| told.time)
        .min();
    let seen_from = expected.seen_from.unwrap_or(expected.from);
    let after = first.map(|time| ((time - seen_from).secs_f64() / 3600.0).max(0.0));
    match (expected.deadline, first.zip(after)) {
        (Some(deadline), Some((time, after))) if time <= deadline => Outcome::InTime(after),
        (Some(_), Some((_, after))) => Outcome::Late(after),
        (Some(_), None) => Outcome::Missed,
        // Told, and so over before anybody could call it late.
        (None, Some((_, after))) if expected.seen_from.is_some() => Outcome::InTime(after),
        (None, Some((_, after))) => Outcome::Extra(after),
        (None, None) => Outcome::NotAsked,
    }
}
