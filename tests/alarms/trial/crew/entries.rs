//! What the crew writes down.

use sumpward::engine::{AdditionKind, EntryKind, HappeningKind, Look, Method, Smell};
use sumpward::simulate::year::{FaultKind, Smells, YearSump};
use sumpward::units::{Quantity, Timestamp};

/// A shelf lasts for so long beyond what is planned, h: emptying, cleaning and
/// filling takes as long.
const SHELVED_BEYOND_H: f64 = 4.0;

pub(super) fn value_of(kind: &EntryKind) -> f64 {
    match kind {
        EntryKind::HandReading { value, .. } => *value,
        _ => f64::NAN,
    }
}

pub(super) fn brix_by_hand(sump: &mut YearSump) -> EntryKind {
    by_hand(Quantity::Brix, sump.hand_brix(), Method::Refractometer)
}

pub(super) fn by_hand(quantity: Quantity, value: f64, method: Method) -> EntryKind {
    EntryKind::HandReading {
        quantity,
        value,
        method: Some(method),
        mixer: None,
        written: None,
    }
}

pub(super) fn minerals_by_hand(sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
    let (hardness, chloride) = sump.hand_minerals();
    entries.push(by_hand(Quantity::Hardness, hardness, Method::TestStrip));
    entries.push(by_hand(Quantity::Chloride, chloride, Method::TestStrip));
}

pub(super) fn impression(sump: &YearSump) -> EntryKind {
    let smell = match sump.smells() {
        Smells::Fresh => Smell::Fresh,
        Smells::Stale => Smell::Stale,
        Smells::Bad => Smell::Bad,
    };
    let mut look = Vec::new();
    if sump.has(FaultKind::Foam) {
        look.push(Look::Foam);
    }
    if sump.has(FaultKind::TrampOil) {
        look.push(Look::OilFilm);
    }
    EntryKind::Impression {
        smell: Some(smell),
        look,
        text: None,
    }
}

pub(super) fn shelve_until_changed(condition: &str, now: Timestamp, due: Timestamp) -> EntryKind {
    let hours = (due - now).secs_f64().max(0.0) / 3600.0 + SHELVED_BEYOND_H;
    shelve(condition, hours, &format!("the sump is changed at {due}"))
}

pub(super) fn shelve(condition: &str, hours: f64, reason: &str) -> EntryKind {
    EntryKind::Shelve {
        alarm: condition.to_owned(),
        hours,
        reason: reason.to_owned(),
    }
}

pub(super) fn foam() -> EntryKind {
    EntryKind::Impression {
        smell: None,
        look: vec![Look::Foam],
        text: None,
    }
}

pub(crate) fn event(what: HappeningKind, litres: Option<f64>, channel: Option<&str>) -> EntryKind {
    EntryKind::Event {
        what,
        litres,
        channel: channel.map(str::to_owned),
        advice: None,
    }
}

pub(super) fn addition(litres: f64, strength_pct: f64, advice: Option<&str>) -> EntryKind {
    let what = match strength_pct {
        s if s <= 0.0 => AdditionKind::Water,
        s if s >= 100.0 => AdditionKind::Concentrate,
        _ => AdditionKind::Premix,
    };
    EntryKind::Addition {
        what,
        litres,
        strength_pct: (what == AdditionKind::Premix).then_some(strength_pct),
        water: None,
        advice: advice.map(str::to_owned),
    }
}
