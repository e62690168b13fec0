//! What the rules find as things stand.

mod ahead;
mod fluid;
mod moves;

use crate::alarm::Verdict;
use crate::model::Departure;
use crate::rules::{Finding, Rule};
use crate::signal::{InstrumentClass, InstrumentReason};

use super::own_inputs::InputsOnce;
use super::watch::SumpWatch;

impl SumpWatch {
    /// What the rule finds now.
    pub(super) fn finding(&self, rule: &Rule, inputs: &InputsOnce) -> Finding {
        match rule {
            Rule::Instrument { channel } => self.of_instrument(channel),
            Rule::Loss => self.of_departure(|departure| !departure.gains),
            Rule::Gain => self.of_departure(|departure| departure.gains),
            Rule::DoseMissed => self.of_missed_dose(),
            Rule::Contradicted => self.of_contradiction(),
            Rule::Mixer => self.of_mixers(),
            Rule::Own(own) => Finding::plain(own.rule.verdict(inputs.get(self, own)).verdict),
            Rule::Mineral(mineral, step) => self.of_mineral(*mineral, *step),
            Rule::Excess(step) => self.of_excess(*step),
            Rule::Souring(step) => self.of_souring(*step),
            Rule::TrampOil => self.of_tramp_oil(),
            Rule::Factor => self.of_factor(),
            Rule::Ahead {
                signal,
                level,
                within,
            } => self.of_ahead((*signal, *level), *within, inputs),
            Rule::Rate(rate) => self.of_rate(rate),
            Rule::Shifted(chart) => self.of_shift(chart),
            Rule::PumpsStopped { after } => self.of_pumps(*after),
            Rule::Overdue(planned) => self.of_check(planned),
            Rule::Nitrite(step) => self.of_nitrite(*step),
            Rule::PhDrop(step) => self.of_ph_drop(*step),
        }
    }

    /// Of what has an alarm of its own (hand readings) or needs nobody (just cleaned)
    /// nothing is found. An instrument of which nothing was heard of late may be as it
    /// was; silence has an alarm of its own.
    fn of_instrument(&self, channel: &str) -> Finding {
        let Some(ix) = self.channel_named(channel) else {
            return Finding::plain(Verdict::Unknown);
        };
        let judged = self.instrument_judgement(ix);
        let told = match judged.reason {
            None | Some(InstrumentReason::Drifting | InstrumentReason::JustTouched) => false,
            Some(_) => judged.class > InstrumentClass::Good,
        };
        let (watch, setup) = (&self.channels[ix], &self.setup.channels[ix]);
        let is_silent = judged.reason == Some(InstrumentReason::Silent);
        if is_silent || self.now - watch.last_time >= setup.silent_after {
            return Finding {
                value: self.value_of(ix),
                unit: Some(setup.quantity.unit()),
                ..Finding::plain(Verdict::Unknown)
            };
        }
        Finding {
            value: self.value_of(ix),
            unit: Some(self.setup.channels[ix].quantity.unit()),
            since: judged.since.filter(|_| told),
            ..Finding::plain(Verdict::of(told))
        }
    }

    fn of_departure(&self, is_it: impl Fn(&Departure) -> bool) -> Finding {
        let found = self.balance.balance.departure().filter(|one| is_it(one));
        Finding {
            value: found.map(|one| one.litres_per_hour.value),
            unit: Some("L/h"),
            since: found.map(|one| one.since),
            ..Finding::plain(Verdict::of(found.is_some()))
        }
    }
}

impl SumpWatch {
    /// By how many points it missed.
    fn of_missed_dose(&self) -> Finding {
        let missed = self.upkeep.missed(self.now);
        Finding {
            value: missed.map(|missed| missed.deviation_pct),
            unit: Some("%"),
            since: missed.map(|missed| missed.time),
            ..Finding::plain(Verdict::of(missed.is_some()))
        }
    }

    /// What was seen against what was written down, L.
    fn of_contradiction(&self) -> Finding {
        let found = self.upkeep.contradicted(self.now);
        Finding {
            value: found.map(|found| found.litres),
            unit: Some("L"),
            limit: found.map(|found| found.logged_litres),
            since: found.map(|found| found.time),
            ..Finding::plain(Verdict::of(found.is_some()))
        }
    }

    /// What the mixer gives against what it is set to.
    fn of_mixers(&self) -> Finding {
        let off = self.upkeep.mixers().find(|seen| seen.off);
        Finding {
            value: off.map(|seen| seen.got_pct),
            unit: Some("%"),
            limit: off.map(|seen| seen.setting_pct),
            since: off.map(|seen| seen.time),
            ..Finding::plain(Verdict::of(off.is_some()))
        }
    }
}
