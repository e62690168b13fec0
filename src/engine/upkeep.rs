//! What was found out about the work of people: doses that missed, entries that
//! the readings contradict, mixers that are off.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::advice::MixerCheck;
use crate::model::{Movement, Origin};
use crate::rules::own::OwnEntry;
use crate::units::{Quantity, Span, Timestamp};

use super::balance_watch::EMPTIED;
use super::checks::CheckMemory;

/// A dose that missed is let go after this even if nobody looked into it: the
/// sump is another by then. (choice)
const LET_GO: Span = Span::from_hours(72);

/// An entry that is contradicted is looked into on the same day, or stands in the
/// journal. (choice: its off-delay is over before the alarm is a day old)
const LOOKED_INTO: Span = Span::from_hours(23);

/// A mixer is off once it gives so much more or less than it is set to, as a
/// share. Choice: twice what the lot of a concentrate moves a refractive factor
/// by.
const OFF: f64 = 0.1;

/// An entry is looked into when it is off by more than this share of itself and
/// of the working volume, or when its concentrate would move the concentration
/// by more than these points. Choice: more than careless pouring, and than a film
/// moves the refractometer by while the step is told.
const ODD_SHARE: f64 = 0.2;
const ODD_VOLUME: f64 = 0.015;
const ODD_STRENGTH_PCT: f64 = 0.5;

/// The memory of upkeep.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Upkeep {
    missed: Option<Missed>,
    contradicted: Option<Contradicted>,
    mixers: BTreeMap<String, MixerSeen>,
    /// When each kind of entry last came, by its word.
    entered: BTreeMap<String, Timestamp>,
    pub(super) checks: CheckMemory,
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

/// Whether somebody should look into an entry that the readings contradict: it
/// is so far off that it cannot be the care of pouring. By the strength only
/// where that shows; and who empties the sump lets out what was in it, whatever
/// that was.
fn matters(
    movement: &Movement,
    (litres, strength): (f64, f64),
    (working_l, strength_shows): (f64, bool),
) -> bool {
    if litres < -EMPTIED * working_l {
        return false;
    }
    let seen = movement.litres.value;
    let by_litres = (seen - litres).abs() > (ODD_SHARE * litres.abs()).max(ODD_VOLUME * working_l);
    let concentrate = |litres: f64, strength: f64| litres * strength / 100.0;
    let by_strength = movement.strength_pct.is_some_and(|seen_strength| {
        // Nothing thinner than water is poured: that is the refractometer.
        let seen = concentrate(seen, seen_strength.value.clamp(0.0, 100.0));
        let apart = seen - concentrate(litres, strength);
        apart.abs() > ODD_STRENGTH_PCT / 100.0 * working_l
    });
    by_litres || (by_strength && strength_shows)
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

    /// The ledger told of a movement, in a sump of so many litres, and whether its
    /// strength shows.
    pub(super) fn moved(&mut self, movement: &Movement, told_at: Timestamp, of: (f64, bool)) {
        if let Origin::Contradicted {
            entries,
            logged_litres,
            logged_strength_pct,
        } = &movement.origin
            && matters(movement, (*logged_litres, *logged_strength_pct), of)
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

    /// An entry of this kind came.
    pub(super) fn entered(&mut self, kind: OwnEntry, time: Timestamp) {
        match self.entered.get_mut(kind.name()) {
            Some(last) => *last = time.max(*last),
            None => {
                self.entered.insert(kind.name().to_owned(), time);
            }
        }
    }

    /// When an entry of this kind last came.
    pub(super) fn last_entered(&self, kind: OwnEntry) -> Option<Timestamp> {
        self.entered.get(kind.name()).copied()
    }

    pub(super) fn missed(&self, now: Timestamp) -> Option<&Missed> {
        let missed = self.missed.as_ref();
        missed.filter(|missed| now - missed.time < LET_GO)
    }

    pub(super) fn contradicted(&self, now: Timestamp) -> Option<&Contradicted> {
        let one = self.contradicted.as_ref();
        one.filter(|one| now - one.time < LOOKED_INTO)
    }

    /// The mixers that were read, by name.
    pub(super) fn mixers(&self) -> impl Iterator<Item = &MixerSeen> {
        self.mixers.values()
    }
}
