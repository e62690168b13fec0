//! The advice that stands, whether it was followed, and what came of it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::advice::{self, Advice, Amounts, Costs, DoseCase, Followed, MixState, Withheld};
use crate::rules::{Condition, LimitLevel};
use crate::units::{Measured, Quantity, Timestamp, Volume};

use super::entry::{AdditionKind, Entry, EntryKind, HappeningKind};
use super::event::Effect;
use super::journal::{JournalBody, Outcome};
use super::watch::SumpWatch;

/// Entries that say that one dose was followed, as many as are kept; a drain
/// and an addition are two.
const FOLLOWERS: usize = 16;

/// The memory of the sump's doses.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Dosing {
    /// The newest advice with a dose.
    open: Option<OpenDose>,
    /// Until then an addition is being mixed in.
    pub(super) mixing_until: Option<Timestamp>,
    /// A dose was withheld only because a value was missing: advise anew once
    /// it is there.
    pub(super) owed: bool,
    /// Advice that an entry made void, until that is corrected or newer advice
    /// is given.
    #[serde(default)]
    void: Option<VoidDose>,
    /// Counts the advice given, for their ids.
    given: u64,
    /// Steps of the correction under way that were followed.
    #[serde(default)]
    steps_done: u32,
}

/// Advice with a dose that still stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct OpenDose {
    id: String,
    expected: (f64, f64),
    /// When it was given.
    #[serde(default = "never_yet")]
    given_at: Timestamp,
    followed: bool,
    /// The entries that say so.
    #[serde(default)]
    followers: BTreeSet<String>,
    /// What each of these says was let out and poured in.
    #[serde(default)]
    poured: BTreeMap<String, Poured>,
    /// What the dose was worked out from; earlier versions did not keep it.
    #[serde(default)]
    basis: Option<Basis>,
}

/// What a dose was worked out from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Basis {
    concentration: Measured,
    repeatability: f64,
    volume: Measured,
    volume_assumed: bool,
    advised: Poured,
    /// Steps after this one.
    steps_left: u32,
}

/// What was let out and poured in, L.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
struct Poured {
    drain: f64,
    concentrate: f64,
    water: f64,
}

impl Poured {
    fn of(amounts: &Amounts) -> Self {
        Poured {
            drain: amounts.drain_l,
            concentrate: amounts.concentrate_l,
            water: amounts.water_l,
        }
    }

    /// What an entry says; a premix of unknown strength is taken for the
    /// advised one.
    fn by(kind: &EntryKind, advised: Poured) -> Self {
        let mut poured = Poured::default();
        match kind {
            EntryKind::Addition {
                what,
                litres,
                strength_pct,
                ..
            } => {
                let planned = Amounts::from(advised).premix_strength_pct;
                let strength = match what {
                    AdditionKind::Water => 0.0,
                    AdditionKind::Concentrate => 100.0,
                    AdditionKind::Premix => strength_pct.unwrap_or(planned),
                };
                poured.concentrate = litres * strength / 100.0;
                poured.water = litres - poured.concentrate;
            }
            EntryKind::Event {
                what: HappeningKind::Drained,
                litres,
                ..
            } => poured.drain = litres.unwrap_or(advised.drain),
            _ => {}
        }
        poured
    }
}

impl From<Poured> for Amounts {
    fn from(poured: Poured) -> Self {
        Amounts::new(poured.drain, poured.concentrate, poured.water)
    }
}

impl OpenDose {
    /// What was really done, as far as entries say: what none speaks of is
    /// taken to have been done as advised.
    fn done(&self, advised: Poured) -> Amounts {
        let all = self.poured.values();
        let sum = all.fold(Poured::default(), |sum, one| Poured {
            drain: sum.drain + one.drain,
            concentrate: sum.concentrate + one.concentrate,
            water: sum.water + one.water,
        });
        let mut done = sum;
        if sum.drain == 0.0 {
            done.drain = advised.drain;
        }
        if sum.concentrate + sum.water == 0.0 {
            (done.concentrate, done.water) = (advised.concentrate, advised.water);
        }
        done.into()
    }
}

fn never_yet() -> Timestamp {
    Timestamp::MIN
}

/// Advice that no longer fits, and the entry that made it so.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct VoidDose {
    dose: OpenDose,
    by: String,
}

#[cfg(test)]
impl Dosing {
    /// Whether the dose that stands, if any, is followed.
    pub(super) fn standing(&self) -> Option<bool> {
        self.open.as_ref().map(|open| open.followed)
    }
}

impl SumpWatch {
    /// Works out the advice for a condition and writes it to the journal.
    pub(super) fn advise(&mut self, condition: &Condition, out: &mut Vec<Effect>) -> Arc<Advice> {
        let (look_at, mut cautions) = match condition {
            Condition::Overdue(check) => advice::look_at_checks(*check, &self.overdue_checks()),
            Condition::Instrument(channel) => self.look_at_instrument(channel, condition),
            other => advice::look_at(other),
        };
        let planned = condition.calls_for_dose().then(|| self.plan_dose());
        let (dose, withheld) = match planned {
            None => (None, None),
            Some(Err(withheld)) => (None, Some(withheld)),
            Some(Ok((dose, of_dose))) => {
                cautions.retain(|caution| !of_dose.contains(caution));
                cautions.splice(0..0, of_dose);
                (Some(dose), None)
            }
        };
        if condition.calls_for_dose() {
            self.dosing.owed = withheld.as_ref().is_some_and(Withheld::passes_by_itself);
        }
        self.dosing.given += 1;
        let advice = Arc::new(Advice {
            id: format!("{}/advice/{}", self.setup.name, self.dosing.given),
            time: self.now,
            condition: condition.clone(),
            dose,
            withheld,
            look_at,
            cautions,
        });
        self.stand(&advice, out);
        self.journal(
            JournalBody::Advice {
                advice: Arc::clone(&advice),
            },
            out,
        );
        advice
    }

    /// By what is wrong with it.
    fn look_at_instrument(
        &self,
        channel: &str,
        condition: &Condition,
    ) -> (Vec<advice::LookStep>, Vec<advice::Caution>) {
        let told = self.channel_named(channel).and_then(|ix| {
            let reason = self.instrument_judgement(ix).reason?;
            Some((self.setup.channels[ix].quantity, reason))
        });
        match told {
            Some((quantity, reason)) => advice::look_at_instrument(quantity, reason),
            None => advice::look_at(condition),
        }
    }

    fn plan_dose(&self) -> Result<(advice::Dose, Vec<advice::Caution>), Withheld> {
        if let Some(until) = self.dosing.mixing_until {
            return Err(Withheld::Mixing { until });
        }
        let setup = &self.setup;
        let costs = setup.prices.as_ref().and_then(Costs::of_prices);
        let case = DoseCase {
            now: self.mix_state()?,
            target: setup.target,
            target_volume: setup.working_volume,
            max_volume: setup.max_volume,
            mixing: self.mixing_span(setup.working_volume),
            losses: self.loss_rates(),
            costs: costs.as_ref(),
        };
        let (mut dose, cautions) = advice::plan(&setup.dose, &case)?;
        dose.step += self.dosing.steps_done;
        dose.steps += self.dosing.steps_done;
        if dose.amounts.concentrate_l > 0.0 {
            dose.mixing_note.clone_from(&setup.fluid.mixing_note);
        }
        Ok((dose, cautions))
    }

    /// New advice with a dose takes the place of what stood before.
    fn stand(&mut self, advice: &Advice, out: &mut Vec<Effect>) {
        let Some(dose) = &advice.dose else { return };
        self.withdraw(out);
        self.dosing.void = None;
        let expected = dose.expected_concentration_pct;
        self.dosing.open = Some(OpenDose {
            id: advice.id.clone(),
            expected: (expected.value, expected.uncertainty),
            given_at: self.now,
            followed: false,
            followers: BTreeSet::new(),
            poured: BTreeMap::new(),
            basis: Some(Basis {
                concentration: dose.concentration_pct,
                repeatability: dose.repeatability_pct,
                volume: dose.volume_l,
                volume_assumed: dose.volume_assumed,
                advised: Poured::of(&dose.amounts),
                steps_left: dose.steps - dose.step,
            }),
        });
    }

    fn withdraw(&mut self, out: &mut Vec<Effect>) {
        if let Some(open) = self.dosing.open.take_if(|open| !open.followed) {
            self.journal(JournalBody::AdviceWithdrawn { advice: open.id }, out);
        }
    }

    /// Once no alarm calls for a dose any more, advice that nobody followed no
    /// longer holds.
    pub(super) fn withdraw_if_idle(&mut self, out: &mut Vec<Effect>) {
        if self.dose_wanted().is_none() {
            self.withdraw(out);
        }
    }

    /// The most urgent active alarm that calls for a dose; else, amid a
    /// correction in several steps, the side of the target that it comes from.
    fn dose_wanted(&self) -> Option<Condition> {
        let amid = || {
            let now = self.concentration_value()?;
            let level = if now < self.setup.target.percent() {
                LimitLevel::Low
            } else {
                LimitLevel::High
            };
            let amid = self.dosing.steps_done > 0;
            amid.then_some(Condition::Limit(Quantity::Concentration, level))
        };
        self.alarms
            .each()
            .filter(|(alarm, spec, life)| {
                let known = life.is_told() || self.is_on_list(*alarm);
                spec.condition.calls_for_dose() && known
            })
            .max_by_key(|(_, spec, _)| spec.priority)
            .map(|(_, spec, _)| spec.condition.clone())
            .or_else(amid)
    }

    /// What kept a dose back is over: advise anew where one is still wanted
    /// and none stands.
    pub(super) fn advise_again(&mut self, out: &mut Vec<Effect>) {
        if self.dosing.open.is_some() || self.dosing.mixing_until.is_some() {
            return;
        }
        let Some(condition) = self.dose_wanted() else {
            self.dosing.owed = false;
            return;
        };
        match self.plan_dose() {
            Ok(_) => {
                self.advise(&condition, out);
            }
            Err(withheld) => {
                self.dosing.owed = withheld.passes_by_itself();
                if matches!(withheld, Withheld::OnTarget { .. }) {
                    self.dosing.steps_done = 0;
                }
            }
        }
    }

    /// Something was added or drained at `time`: a dose that was worked out
    /// before, and not followed by it, no longer fits.
    pub(super) fn set_aside(&mut self, entry: &str, time: Timestamp, out: &mut Vec<Effect>) {
        let void = |open: &mut OpenDose| !open.followed && open.given_at <= time;
        if let Some(dose) = self.dosing.open.take_if(void) {
            let advice = dose.id.clone();
            let by = entry.to_owned();
            self.dosing.void = Some(VoidDose { dose, by });
            self.journal(JournalBody::AdviceWithdrawn { advice }, out);
        }
    }

    /// Something was added or drained at `time`: it must mix before anything is
    /// judged. The wait goes by the larger of what is in the sump and what
    /// should be, so that it does not depend on whether a dose was followed.
    pub(super) fn wait_for_mixing(&mut self, time: Timestamp, out: &mut Vec<Effect>) {
        let (now, full) = (self.mixing_volume(), self.setup.working_volume);
        let volume = Volume::from_litres(now.litres().max(full.litres()));
        let mixing = self.mixing_span(volume);
        let until = self.dosing.mixing_until.max(Some(time + mixing));
        self.dosing.mixing_until = until;
        until.into_iter().for_each(|until| self.expect(until));
        // It may be over already, when somebody writes down late what was done.
        self.end_mixing(out);
    }

    /// The advice that waits to be followed, if its dose still stands.
    pub(super) fn awaited_advice(&self) -> Option<&str> {
        self.dosing.open.as_ref().map(|open| &*open.id)
    }

    /// An entry says that this advice was followed at `time`.
    pub(super) fn followed(
        &mut self,
        advice: &str,
        (entry, time): (&Entry, Timestamp),
        out: &mut Vec<Effect>,
    ) {
        let named = |open: &&mut OpenDose| open.id == advice && open.given_at <= time;
        let Some(open) = self.dosing.open.as_mut().filter(named) else {
            return;
        };
        if open.followers.len() < FOLLOWERS {
            open.followers.insert(entry.id.clone());
            let advised = open.basis.map(|basis| basis.advised).unwrap_or_default();
            let poured = Poured::by(&entry.kind, advised);
            open.poured.insert(entry.id.clone(), poured);
        }
        if !open.followed {
            open.followed = true;
            let (advice, entry) = (advice.to_owned(), entry.id.clone());
            self.journal(JournalBody::AdviceFollowed { advice, entry }, out);
        }
    }

    /// What this entry did to the advice that stands is undone.
    pub(super) fn undo_dosing(&mut self, entry: &str, out: &mut Vec<Effect>) {
        if let Some(open) = &mut self.dosing.open {
            open.poured.remove(entry);
            let last = open.followers.remove(entry) && open.followers.is_empty();
            open.followed &= !last;
        } else if let Some(void) = self.dosing.void.take_if(|void| void.by == entry) {
            let advice = void.dose.id.clone();
            self.dosing.open = Some(void.dose);
            self.journal(JournalBody::AdviceRestored { advice }, out);
        }
    }

    /// After mixing: what came of the dose, and what is still wanted.
    pub(super) fn end_mixing(&mut self, out: &mut Vec<Effect>) {
        let over = self
            .dosing
            .mixing_until
            .is_some_and(|until| until <= self.now);
        if !over {
            return;
        }
        self.dosing.mixing_until = None;
        if let Some(open) = self.dosing.open.take_if(|open| open.followed) {
            let more = open.basis.is_some_and(|basis| basis.steps_left > 0);
            let outcome = self.outcome(open);
            let missed = outcome.as_expected == Some(false);
            let off = outcome.judgement.as_ref();
            let off = off.map_or(0.0, |judged| judged.deviation_pct);
            self.upkeep.dose_judged(self.now, outcome.as_expected, off);
            self.dosing.steps_done = match more && !missed {
                true => self.dosing.steps_done + 1,
                false => 0,
            };
            self.journal(JournalBody::AdviceOutcome(Box::new(outcome)), out);
        }
        self.advise_again(out);
    }

    fn outcome(&self, open: OpenDose) -> Outcome {
        let advised = Measured::new(open.expected.0, open.expected.1);
        let followed = open.basis.map(|basis| Followed {
            before: MixState {
                concentration: basis.concentration,
                repeatability: basis.repeatability,
                volume: basis.volume,
                volume_assumed: basis.volume_assumed,
            },
            poured: open.done(basis.advised),
            chart_uncertainty: self.setup.fluid.chart_uncertainty,
            step_l: self.setup.dose.measure.step.litres(),
            dead_band: self.setup.dose.dead_band.percent(),
        });
        let expected = followed.map(|followed| followed.expected().concentration);
        let judgement = followed
            .zip(self.found())
            .map(|(followed, found)| followed.judge(&found));
        Outcome {
            advice: open.id,
            expected_concentration_pct: expected.unwrap_or(advised),
            poured: followed.map(|followed| followed.poured),
            concentration_pct: self.concentration(),
            volume_l: self.volume_value(),
            as_expected: judgement.as_ref().map(|judged| judged.as_expected),
            judgement,
        }
    }
}
