//! Whether an alarm was true.
//!
//! An alarm about a limit is true if the signal truly lay beyond it, give or
//! take the expanded uncertainty of the measurement, within half an hour of
//! the alarm: it is not enough that some fault was about. Any other alarm is
//! true if something of a kind that it tells of was there, or had been within
//! the last hours, or if what it says of the signal holds by itself.

use sumpward::engine::LimitLevel;
use sumpward::simulate::year::{Channel, FaultKind, Happened, SOFT, Truth};
use sumpward::units::{Span, Timestamp};

use super::expected::{after_work_days, beyond, is_lost};
use super::kinds::{Kind, Words, quantity_of, tells};
use super::record::{Limit, SlipKind, SumpRecord, Told};

/// What an alarm was worth.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Verdict {
    /// It told what was so.
    True,
    /// It told what was so, and was one of several that told the same cause.
    Repeated,
    /// It told what was not so; with the fault that misled it, if one was
    /// about.
    False(String),
}

/// How long after a fault was over an alarm may still be about it.
const AFTERMATH: Span = Span::from_hours(2);
/// How far around its time a limit may have been passed.
const AROUND: Span = Span::from_mins(30);

/// What this alarm was worth.
pub(crate) fn verdict(record: &SumpRecord, told: &Told) -> Verdict {
    if holds(record, told) {
        let silent = told.condition.starts_with("silent.");
        let broker = record.faults.iter().any(|fault| {
            fault.planned.kind == FaultKind::BrokerGone && was_there(record, fault, told.time)
        });
        return match silent && broker {
            true => Verdict::Repeated,
            false => Verdict::True,
        };
    }
    Verdict::False(misled_by(record, told))
}

fn was_there(record: &SumpRecord, fault: &Happened, time: Timestamp) -> bool {
    let over = fault.over.unwrap_or(record.end()) + AFTERMATH;
    (fault.planned.from..=over).contains(&time)
}

fn holds(record: &SumpRecord, told: &Told) -> bool {
    if let Some(limit) = limit_of(record, &told.condition) {
        let around = record.between(told.time - AROUND, told.time + AROUND);
        // What is in the tank reaches the instruments only as it mixes.
        let unmixed = |truth: &Truth| Truth {
            nozzle_pct: truth.concentration_pct,
            ..*truth
        };
        return around.iter().any(|truth| {
            beyond(limit, truth, -limit.uncertainty)
                || beyond(limit, &unmixed(truth), -limit.uncertainty)
        });
    }
    by_fault(record, told) || by_slip(record, told) || by_itself(record, told)
}

/// The limit that a condition such as `concentration.low` names.
fn limit_of<'a>(record: &'a SumpRecord, condition: &str) -> Option<&'a Limit> {
    let (signal, level) = condition.split_once('.')?;
    record
        .limits
        .iter()
        .find(|limit| limit.signal.to_string() == signal && limit.level.name() == level)
}

fn by_fault(record: &SumpRecord, told: &Told) -> bool {
    record.faults.iter().any(|fault| {
        tells(Kind::Fault(fault.planned.kind), &told.condition)
            && was_there(record, fault, told.time)
    })
}

fn by_slip(record: &SumpRecord, told: &Told) -> bool {
    record.slips.iter().any(|slip| {
        let lasts = match slip.kind {
            // Whether it was missed is seen from when it was made.
            SlipKind::MissedWeekly | SlipKind::MissedMonthly => return false,
            _ => Span::from_hours(48),
        };
        tells(Kind::Slip(slip.kind), &told.condition)
            && (slip.time..=slip.time + lasts).contains(&told.time)
    })
}

/// What the truth itself says of it.
fn by_itself(record: &SumpRecord, told: &Told) -> bool {
    let words = Words::of(&told.condition);
    let has = |word: &str| words.has(word);
    let at = record.place(told.time);
    let Some(truth) = record.truth.get(at) else {
        return false;
    };
    if has("disagrees") || (has("instrument") && !has("silent")) {
        // An instrument whose zero is truly off by most of what a hand reading
        // may differ.
        // The truth is noted after the crew's work of the same step, which may
        // have set it right at once.
        let place = Channel::GAUGES.into_iter().position(|one| has(one.name()));
        let allowed = [0.2, 0.2, 140.0, 1.5, 0.014];
        let before = &record.truth[at.saturating_sub(1)];
        let is_off = |truth: &Truth, place: usize| truth.off[place].abs() > allowed[place];
        return place.is_some_and(|place| is_off(truth, place) || is_off(before, place));
    }
    if has("overdue") {
        return is_overdue(record, told);
    }
    if has("hardness") || has("chloride") {
        // The settings' bounds, less a tenth.
        let (hardness, chloride) = if told.condition.ends_with("high_high") {
            (720.0, 180.0)
        } else {
            (360.0, 90.0)
        };
        return (has("hardness") && truth.hardness_mg_l > hardness)
            || (has("chloride") && truth.chloride_mg_l > chloride);
    }
    if has("excess") {
        let ratio = conductivity_ratio(record, truth);
        return ratio
            > if told.condition.ends_with("high") {
                1.8
            } else {
                1.35
            };
    }
    if has("souring") {
        return record.spec.product.fresh_ph - truth.ph > 0.4;
    }
    if has("dose") {
        // It did not lead where it should.
        return (truth.nozzle_pct - record.spec.product.target_pct).abs() > 0.5;
    }
    if has("pumps") {
        return !truth.pumps_run;
    }
    if has("ahead") {
        return comes_true(record, told, words);
    }
    false
}

/// Whether that check was truly not made for as long as the plan says, a
/// stand-still left out.
fn is_overdue(record: &SumpRecord, told: &Told) -> bool {
    let of_month = ["hardness", "chloride", "tramp_oil", "conductivity"];
    let made = &record.made;
    let (made, days) = match of_month.iter().any(|one| told.condition.ends_with(one)) {
        true => (&made.minerals, 30),
        false if told.condition.ends_with("dip_slide") => (&made.slides, 7),
        false => (&made.rounds, 7),
    };
    let before = made.iter().rev().find(|time| **time < told.time);
    before.is_some_and(|last| after_work_days(*last, days) <= told.time)
}

/// Conductivity by what is in the mix, over that with fresh soft water.
fn conductivity_ratio(record: &SumpRecord, truth: &Truth) -> f64 {
    let product = &record.spec.product;
    let of = |hardness: f64, chloride: f64| {
        product.conductivity_per_pct * truth.nozzle_pct + 2.0 * hardness + 2.8 * chloride
    };
    of(truth.hardness_mg_l, truth.chloride_mg_l) / of(SOFT.hardness, SOFT.chloride)
}

/// Foresight holds if the limit was truly reached within two days, or people
/// did something about the sump in that time.
fn comes_true(record: &SumpRecord, told: &Told, words: Words<'_>) -> bool {
    let soon = told.time + Span::from_hours(48);
    let handled = record
        .handled
        .iter()
        .any(|time| (told.time..=soon).contains(time));
    let limits = record.limits.iter().filter(|limit| {
        let inner = matches!(limit.level, LimitLevel::Low | LimitLevel::High);
        inner && words.has(&limit.signal.to_string()) && words.has(limit.level.name())
    });
    let mut limits = limits.peekable();
    let reached = limits.any(|limit| {
        let later = record.between(told.time, soon);
        later
            .iter()
            .any(|truth| beyond(limit, truth, -limit.uncertainty))
    });
    reached || handled
}

/// The fault that was about, for the table.
fn misled_by(record: &SumpRecord, told: &Told) -> String {
    let there: Vec<FaultKind> = record
        .faults
        .iter()
        .filter(|fault| was_there(record, fault, told.time))
        .map(|fault| fault.planned.kind)
        .collect();
    let handled = record
        .handled
        .iter()
        .any(|time| (*time..=*time + Span::from_hours(6)).contains(&told.time));
    let lost = Channel::GAUGES.into_iter().find(|channel| {
        tells(Kind::Limit(quantity_of(*channel), true), &told.condition)
            | tells(Kind::Limit(quantity_of(*channel), false), &told.condition)
            && is_lost(record, *channel, told.time, FaultKind::PumpsStopped)
    });
    match (lost, there.first(), handled) {
        (Some(_), Some(kind), _) | (None, Some(kind), false) => Kind::Fault(*kind).to_string(),
        (_, _, true) => "after work".to_owned(),
        _ => "nothing".to_owned(),
    }
}
