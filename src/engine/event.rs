//! What can happen to a sump, and what its watch can want done.

use serde::{Deserialize, Serialize};

use crate::units::{Span, Timestamp};

use super::entry::Entry;
use super::journal::JournalRecord;
use super::status::SumpStatus;

/// Everything that can happen to one sump.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// An instrument reported.
    Reading(Reading),
    /// A value of a channel that was true at an unknown time before: what a
    /// broker had retained, say. It stands in until the channel reports.
    Baseline {
        /// Place of the channel.
        channel: u16,
        /// The value as the instrument reported it, in the unit that it reports
        /// in (mA on a loop).
        value: f64,
    },
    /// Something other than a reading was heard of a channel.
    Trouble(Trouble),
    /// A person wrote something down; with the time it reached us.
    Entry(Box<Entry>, Timestamp),
    /// A person's entry out of history, with the time it reached us: it is kept
    /// in the journal as late and changes nothing.
    PastEntry(Box<Entry>, Timestamp),
    /// The clock reached a point of the grid.
    Tick(Timestamp),
}

/// What was heard of a channel instead of a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// Place of the channel.
    pub channel: u16,
    /// When it was so.
    pub time: Timestamp,
    /// What was heard.
    pub kind: TroubleKind,
}

/// What can be heard of a channel instead of a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TroubleKind {
    /// Its source says that the instrument is gone: the channel is silent at
    /// once, until it reports again.
    Gone,
    /// Its source has been lost, or (false) is there again. Whether the channel
    /// is silent is told by time as ever; but that is then one cause with others.
    SourceGone(bool),
    /// So many messages could not be read, and why not the last one.
    Unreadable {
        /// How many since the last time this was told.
        count: u32,
        /// Why.
        why: String,
    },
}

/// What a reading's number stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// What the instrument reports: its loop and calibration are still to be
    /// applied.
    Reported,
    /// The value in the channel's unit, as it is stored.
    Settled,
}

/// One value of a channel as it came in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Place of the channel in [`super::SumpSetup::channels`].
    pub channel: u16,
    /// The time that the source gave, if it gave one.
    pub claimed: Option<Timestamp>,
    /// When the reading reached us.
    pub arrival: Timestamp,
    /// The value.
    pub value: f64,
    /// What the value stands for.
    pub form: Form,
    /// Marks set before the engine saw it.
    pub quality: Quality,
}

/// Marks on a reading, kept with it for ever.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Quality(u8);

/// The three classes of OPC UA (OPC 10000-4, status code severity).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum QualityClass {
    /// May drive a dose.
    Good,
    /// May be shown and trended.
    Uncertain,
    /// Kept, never used.
    Bad,
}

impl Quality {
    /// Nothing to say against it.
    pub const GOOD: Quality = Quality(0);
    /// It came after newer ones of its sump, or its source sent it as one of the
    /// past; it changed nothing.
    pub const LATE: Quality = Quality(1);
    /// The despiking filter replaced it.
    pub const SPIKE: Quality = Quality(1 << 1);
    /// Its own time could not be true; it stands at its arrival.
    pub const CLOCK: Quality = Quality(1 << 2);
    /// It may be a second delivery of an earlier one.
    pub const REPEATED: Quality = Quality(1 << 3);
    /// Outside what the quantity can be.
    pub const OUT_OF_RANGE: Quality = Quality(1 << 4);
    /// The instrument, its loop or its gateway reports a failure.
    pub const FAULT: Quality = Quality(1 << 5);
    /// Its source was not sure of it, or something that it was worked out with
    /// was missing.
    pub const UNSURE: Quality = Quality(1 << 6);

    /// With the marks of `other` added.
    #[must_use]
    pub const fn with(self, other: Quality) -> Quality {
        Quality(self.0 | other.0)
    }
    /// Whether every mark of `other` is set.
    pub const fn has(self, other: Quality) -> bool {
        self.0 & other.0 == other.0
    }
    /// The marks as bits, as the store keeps them.
    pub const fn bits(self) -> u8 {
        self.0
    }
    /// From the bits that [`Quality::bits`] gave.
    pub const fn from_bits(bits: u8) -> Quality {
        Quality(bits)
    }
    /// Whether the value may be looked at, if perhaps with doubt.
    pub const fn is_usable(self) -> bool {
        !matches!(self.class(), QualityClass::Bad)
    }
    /// The class that the marks amount to. Late is not a fault of the value.
    pub const fn class(self) -> QualityClass {
        if self.0 & (Self::OUT_OF_RANGE.0 | Self::FAULT.0) != 0 {
            QualityClass::Bad
        } else if self.0 & (Self::SPIKE.0 | Self::CLOCK.0 | Self::REPEATED.0 | Self::UNSURE.0) != 0
        {
            QualityClass::Uncertain
        } else {
            QualityClass::Good
        }
    }
}

/// Place of a series in the plant's list of series.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SeriesIx(pub u32);

/// One value of a series, to be kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// The series.
    pub series: SeriesIx,
    /// The time of the value.
    pub time: Timestamp,
    /// The value in the series' unit.
    pub value: f64,
    /// Its marks.
    pub quality: Quality,
    /// How long after its time it arrived.
    pub delay: Span,
}

/// Everything a watch can want done.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Keep this value.
    Record(Sample),
    /// Add this to the journal, and tell whom it concerns.
    Journal(Box<JournalRecord>),
    /// The sump's present state, for whoever shows it.
    Show(Box<SumpStatus>),
}
