//! What was found out about the work of people: doses that missed, entries that
//! the readings contradict, mixers that are off.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::advice::MixerCheck;
use crate::model::{Movement, Origin};
use crate::units::{Quantity, Span, Timestamp};

/// A dose that missed, or an entry that is contradicted, is let go after this
/// even if nobody looked into it: the sump is another by then. (choice)
const LET_GO: Span = Span::from_hours(72);

/// A mixer is off once it gives so much more or less than it is set to, as a
/// share. Choice: twice what the lot of a concentrate moves a refractive factor
/// by.
const OFF: f64 = 0.1;

/// The memory of upkeep.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Upkeep {
    missed: Option<Missed>,
    contradicted: Option<Contradicted>,
    mixers: BTreeMap<String, MixerSeen>,
}

/// A dose that did not bring what was reckoned.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Missed {
    pub(super) time: Timestamp,
    /// By how many points.
    pub(super) deviation_pct: f64,
}

/// An entry that the readings contradict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Contradicted {
    pub(super) entries: Vec<String>,
    pub(super) time: Timestamp,
    /// What was seen, L.
    pub(super) litres: f64,
    /// What was written down, L.
    pub(super) logged_litres: f64,
}

/// What a mixer gave when it was last read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct MixerSeen {
    pub(super) time: Timestamp,
    pub(super) got_pct: f64,
    pub(super) setting_pct: f64,
    pub(super) off: bool,
}

impl Upkeep {
    /// What came of a dose; nothing where it could not be judged.
    pub(super) fn dose_judged(&mut self, time: Timestamp, as_expected: Option<bool>, off: f64) {
        match as_expected {
            Some(false) => {
                self.missed = Some(Missed {
                    time,
                    deviation_pct: off,
                });
            }
            Some(true) => self.missed = None,
            None => {}
        }
    }

    /// Somebody read the concentration by hand.
    pub(super) fn read_by_hand(&mut self, quantity: Quantity) {
        if matches!(quantity, Quantity::Brix | Quantity::Concentration) {
            self.missed = None;
        }
    }

    /// The ledger told of a movement.
    pub(super) fn moved(&mut self, movement: &Movement, told_at: Timestamp) {
        if let Origin::Contradicted {
            entries,
            logged_litres,
            ..
        } = &movement.origin
        {
            self.contradicted = Some(Contradicted {
                entries: entries.clone(),
                time: told_at,
                litres: movement.litres.value,
                logged_litres: *logged_litres,
            });
        }
    }

    /// An entry was superseded.
    pub(super) fn superseded(&mut self, entry: &str) {
        let names = |one: &mut Contradicted| one.entries.iter().any(|named| named == entry);
        self.contradicted.take_if(names);
    }

    /// The outlet of a mixer was read.
    pub(super) fn mixer_read(&mut self, time: Timestamp, check: &MixerCheck) {
        let apart = (check.got_pct.value - check.setting_pct).abs();
        let seen = MixerSeen {
            time,
            got_pct: check.got_pct.value,
            setting_pct: check.setting_pct,
            off: (check.ratio() - 1.0).abs() > OFF && apart > 2.0 * check.got_pct.uncertainty,
        };
        self.mixers.insert(check.mixer.clone(), seen);
    }

    pub(super) fn missed(&self, now: Timestamp) -> Option<&Missed> {
        let missed = self.missed.as_ref();
        missed.filter(|missed| now - missed.time < LET_GO)
    }

    pub(super) fn contradicted(&self, now: Timestamp) -> Option<&Contradicted> {
        let one = self.contradicted.as_ref();
        one.filter(|one| now - one.time < LET_GO)
    }

    /// The mixers that were read, by name.
    pub(super) fn mixers(&self) -> impl Iterator<Item = &MixerSeen> {
        self.mixers.values()
    }
}
