//! Which topic belongs to which channel.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use super::decode::Plan;
use super::nodes::Nodes;
use crate::mqtt;
use crate::settings::{Origin, PayloadFormat, Scale, Settings};

/// Topics found by a wildcard that are remembered.
const REMEMBERED: usize = 10_000;
/// Plans that are looked through for one that reads alike. Choice: instruments of one
/// make report alike, and plants have few makes.
const PLANS: usize = 64;
/// Longer topics are not, bytes: a topic can have 65,535.
const LONGEST_REMEMBERED: usize = 256;

/// A channel that readings come in for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Route {
    /// Place of the sump in the settings.
    pub sump: u32,
    /// Place of the channel in its sump.
    pub channel: u16,
    /// Which of its broker's routes it is.
    pub place: usize,
}

/// The channels whose readings stand in the messages of one topic.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// The channels; each has the part of the plan at its place.
    pub routes: Box<[Route]>,
    /// How their readings stand in the messages.
    pub plan: Arc<Plan>,
}

/// How a channel's readings stand in the messages.
type ReadAs<'a> = (&'a PayloadFormat, &'a Scale);

/// Plans of which each is held once, whatever many topics are read by it.
#[derive(Debug, Default)]
struct Plans(Vec<Arc<Plan>>);

impl Plans {
    fn shared(&mut self, plan: Plan) -> Arc<Plan> {
        if let Some(known) = self.0.iter().find(|known| ***known == plan) {
            return Arc::clone(known);
        }
        let plan = Arc::new(plan);
        if self.0.len() < PLANS {
            self.0.push(Arc::clone(&plan));
        }
        plan
    }
}

/// What a topic leads to.
#[derive(Debug, Clone, PartialEq)]
pub enum Target {
    /// Readings of one channel or more.
    Readings(Arc<Readings>),
    /// Entries that people wrote.
    Entries,
    /// Edge nodes, which [`Router::nodes_mut`] reads.
    Nodes,
}

/// The topics of one broker.
#[derive(Debug, Default)]
pub struct Router {
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
        let mut by_topic: BTreeMap<&str, (Vec<Route>, Vec<ReadAs<'_>>)> = BTreeMap::new();
        let mut place = 0;
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
                let (routes, read_as) = by_topic.entry(topic).or_default();
                read_as.push((format, &route.scale));
                routes.push(Route {
                    sump: route.sump as u32,
                    channel: route.channel,
                    place,
                });
            }
            place += 1;
        }
        let mut plans = Plans::default();
        for (topic, (routes, read_as)) in by_topic {
            let mut plan = Plan::default();
            for (format, scale) in read_as {
                plan.add(format, scale);
            }
            let readings = Readings {
                routes: routes.into(),
                plan: plans.shared(plan),
            };
            router.add(topic, Target::Readings(readings.into()));
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
        if self.exact.len() < REMEMBERED && topic.len() <= LONGEST_REMEMBERED {
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
