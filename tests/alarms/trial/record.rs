//! What is kept of one sump's year: the truth, what went wrong, what people
//! did, and what was told.

use sumpward::engine::{LimitLevel, Priority, StartUpSetup};
use sumpward::simulate::year::{Happened, STEP, SumpSpec, Truth};
use sumpward::units::{Quantity, Span, Timestamp};

use super::start_up::Listed;

/// A limit that the sump is watched by, and how well the signal is measured.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Limit {
    pub(crate) signal: Quantity,
    pub(crate) level: LimitLevel,
    pub(crate) threshold: f64,
    /// Expanded uncertainty (k = 2, JCGM 100) of the signal as the settings have
    /// it, chart apart.
    pub(crate) uncertainty: f64,
}

/// Something that a person did wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Slip {
    pub(crate) kind: SlipKind,
    pub(crate) time: Timestamp,
    /// What it moved or misstated, as a share of the working volume; of a wrong
    /// strength of the concentrate that is in the sump.
    pub(crate) size: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum SlipKind {
    /// Topped up and not written down.
    Unlogged,
    /// Another strength than was written down.
    WrongStrength,
    /// Another amount was written down than was poured in.
    Miswritten,
    /// A round of weekly checks that was not made.
    MissedWeekly,
    /// The monthly tests that were not made.
    MissedMonthly,
    /// A dose that was advised and not given.
    MissedDose,
}

impl SlipKind {
    /// Whether it is a check of the plan that was not made.
    pub(crate) const fn is_missed_check(self) -> bool {
        matches!(self, SlipKind::MissedWeekly | SlipKind::MissedMonthly)
    }
}

/// When checks of the plan were made, on their round or when an alarm called.
#[derive(Debug, Clone, Default)]
pub(crate) struct Made {
    /// The whole weekly round.
    pub(crate) rounds: Vec<Timestamp>,
    /// A dip slide: weekly.
    pub(crate) slides: Vec<Timestamp>,
    /// Hardness and chloride: monthly.
    pub(crate) minerals: Vec<Timestamp>,
}

/// One occurrence of an alarm, or of a line of the ledger where `priority` is
/// none.
#[derive(Debug, Clone)]
pub(crate) struct Told {
    pub(crate) id: String,
    pub(crate) condition: String,
    pub(crate) priority: Option<Priority>,
    pub(crate) time: Timestamp,
    pub(crate) acknowledged: Option<Timestamp>,
    /// When it was over, or people were told of it no longer.
    pub(crate) returned: Option<Timestamp>,
    /// When it was put on the plant's list, where the plant's alarm tells of it.
    pub(crate) listed: Option<Timestamp>,
    /// The plant's alarm has told of it before: the same occurrence.
    pub(crate) again: bool,
    /// From when to when it was hidden while it stood: one that somebody took
    /// on, and that was suppressed and came forth again.
    pub(crate) hidden: Vec<(Timestamp, Timestamp)>,
    /// What is known beside it, for whoever looks into it.
    pub(crate) beside: String,
}

/// An alarm that stands for longer is stale (ISA-18.2; memory).
const LONG: Span = Span::from_hours(24);

impl Told {
    /// As of when what it says was so: what is on the plant's list is told later.
    pub(crate) fn as_judged(&self) -> Told {
        Told {
            time: self.listed.unwrap_or(self.time),
            ..self.clone()
        }
    }

    /// Whether it comes to people as an alarm of its own.
    pub(crate) fn comes_singly(&self) -> bool {
        self.priority.is_some() && self.listed.is_none()
    }

    /// From when to when it was stale, until `end` at the latest: raised more
    /// than a day ago, standing, and not hidden.
    pub(crate) fn stale(&self, end: Timestamp) -> Vec<(Timestamp, Timestamp)> {
        let (mut from, until) = (self.time + LONG, self.returned.unwrap_or(end));
        let mut stale = Vec::new();
        for (hidden, shown) in self.hidden.iter().copied().chain([(until, until)]) {
            if from < hidden {
                stale.push((from, hidden));
            }
            from = from.max(shown);
        }
        stale
    }
}

/// A sump's year.
#[derive(Debug)]
pub(crate) struct SumpRecord {
    pub(crate) spec: SumpSpec,
    pub(crate) start: Timestamp,
    pub(crate) limits: Vec<Limit>,
    /// One a [`STEP`], from one step after the start on.
    pub(crate) truth: Vec<Truth>,
    pub(crate) faults: Vec<Happened>,
    pub(crate) slips: Vec<Slip>,
    /// When people put something in, took something out, or held the pumps off.
    pub(crate) handled: Vec<Timestamp>,
    pub(crate) made: Made,
    pub(crate) told: Vec<Told>,
    /// What was on the plant's list.
    pub(crate) listed: Vec<Listed>,
    /// How the plant's alarm behaves.
    pub(crate) start_up: StartUpSetup,
    pub(crate) readings: u64,
}

impl SumpRecord {
    pub(crate) fn end(&self) -> Timestamp {
        self.time(self.truth.len().saturating_sub(1))
    }

    /// The time of the truth at this place.
    pub(crate) fn time(&self, place: usize) -> Timestamp {
        let steps = i64::try_from(place).expect("a year is short") + 1;
        self.start + Span::from_millis(steps * STEP.millis())
    }

    /// The place of the truth at this time, within what there is.
    pub(crate) fn place(&self, time: Timestamp) -> usize {
        let steps = (time - self.start).millis() / STEP.millis() - 1;
        let last = self.truth.len().saturating_sub(1);
        usize::try_from(steps.max(0)).map_or(last, |steps| steps.min(last))
    }

    /// The truth from one time to another.
    pub(crate) fn between(&self, from: Timestamp, to: Timestamp) -> &[Truth] {
        if self.truth.is_empty() {
            return &[];
        }
        &self.truth[self.place(from)..=self.place(to)]
    }
}
