//! The advice that stands, whether it was followed, and what came of it.

use std::collections::BTreeSet;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::advice::{self, Advice, Withheld};
use crate::rules::Condition;
use crate::units::{Measured, Timestamp, Volume};

use super::alarms::Which;
use super::event::Effect;
use super::journal::{JournalBody, Outcome};
use super::watch::SumpWatch;

/// A dose this far from what was expected of it has missed, over and above
/// the uncertainties, %.
const OUTCOME_TOLERANCE: f64 = 0.5;

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
        let (look_at, mut cautions) = advice::look_at(condition);
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
            self.dosing.owed = matches!(
                withheld,
                Some(Withheld::NoConcentration | Withheld::NoVolume)
            );
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

    fn plan_dose(&self) -> Result<(advice::Dose, Vec<advice::Caution>), Withheld> {
        if let Some(until) = self.dosing.mixing_until {
            return Err(Withheld::Mixing { until });
        }
        let setup = &self.setup;
        let state = self.mix_state()?;
        let mixing = advice::mixing_time(&setup.dose, setup.working_volume, setup.circulation);
        let (mut dose, cautions) = advice::plan(
            &setup.dose,
            state,
            setup.working_volume,
            setup.target,
            mixing,
        )?;
        dose.stop_at_l = Some(setup.max_volume.litres());
        if dose.concentrate_l > 0.0 {
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

    /// The most urgent active alarm that calls for a dose.
    fn dose_wanted(&self) -> Option<Condition> {
        self.all_alarms()
            .filter(|which| matches!(which, Which::Limit(_)) && self.life(*which).is_active())
            .filter(|which| self.condition(*which).calls_for_dose())
            .max_by_key(|which| self.priority(*which))
            .map(|which| self.condition(which))
    }

    /// What kept a dose back is over: advise anew where one is still wanted
    /// and none stands.
    pub(super) fn advise_again(&mut self, out: &mut Vec<Effect>) {
        if self.dosing.open.is_some() || self.dosing.mixing_until.is_some() {
            return;
        }
        match self.dose_wanted() {
            Some(condition) if self.plan_dose().is_ok() => {
                self.advise(&condition, out);
            }
            Some(_) => {}
            None => self.dosing.owed = false,
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
        let setup = &self.setup;
        let (now, full) = (self.mixing_volume(), setup.working_volume);
        let volume = Volume::from_litres(now.litres().max(full.litres()));
        let mixing = advice::mixing_time(&setup.dose, volume, setup.circulation);
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
        (entry, time): (&str, Timestamp),
        out: &mut Vec<Effect>,
    ) {
        let named = |open: &&mut OpenDose| open.id == advice && open.given_at <= time;
        let Some(open) = self.dosing.open.as_mut().filter(named) else {
            return;
        };
        if open.followers.len() < FOLLOWERS {
            open.followers.insert(entry.to_owned());
        }
        if !open.followed {
            open.followed = true;
            let (advice, entry) = (advice.to_owned(), entry.to_owned());
            self.journal(JournalBody::AdviceFollowed { advice, entry }, out);
        }
    }

    /// What this entry did to the advice that stands is undone.
    pub(super) fn undo_dosing(&mut self, entry: &str, out: &mut Vec<Effect>) {
        if let Some(open) = &mut self.dosing.open {
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
            let outcome = self.outcome(open);
            self.journal(JournalBody::AdviceOutcome(outcome), out);
        }
        self.advise_again(out);
    }

    fn outcome(&self, open: OpenDose) -> Outcome {
        let expected = Measured {
            value: open.expected.0,
            uncertainty: open.expected.1,
        };
        let now = self.concentration();
        let as_expected = now.map(|now| {
            let slack = 3.0 * now.uncertainty.hypot(expected.uncertainty) + OUTCOME_TOLERANCE;
            (now.value - expected.value).abs() <= slack
        });
        Outcome {
            advice: open.id,
            expected_concentration_pct: expected,
            concentration_pct: now,
            volume_l: self.volume_value(),
            as_expected,
        }
    }
}
