//! Channels whose readings are metrics of edge nodes, after Sparkplug B.

use super::key_path::KeyPath;
use super::plant::{Origin, SparkplugMetric};
use super::problem::Problem;
use super::raw::RawChannel;
use super::review::Review;
use super::topic::check_exact;
use super::topics::Claim;

/// Longest name of a metric, in bytes. Choice: far beyond any.
const LONGEST_METRIC: usize = 1000;

/// Where the metric of the channel at `at` is; it is added to `claims`.
pub(super) fn origin(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    broker: Option<usize>,
    claims: &mut Vec<Claim>,
) -> Option<Origin> {
    let of_topics = [
        ("topic", raw.topic.is_some()),
        ("value", raw.value.is_some()),
        ("time", raw.time.is_some()),
        ("time_format", raw.time_format.is_some()),
    ];
    for (key, _) in of_topics.iter().filter(|(_, given)| *given) {
        let others = Problem::OnlyFor("payloads other than \"sparkplug\"");
        review.tell(&at.key(key), others);
    }
    let node = node(review, at, raw);
    let device = device(review, at, raw);
    let name = name(review, at, raw);
    let (group, node) = node?;
    let metric = SparkplugMetric {
        group,
        node,
        device: device?,
        name: name?,
    };
    let broker = broker?;
    claims.push(Claim {
        broker,
        topic: data_topic(&metric),
        part: Some(metric.name.clone()),
        path: at.key("metric"),
    });
    Some(Origin::Metric { broker, metric })
}

/// Tells what goes with metrics of edge nodes only.
pub(super) fn refuse_keys(review: &mut Review, at: &KeyPath, raw: &RawChannel) {
    let of_nodes = [
        ("node", raw.node.is_some()),
        ("device", raw.device.is_some()),
        ("metric", raw.metric.is_some()),
    ];
    for (key, _) in of_nodes.iter().filter(|(_, given)| *given) {
        review.tell(&at.key(key), Problem::OnlyFor("payload = \"sparkplug\""));
    }
}

/// The topic on which a metric's changes come.
fn data_topic(metric: &SparkplugMetric) -> String {
    let SparkplugMetric { group, node, .. } = metric;
    match &metric.device {
        None => format!("spBv1.0/{group}/NDATA/{node}"),
        Some(device) => format!("spBv1.0/{group}/DDATA/{node}/{device}"),
    }
}

fn node(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<(String, String)> {
    let path = at.key("node");
    let written = review.required(&path, raw.node.as_deref(), "node = \"hall-3/gateway-1\"")?;
    review.good(&path, check_exact(written))?;
    match written.split_once('/') {
        Some((group, node)) if !group.is_empty() && is_level(node) => {
            Some((group.to_owned(), node.to_owned()))
        }
        _ => {
            let allowed = "the group and the name of an edge node, as hall-3/gateway-1";
            refuse(review, &path, written, allowed);
            None
        }
    }
}

fn device(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<Option<String>> {
    let Some(written) = raw.device.as_deref() else {
        return Some(None);
    };
    let path = at.key("device");
    review.good(&path, check_exact(written))?;
    if !is_level(written) {
        let allowed = "the name of a device of the node, without /";
        refuse(review, &path, written, allowed);
        return None;
    }
    Some(Some(written.to_owned()))
}

fn name(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<String> {
    let path = at.key("metric");
    let written = review.required(&path, raw.metric.as_deref(), "metric = \"Fluid/Brix\"")?;
    if written.is_empty() || written.len() > LONGEST_METRIC {
        let allowed = "the full name of a metric, of 1 to 1000 bytes";
        refuse(review, &path, written, allowed);
        return None;
    }
    Some(written.to_owned())
}

/// Whether a text can be one level of a topic that names something.
fn is_level(text: &str) -> bool {
    !text.is_empty() && !text.contains('/')
}

fn refuse(review: &mut Review, path: &KeyPath, written: &str, allowed: &str) {
    let found = format!("\"{}\"", written.chars().take(40).collect::<String>());
    let allowed = allowed.to_owned();
    review.tell(path, Problem::OutOfRange { found, allowed });
}
