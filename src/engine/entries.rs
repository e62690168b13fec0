//! What people wrote down: compared, counted, kept.

use super::event::{Effect, Entry, EntryKind, HappeningKind};
use super::journal::JournalBody;
use super::watch::SumpWatch;
use crate::units::Quantity;

/// Entry ids kept for recognising a second delivery.
const ENTRIES_KEPT: usize = 64;

impl SumpWatch {
    /// Takes in an entry whose time has already been brought up.
    pub(super) fn step_entry(&mut self, entry: &Entry, out: &mut Vec<Effect>) {
        if self.entries.contains(&entry.id) {
            return;
        }
        if self.entries.len() == ENTRIES_KEPT {
            self.entries.pop_front();
        }
        self.entries.push_back(entry.id.clone());
        let kept = Box::new(entry.clone());
        self.journal(
            JournalBody::Entry {
                entry: kept,
                late: false,
            },
            out,
        );

        match &entry.kind {
            EntryKind::HandReading { quantity, value } => self.compare(*quantity, *value, out),
            EntryKind::Addition { advice, .. } => {
                self.note_followed(advice.as_deref(), &entry.id, out);
                self.begin_mixing(out);
            }
            EntryKind::Event {
                what,
                channel,
                advice,
                ..
            } => {
                if matches!(what, HappeningKind::Drained | HappeningKind::Recharged) {
                    self.note_followed(advice.as_deref(), &entry.id, out);
                }
                self.happened(*what, channel.as_deref(), out);
            }
            EntryKind::Acknowledge { alarm } => self.acknowledge(alarm, entry.by.as_deref(), out),
            EntryKind::Note { .. } => {}
        }
        self.show(out);
    }

    /// Keeps an entry out of history. It is not remembered here: a whole file
    /// of them would push out the newest ones. Whoever sends them asks the
    /// store which it knows.
    pub(super) fn step_past_entry(&mut self, entry: &Entry, out: &mut Vec<Effect>) {
        if self.entries.contains(&entry.id) {
            return;
        }
        let entry = Box::new(entry.clone());
        self.journal(JournalBody::Entry { entry, late: true }, out);
    }

    fn note_followed(&mut self, advice: Option<&str>, entry: &str, out: &mut Vec<Effect>) {
        if let Some(advice) = advice {
            self.followed(advice, entry, out);
        }
    }

    fn happened(&mut self, what: HappeningKind, channel: Option<&str>, out: &mut Vec<Effect>) {
        match what {
            HappeningKind::ProbeCleaned | HappeningKind::ProbeCalibrated => {
                for ix in 0..self.channels.len() {
                    let named = channel.is_none_or(|name| *name == *self.setup.channels[ix].name);
                    if named {
                        self.channels[ix].start_anew();
                        self.watch_doubt(ix, false, out);
                    }
                }
            }
            HappeningKind::Drained | HappeningKind::Recharged => self.begin_mixing(out),
            HappeningKind::Cleaned
            | HappeningKind::Skimmed
            | HappeningKind::PumpsOn
            | HappeningKind::PumpsOff => {}
        }
    }

    /// Holds a hand reading against the inline channels of the same quantity.
    fn compare(&mut self, quantity: Quantity, by_hand: f64, out: &mut Vec<Effect>) {
        for ix in 0..self.channels.len() {
            let setup = &self.setup.channels[ix];
            let fresh = !self.channels[ix].is_silent(setup, self.now);
            if setup.quantity != quantity || !fresh {
                continue;
            }
            if let Some(inline) = self.value_of(ix) {
                let doubted = (inline - by_hand).abs() > setup.hand_tolerance;
                self.watch_doubt(ix, doubted, out);
            }
        }
    }
}
