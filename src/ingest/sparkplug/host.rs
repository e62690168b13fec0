//! The host: all nodes that channels want something of.

use std::collections::HashMap;

use crate::settings::SparkplugMetric;
use crate::units::Timestamp;

use super::command;
use super::node::Node;
use super::outcome::{Counters, Outcome};
use super::payload::{Payload, PayloadError};
use super::topic::{NAMESPACE, Topic, TopicError};
use super::wanted::Desk;

/// Whether a broker says that it may have delivered a message before (DUP).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Delivery {
    /// The first time.
    First,
    /// Perhaps not the first time.
    Again,
}

/// Why nothing of a message was used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// It is not of the standard's topics.
    #[error(transparent)]
    Topic(#[from] TopicError),
    /// Its payload cannot be read.
    #[error(transparent)]
    Payload(#[from] PayloadError),
}

/// The nodes of one broker.
#[derive(Debug, Default)]
pub struct Host {
    nodes: Vec<Node>,
    /// Places of nodes by group and name.
    groups: HashMap<Box<str>, HashMap<Box<str>, usize>>,
    metrics: usize,
    counters: Counters,
}

impl Host {
    /// A channel wants this metric; gives its place. The same metric has the
    /// same place, however often it is wanted.
    pub fn want(&mut self, metric: &SparkplugMetric) -> usize {
        let node = self.node_place(&metric.group, &metric.node);
        let scope = self.nodes[node].scope_mut(metric.device.as_deref());
        if let Some(place) = scope.place(&metric.name) {
            return place;
        }
        let place = self.metrics;
        self.metrics += 1;
        scope.want(&metric.name, place);
        place
    }

    fn node_place(&mut self, group: &str, node: &str) -> usize {
        if let Some(place) = self.find(group, node) {
            return place;
        }
        let place = self.nodes.len();
        self.nodes.push(Node::new(group, node));
        let group = self.groups.entry(group.into()).or_default();
        group.insert(node.into(), place);
        place
    }

    /// The place of a node, where a channel wants something of it.
    pub fn find(&self, group: &str, node: &str) -> Option<usize> {
        self.groups.get(group)?.get(node).copied()
    }

    /// Whether messages on this topic are of a node that a channel wants
    /// something of.
    pub fn takes(&self, topic: &str) -> bool {
        let Ok(Some(topic)) = Topic::parse(topic) else {
            return false;
        };
        self.find(topic.group, topic.node).is_some()
    }

    /// How many nodes there are; their places count from 0.
    pub fn nodes(&self) -> usize {
        self.nodes.len()
    }

    /// The topic filters that bring every message of the nodes: those of
    /// devices that no channel wants count in `seq` too.
    pub fn subscriptions(&self) -> impl Iterator<Item = String> {
        self.nodes.iter().flat_map(|node| {
            let own = format!("{NAMESPACE}/{}/+/{}", node.group, node.name);
            let devices = format!("{own}/+");
            [own, devices]
        })
    }

    /// Takes in one message; gives the place of the node that it is of. What
    /// came of it is in `out`, whatever was in it before is gone. Messages of
    /// nodes that no channel wants, of other hosts and commands come to nothing.
    ///
    /// # Errors
    /// When nothing of it could be used.
    pub fn handle(
        &mut self,
        topic: &str,
        payload: &[u8],
        arrival: Timestamp,
        delivery: Delivery,
        out: &mut Outcome,
    ) -> Result<Option<usize>, Refused> {
        out.clear();
        let Some(topic) = Topic::parse(topic)? else {
            return Ok(None);
        };
        let Some(place) = self.find(topic.group, topic.node) else {
            return Ok(None);
        };
        let payload = Payload::parse(payload)?;
        let node = &mut self.nodes[place];
        let mut desk = Desk {
            kind: topic.kind,
            delivery,
            sent: payload.time,
            arrival,
            out,
            counters: &mut self.counters,
        };
        if node.handle(&topic, &payload, &mut desk) && node.asking.want(arrival) {
            out.rebirth = Some(place);
        }
        Ok(Some(place))
    }

    /// The connection to the broker was lost. What came meanwhile at quality of
    /// service 0 never comes, births among it: aliases count no more until the
    /// next birth.
    pub fn link_lost(&mut self) {
        self.nodes.iter_mut().for_each(Node::link_lost);
    }

    /// A connection stands: gives the nodes to ask for a birth, which are those
    /// of which none is known. Each is asked even if it was asked a moment ago,
    /// since a node at rest would else stay unknown until something changes.
    pub fn linked(&mut self, now: Timestamp) -> Vec<usize> {
        let unborn = self.nodes.iter_mut().enumerate();
        let unborn = unborn.filter(|(_, node)| !node.is_born());
        unborn
            .map(|(place, node)| {
                node.asking.ask(now);
                place
            })
            .collect()
    }

    /// Whether it is known of the node at this place, or of this device of it,
    /// that it was born or that the node died.
    pub fn is_known(&self, node: usize, device: Option<&str>) -> bool {
        self.nodes[node].is_known(device)
    }

    /// The topic on which the node at this place is asked for a birth.
    pub fn rebirth_topic(&self, node: usize) -> String {
        let node = &self.nodes[node];
        command::rebirth_topic(&node.group, &node.name)
    }

    /// What was counted since the start.
    pub fn counters(&self) -> Counters {
        self.counters
    }
}
