//! What a rule reads of a sump, and whether its sumps have it.

use std::collections::BTreeSet;

use crate::units::Quantity;

use super::OwnRule;
use super::check::Question;
use super::mistake::{OwnFault, OwnMistake};
use super::names::{Asked, CONCENTRATION, NumberSource, OwnName, TruthSource, VOLUME, Whence};
use super::parse::mistake_at;

/// What the sumps of a rule have that it may ask for: of any of them, as a rule is
/// for all of its sumps.
#[derive(Debug, Clone, Default)]
pub struct OwnReach {
    /// Names of the alarms that they can have.
    pub alarms: BTreeSet<String>,
    /// What their channels measure.
    pub measured: BTreeSet<Quantity>,
}

/// What of a sump a rule reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OwnRead<'a> {
    /// The channels of these quantities.
    Signal(&'a [Quantity]),
    /// The channel of this name, by an alarm of its instrument.
    Channel(&'a str),
    /// The fluid otherwise: by hand, or by the model.
    Fluid,
}

impl OwnRule {
    /// What it reads of a sump; not what it asks of the settings, the pumps,
    /// entries and the clock.
    pub fn reads(&self) -> impl Iterator<Item = OwnRead<'_>> {
        self.0.questions.iter().filter_map(Question::reads)
    }

    /// Whether it may hold because readings do not come.
    pub fn looks_for_silence(&self) -> bool {
        self.0.questions.iter().any(Question::looks_for_silence)
    }

    /// What it asks for that its sumps cannot have, in the order of the text.
    pub fn out_of_reach(&self, reach: &OwnReach) -> Vec<OwnMistake> {
        let questions = self.0.questions.iter();
        let faults = questions.filter_map(|question| {
            let fault = question.out_of_reach(reach)?;
            Some((question.at, fault))
        });
        let mut faults: Vec<_> = faults.collect();
        faults.sort_by_key(|(at, _)| *at);
        let mistake = |(at, fault)| mistake_at(&self.0.text, at, fault);
        faults.into_iter().map(mistake).collect()
    }
}

impl Question {
    fn reads(&self) -> Option<OwnRead<'_>> {
        match &self.asked {
            Asked::Number(NumberSource::SinceReading(quantity)) => {
                Some(OwnRead::Signal(std::slice::from_ref(quantity)))
            }
            Asked::Truth(TruthSource::Active(name)) => read_by_alarm(name),
            _ => match OwnName::find(&self.label)?.whence {
                Whence::Signal(quantities) => Some(OwnRead::Signal(quantities)),
                Whence::Fluid => Some(OwnRead::Fluid),
                Whence::Beside => None,
            },
        }
    }

    fn looks_for_silence(&self) -> bool {
        match &self.asked {
            Asked::Number(NumberSource::SinceReading(_)) => true,
            Asked::Truth(TruthSource::Active(name)) => name.starts_with("silent."),
            _ => self.may_be_missing && matches!(self.reads(), Some(OwnRead::Signal(_))),
        }
    }

    fn out_of_reach(&self, reach: &OwnReach) -> Option<OwnFault> {
        if let Asked::Truth(TruthSource::Active(name)) = &self.asked {
            let known = reach.alarms.contains(&**name);
            return (!known).then(|| OwnFault::NoSuchAlarm {
                found: name.to_string(),
                known: reach.alarms.iter().cloned().collect(),
            });
        }
        let Some(OwnRead::Signal(quantities)) = self.reads() else {
            return None;
        };
        let measured = quantities.iter().any(|one| reach.measured.contains(one));
        let names = quantities.iter().map(|one| one.name());
        let missed = !measured && !self.may_be_missing;
        missed.then(|| OwnFault::NotMeasured(names.collect::<Vec<_>>().join(" or ")))
    }
}

/// What a sump's alarm of this name goes by.
fn read_by_alarm(name: &str) -> Option<OwnRead<'_>> {
    let (first, rest) = name.split_once('.').unwrap_or((name, ""));
    let signals = |whence: Whence| match whence {
        Whence::Signal(quantities) => OwnRead::Signal(quantities),
        Whence::Fluid | Whence::Beside => OwnRead::Fluid,
    };
    match first {
        "silent" | "instrument" | "disagrees" => Some(OwnRead::Channel(rest)),
        "own" | "overdue" | "mixer" | "dose_missed" | "contradicted" | "pumps" => None,
        "concentration" => Some(signals(CONCENTRATION)),
        "volume" => Some(signals(VOLUME)),
        other => Some(OwnName::find(other).map_or(OwnRead::Fluid, |name| signals(name.whence))),
    }
}
