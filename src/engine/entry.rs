//! What people write down.

use serde::{Deserialize, Serialize};

use crate::rules::own::OwnEntry;
use crate::units::{Quantity, Timestamp};

/// What a person wrote down, as the journal keeps it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Distinguishes this entry from any other of the sump; the same id given
    /// twice counts once. Made from the content where the writer gave none.
    pub id: String,
    /// When it was so.
    pub time: Timestamp,
    /// The sump it is about.
    pub sump: String,
    /// Who wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// The entry in whose place this one stands. That one stays in the journal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<String>,
    /// What was written.
    #[serde(flatten)]
    pub kind: EntryKind,
}

/// The kinds of entry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum EntryKind {
    /// A value taken by hand.
    HandReading {
        /// What was measured.
        quantity: Quantity,
        /// The value in the quantity's unit.
        value: f64,
        /// How it was measured.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        method: Option<Method>,
        /// The mixer at whose outlet it was measured; none for the sump itself.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mixer: Option<String>,
        /// The number and unit that were written, where that was another unit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        written: Option<String>,
    },
    /// What nose and eyes say.
    Impression {
        /// The smell.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        smell: Option<Smell>,
        /// The look; several may hold.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        look: Vec<Look>,
        /// Words about it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        text: Option<String>,
    },
    /// Something was put in.
    Addition {
        /// What was put in.
        what: AdditionKind,
        /// How much, L.
        litres: f64,
        /// Strength of a premix, % by volume.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        strength_pct: Option<f64>,
        /// Which water: tap, purified, that of the east hall.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        water: Option<String>,
        /// The advice that was followed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        advice: Option<String>,
    },
    /// Something was done to the sump or an instrument.
    Event {
        /// What happened.
        what: HappeningKind,
        /// How much was drained or refilled, L, where that matters.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        litres: Option<f64>,
        /// The channel whose probe was touched.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        channel: Option<String>,
        /// The advice that was followed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        advice: Option<String>,
    },
    /// Free words.
    Note {
        /// The words.
        text: String,
    },
    /// A person has seen an alarm and takes it on.
    Acknowledge {
        /// The alarm's id.
        alarm: String,
    },
    /// An alarm is set aside for a time.
    Shelve {
        /// The alarm's id or name.
        alarm: String,
        /// For how long, h.
        hours: f64,
        /// Why.
        reason: String,
    },
    /// And is no longer.
    Unshelve {
        /// The alarm's id or name.
        alarm: String,
    },
    /// An alarm is taken out of service until somebody puts it back.
    OutOfService {
        /// The alarm's id or name.
        alarm: String,
        /// Why.
        reason: String,
    },
    /// And is put back.
    InService {
        /// The alarm's id or name.
        alarm: String,
    },
    /// A latched alarm that was acknowledged is let go.
    Reset {
        /// The alarm's id or name.
        alarm: String,
    },
    /// The superseded entry is taken back, and nothing stands in its place.
    Withdrawn {
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        text: Option<String>,
    },
}

/// How a value was taken by hand. The methods differ, each in its own way:
/// titration does not see tramp oil, which a refractometer reads as strength.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// A hand refractometer.
    Refractometer,
    /// Titration beside the machine.
    Titration,
    /// A laboratory.
    Laboratory,
    /// A test strip or indicator stick.
    TestStrip,
    /// A hand-held meter with a probe.
    Meter,
    /// A dip slide.
    DipSlide,
}

/// How it smells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Smell {
    /// As when it was fresh.
    Fresh,
    /// Stale, when one comes near.
    Stale,
    /// Bad, from afar.
    Bad,
    /// Of rotten eggs.
    Rotten,
}

/// How it looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Look {
    /// As when it was fresh.
    Fresh,
    /// Of another colour.
    Discoloured,
    /// Full of fines.
    Dirty,
    /// With foam that stays.
    Foam,
    /// With oil on the surface.
    OilFilm,
    /// Split: oil or cream apart from the water.
    Split,
    /// With slime or flakes.
    Slime,
}

/// What an addition consisted of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AdditionKind {
    /// Water alone.
    Water,
    /// Concentrate as delivered.
    Concentrate,
    /// Concentrate mixed into water beforehand.
    Premix,
}

/// What was done to a sump or an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HappeningKind {
    /// Mix was let out.
    Drained,
    /// The sump was cleaned out.
    Cleaned,
    /// The sump was filled anew.
    Recharged,
    /// Tramp oil was skimmed off.
    Skimmed,
    /// A probe was cleaned.
    ProbeCleaned,
    /// A probe was calibrated.
    ProbeCalibrated,
    /// The circulation pumps were started.
    PumpsOn,
    /// The circulation pumps were stopped.
    PumpsOff,
    /// The make-up water was measured, or the waterworks asked.
    WaterMeasured,
}

impl EntryKind {
    /// The advice that it says was followed.
    pub(super) fn advice(&self) -> Option<&str> {
        match self {
            EntryKind::Addition { advice, .. } => advice.as_deref(),
            EntryKind::Event {
                what: HappeningKind::Drained | HappeningKind::Recharged,
                advice,
                ..
            } => advice.as_deref(),
            _ => None,
        }
    }

    /// What rules of a plant's own call it.
    pub(super) fn as_asked_for(&self) -> Option<OwnEntry> {
        Some(match self {
            EntryKind::HandReading { .. } => OwnEntry::HandReading,
            EntryKind::Impression { .. } => OwnEntry::Impression,
            EntryKind::Addition { .. } => OwnEntry::Addition,
            EntryKind::Note { .. } => OwnEntry::Note,
            EntryKind::Event { what, .. } => match what {
                HappeningKind::Drained => OwnEntry::Drained,
                HappeningKind::Cleaned => OwnEntry::Cleaned,
                HappeningKind::Recharged => OwnEntry::Recharged,
                HappeningKind::Skimmed => OwnEntry::Skimmed,
                HappeningKind::ProbeCleaned => OwnEntry::ProbeCleaned,
                HappeningKind::ProbeCalibrated => OwnEntry::ProbeCalibrated,
                HappeningKind::PumpsOn | HappeningKind::PumpsOff | HappeningKind::WaterMeasured => {
                    return None;
                }
            },
            _ => return None,
        })
    }

    /// The alarm that it shelves, resets, takes out of service or brings back,
    /// by id or name.
    pub(super) fn alarm_called(&self) -> Option<&str> {
        match self {
            EntryKind::Shelve { alarm, .. }
            | EntryKind::Unshelve { alarm }
            | EntryKind::OutOfService { alarm, .. }
            | EntryKind::InService { alarm }
            | EntryKind::Reset { alarm } => Some(alarm),
            _ => None,
        }
    }

    /// Whether the sump must mix after it.
    pub(super) fn stirs(&self) -> bool {
        matches!(
            self,
            EntryKind::Addition { .. }
                | EntryKind::Event {
                    what: HappeningKind::Drained | HappeningKind::Recharged,
                    ..
                }
        )
    }
}
