//! What the plant's watch remembers of what it watches, and how it judges it.

use serde::{Deserialize, Serialize};

use crate::alarm::{AlarmManner, Verdict};
use crate::units::{Span, Timestamp};

use super::journal::StockLeft;
use super::plant_evidence::{DiskFull, ForwardStuck, StuckKind};
use super::plant_setup::{ForwardSetup, StockSetup};

/// The loss of a source.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lost {
    /// Since when it is gone.
    pub since: Timestamp,
    /// Why, as it was last tried.
    pub why: String,
}

/// What is remembered of a source.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct SourceWatch {
    pub(super) gone: bool,
    /// The present loss, or the last one.
    pub(super) lost: Option<Lost>,
}

impl SourceWatch {
    /// One that was gone already is so since then: a start of ours in between
    /// changes nothing.
    pub(super) fn step(&mut self, lost: Option<Lost>) {
        let was_gone = std::mem::replace(&mut self.gone, lost.is_some());
        if let Some(lost) = lost {
            let known = self.lost.take().filter(|_| was_gone);
            let since = known.map_or(lost.since, |known| known.since);
            self.lost = Some(Lost { since, ..lost });
        }
    }
}

/// What is remembered of a stock.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct StockWatch {
    pub(super) left: Option<StockLeft>,
}

/// A stock is enough again once it lasts longer than the least by this share.
/// Choice: the use of a day scatters by about as much.
const ENOUGH: f64 = 1.1;

impl StockWatch {
    /// With sumps whose use is not known it lasts shorter than is reckoned: what
    /// is too short is so, and what looks like enough need not be.
    pub(super) fn verdict(&self, setup: &StockSetup) -> Verdict {
        let Some(left) = &self.left else {
            return Verdict::Unknown;
        };
        let least = setup.least_days();
        match left.days {
            _ if left.left_l <= 0.0 => Verdict::Outside,
            Some(days) if days < least => Verdict::Outside,
            Some(_) if left.unknown > 0 => Verdict::Unknown,
            Some(days) if days < least * ENOUGH => Verdict::Band,
            Some(_) => Verdict::Inside,
            None => Verdict::Unknown,
        }
    }
}

/// What is remembered of a server of series.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct ForwardWatch {
    is_stuck: bool,
    /// How it is stuck, or was last.
    pub(super) last: Option<ForwardStuck>,
}

/// After so long without another refused line they are over. Choice: readings of
/// all channels have come by then.
const NO_DEAD_LETTERS: Span = Span::from_hours(1);

impl ForwardWatch {
    pub(super) fn step(&mut self, stuck: Option<ForwardStuck>) {
        self.is_stuck = stuck.is_some();
        self.last = stuck.or(self.last.take());
    }

    pub(super) fn verdict(&self) -> Verdict {
        Verdict::of(self.is_stuck)
    }

    /// How long it is waited by what the matter is: a server may be away for a
    /// while, and a refused line is refused for good.
    pub(super) fn manner(&self, setup: &ForwardSetup) -> AlarmManner {
        let manner = setup.manner;
        match self.last.as_ref().map(|stuck| stuck.kind) {
            Some(StuckKind::Away) => AlarmManner {
                on: setup.away_after,
                ..manner
            },
            Some(StuckKind::DeadLetters) => AlarmManner {
                on: Span::ZERO,
                off: manner.off.max(NO_DEAD_LETTERS),
                ..manner
            },
            Some(StuckKind::Refused) | None => manner,
        }
    }
}

/// What is remembered of the store's disk.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct DiskWatch {
    is_full: bool,
    /// How full it is, or was last.
    pub(super) last: Option<DiskFull>,
}

impl DiskWatch {
    pub(super) fn step(&mut self, full: Option<DiskFull>) {
        self.is_full = full.is_some();
        self.last = full.or(self.last);
    }

    pub(super) fn verdict(&self) -> Verdict {
        Verdict::of(self.is_full)
    }
}
