//! The newest entries of a sump, and what was concluded from each, so that a
//! correction can undo it.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::entry::Entry;
use crate::signal::Compared;
use crate::units::Timestamp;

/// Entries kept, for recognising a second delivery and for corrections.
const KEPT: usize = 64;
/// Ids kept of entries that were superseded before they came.
const AWAITED: usize = 64;

/// The newest entries of a sump.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Remembered {
    entries: VecDeque<Noted>,
    awaited: VecDeque<Awaited>,
}

/// What is kept of one entry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Noted {
    id: String,
    time: Timestamp,
    superseded_by: Option<String>,
    said: Said,
}

/// An entry that was superseded before it came.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Awaited {
    id: String,
    by: String,
}

/// What was concluded from an entry.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Said {
    /// Nothing that a correction would have to undo.
    #[default]
    Nothing,
    /// Whether channels are to be doubted.
    Channels(Vec<Comparison>),
    /// An alarm is taken on.
    Acknowledged(String),
    /// An alarm is shelved.
    Shelved(String),
    /// An alarm is out of service.
    OutOfService(String),
    /// Whether the circulation pumps run.
    Pumps(bool),
    /// Whether it foams.
    Foam(bool),
    /// What a mixer gave for its setting, as a share.
    Mixer {
        /// Its name.
        mixer: String,
        /// The share.
        ratio: f64,
    },
}

/// A channel held against what a person found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Comparison {
    /// The channel's name.
    pub(super) channel: String,
    /// What it said when the entry came, where that was looked at.
    pub(super) inline: Option<f64>,
    /// What the person found, if it was held against that.
    #[serde(default)]
    pub(super) by_hand: Option<f64>,
    /// Whether it is to be doubted.
    pub(super) doubted: bool,
}

/// An entry that another one has just superseded.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Superseded {
    pub(super) time: Timestamp,
    pub(super) said: Said,
}

/// Why a correction is not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CorrectionError {
    /// The entry that it names was corrected already.
    #[error(
        "supersedes: entry \"{found}\" has been superseded by \"{by}\" already; supersede that one"
    )]
    Superseded {
        /// The entry named.
        found: String,
        /// What stands in its place.
        by: String,
    },
    /// There is no such entry.
    #[error(
        "supersedes: there is no entry \"{found}\" of this sump; {}",
        listed(newest)
    )]
    Unknown {
        /// The entry named.
        found: String,
        /// The newest entries, newest first.
        newest: Vec<String>,
    },
}

fn listed(newest: &[String]) -> String {
    if newest.is_empty() {
        return "it has none yet".to_owned();
    }
    format!("its newest are {}", newest.join(", "))
}

/// How a correction that may be taken stands to the entry that it names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Correction {
    /// It names none, or one that is remembered.
    Plain,
    /// What it names lies too far back to be remembered; it is kept, and there
    /// is nothing to undo.
    Forgotten,
}

impl Remembered {
    /// With ids alone, as earlier versions kept them.
    pub(super) fn of_ids(ids: impl IntoIterator<Item = String>) -> Self {
        let entries = ids.into_iter().map(|id| Noted {
            id,
            time: Timestamp::MIN,
            superseded_by: None,
            said: Said::Nothing,
        });
        Remembered {
            entries: entries.collect(),
            awaited: VecDeque::new(),
        }
    }

    /// Whether the entry has come before.
    pub(super) fn knows(&self, id: &str) -> bool {
        self.find(id).is_some()
    }

    fn find(&self, id: &str) -> Option<&Noted> {
        self.entries.iter().find(|noted| noted.id == id)
    }

    /// Whether the entry may be taken; it is to be refused only where what it
    /// supersedes cannot be there.
    pub(super) fn check(&self, entry: &Entry) -> Result<Correction, CorrectionError> {
        let Some(found) = &entry.supersedes else {
            return Ok(Correction::Plain);
        };
        if let Some(noted) = self.find(found) {
            return match &noted.superseded_by {
                Some(by) if *by != entry.id => Err(CorrectionError::Superseded {
                    found: found.clone(),
                    by: by.clone(),
                }),
                _ => Ok(Correction::Plain),
            };
        }
        if let Some(by) = self.superseded_by(found)
            && by != entry.id
        {
            return Err(CorrectionError::Superseded {
                found: found.clone(),
                by: by.to_owned(),
            });
        }
        let oldest = self.entries.front();
        let all_there = self.entries.len() < KEPT;
        if all_there || oldest.is_some_and(|oldest| entry.time >= oldest.time) {
            let newest = self.entries.iter().rev().take(3);
            return Err(CorrectionError::Unknown {
                found: found.clone(),
                newest: newest.map(|noted| noted.id.clone()).collect(),
            });
        }
        Ok(Correction::Forgotten)
    }

    /// The ids, newest first.
    pub(super) fn ids(&self) -> impl Iterator<Item = &str> {
        self.entries.iter().rev().map(|noted| noted.id.as_str())
    }

    /// Whether the entry changes nothing: it was taken in before, or corrects
    /// what another one has superseded. That one is not there to correct is for
    /// those to say who can look into the journal.
    pub(super) fn passes_over(&self, entry: &Entry) -> bool {
        let superseded = || {
            let checked = self.check(entry);
            matches!(checked, Err(CorrectionError::Superseded { .. }))
        };
        self.knows(&entry.id) || superseded()
    }

    /// The entry takes the place of what it supersedes: gives what was concluded
    /// from that until now, and whether the entry stands itself.
    pub(super) fn displace(&mut self, entry: &Entry) -> (Option<Superseded>, bool) {
        let superseded = entry.supersedes.as_ref();
        let superseded = superseded.and_then(|id| self.supersede(id, &entry.id));
        (superseded, self.superseded_by(&entry.id).is_none())
    }

    /// Another entry stands in the place of `id`; gives what was concluded from
    /// it until now. One that is yet to come is waited for.
    pub(super) fn supersede(&mut self, id: &str, by: &str) -> Option<Superseded> {
        let noted = self.entries.iter_mut().find(|noted| noted.id == id);
        let Some(noted) = noted else {
            if self.awaited.len() == AWAITED {
                self.awaited.pop_front();
            }
            let (id, by) = (id.to_owned(), by.to_owned());
            self.awaited.push_back(Awaited { id, by });
            return None;
        };
        noted.superseded_by = Some(by.to_owned());
        Some(Superseded {
            time: noted.time,
            said: std::mem::take(&mut noted.said),
        })
    }

    /// What superseded this entry before it came.
    pub(super) fn superseded_by(&self, id: &str) -> Option<&str> {
        let awaited = self.awaited.iter().find(|awaited| awaited.id == id);
        awaited.map(|awaited| awaited.by.as_str())
    }

    /// Keeps an entry and what was concluded from it.
    pub(super) fn keep(&mut self, id: &str, time: Timestamp, said: Said) {
        let superseded_by = self.superseded_by(id).map(str::to_owned);
        self.awaited.retain(|awaited| awaited.id != id);
        if self.entries.len() == KEPT {
            self.entries.pop_front();
        }
        self.entries.push_back(Noted {
            id: id.to_owned(),
            time,
            superseded_by,
            said,
        });
    }

    /// What the newest entry that stands and speaks of the channel says.
    pub(super) fn doubted(&self, channel: &str) -> Option<bool> {
        let spoken = self.entries.iter().filter_map(|noted| {
            let Said::Channels(comparisons) = &noted.said else {
                return None;
            };
            let of_channel = comparisons.iter().find(|one| one.channel == channel);
            of_channel.map(|one| ((noted.time, &noted.id), one.doubted))
        });
        spoken
            .max_by_key(|(when, _)| *when)
            .map(|(_, doubted)| doubted)
    }

    /// The channel's comparisons with hand readings that stand, since its probe
    /// was last touched, oldest first.
    pub(super) fn compared(&self, channel: &str) -> Vec<Compared> {
        let mut spoken: Vec<_> = self
            .entries
            .iter()
            .filter_map(|noted| {
                let Said::Channels(comparisons) = &noted.said else {
                    return None;
                };
                let of_channel = comparisons.iter().find(|one| one.channel == channel)?;
                Some(((noted.time, &noted.id), of_channel))
            })
            .collect();
        spoken.sort_by_key(|(when, _)| *when);
        let newest_first = spoken.iter().rev();
        let since_touched = newest_first.take_while(|(_, one)| one.inline.is_some());
        let mut compared: Vec<Compared> = since_touched
            .filter_map(|((time, _), one)| {
                Some(Compared {
                    time: *time,
                    difference: one.inline? - one.by_hand?,
                })
            })
            .collect();
        compared.reverse();
        compared
    }

    /// Whether the pumps run, and since when, by the newest entry that says so.
    pub(super) fn pumps(&self) -> Option<(Timestamp, bool)> {
        self.newest(|said| match said {
            Said::Pumps(run) => Some(*run),
            _ => None,
        })
    }

    /// Whether it foams, and when it was looked at, by the newest entry that
    /// says so.
    pub(super) fn foam(&self) -> Option<(Timestamp, bool)> {
        self.newest(|said| match said {
            Said::Foam(foams) => Some(*foams),
            _ => None,
        })
    }

    /// What a mixer gave for its setting at the readings that stand, as shares.
    pub(super) fn mixer_ratios(&self, name: &str) -> Vec<f64> {
        let ratios = self.entries.iter().filter_map(|noted| match &noted.said {
            Said::Mixer { mixer, ratio } if mixer == name => Some(*ratio),
            _ => None,
        });
        ratios.collect()
    }

    fn newest(&self, of: impl Fn(&Said) -> Option<bool>) -> Option<(Timestamp, bool)> {
        let spoken = self
            .entries
            .iter()
            .filter_map(|noted| Some(((noted.time, &noted.id), of(&noted.said)?)));
        spoken
            .max_by_key(|(when, _)| *when)
            .map(|((time, _), holds)| (time, holds))
    }

    /// Whether an entry that stands takes the alarm on.
    pub(super) fn acknowledges(&self, alarm: &str) -> bool {
        self.entries
            .iter()
            .any(|noted| matches!(&noted.said, Said::Acknowledged(of) if of == alarm))
    }
}
