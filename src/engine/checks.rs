//! The memory of the check plan: when each check was last made, and how nitrite
//! stood.

use std::collections::{BTreeMap, VecDeque};

use serde::{Deserialize, Serialize};

use crate::rules::{Check, PlannedCheck};
use crate::units::Timestamp;

use super::entry::{EntryKind, HappeningKind};
use super::nitrite_run::NitriteRun;
use crate::units::Quantity;

/// So many times are kept of each check. Choice: a correction is made soon.
const KEPT: usize = 4;

/// When the checks of the plan were made.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct CheckMemory {
    /// Since when each check is in the plan.
    since: BTreeMap<Check, Timestamp>,
    /// The newest times that each was made, in order.
    made: BTreeMap<Check, VecDeque<Made>>,
    nitrite: NitriteRun,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Made {
    time: Timestamp,
    entry: String,
}

impl CheckMemory {
    /// Follows the plan: what is new in it counts from now on, what has left it
    /// is begun anew should it come back.
    pub(super) fn follow(&mut self, plan: &[PlannedCheck], now: Timestamp) {
        let planned = |check: &Check| plan.iter().any(|one| one.check == *check);
        self.since.retain(|check, _| planned(check));
        for one in plan {
            self.since.entry(one.check).or_insert(now);
        }
    }

    /// What an entry did of the plan at `time`.
    pub(super) fn note(&mut self, entry: &str, kind: &EntryKind, time: Timestamp) {
        let Some(check) = check_made_by(kind) else {
            return;
        };
        let made = self.made.entry(check).or_default();
        if made.iter().any(|one| one.entry == entry) {
            return;
        }
        let place = made.partition_point(|one| one.time <= time);
        made.insert(
            place,
            Made {
                time,
                entry: entry.to_owned(),
            },
        );
        if made.len() > KEPT {
            made.pop_front();
        }
        match kind {
            EntryKind::HandReading { value, .. } if check == Check::Nitrite => {
                self.nitrite.read(entry, time, *value);
            }
            EntryKind::Event {
                what: HappeningKind::Recharged,
                ..
            } => self.nitrite = NitriteRun::default(),
            _ => {}
        }
    }

    /// The entry does not stand any more.
    pub(super) fn forget(&mut self, entry: &str) {
        for made in self.made.values_mut() {
            made.retain(|one| one.entry != entry);
        }
        self.nitrite.forget(entry);
    }

    /// Since when the check is in the plan.
    pub(super) fn since(&self, check: Check) -> Option<Timestamp> {
        self.since.get(&check).copied()
    }

    /// When the check was last made.
    pub(super) fn last(&self, check: Check) -> Option<Timestamp> {
        self.made.get(&check)?.back().map(|made| made.time)
    }

    /// Whether nitrite may be measured less often.
    pub(super) fn nitrite_is_stretched(&self) -> bool {
        self.nitrite.is_stretched()
    }
}

/// The check that an entry makes. A concentration counts however it was
/// measured; a sump that was filled anew was cleaned out before.
pub fn check_made_by(kind: &EntryKind) -> Option<Check> {
    match kind {
        EntryKind::HandReading { mixer: Some(_), .. } => Some(Check::Mixer),
        EntryKind::HandReading { quantity, .. } => match quantity {
            Quantity::Brix | Quantity::Concentration => Some(Check::Concentration),
            Quantity::Ph => Some(Check::Ph),
            Quantity::Nitrite => Some(Check::Nitrite),
            Quantity::Bacteria | Quantity::Fungi => Some(Check::DipSlide),
            Quantity::Conductivity => Some(Check::Conductivity),
            Quantity::Hardness => Some(Check::Hardness),
            Quantity::Chloride => Some(Check::Chloride),
            Quantity::TrampOil => Some(Check::TrampOil),
            _ => None,
        },
        EntryKind::Impression { .. } => Some(Check::Look),
        EntryKind::Event { what, .. } => match what {
            HappeningKind::Cleaned | HappeningKind::Recharged => Some(Check::CleanOut),
            HappeningKind::WaterMeasured => Some(Check::MakeUpWater),
            _ => None,
        },
        _ => None,
    }
}
