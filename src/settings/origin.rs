//! Where the readings of a channel come from.

use super::brokers::Brokers;
use super::key_path::KeyPath;
use super::payload;
use super::plant::Origin;
use super::raw::RawChannel;
use super::review::Review;
use super::topic::check_filter;
use super::topics::Claim;

/// What channels can refer to.
#[derive(Debug)]
pub(super) struct Ways<'a> {
    /// The brokers by name.
    pub(super) brokers: &'a Brokers,
    /// The broker of channels that name none.
    pub(super) usual_broker: Option<usize>,
}

/// Where the readings of the channel at `at` come from; the topics that it
/// takes are added to `claims`.
pub(super) fn origin(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    ways: &Ways<'_>,
    claims: &mut Vec<Claim>,
) -> Option<Origin> {
    let broker = match raw.broker.as_deref() {
        Some(name) => ways.brokers.named(review, &at.key("broker"), name),
        None => ways.usual_broker,
    };
    let path = at.key("topic");
    let topic = review
        .required(&path, raw.topic.clone(), "topic = \"cell-a/refractometer\"")
        .filter(|topic| review.good(&path, check_filter(topic)).is_some());
    let format = payload::format(review, at, raw);
    let (broker, topic, format) = (broker?, topic?, format?);
    claims.push(Claim {
        broker,
        topic: topic.clone(),
        part: format.part(),
        path,
    });
    Some(Origin::Topic {
        broker,
        topic,
        format,
    })
}
