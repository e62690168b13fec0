//! Which topic belongs to what: no message may mean two things.

use std::collections::HashMap;

use super::brokers::Brokers;
use super::key_path::KeyPath;
use super::problem::Problem;
use super::review::Review;
use super::template::{TemplateError, Templating};
use super::topic::{has_wildcard, overlap};

/// A topic, or a filter, that something has taken.
#[derive(Debug, Clone)]
pub(super) struct Claim {
    /// Place of the broker.
    pub(super) broker: usize,
    /// The topic or filter.
    pub(super) topic: String,
    /// The part of the message that is taken, as JSON Pointer or as name of a
    /// record; nothing where it is the whole.
    pub(super) part: Option<String>,
    /// The setting that takes it.
    pub(super) path: KeyPath,
}

impl Claim {
    /// Several channels may share a topic if each takes another value of its
    /// JSON document, or other records of its pack.
    fn clashes(&self, other: &Claim) -> bool {
        let other_part = matches!((&self.part, &other.part), (Some(a), Some(b)) if a != b);
        self.broker == other.broker
            && !(self.topic == other.topic && other_part)
            && overlap(&self.topic, &other.topic)
    }
}

/// Tells every topic that an earlier claim has taken already.
pub(super) fn check(review: &mut Review, claims: &[Claim]) {
    let mut exact: HashMap<(usize, &str), Vec<&Claim>> = HashMap::new();
    let mut filters: Vec<&Claim> = Vec::new();
    for (place, claim) in claims.iter().enumerate() {
        let first = if has_wildcard(&claim.topic) {
            filters.push(claim);
            claims[..place]
                .iter()
                .find(|earlier| claim.clashes(earlier))
        } else {
            let same = exact.entry((claim.broker, &claim.topic)).or_default();
            let earlier = same.iter().chain(&filters).copied();
            let first = earlier.into_iter().find(|earlier| claim.clashes(earlier));
            same.push(claim);
            first
        };
        if let Some(first) = first {
            tell(review, claim, first);
        }
    }
}

/// Tells every filter that shares topics with the template of its broker: the
/// broker would deliver such messages twice. An exact topic among those of the
/// template may belong to a channel all the same; it then comes with them.
pub(super) fn check_templates(review: &mut Review, claims: &[Claim], brokers: &Brokers) {
    for claim in claims.iter().filter(|claim| has_wildcard(&claim.topic)) {
        let Templating::Good(template) = &brokers.templates[claim.broker] else {
            continue;
        };
        if overlap(&claim.topic, &template.filter()) {
            let problem = Problem::TopicTaken {
                topic: claim.topic.clone(),
                by: format!("broker.{}.template.topic", brokers.names[claim.broker]),
            };
            review.tell(&claim.path, problem);
        }
    }
}

/// Tells a template that takes in what we publish, below `ours`, ourselves.
pub(super) fn check_ours(review: &mut Review, brokers: &Brokers, broker: usize, ours: &str) {
    let Templating::Good(template) = &brokers.templates[broker] else {
        return;
    };
    if overlap(&template.filter(), &format!("{ours}/#")) {
        let at = KeyPath::root().key("broker").key(&brokers.names[broker]);
        let problem = TemplateError::AmongOurs(ours.to_owned());
        review.tell(&at.key("template").key("topic"), problem);
    }
}

fn tell(review: &mut Review, claim: &Claim, first: &Claim) {
    let (topic, by) = (claim.topic.clone(), first.path.to_string());
    let problem = match &claim.part {
        Some(part) if claim.part == first.part => Problem::PartTaken {
            topic,
            part: part.clone(),
            by,
        },
        _ => Problem::TopicTaken { topic, by },
    };
    review.tell(&claim.path, problem);
}
