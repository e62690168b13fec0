//! The sump's alarms in a fixed order: what each watches and how it behaves,
//! by the settings.

use std::sync::Arc;

use crate::alarm::{AlarmLife, AlarmManner, Priority};
use crate::rules::{Condition, Rule};

use super::setup::{AlarmSetup, SumpSetup};

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

/// Every alarm of a sump: first its limits, then the silence of each channel
/// where that is told, then the doubt about each, then the rules.
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
        let limits = self.setup.limits.len();
        let (doubts, rules) = (self.first_doubt(), self.first_rule());
        if ix < limits {
            Watched::Limit(ix)
        } else if ix < doubts {
            Watched::Silence(ix - limits)
        } else if ix < rules {
            Watched::Doubt(ix - doubts)
        } else {
            Watched::Rule(ix - rules)
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
            Watched::Silence(_) => self
                .setup
                .silent
                .map_or_else(AlarmManner::default, |alarm| alarm.manner),
            Watched::Doubt(_) => self.setup.disagrees.manner,
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

    /// None where nobody is to be told of silence.
    #[inline]
    pub(super) fn silence(&self, channel: usize) -> Option<AlarmIx> {
        self.setup.silent?;
        Some(AlarmIx(self.setup.limits.len() + channel))
    }

    /// Whether the channel is to be seen silent once it is: not one that is, whose
    /// delay runs, or waits to go on.
    pub(super) fn waits_for_silence(&self, channel: usize) -> bool {
        let life = self.silence(channel).map(|alarm| self.life(alarm));
        life.is_some_and(|life| !life.is_active() && !life.is_rising() && !life.is_paused())
    }

    #[inline]
    pub(super) fn doubt(&self, channel: usize) -> AlarmIx {
        AlarmIx(self.first_doubt() + channel)
    }

    #[inline]
    fn first_doubt(&self) -> usize {
        let silences = self.setup.silent.map_or(0, |_| self.setup.channels.len());
        self.setup.limits.len() + silences
    }

    #[inline]
    fn first_rule(&self) -> usize {
        self.first_doubt() + self.setup.channels.len()
    }

    /// The alarms that a rule stands behind.
    pub(super) fn rules(&self) -> impl Iterator<Item = AlarmIx> + use<> {
        (self.first_rule()..self.specs.len()).map(AlarmIx)
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
    let of_channels = |alarm: Option<AlarmSetup>, condition: fn(Arc<str>) -> Condition| {
        let each = alarm.into_iter().flat_map(|alarm| {
            let channels = setup.channels.iter();
            channels.map(move |channel| (&channel.name, alarm.priority))
        });
        each.map(move |(name, priority)| AlarmSpec {
            condition: condition(Arc::clone(name)),
            priority,
        })
    };
    let rules = setup.rules.iter().map(|rule| AlarmSpec {
        condition: rule.rule.condition(),
        priority: rule.priority,
    });
    limits
        .chain(of_channels(setup.silent, Condition::Silent))
        .chain(of_channels(Some(setup.disagrees), Condition::Disagrees))
        .chain(rules)
        .collect()
}
