//! Which topic belongs to which channel.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use super::nodes::Nodes;
use crate::mqtt;
use crate::settings::{Origin, PayloadFormat, Scale, Settings};

/// Topics found by a wildcard that are remembered.
const REMEMBERED: usize = 10_000;

/// A channel and how its readings are written.
#[derive(Debug, Clone, PartialEq)]
pub struct Route {
    /// Place of the sump in the settings.
    pub sump: u32,
    /// Place of the channel in its sump.
    pub channel: u16,
    /// How the value stands in the message.
    pub format: PayloadFormat,
    /// What the value stands for.
    pub scale: Scale,
}

/// What a topic leads to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Target {
    /// The routes at these places: several where one message holds the
    /// readings of several channels.
    Routes(Arc<[usize]>),
    /// Entries that people wrote.
    Entries,
    /// Edge nodes, which [`Router::nodes_mut`] reads.
    Nodes,
}

/// The topics of one broker.
#[derive(Debug, Default)]
pub struct Router {
    routes: Vec<Route>,
    exact: HashMap<String, Target>,
    filters: Vec<(String, Target)>,
    subscriptions: Vec<String>,
    nodes: Nodes,
}

impl Router {
    /// The topics of the broker at this place in the settings.
    pub fn new(settings: &Settings, broker: usize) -> Self {
        let mut router = Router {
            nodes: Nodes::new(settings, broker),
            ..Router::default()
        };
        let mut by_topic: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for route in &settings.routes {
            let Origin::Topic {
                broker: of,
                topics,
                format,
            } = &route.origin
            else {
                continue;
            };
            if *of != broker {
                continue;
            }
            for topic in topics {
                by_topic.entry(topic).or_default().push(router.routes.len());
            }
            router.routes.push(Route {
                sump: route.sump as u32,
                channel: route.channel,
                format: format.clone(),
                scale: route.scale.clone(),
            });
        }
        for (topic, places) in by_topic {
            router.add(topic, Target::Routes(places.into()));
        }
        if broker == settings.messages_broker {
            router.add(&settings.entry_topic, Target::Entries);
        }
        router.subscriptions = subscriptions(&router, settings.brokers[broker].template.as_ref());
        router
    }

    fn add(&mut self, filter: &str, target: Target) {
        if filter.contains(['+', '#']) {
            self.filters.push((filter.to_owned(), target));
        } else {
            self.exact.insert(filter.to_owned(), target);
        }
    }

    /// The topic filters to subscribe to.
    pub fn subscriptions(&self) -> &[String] {
        &self.subscriptions
    }

    /// The edge nodes.
    pub fn nodes_mut(&mut self) -> &mut Nodes {
        &mut self.nodes
    }

    /// The route at a place that [`Router::find`] gave.
    pub fn route(&self, place: usize) -> &Route {
        &self.routes[place]
    }

    /// What a topic leads to; of several filters the first by name.
    pub fn find(&mut self, topic: &str) -> Option<Target> {
        if let Some(target) = self.exact.get(topic) {
            return Some(target.clone());
        }
        if self.nodes.takes(topic) {
            return Some(Target::Nodes);
        }
        let (_, target) = self
            .filters
            .iter()
            .find(|(filter, _)| mqtt::matches(filter, topic))?;
        let target = target.clone();
        if self.exact.len() < REMEMBERED {
            self.exact.insert(topic.to_owned(), target.clone());
        }
        Some(target)
    }
}

/// What to subscribe to. The template's filter stands for every topic that it
/// takes in: subscribed to by itself as well, its messages might come twice.
fn subscriptions(router: &Router, template: Option<&String>) -> Vec<String> {
    let all = router
        .exact
        .keys()
        .chain(router.filters.iter().map(|(filter, _)| filter));
    let (within, mut others): (Vec<&String>, Vec<&String>) =
        all.partition(|topic| template.is_some_and(|template| mqtt::matches(template, topic)));
    others.extend(template.filter(|_| !within.is_empty()));
    let mut all: Vec<String> = others.into_iter().cloned().collect();
    all.extend(router.nodes.subscriptions());
    all.sort();
    all
}
