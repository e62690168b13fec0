//! Go on, exchange a part, or clean out: what the watch knows of the charge
//! for that choice, and what it does not.

use std::sync::Arc;

use serde::Serialize;

use crate::advice::choice::{Content, Course, Evidence, Remedy, choose};
use crate::advice::mixing_time;
use crate::advice::recharge::{self, RechargeCase, VolumeSource};
use crate::model::{Mineral, Souring};
use crate::units::{Concentration, Measured, Quantity, Volume};

use super::setup::SumpSetup;
use super::watch::SumpWatch;

/// A charge that may be replaced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OldCharge {
    /// Its volume, lines included.
    pub volume: Volume,
    /// How that is known.
    pub source: VolumeSource,
    /// Its concentration.
    pub concentration: Concentration,
    /// What the new charge is to be filled to.
    pub fill_to: Volume,
    /// Share of it that each drain leaves, 0 to 0.5.
    pub rest: f64,
}

/// What the watch knows of its charge.
#[derive(Debug, Clone, PartialEq)]
pub struct ChargeFound {
    /// What is known.
    pub evidence: Evidence,
    /// What is not, and would count.
    pub missing: Vec<String>,
}

/// What has most to say for it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RemedyStatus {
    /// What is done.
    #[serde(flatten)]
    pub remedy: Remedy,
    /// Why, a sentence each.
    pub reasons: Vec<String>,
    /// What it is, for people.
    pub text: String,
}

impl SumpSetup {
    /// The case of a clean-out of this charge.
    pub fn recharge_case(&self, old: &OldCharge) -> RechargeCase {
        // Where the true volume is another than that of the settings, so is the
        // highest.
        let above_full = self.max_volume.litres() - self.working_volume.litres();
        let room = above_full + old.fill_to.litres() - old.volume.litres();
        RechargeCase {
            sump: Arc::clone(&self.name),
            title: self.title.clone(),
            fluid: self.fluid.title.clone(),
            mixing_note: self.fluid.mixing_note.clone(),
            volume: old.fill_to,
            old_volume: old.volume,
            volume_source: old.source,
            head_room: Volume::from_litres(room.max(0.0)),
            old: old.concentration,
            rest: old.rest,
            target: self.target,
            strongest_premix: self.dose.strongest_premix,
            mixing: mixing_time(&self.dose, old.fill_to, self.circulation),
            measure: Some(self.dose.measure),
            prices: self.prices,
        }
    }

    /// The charge as the settings have it: full, and at its target.
    pub fn charge_by_settings(&self) -> OldCharge {
        OldCharge {
            volume: self.working_volume,
            source: VolumeSource::Settings,
            concentration: self.target,
            fill_to: self.working_volume,
            rest: 0.0,
        }
    }
}

/// Relative standard uncertainty of a volume by a tank's measures in the
/// settings. Memory: nameplates are 10 to 30 % off; measured tanks less.
const TANK: f64 = 0.05;

impl SumpWatch {
    /// The present charge, by the settings where nothing else is known.
    pub fn old_charge(&self) -> OldCharge {
        let mut charge = self.setup.charge_by_settings();
        if let Some(volume) = self.volume_by_balance().filter(|volume| volume.value > 0.0) {
            charge.volume = Volume::from_litres(volume.value);
            // The readings repeat well; how well the tank was measured is another
            // matter, unless doses have told.
            let by_doses = self.volume_by_doses().map(|told| told.ratio.uncertainty);
            let of_tank = by_doses.map_or(TANK, |share| share.min(TANK)) * volume.value;
            charge.source = VolumeSource::Estimated {
                uncertainty_l: volume.uncertainty.hypot(of_tank),
            };
        }
        let seen = self.concentration();
        if let Some(seen) = seen.filter(|seen| (0.0..100.0).contains(&seen.value)) {
            charge.concentration = Concentration::from_percent(seen.value);
        }
        charge
    }

    /// The volume by level and balance together, L, lines included, where a
    /// level is measured.
    pub fn volume_by_balance(&self) -> Option<Measured> {
        let volume = self.balance.balance.volume_l();
        volume.filter(|_| self.balance_setup.level_measured)
    }

    /// What is known for the choice, and what is not.
    pub fn charge_found(&self) -> ChargeFound {
        let souring = self.souring_status().map(|status| status.level);
        let evidence = self.charge_evidence(souring);
        let missing = self.missing(&evidence);
        ChargeFound { evidence, missing }
    }

    fn charge_evidence(&self, souring: Option<Souring>) -> Evidence {
        let (bacteria, fungi) = self.germs();
        let began = self.balance.consumption.charge_since();
        let nitrite = self.nitrite().map(|value| Content {
            quantity: Quantity::Nitrite,
            value,
            limit: self.setup.choice.nitrite_mg_l,
            fresh: 0.0,
        });
        let minerals = Mineral::ALL.map(|mineral| self.mineral_content(mineral));
        let contents = [nitrite, self.conducting_content()].into_iter();
        Evidence {
            volume: self.old_charge().volume,
            target: self.setup.target,
            contents: contents.chain(minerals).flatten().collect(),
            ph_drop: self.ph_drop(),
            souring,
            bacteria,
            fungi,
            tramp_oil: self.tramp_oil(),
            age: began.map(|began| self.now - began),
            prices: self.setup.prices,
        }
    }

    fn missing(&self, evidence: &Evidence) -> Vec<String> {
        let has = |quantity| {
            let mut contents = evidence.contents.iter();
            contents.any(|one| one.quantity == quantity)
        };
        let lacks = [
            (has(Quantity::Nitrite), "nitrite"),
            (has(Quantity::Hardness), "hardness"),
            (has(Quantity::Chloride), "chloride"),
            (evidence.ph_drop.is_some(), "pH against the fresh charge"),
            (evidence.bacteria.is_some(), "bacteria"),
            (evidence.fungi.is_some(), "yeasts and moulds"),
            (evidence.tramp_oil.is_some(), "tramp oil"),
            (evidence.age.is_some(), "age of the charge"),
        ];
        let lacks = lacks.into_iter().filter(|(known, _)| !known);
        let mut missing: Vec<String> = lacks.map(|(_, what)| what.to_owned()).collect();
        for mineral in Mineral::ALL {
            let quantity = mineral.quantity();
            if has(quantity) && self.brought(mineral).is_none() {
                missing.push(format!("{quantity} of the make-up water (taken as none)"));
            }
        }
        missing
    }

    /// Where nobody described the make-up water, it is taken to bring none.
    fn mineral_content(&self, mineral: Mineral) -> Option<Content> {
        Some(Content {
            quantity: mineral.quantity(),
            value: self.mineral_now(mineral)?,
            limit: self.setup.minerals.bounds(mineral).act,
            fresh: self.brought(mineral).unwrap_or(0.0),
        })
    }

    /// What fresh mix has of a mineral from its water, mg/L.
    fn brought(&self, mineral: Mineral) -> Option<f64> {
        let water = self.setup.minerals.top_up.as_ref()?;
        let content = water.content(mineral)?;
        Some((1.0 - self.setup.target.fraction()) * content.value)
    }

    /// Conductivity against its base line, which is what fresh mix has.
    fn conducting_content(&self) -> Option<Content> {
        let excess = self.conductivity_excess()?;
        let mut channels = self.setup.channels.iter();
        let channel = channels.find(|one| one.quantity == Quantity::Conductivity)?;
        let line = excess.base_line_us_cm;
        Some(Content {
            quantity: Quantity::Conductivity,
            value: Measured::new(line + excess.excess_us_cm, channel.uncertainty),
            limit: self.setup.minerals.excess.act * line,
            fresh: line,
        })
    }

    /// What has most to say for it, once a limit is breached; `souring` is how
    /// likely it is that the charge goes sour.
    pub(super) fn remedy(&self, souring: Option<Souring>) -> Option<RemedyStatus> {
        let evidence = self.charge_evidence(souring);
        let limits = &self.setup.choice;
        if !limits.are_breached(&evidence) {
            return None;
        }
        let case = self.setup.recharge_case(&self.old_charge());
        let clean_out = recharge::totals(&self.setup.recharge, &case).ok()?;
        let choice = choose(limits, &evidence, &clean_out);
        choice.courses.into_iter().next().map(RemedyStatus::of)
    }
}

impl RemedyStatus {
    fn of(course: Course) -> Self {
        let reasons = course.reasons_for.into_iter();
        RemedyStatus {
            text: course.remedy.to_string(),
            remedy: course.remedy,
            reasons: reasons.map(|reason| reason.words).collect(),
        }
    }
}
