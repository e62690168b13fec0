//! Where the readings of a channel come from.

use crate::units::Quantity;
use std::borrow::Cow;

use super::brokers::Brokers;
use super::edge_node;
use super::key_path::KeyPath;
use super::payload;
use super::plant::Origin;
use super::problem::Problem;
use super::raw::RawChannel;
use super::review::Review;
use super::template::Templating;
use super::topic::check_filter;
use super::topics::Claim;
use super::wired_origin::{self, Way, Wires};
use super::written::Texts;

/// What channels can refer to.
#[derive(Debug)]
pub(super) struct Ways<'a> {
    /// The brokers by name.
    pub(super) brokers: &'a Brokers,
    /// The broker of channels that name none.
    pub(super) usual_broker: Option<usize>,
    /// Wires of our own.
    pub(super) wires: Wires<'a>,
}

/// Where the readings of the channel at `at` come from, with the names of its
/// sump and its own; the topics that it takes are added to `claims`.
pub(super) fn origin(
    review: &mut Review,
    at: &KeyPath,
    names: (&str, &str),
    raw: &RawChannel,
    quantity: Option<Quantity>,
    ways: &Ways<'_>,
    claims: &mut Vec<Claim>,
) -> Option<Origin> {
    match wired_origin::way(review, at, raw)? {
        Way::Broker => {}
        Way::Modbus => return wired_origin::register(review, at, raw, &ways.wires),
        Way::Serial => return wired_origin::place(review, at, raw, &ways.wires),
    }
    let broker = match raw.broker.as_deref() {
        Some(name) => ways.brokers.named(review, &at.key("broker"), name),
        None => ways.usual_broker,
    };
    if payload::is_of_edge_node(raw) {
        return edge_node::origin(review, at, raw, broker, claims);
    }
    edge_node::refuse_keys(review, at, raw);
    let (topics, raw) = match &raw.topic {
        Some(written) => (own_topics(review, at, written), Cow::Borrowed(raw)),
        None => from_template(review, at, names, raw, (ways.brokers, broker)),
    };
    let format = payload::format(review, at, &raw, quantity);
    let (broker, topics, format) = (broker?, topics?, format?);
    claims.extend(topics.iter().map(|(path, topic)| Claim {
        broker,
        topic: topic.clone(),
        part: format.part(),
        path: path.clone(),
    }));
    Some(Origin::Topic {
        broker,
        topics: topics.into_iter().map(|(_, topic)| topic).collect(),
        format,
    })
}

/// Topics, each with the setting that says it.
type Topics = Vec<(KeyPath, String)>;

fn own_topics(review: &mut Review, at: &KeyPath, written: &Texts) -> Option<Topics> {
    let at = at.key("topic");
    let topics: Topics = match written {
        Texts::One(topic) => vec![(at, topic.clone())],
        Texts::Many(topics) if topics.is_empty() => {
            let wanted = "one topic or more";
            review.tell(&at, Problem::Length { wanted, found: 0 });
            return None;
        }
        Texts::Many(topics) => {
            let with_path = |(place, topic): (usize, &String)| (at.item(place), topic.clone());
            topics.iter().enumerate().map(with_path).collect()
        }
    };
    let mut good = true;
    for (path, topic) in &topics {
        good &= review.good(path, check_filter(topic)).is_some();
    }
    good.then_some(topics)
}

/// The topic and the payload that the broker's template gives the channel.
fn from_template<'a>(
    review: &mut Review,
    at: &KeyPath,
    (sump, channel): (&str, &str),
    raw: &'a RawChannel,
    (brokers, broker): (&Brokers, Option<usize>),
) -> (Option<Topics>, Cow<'a, RawChannel>) {
    let path = at.key("topic");
    match broker.map(|place| &brokers.templates[place]) {
        Some(Templating::Good(template)) => {
            let topics = vec![(path, template.topic_of(sump, channel))];
            let filled = template.payload_of(raw, sump, channel);
            (Some(topics), Cow::Owned(filled))
        }
        Some(Templating::Wrong) => (None, Cow::Borrowed(raw)),
        Some(Templating::None) | None => {
            review.missing(&path, "topic = \"cell-a/refractometer\"");
            (None, Cow::Borrowed(raw))
        }
    }
}
