//! One topic for all channels of a broker that have none of their own.

use crate::units::Quantity;

use super::key_path::KeyPath;
use super::payload;
use super::problem::Problem;
use super::raw::{RawChannel, RawTemplate};
use super::review::Review;
use super::topic::{TopicError, check_exact};

/// Stands for the name of the sump.
const SUMP: &str = "{sump}";
/// Stands for the name of the channel.
const CHANNEL: &str = "{channel}";

/// Why a text is no template.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TemplateError {
    /// A level that holds a placeholder and something else, or no known one.
    #[error(
        "\"{0}\" is neither {{sump}} nor {{channel}} alone in its level, and the broker can be asked for whole levels only; write for example plant/{{sump}}/{{channel}}"
    )]
    Placeholder(String),
    /// The same placeholder a second time.
    #[error("{0} stands in it twice, and the two could differ")]
    Twice(&'static str),
    /// Nothing says which sump is meant.
    #[error("it does not say where the sump's name stands; write {{sump}} as a level of the topic")]
    NoSump,
    /// Nothing says which channel is meant.
    #[error(
        "all channels of a sump would read the same value; write {{channel}} as a level of the topic, or with payload = \"json\" in value = \"/{{channel}}\", with \"senml\" in name"
    )]
    NoChannel,
    /// Among our own topics.
    #[error("it takes in topics that we publish to, which begin {0}")]
    AmongOurs(String),
}

/// What a broker's template is.
#[derive(Debug, Clone)]
pub(super) enum Templating {
    /// There is none.
    None,
    /// It was told.
    Wrong,
    /// It can be filled in.
    Good(Box<Template>),
}

/// A template that can be filled in.
#[derive(Debug, Clone)]
pub(super) struct Template {
    topic: String,
    payload: RawTemplate,
}

/// Reads the template at `at`.
pub(super) fn template(review: &mut Review, at: &KeyPath, raw: Option<&RawTemplate>) -> Templating {
    let Some(raw) = raw else {
        return Templating::None;
    };
    let path = at.key("topic");
    let example = "topic = \"plant/{sump}/{channel}\"";
    let Some(topic) = review.required(&path, raw.topic.clone(), example) else {
        return Templating::Wrong;
    };
    let in_part = [&raw.value, &raw.name]
        .into_iter()
        .flatten()
        .any(|part| part.contains(CHANNEL));
    let template = Template {
        topic,
        payload: raw.clone(),
    };
    let topic = review.good(&path, template.check(in_part));
    let filled = template.payload_of(&RawChannel::default(), "sump", "channel");
    // Whatever a channel measures: only a state could not have a unit.
    let payload = payload::format(review, at, &filled, Some(Quantity::Brix));
    match (topic, payload) {
        (Some(()), Some(_)) => Templating::Good(template.into()),
        _ => Templating::Wrong,
    }
}

impl Template {
    fn check(&self, channel_in_part: bool) -> Result<(), Problem> {
        check_exact(&self.topic)?;
        if self.topic.starts_with("$share/") {
            return Err(TopicError::Shared(self.topic.clone()).into());
        }
        let levels = || self.topic.split('/');
        let mut braced = levels().filter(|level| level.contains(['{', '}']));
        if let Some(level) = braced.find(|level| ![SUMP, CHANNEL].contains(level)) {
            return Err(TemplateError::Placeholder(level.to_owned()).into());
        }
        let count = |placeholder| levels().filter(|level| *level == placeholder).count();
        for placeholder in [SUMP, CHANNEL] {
            if count(placeholder) > 1 {
                return Err(TemplateError::Twice(placeholder).into());
            }
        }
        if count(SUMP) == 0 {
            return Err(TemplateError::NoSump.into());
        }
        if count(CHANNEL) == 0 && !channel_in_part {
            return Err(TemplateError::NoChannel.into());
        }
        Ok(())
    }

    /// The filter that takes the topics of all sumps and channels.
    pub(super) fn filter(&self) -> String {
        fill(&self.topic, "+", "+")
    }

    /// The topic of one channel.
    pub(super) fn topic_of(&self, sump: &str, channel: &str) -> String {
        fill(&self.topic, sump, channel)
    }

    /// The channel's settings, with those of its payload that it leaves open
    /// taken from here; one that names its own format takes nothing.
    pub(super) fn payload_of(&self, own: &RawChannel, sump: &str, channel: &str) -> RawChannel {
        let mut filled = own.clone();
        if own.payload.is_none() {
            let from = &self.payload;
            let here = |text: &Option<String>| text.as_deref().map(|it| fill(it, sump, channel));
            filled.payload = from.payload.clone();
            filled.value = filled.value.or_else(|| here(&from.value));
            filled.time = filled.time.or_else(|| here(&from.time));
            filled.time_format = filled.time_format.or_else(|| from.time_format.clone());
            filled.unit_from = filled.unit_from.or_else(|| here(&from.unit_from));
            filled.status = filled.status.or_else(|| here(&from.status));
            filled.status_good = filled.status_good.or_else(|| from.status_good.clone());
            filled.name = filled.name.or_else(|| here(&from.name));
        }
        filled
    }
}

fn fill(text: &str, sump: &str, channel: &str) -> String {
    text.replace(SUMP, sump).replace(CHANNEL, channel)
}
