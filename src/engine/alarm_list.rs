//! The sump's alarms in a fixed order: what each watches and how it behaves,
//! by the settings.

use std::sync::Arc;

use crate::alarm::{AlarmLife, AlarmManner, Priority};
use crate::rules::{Condition, Rule};

use super::setup::SumpSetup;

/// Alarms about instruments tell at once and go at once: what they look at is
/// already a delay of its own.
const AT_ONCE: AlarmManner = AlarmManner {
    on: crate::units::Span::ZERO,
    off: crate::units::Span::ZERO,
    latching: false,
    again_after: None,
};

/// Place of an alarm in the sump's list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct AlarmIx(pub(super) usize);

/// What an alarm watches.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Watched {
    /// The limit at this place.
    Limit(usize),
    /// The silence of the channel at this place.
    Silence(usize),
    /// Whether a hand reading contradicts the channel at this place.
    Doubt(usize),
    /// What this rule says, judged from time to time.
    Rule(Rule),
}

/// One alarm by the settings.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct AlarmSpec {
    pub(super) watched: Watched,
    pub(super) condition: Condition,
    pub(super) priority: Priority,
    pub(super) manner: AlarmManner,
}

/// Every alarm of a sump: first its limits, then the silence of each channel,
/// then the doubt about each, then the rules.
#[derive(Debug, Clone)]
pub(super) struct AlarmList {
    specs: Arc<[AlarmSpec]>,
    lives: Vec<AlarmLife>,
    limits: usize,
    channels: usize,
}

impl AlarmList {
    pub(super) fn new(setup: &SumpSetup) -> Self {
        let specs: Arc<[AlarmSpec]> = specs(setup).into();
        AlarmList {
            lives: vec![AlarmLife::default(); specs.len()],
            specs,
            limits: setup.limits.len(),
            channels: setup.channels.len(),
        }
    }

    pub(super) fn spec(&self, AlarmIx(ix): AlarmIx) -> &AlarmSpec {
        &self.specs[ix]
    }

    #[inline]
    pub(super) fn life(&self, AlarmIx(ix): AlarmIx) -> &AlarmLife {
        &self.lives[ix]
    }

    #[inline]
    pub(super) fn life_mut(&mut self, AlarmIx(ix): AlarmIx) -> &mut AlarmLife {
        &mut self.lives[ix]
    }

    pub(super) fn lives_mut(&mut self) -> impl Iterator<Item = &mut AlarmLife> {
        self.lives.iter_mut()
    }

    /// All of them, in order.
    pub(super) fn all(&self) -> impl Iterator<Item = AlarmIx> + use<> {
        (0..self.specs.len()).map(AlarmIx)
    }

    /// All with what they are and how they stand.
    pub(super) fn each(&self) -> impl Iterator<Item = (AlarmIx, &AlarmSpec, &AlarmLife)> {
        let both = self.specs.iter().zip(&self.lives).enumerate();
        both.map(|(ix, (spec, life))| (AlarmIx(ix), spec, life))
    }

    #[inline]
    pub(super) fn limit(&self, limit: usize) -> AlarmIx {
        AlarmIx(limit)
    }

    #[inline]
    pub(super) fn silence(&self, channel: usize) -> AlarmIx {
        AlarmIx(self.limits + channel)
    }

    #[inline]
    pub(super) fn doubt(&self, channel: usize) -> AlarmIx {
        AlarmIx(self.limits + self.channels + channel)
    }

    /// The alarms that a rule stands behind.
    pub(super) fn rules(&self) -> impl Iterator<Item = AlarmIx> + use<> {
        (self.limits + 2 * self.channels..self.specs.len()).map(AlarmIx)
    }

    /// Whether a hand reading contradicts the channel.
    #[inline]
    pub(super) fn is_doubted(&self, channel: usize) -> bool {
        self.life(self.doubt(channel)).is_active()
    }

    /// The alarm of this name.
    pub(super) fn named(&self, condition: &str) -> Option<AlarmIx> {
        let found = self
            .specs
            .iter()
            .position(|spec| spec.condition.to_string() == condition);
        found.map(AlarmIx)
    }
}

fn specs(setup: &SumpSetup) -> Vec<AlarmSpec> {
    let limits = setup
        .limits
        .iter()
        .enumerate()
        .map(|(ix, limit)| AlarmSpec {
            watched: Watched::Limit(ix),
            condition: Condition::Limit(limit.signal, limit.level),
            priority: limit.priority,
            manner: limit.manner,
        });
    // Diagnostic alarms have a class of their own, usually low (common
    // practice, no source).
    let of_channel = |watched: fn(usize) -> Watched, condition: fn(Arc<str>) -> Condition| {
        let channels = setup.channels.iter().enumerate();
        channels.map(move |(ix, channel)| AlarmSpec {
            watched: watched(ix),
            condition: condition(Arc::clone(&channel.name)),
            priority: Priority::Low,
            manner: AT_ONCE,
        })
    };
    let rules = setup.rules.iter().map(|rule| AlarmSpec {
        watched: Watched::Rule(rule.rule.clone()),
        condition: rule.rule.condition(),
        priority: rule.priority,
        manner: rule.manner,
    });
    limits
        .chain(of_channel(Watched::Silence, Condition::Silent))
        .chain(of_channel(Watched::Doubt, Condition::Disagrees))
        .chain(rules)
        .collect()
}
