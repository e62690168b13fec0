//! What the rules of the published test plans find, and what they are
//! suppressed for.

use crate::alarm::Verdict;
use crate::rules::{Check, Condition, Finding, LimitLevel, PlanStep, PlannedCheck};
use crate::units::Quantity;

use super::nitrite_run::LOW_MG_L;
use super::suppression::Suppressor;
use super::watch::SumpWatch;

/// pH is so far back before a step is no longer called for. Choice: what two
/// readings of a good meter differ by.
const PH_DEAD_BAND: f64 = 0.1;
/// Differences of numbers with two decimals are exact to this.
const ROUNDING: f64 = 1e-9;

const DAY_MS: f64 = 86_400_000.0;

impl SumpWatch {
    /// How many days ago the check was made, against how many the plan has.
    pub(super) fn of_check(&self, planned: &PlannedCheck) -> Finding {
        let state = self.check_state(planned).filter(|state| state.overdue);
        let days = state.map(|state| {
            let late = self.now - state.due;
            state.every_d + late.millis() as f64 / DAY_MS
        });
        Finding {
            value: days,
            unit: Some("d"),
            limit: state.map(|state| state.every_d),
            since: state.map(|state| state.due),
            ..Finding::plain(Verdict::of(state.is_some()))
        }
    }

    /// The newest reading of nitrite; one that was taken back, or of the charge
    /// before, says nothing.
    pub(super) fn of_nitrite(&self, step: PlanStep) -> Finding {
        let act = self.setup.choice.nitrite_mg_l;
        let limit = match step {
            PlanStep::Watch => LOW_MG_L.min(act),
            PlanStep::Act => act,
        };
        let read = self.chemistry.now.nitrite;
        let over = read.filter(|(_, mg_l)| mg_l.value > limit);
        Finding {
            value: read.map(|(_, mg_l)| mg_l.value),
            unit: Some(Quantity::Nitrite.unit()),
            limit: Some(limit),
            since: over.map(|(time, _)| time),
            ..Finding::plain(Verdict::of(over.is_some()))
        }
    }

    /// How far pH is below that of the first fill.
    pub(super) fn of_ph_drop(&self, step: PlanStep) -> Finding {
        let bounds = self.setup.souring.ph_drop;
        let limit = match step {
            PlanStep::Watch => bounds.watch,
            PlanStep::Act => bounds.act,
        };
        let souring = &self.chemistry.now.souring;
        let drop = souring.ph_drop_now(&self.setup.souring, &self.souring_now());
        let verdict = match drop {
            None => Verdict::Unknown,
            Some(drop) if drop > limit + ROUNDING => Verdict::Outside,
            Some(drop) if drop > limit - PH_DEAD_BAND => Verdict::Band,
            Some(_) => Verdict::Inside,
        };
        Finding {
            value: drop,
            unit: Some(Quantity::Ph.unit()),
            limit: Some(limit),
            ..Finding::plain(verdict)
        }
    }

    /// A sump that is empty cannot be measured. Who is called to it for one
    /// check is told of all that are overdue.
    pub(super) fn of_overdue(&self, check: Check) -> Option<Suppressor> {
        let elsewhere = matches!(check, Check::CleanOut | Check::MakeUpWater | Check::Mixer);
        if !elsewhere && self.recharge_under_way() {
            return Some(Suppressor::Recharge);
        }
        let other = |of: &Condition| matches!(of, Condition::Overdue(one) if *one != check);
        let mut each = self.alarms.each();
        let told = each.find(|(_, spec, life)| other(&spec.condition) && life.is_told());
        told.map(|(_, spec, _)| Suppressor::Alarm(spec.condition.to_string()))
    }

    pub(super) fn of_nitrite_step(&self, step: PlanStep) -> Option<Suppressor> {
        if self.recharge_under_way() {
            return Some(Suppressor::Recharge);
        }
        let act = Condition::Nitrite(PlanStep::Act);
        let worse = step == PlanStep::Watch && self.stands(|of| *of == act);
        worse.then(|| Suppressor::Alarm(act.to_string()))
    }

    /// The lower limit of pH, or the signs of souring, say the same in other
    /// words; only what is to be done at once is told beside them.
    pub(super) fn of_ph_step(&self, step: PlanStep) -> Option<Suppressor> {
        if self.recharge_under_way() {
            return Some(Suppressor::Recharge);
        }
        let says_as_much = |of: &Condition| match of {
            Condition::Limit(Quantity::Ph, LimitLevel::LowLow) => true,
            Condition::Limit(Quantity::Ph, LimitLevel::Low) | Condition::PhDrop(PlanStep::Act) => {
                step == PlanStep::Watch
            }
            other => step == PlanStep::Watch && other.kind() == "souring",
        };
        if let Some(condition) = self.found_standing(says_as_much) {
            return Some(Suppressor::Alarm(condition.to_string()));
        }
        let channel = self.channel_of(Quantity::Ph)?;
        self.of_signal(channel, Quantity::Ph).or_else(|| {
            let misleads = self.misleads(channel, true);
            misleads.then(|| Suppressor::Instrument(self.name_of(channel)))
        })
    }

    /// The step of the test plan that says more than the lower limit of pH: only
    /// once it is told, as its delay may be the longer one.
    pub(super) fn step_that_tells(&self, signal: Quantity, level: LimitLevel) -> Option<Condition> {
        if (signal, level) != (Quantity::Ph, LimitLevel::Low) {
            return None;
        }
        let act = Condition::PhDrop(PlanStep::Act);
        let mut each = self.alarms.each();
        let told = each.any(|(alarm, spec, life)| {
            spec.condition == act && (life.is_known() || self.is_on_list(alarm))
        });
        told.then_some(act)
    }

    fn stands(&self, is_it: impl Fn(&Condition) -> bool) -> bool {
        self.found_standing(is_it).is_some()
    }

    /// Such an alarm that people know of, or are about to be told.
    fn found_standing(&self, is_it: impl Fn(&Condition) -> bool) -> Option<Condition> {
        let mut each = self.alarms.each();
        let found = each.find(|(alarm, spec, life)| {
            let known = life.is_known() || self.is_on_list(*alarm);
            is_it(&spec.condition) && (known || life.is_rising())
        });
        found.map(|(_, spec, _)| spec.condition.clone())
    }
}
