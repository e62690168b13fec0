//! Edge nodes of Sparkplug B and their devices, and the metrics they give.
//!
//! Only what nodes say by themselves is heard; nobody is asked for a birth.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::recognise::Seen;
use super::report::counted;
use crate::ingest::sparkplug::{DataType, Kind, Metric, Payload, Topic, Value};
use crate::units::{Span, Timestamp};

/// Nodes and devices that are told apart; messages of others are counted.
const SCOPES: usize = 500;
/// Metrics of one node or device that are told apart.
const METRICS: usize = 500;
/// Numbers without a name that are repeated.
const NUMBERS_TOLD: usize = 8;
/// Metrics that serve the standard itself: its count of connections, and what
/// hosts may write.
const OF_STANDARD: [&str; 3] = ["bdSeq", "Node Control/", "Device Control/"];

/// Who a metric is of: group, node, device.
pub(super) type Whose = (String, String, Option<String>);

/// A node's own metrics, or those of one device.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Scope {
    pub(super) messages: u64,
    pub(super) first: Timestamp,
    pub(super) last: Timestamp,
    /// By name: the newest value.
    pub(super) metrics: BTreeMap<String, Given>,
    /// Metrics beyond [`METRICS`].
    pub(super) more: usize,
    /// What the numbers of the latest birth stand for.
    aliases: HashMap<u64, (String, Option<DataType>)>,
    /// Numbers that came without a birth before.
    nameless: BTreeSet<u64>,
    has_died: bool,
}

/// What a metric gave last.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Given {
    /// A number, or true or false.
    Value(Seen),
    /// No reading, in words.
    Nothing(String),
}

/// All nodes that were heard.
#[derive(Debug, Default)]
pub(super) struct Nodes {
    scopes: BTreeMap<Whose, Scope>,
    /// Messages of nodes and devices beyond [`SCOPES`].
    pub(super) others: u64,
}

impl Nodes {
    /// Takes in a message; says whether it was one of a node.
    pub(super) fn hear(&mut self, topic: &str, payload: &[u8], arrival: Timestamp) -> bool {
        let Ok(Some(topic)) = Topic::parse(topic) else {
            return false;
        };
        let Ok(payload) = Payload::parse(payload) else {
            return false;
        };
        if topic.kind == Kind::Command {
            return true;
        }
        let own = |text: &str| text.to_owned();
        let whose = (own(topic.group), own(topic.node), topic.device.map(own));
        if !self.scopes.contains_key(&whose) && self.scopes.len() >= SCOPES {
            self.others += 1;
            return true;
        }
        let scope = self
            .scopes
            .entry(whose)
            .or_insert_with(|| Scope::new(arrival));
        scope.hear(topic.kind, &payload, arrival);
        true
    }

    /// The nodes and devices in order.
    pub(super) fn iter(&self) -> impl Iterator<Item = (&Whose, &Scope)> {
        self.scopes.iter()
    }
}

impl Scope {
    fn new(now: Timestamp) -> Self {
        Scope {
            messages: 0,
            first: now,
            last: now,
            metrics: BTreeMap::new(),
            more: 0,
            aliases: HashMap::new(),
            nameless: BTreeSet::new(),
            has_died: false,
        }
    }

    /// Mean time between messages, once there were two.
    pub(super) fn interval(&self) -> Option<Span> {
        let gaps = i64::try_from(self.messages).ok()? - 1;
        (gaps > 0).then(|| Span::from_millis((self.last - self.first).millis() / gaps))
    }

    fn hear(&mut self, kind: Kind, payload: &Payload<'_>, arrival: Timestamp) {
        self.messages += 1;
        self.last = arrival;
        self.has_died = kind == Kind::Death;
        if kind == Kind::Birth {
            self.aliases.clear();
            self.nameless.clear();
        }
        if kind == Kind::Death {
            return;
        }
        for metric in &payload.metrics {
            if let (Kind::Birth, Some(name), Some(alias)) = (kind, metric.name, metric.alias) {
                self.aliases
                    .insert(alias, (name.to_owned(), metric.datatype));
            }
            self.keep(metric);
        }
    }

    fn keep(&mut self, metric: &Metric<'_>) {
        let born = metric.alias.and_then(|alias| self.aliases.get(&alias));
        let datatype = metric.datatype.or(born.and_then(|(_, datatype)| *datatype));
        let name = match (metric.name, born, metric.alias) {
            (Some(name), ..) => name.to_owned(),
            (None, Some((name, _)), _) => name.clone(),
            (None, None, Some(alias)) if self.nameless.len() < METRICS => {
                self.nameless.insert(alias);
                return;
            }
            (None, None, _) => return self.more += 1,
        };
        let is_of_standard = |of: &str| name == of || (of.ends_with('/') && name.starts_with(of));
        if OF_STANDARD.into_iter().any(is_of_standard) {
            return;
        }
        if !self.metrics.contains_key(&name) && self.metrics.len() >= METRICS {
            self.more += 1;
            return;
        }
        self.metrics.insert(name, given(metric, datatype));
    }

    /// What there is to know besides the values.
    pub(super) fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if !self.nameless.is_empty() {
            let shown: Vec<String> = self
                .nameless
                .iter()
                .take(NUMBERS_TOLD)
                .map(u64::to_string)
                .collect();
            let and_more = if self.nameless.len() > NUMBERS_TOLD {
                ", …"
            } else {
                ""
            };
            notes.push(format!(
                "{} known by number only ({}{and_more}): the names come with the next birth, \
                 when the node starts anew. Restart it while you listen, or listen for longer",
                counted(self.nameless.len() as u64, "metric"),
                shown.join(", ")
            ));
        }
        if self.more > 0 {
            notes.push(format!(
                "and {} beyond what is looked at",
                counted(self.more as u64, "metric")
            ));
        }
        if self.has_died {
            notes.push("the last that was heard is that it is gone".to_owned());
        }
        notes
    }
}

fn given(metric: &Metric<'_>, datatype: Option<DataType>) -> Given {
    match metric.reading(datatype) {
        None => Given::Nothing("no value".to_owned()),
        Some(Ok(Value::Number(number))) => Given::Value(Seen::Number(number)),
        Some(Ok(Value::Flag(flag))) => Given::Value(Seen::Word(flag.to_string())),
        Some(Err(why)) => Given::Nothing(why.to_string()),
    }
}
