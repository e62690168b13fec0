//! Channels whose readings are metrics of edge nodes, after Sparkplug B: what
//! the host found, in the words of the intake.
//!
//! Promises: what a message held is acknowledged when all of it is committed,
//! and a redelivery never before what its first delivery held; a metric that
//! died, that its node calls bad or that cannot be read is gone at once, since
//! it is only sent when it changes; so is one whose node does not show itself
//! after a start or a lost connection. Refuses: retained messages, and values
//! of the past whose time is not believed.

mod channel;
#[cfg(test)]
mod tests;

pub use channel::{Came, NodeError};

use super::intake::Content;
use super::refusals::IngestCounters;
use super::sparkplug::{Delivery, Host, Outcome, Refused, rebirth_payload};
use super::unreadable::Unreadable;
use crate::settings::{Origin, Settings, SparkplugMetric};
use crate::units::{Span, Timestamp};

use channel::{Channel, Wait};

/// So long after births and deaths may have been missed a node or device that
/// does not show itself is taken to be gone. Choice: births come within seconds
/// of being asked for, and a broker is back within a minute or two.
const MISSED_AFTER: Span = Span::from_mins(5);
/// Channels are looked over at most so often.
const LOOK_EVERY: Span = Span::from_secs(1);

/// The edge nodes of one broker and the channels that want something of them.
#[derive(Debug, Default)]
pub struct Nodes {
    host: Host,
    out: Outcome,
    /// By the place of their metric in the host; the settings let no two
    /// channels have the same one.
    channels: Vec<Channel>,
    /// Sumps that want something of each node, by its place in the host.
    sumps: Vec<Vec<u32>>,
    /// Whether nodes may be asked for a birth.
    ask: bool,
    /// Nodes that are to be asked.
    wanted: Vec<usize>,
    /// When the channels were last looked over.
    looked_at: Option<Timestamp>,
    unreadable: Unreadable,
}

impl Nodes {
    /// The nodes of the broker at this place in the settings.
    pub fn new(settings: &Settings, broker: usize) -> Self {
        let mut nodes = Nodes {
            ask: settings.brokers[broker].ask_rebirth,
            ..Nodes::default()
        };
        for route in &settings.routes {
            match &route.origin {
                Origin::Metric { broker: of, metric } if *of == broker => {
                    let sump = route.sump as u32;
                    nodes.host.want(metric);
                    let node = nodes.note_sump(metric, sump);
                    nodes.channels.push(Channel {
                        node,
                        heard: None,
                        wait: Wait::No,
                        sump,
                        channel: route.channel,
                        scale: route.scale.clone(),
                        metric: metric.clone(),
                    });
                }
                _ => {}
            }
        }
        nodes
    }

    /// Notes that the sump wants something of the metric's node; gives the
    /// node's place.
    fn note_sump(&mut self, metric: &SparkplugMetric, sump: u32) -> usize {
        let node = self
            .host
            .find(&metric.group, &metric.node)
            .expect("the node of a metric that is wanted is in the host");
        self.sumps.resize(self.host.nodes(), Vec::new());
        let sumps = &mut self.sumps[node];
        if !sumps.contains(&sump) {
            sumps.push(sump);
        }
        node
    }

    /// The topic filters to subscribe to.
    pub fn subscriptions(&self) -> impl Iterator<Item = String> {
        self.host.subscriptions()
    }

    /// Whether messages on this topic are read here.
    pub fn takes(&self, topic: &str) -> bool {
        self.host.takes(topic)
    }

    /// Reads what a message holds, each part with the sump that it is for.
    ///
    /// # Errors
    /// The first thing in it that could not be used; the rest was.
    pub fn read(
        &mut self,
        topic: &str,
        payload: &[u8],
        came: &Came<'_>,
        contents: &mut Vec<(u32, Content)>,
    ) -> Result<(), NodeError> {
        if came.retained {
            IngestCounters::add(&came.counters.retained);
            return Err(NodeError::Retained);
        }
        let before = contents.len();
        let node = self.handle(topic, payload, came)?;
        let mut first = None;
        for place in 0..self.out.findings.len() {
            let finding = self.out.findings[place];
            let channel = &mut self.channels[finding.metric];
            channel.heard = Some(came.arrival);
            if let Err(why) = channel.take(finding.news, came, contents) {
                self.tell(finding.metric, &why, came, contents);
                first.get_or_insert(why);
            }
        }
        for told in std::mem::take(&mut self.out.troubles) {
            let why = NodeError::Trouble(told.why);
            if let Some(metric) = told.metric {
                self.tell(metric, &why, came, contents);
            }
            first.get_or_insert(why);
        }
        self.wanted.extend(self.out.rebirth.filter(|_| self.ask));
        if came.delivery == Delivery::Again && contents.len() == before {
            // What it held may be on its way to the store since its first
            // delivery; its acknowledgement must not overtake that.
            let sumps = node.map_or(&[][..], |node| &self.sumps[node]);
            contents.extend(sumps.iter().map(|&sump| (sump, Content::Known)));
        }
        first.map_or(Ok(()), Err)
    }

    /// Lets the host handle the message, and counts what it counted.
    fn handle(
        &mut self,
        topic: &str,
        payload: &[u8],
        came: &Came<'_>,
    ) -> Result<Option<usize>, Refused> {
        let before = self.host.counters();
        let (arrival, delivery) = (came.arrival, came.delivery);
        let handled = self
            .host
            .handle(topic, payload, arrival, delivery, &mut self.out);
        let after = self.host.counters();
        IngestCounters::add_many(&came.counters.gaps, after.gaps - before.gaps);
        let unused = after.unused() - before.unused();
        IngestCounters::add_many(&came.counters.unused, unused);
        handled
    }

    /// Tells a channel that something for it could not be used.
    fn tell(
        &mut self,
        metric: usize,
        why: &NodeError,
        came: &Came<'_>,
        contents: &mut Vec<(u32, Content)>,
    ) {
        let Channel { sump, channel, .. } = self.channels[metric];
        if let Some(kind) = self.unreadable.count(metric, why, came.instant) {
            let time = None;
            contents.push((
                sump,
                Content::Trouble {
                    channel,
                    time,
                    kind,
                },
            ));
        }
    }

    /// A connection stands: whoever is not known to be born is to be asked.
    pub fn linked(&mut self, now: Timestamp) {
        if self.ask {
            self.wanted = self.host.linked(now);
        }
    }

    /// The connection was lost.
    pub fn link_lost(&mut self) {
        self.wanted.clear();
        self.host.link_lost();
    }

    /// Looks for nodes and devices that have not shown themselves for
    /// `MISSED_AFTER`, since the start or since the connection was lost: their
    /// channels are told once that they are gone, unless they were heard of.
    pub fn miss(&mut self, now: Timestamp, contents: &mut Vec<(u32, Content)>) {
        let looked = |at: Timestamp| (Span::ZERO..LOOK_EVERY).contains(&(now - at));
        if self.looked_at.is_some_and(looked) {
            return;
        }
        self.looked_at = Some(now);
        let before = contents.len();
        for channel in &mut self.channels {
            let known = self
                .host
                .is_known(channel.node, channel.metric.device.as_deref());
            channel.wait = match channel.wait {
                _ if known => Wait::No,
                Wait::No => Wait::Since(now),
                Wait::Since(since) if now - since >= MISSED_AFTER => {
                    if channel.heard.is_none_or(|heard| heard < since) {
                        contents.push((channel.sump, channel.gone(None)));
                        tracing::debug!(metric = %channel.metric, "missed");
                    }
                    Wait::InVain
                }
                waiting => waiting,
            };
        }
        let missed = contents.len() - before;
        if missed > 0 {
            tracing::warn!(
                channels = missed,
                "edge nodes or devices have not shown themselves for {MISSED_AFTER}; \
                 check node and device of their channels (the log at debug names them)"
            );
        }
    }

    /// Whether there is anything to publish.
    pub fn has_requests(&self) -> bool {
        !self.wanted.is_empty()
    }

    /// What is to be published now, at quality of service 0 and not retained:
    /// topics and payloads.
    pub fn requests(&mut self, now: Timestamp) -> impl Iterator<Item = (String, Vec<u8>)> {
        let host = &self.host;
        self.wanted
            .drain(..)
            .map(move |node| (host.rebirth_topic(node), rebirth_payload(now)))
    }
}
