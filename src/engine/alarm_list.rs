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
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Watched {
    /// The limit at this place.
    Limit(usize),
    /// The silence of the channel at this place.
    Silence(usize),
    /// Whether a hand reading contradicts the channel at this place.
    Doubt(usize),
    /// What the rule at this place says, judged from time to time.
    Rule(usize),
}

/// One alarm by the settings. A sump has dozens: what the settings hold is looked
/// up there.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct AlarmSpec {
    pub(super) condition: Condition,
    pub(super) priority: Priority,
}

/// Every alarm of a sump: first its limits, then the silence of each channel,
/// then the doubt about each, then the rules.
#[derive(Debug, Clone)]
pub(super) struct AlarmList {
    setup: Arc<SumpSetup>,
    specs: Arc<[AlarmSpec]>,
    lives: Box<[AlarmLife]>,
}

impl AlarmList {
    pub(super) fn new(setup: &Arc<SumpSetup>) -> Self {
        let specs: Arc<[AlarmSpec]> = specs(setup).into();
        AlarmList {
            setup: Arc::clone(setup),
            lives: vec![AlarmLife::default(); specs.len()].into(),
            specs,
        }
    }

    pub(super) fn spec(&self, AlarmIx(ix): AlarmIx) -> &AlarmSpec {
        &self.specs[ix]
    }

    /// What the alarm watches.
    #[inline]
    pub(super) fn watched(&self, AlarmIx(ix): AlarmIx) -> Watched {
        let (limits, channels) = (self.setup.limits.len(), self.setup.channels.len());
        if ix < limits {
            Watched::Limit(ix)
        } else if ix < limits + channels {
            Watched::Silence(ix - limits)
        } else if ix < limits + 2 * channels {
            Watched::Doubt(ix - limits - channels)
        } else {
            Watched::Rule(ix - limits - 2 * channels)
        }
    }

    /// The rule behind the alarm, where there is one.
    pub(super) fn rule(&self, alarm: AlarmIx) -> Option<&Rule> {
        match self.watched(alarm) {
            Watched::Rule(rule) => Some(&self.setup.rules[rule].rule),
            _ => None,
        }
    }

    /// How the alarm behaves.
    #[inline]
    pub(super) fn manner(&self, alarm: AlarmIx) -> AlarmManner {
        match self.watched(alarm) {
            Watched::Limit(limit) => self.setup.limits[limit].manner,
            Watched::Silence(_) | Watched::Doubt(_) => AT_ONCE,
            Watched::Rule(rule) => self.setup.rules[rule].manner,
        }
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
        AlarmIx(self.setup.limits.len() + channel)
    }

    #[inline]
    pub(super) fn doubt(&self, channel: usize) -> AlarmIx {
        AlarmIx(self.setup.limits.len() + self.setup.channels.len() + channel)
    }

    /// The alarms that a rule stands behind.
    pub(super) fn rules(&self) -> impl Iterator<Item = AlarmIx> + use<> {
        (self.setup.limits.len() + 2 * self.setup.channels.len()..self.specs.len()).map(AlarmIx)
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

impl SumpSetup {
    /// Names of the alarms that it can have.
    pub fn alarm_names(&self) -> impl Iterator<Item = String> {
        let specs = specs(self).into_iter();
        specs.map(|spec| spec.condition.to_string())
    }
}

fn specs(setup: &SumpSetup) -> Vec<AlarmSpec> {
    let limits = setup.limits.iter().map(|limit| AlarmSpec {
        condition: Condition::Limit(limit.signal, limit.level),
        priority: limit.priority,
    });
    // Diagnostic alarms have a class of their own, usually low (common
    // practice, no source).
    let of_channel = |condition: fn(Arc<str>) -> Condition| {
        let channels = setup.channels.iter();
        channels.map(move |channel| AlarmSpec {
            condition: condition(Arc::clone(&channel.name)),
            priority: Priority::Low,
        })
    };
    let rules = setup.rules.iter().map(|rule| AlarmSpec {
        condition: rule.rule.condition(),
        priority: rule.priority,
    });
    limits
        .chain(of_channel(Condition::Silent))
        .chain(of_channel(Condition::Disagrees))
        .chain(rules)
        .collect()
}
