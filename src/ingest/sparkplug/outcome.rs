//! What a message led to.

use std::sync::Arc;

use crate::units::Timestamp;

use super::metric::MetricQuality;
use super::value::{Value, ValueError};

/// Troubles kept of one message; the rest is only counted.
const TROUBLES: usize = 64;

/// How sure it is that a value belongs to its metric.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Footing {
    /// It came by name, or by an alias with every message since the birth.
    Certain,
    /// It came by an alias after messages were lost. One of them may have been
    /// a birth that gave the alias to another metric.
    AfterGap,
}

/// News of a metric that a channel wants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finding {
    /// The metric, by the place that [`Host::want`](super::Host::want) gave.
    pub metric: usize,
    /// What there is to say.
    pub news: News,
}

/// What a message says about a metric.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum News {
    /// A value.
    Reading {
        /// The value.
        value: Value,
        /// When it was taken, as the node says; else when it was sent. A birth
        /// holds what is so when it is sent, whenever it was taken (chapter 5,
        /// "Data Publish").
        time: Option<Timestamp>,
        /// Good or bad; a stale one is [`News::Gone`].
        quality: MetricQuality,
        /// How sure it is that it is this metric's.
        footing: Footing,
        /// Whether it is of the past and was sent later: it says nothing of
        /// now, however new its time is.
        historical: bool,
    },
    /// From this time on there is no value.
    Gone {
        /// Since when.
        time: Timestamp,
    },
}

/// Why a part of a message was not used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// The value cannot be read.
    #[error("metric \"{metric}\": {why}")]
    Value {
        /// The metric's name.
        metric: Arc<str>,
        /// Why.
        why: ValueError,
    },
    /// The node does not have what a channel wants.
    #[error(
        "metric \"{metric}\" is not in the birth; check the channel's metric and device against what the node sends"
    )]
    NotInBirth {
        /// The metric's name.
        metric: Arc<str>,
    },
    /// Nobody has said what the alias stands for.
    #[error("alias {alias} came before a birth that says what it stands for; a birth is wanted")]
    BeforeBirth {
        /// The alias.
        alias: u64,
    },
    /// The birth did not say what the alias stands for.
    #[error("alias {alias} is not in the birth; a new birth is wanted")]
    UnknownAlias {
        /// The alias.
        alias: u64,
    },
    /// Two metrics have the same alias, so that neither can be known by it.
    #[error("alias {alias} is given to two metrics; it must be unique in the node")]
    AliasTwice {
        /// The alias.
        alias: u64,
    },
    /// Neither name nor alias.
    #[error("a metric has neither name nor alias")]
    Nameless,
    /// A value of the past must have a time of its own.
    #[error("metric \"{metric}\" is historical and has no timestamp of its own")]
    PastWithoutTime {
        /// The metric's name.
        metric: Arc<str>,
    },
}

/// What was not used of a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// The place of the metric that a channel wants, if it is one.
    pub metric: Option<usize>,
    /// Why it was not used.
    pub why: Trouble,
}

/// Counts over all nodes of a host.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counters {
    /// Messages whose seq did not follow the one before.
    pub gaps: u64,
    /// Metrics given by alias before a birth said which they are.
    pub before_birth: u64,
    /// Metrics given by an alias that the birth does not have.
    pub unknown_alias: u64,
    /// Aliases given to two metrics, and metrics given by one of them.
    pub alias_twice: u64,
    /// Metrics without name and alias.
    pub nameless: u64,
    /// Deaths of another connection than the birth's, and repeated ones.
    pub other_deaths: u64,
    /// Redelivered messages of a device of before its latest birth.
    pub older_birth: u64,
    /// Values that could not be read.
    pub unreadable: u64,
    /// Wanted metrics that a birth did not have.
    pub not_in_birth: u64,
    /// Values of the past without a time, and such that say only that there
    /// was none.
    pub past_unusable: u64,
}

impl Counters {
    /// Parts of messages that were not used.
    pub fn unused(&self) -> u64 {
        self.before_birth
            + self.unknown_alias
            + self.alias_twice
            + self.nameless
            + self.older_birth
            + self.unreadable
            + self.past_unusable
    }
}

/// What came of a message; used again for the next one to spare memory.
#[derive(Debug, Default)]
pub struct Outcome {
    /// News in the message's order.
    pub findings: Vec<Finding>,
    /// The node to ask for a new birth, by its place.
    pub rebirth: Option<usize>,
    /// What was not used, the first few.
    pub troubles: Vec<Told>,
}

impl Outcome {
    pub(super) fn clear(&mut self) {
        self.findings.clear();
        self.rebirth = None;
        self.troubles.clear();
    }

    /// Of no metric in particular that a channel wants.
    pub(super) fn trouble(&mut self, why: Trouble) {
        self.tell(Told { metric: None, why });
    }

    pub(super) fn trouble_of(&mut self, metric: usize, why: Trouble) {
        let metric = Some(metric);
        self.tell(Told { metric, why });
    }

    fn tell(&mut self, told: Told) {
        if self.troubles.len() < TROUBLES {
            self.troubles.push(told);
        }
    }
}
