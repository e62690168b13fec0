//! The maintenance crew of the invented plant: it hears alarms and advice, and
//! does what sensible people would.
//!
//! It acknowledges an alarm after some ten minutes and is at the sump after
//! twenty to forty. Before any dose it takes a hand reading; where that and the
//! alarm differ, it cleans the probe and doses nothing; otherwise it follows
//! the newest advice to the litre, and mends the mixer where the mix was lean.
//! Everything it does it writes down.
//!
//! Promises: the same seed and messages give the same actions; no advice is
//! followed twice; memory is bounded. Refuses: a clock (time is an argument),
//! and any knowledge of the plant's true state: all it has is the messages, its
//! hand refractometer and the sheet that says what sump holds which fluid.

mod entry;
mod message;
mod post;
mod work;

pub use entry::{CrewEntry, CrewEntryKind};

use std::collections::BTreeMap;

use crate::simulate::plant::{Channel, SUMPS};
use crate::simulate::random::Random;
use crate::units::{Brix, Timestamp};

use message::{AdviceMessage, AlarmMessage};
use post::Post;

/// Something that the crew does at a sump.
#[derive(Debug, Clone, PartialEq)]
pub struct CrewAction {
    /// When.
    pub due: Timestamp,
    /// Where.
    pub sump: &'static str,
    /// What.
    pub task: Task,
}

/// What the crew can do.
#[derive(Debug, Clone, PartialEq)]
pub enum Task {
    /// Takes on an alarm.
    Acknowledge {
        /// The alarm's id.
        alarm: String,
    },
    /// Reads the concentration with the hand refractometer; the outcome is
    /// handed to [`Crew::measured`].
    HandReading,
    /// Sets the mixer right.
    RepairMixer,
    /// Lets mix out.
    Drain {
        /// How much, L.
        litres: f64,
        /// The advice that is followed.
        advice: String,
    },
    /// Pours in premix, or water.
    Add {
        /// How much, L.
        litres: f64,
        /// Strength of the premix, %; 0 for water.
        strength_pct: f64,
        /// The advice that is followed.
        advice: String,
    },
    /// Wipes a probe.
    CleanProbe {
        /// The probe's channel.
        channel: Channel,
    },
    /// Plugs a probe in again.
    ReconnectProbe {
        /// The probe's channel.
        channel: Channel,
    },
}

/// Why a message tells the crew nothing.
#[derive(Debug, thiserror::Error)]
pub enum CrewError {
    /// It cannot be read.
    #[error("message on {topic} cannot be read: {source}; it should be an alarm or advice as JSON")]
    Unreadable {
        /// The topic that it came under.
        topic: String,
        /// What is wrong with it.
        source: serde_json::Error,
    },
    /// It is about a sump that the plant does not have.
    #[error("message on {topic} is about the sump \"{sump}\", which the plant does not have")]
    UnknownSump {
        /// The topic that it came under.
        topic: String,
        /// The sump that it names.
        sump: String,
    },
}

/// The crew.
#[derive(Debug, Clone)]
pub struct Crew {
    posts: BTreeMap<&'static str, Post>,
    chance: Random,
    written: u64,
}

impl Crew {
    /// A crew that knows the plant's sumps and has heard nothing yet.
    pub fn new(seed: u64) -> Crew {
        Crew {
            posts: SUMPS
                .iter()
                .map(|spec| (spec.name, Post::new(spec)))
                .collect(),
            chance: Random::for_part(seed, "crew"),
            written: 0,
        }
    }

    /// Hears a message that came at `now`. What is neither under `…/alarm` nor
    /// `…/advice`, or is empty (a retained message cleared), is passed over.
    ///
    /// # Errors
    /// When an alarm or advice cannot be read, or names no sump of the plant.
    pub fn hear(&mut self, topic: &str, payload: &[u8], now: Timestamp) -> Result<(), CrewError> {
        if payload.is_empty() {
            return Ok(());
        }
        let unreadable = |source| CrewError::Unreadable {
            topic: topic.to_owned(),
            source,
        };
        match topic.rsplit('/').next() {
            Some("alarm") => {
                let alarm: AlarmMessage = serde_json::from_slice(payload).map_err(unreadable)?;
                let (post, chance) = self.post(topic, &alarm.sump)?;
                post.hear_alarm(alarm, now, chance);
            }
            Some("advice") => {
                let message: AdviceMessage = serde_json::from_slice(payload).map_err(unreadable)?;
                let (post, chance) = self.post(topic, &message.sump)?;
                post.hear_advice(message.advice, now, chance);
            }
            _ => {}
        }
        Ok(())
    }

    /// What is due by `now`, in the order of its time. Each action is given
    /// once; whoever takes it carries it out.
    pub fn due(&mut self, now: Timestamp) -> Vec<CrewAction> {
        let mut due = Vec::new();
        for post in self.posts.values_mut() {
            post.due(now, &mut due);
        }
        due.sort_by_key(|action| action.due);
        due
    }

    /// When the next action is due.
    pub fn next_due(&self) -> Option<Timestamp> {
        self.posts.values().filter_map(Post::next_due).min()
    }

    /// The outcome of a hand reading, from which the crew decides what to do.
    pub fn measured(&mut self, sump: &str, value: Brix, now: Timestamp) {
        if let Some(post) = self.posts.get_mut(sump) {
            post.measured(value.degrees(), now);
        }
    }

    fn post(&mut self, topic: &str, sump: &str) -> Result<(&mut Post, &mut Random), CrewError> {
        let post = self.posts.get_mut(sump);
        let post = post.ok_or_else(|| CrewError::UnknownSump {
            topic: topic.to_owned(),
            sump: sump.to_owned(),
        })?;
        Ok((post, &mut self.chance))
    }
}

#[cfg(test)]
mod tests;
