//! From the facts to a level, and what to look at first.

use std::cmp::Reverse;

use serde::Serialize;

use super::setup::SouringSetup;
use super::signs::{self, Facts};
use super::watch::{ROUNDING, SouringNow, SouringWatch};
use crate::model::{Evidence, Speaks, Weight};

/// What goes with every advice on a sour sump.
const CAUTION: &str = "Biocides and system cleaners are for trained, appointed persons only, by \
                       their safety data sheet and the maker of the fluid; what smells may give \
                       off hydrogen sulfide: air the place, and keep heads out of tanks.";

/// How likely it is that a sump goes sour; the worst comes last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Souring {
    /// Nothing speaks for it.
    NoSign,
    /// There are first signs.
    Watch,
    /// It is more likely than not.
    Likely,
    /// Facts that do not depend on one another say so.
    Certain,
}

/// Whether a sump goes sour, and why.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SouringStatus {
    /// How likely it is.
    pub level: Souring,
    /// pH when the charge was fresh.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_ph: Option<f64>,
    /// The facts: the weightiest first, and of one weight what speaks for it.
    pub evidence: Vec<Evidence>,
    /// What is to be known beside it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<String>,
    /// What to do, the first first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub look: Vec<&'static str>,
    /// What to take care of, where there is something to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub caution: Option<&'static str>,
}

impl SouringWatch {
    /// Whether the sump goes sour; nothing where nothing is known.
    pub fn status(&self, setup: &SouringSetup, now: &SouringNow) -> Option<SouringStatus> {
        let groups = [
            signs::acid(self, setup, now),
            signs::air(self, setup, now),
            signs::germs(self, setup, now.time),
            signs::senses(self, setup, now.time),
        ];
        let risks = signs::stillness(self, setup, now.time);
        let remarks = signs::remarks(self, setup, now);
        let level = level(&groups, &risks);
        let known = groups.iter().chain([&risks]).any(|facts| !facts.is_empty());
        if !known && remarks.is_empty() {
            return None;
        }
        let look = self.look(setup, now, level);
        let mut evidence: Facts = groups.into_iter().flatten().chain(risks).collect();
        evidence.sort_by_key(|fact| (Reverse(fact.weight), fact.speaks == Speaks::Against));
        Some(SouringStatus {
            level,
            reference_ph: self.reference_ph(setup).map(|ph| ph.units()),
            evidence,
            remarks,
            caution: (!look.is_empty()).then_some(CAUTION),
            look,
        })
    }

    /// Whether it goes sour by what people found last of each kind, however long ago;
    /// nothing where all of that still counts. That nobody has looked again is no sign
    /// that it is over.
    pub fn status_as_last_found(
        &self,
        setup: &SouringSetup,
        now: &SouringNow,
    ) -> Option<SouringStatus> {
        let (watch, setup) = self.as_last_found(setup, now.time)?;
        watch.status(&setup, now)
    }

    /// What to do, the first first. The first two are what the sources demand,
    /// whatever else is known.
    fn look(&self, setup: &SouringSetup, now: &SouringNow, level: Souring) -> Vec<&'static str> {
        let mut look = Vec::new();
        let ph = self.ph_now(setup, now);
        let drop = ph.and_then(|ph| self.ph_drop(setup, ph)).unwrap_or(0.0);
        let fallen = |limit: f64| drop > limit + ROUNDING;
        if fallen(setup.ph_drop.watch) {
            look.push(
                "Check the pH with a second instrument or an indicator stick: electrodes foul.",
            );
        }
        if fallen(setup.ph_drop.act) {
            look.push(
                "If it is true: change the fluid and clean the circuit (DGUV Regel 109-003, test \
                 plan no. 2).",
            );
        } else if fallen(setup.ph_drop.watch) {
            look.push(
                "If it is true: act as the maker of the fluid advises (DGUV Regel 109-003, test \
                 plan no. 2).",
            );
        }
        let poor = |counted: Option<(_, f64)>, limit| {
            let counts = counted.filter(|(time, _)| now.time - *time <= setup.counts_for);
            counts.is_some_and(|(_, count)| count >= limit)
        };
        if poor(self.bacteria, setup.bacteria.poor) {
            look.push(
                "The count of bacteria is poor: act at once, normally drain and clean (HSE).",
            );
        }
        if level >= Souring::Watch {
            look.push(
                "Smell it and look for slime, on the surface and under covers and conveyors.",
            );
            look.push("Take a dip slide from the running sump, and read it after a day or two.");
            look.push("Skim tramp oil and keep it circulating: still, covered fluid gets no air.");
            look.push("Bring the concentration to its target: lean fluid feeds what grows in it.");
        }
        look
    }
}

/// The rule (choice, made so that it can be told): what one instrument, slide or
/// nose says counts once, with its weightiest fact. Certain where two say it,
/// one of them strongly and the other at least moderately; likely where one says
/// it strongly or two moderately; to be watched where one says it moderately or
/// two weakly. What speaks against it lowers that by one step, but for what is
/// certain: where something of its own says no at least as loud as the loudest
/// yes.
fn level(groups: &[Facts], risks: &Facts) -> Souring {
    let loudest = |facts: &Facts, speaks: Speaks| {
        let of = facts.iter().filter(|fact| fact.speaks == speaks);
        of.map(|fact| fact.weight).max()
    };
    let mut yes: Vec<Weight> = groups
        .iter()
        .chain([risks])
        .filter_map(|facts| loudest(facts, Speaks::For))
        .collect();
    yes.sort_by_key(|weight| Reverse(*weight));
    let no = groups
        .iter()
        .filter_map(|facts| loudest(facts, Speaks::Against));
    let level = match yes[..] {
        [Weight::Strong, Weight::Strong | Weight::Moderate, ..] => return Souring::Certain,
        [Weight::Strong, ..] | [Weight::Moderate, Weight::Moderate, ..] => Souring::Likely,
        [Weight::Moderate, ..] | [Weight::Weak, Weight::Weak, ..] => Souring::Watch,
        _ => Souring::NoSign,
    };
    match (level, no.max() >= yes.first().copied()) {
        (Souring::Likely, true) => Souring::Watch,
        (Souring::Watch, true) => Souring::NoSign,
        (level, _) => level,
    }
}
