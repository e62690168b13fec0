//! What is looked at before a dose, and the dose.

use sumpward::advice::{Advice, Amounts, Way};
use sumpward::engine::{EntryKind, HappeningKind, Method};
use sumpward::simulate::year::{Channel, FaultKind, YearSump};
use sumpward::units::{Quantity, Span};

use super::entries::{addition, brix_by_hand, by_hand, event, foam, value_of};
use super::{Crew, DRAINS, HAND_TOLERANCE_BRIX, Job};
use crate::trial::record::SlipKind;

/// A titration that reads by so much less than the refractometer has somebody
/// look for oil, %: more than both are mostly unsure of.
const OIL_PCT: f64 = 0.4;
const MISSED_DOSE: f64 = 0.02;

impl Crew {
    /// A hand reading first; where it and the shown value differ, the prism is
    /// wiped and nothing dosed.
    pub(super) fn look_and_dose(
        &mut self,
        condition: &str,
        sump: &mut YearSump,
        entries: &mut Vec<EntryKind>,
    ) {
        self.look_for_leaks(sump);
        let reading = brix_by_hand(sump);
        let by_hand = value_of(&reading);
        entries.push(reading);
        if condition.starts_with("volume.high") && sump.has(FaultKind::Foam) {
            entries.push(foam());
            sump.mend(FaultKind::Foam);
        }
        let differs = |shown: f64| (shown - by_hand).abs() > HAND_TOLERANCE_BRIX;
        if self.shown_brix.is_some_and(differs) {
            self.mend_probe(Channel::Brix, sump, entries);
            return;
        }
        if condition.contains("concentration") {
            self.mend_mixer(sump, entries);
        }
        if condition.starts_with("concentration.high") && self.finds_oil(by_hand, sump, entries) {
            return;
        }
        let Some(advice) = self.newest.take() else {
            return;
        };
        if self.chance.even() < MISSED_DOSE {
            self.slip(SlipKind::MissedDose, sump.now(), 0.0);
            // The next shift has it on its list.
            self.newest = Some(advice);
            return;
        }
        if !self.dosing() {
            self.plan(sump.now() + Span::from_mins(10), Job::Dose(advice));
        }
    }

    pub(super) fn dose(
        &mut self,
        advice: &Advice,
        sump: &mut YearSump,
        entries: &mut Vec<EntryKind>,
    ) {
        let Some(dose) = &advice.dose else { return };
        let mut amounts = dose.amounts;
        self.water_left_l = 0.0;
        let wait = match dose.way {
            Way::WaitAndPremix => {
                let option = dose.options.first();
                option
                    .and_then(|one| one.wait_d)
                    .map_or(0.0, |days| days.value)
            }
            // Water instead of premix on the next rounds, as far as there is
            // room for it now.
            Way::WaterAsItFalls => {
                let room = sump.spec().working_l * (1.0 - sump.filled());
                let now = amounts.water_l.min(room.max(0.0)).floor();
                self.water_left_l = amounts.water_l - now;
                amounts = Amounts::new(0.0, 0.0, now);
                0.0
            }
            _ => 0.0,
        };
        if amounts.drain_l > 0.0 {
            sump.drain(amounts.drain_l);
            self.handled.push(sump.now());
            let mut drained = event(HappeningKind::Drained, Some(amounts.drain_l), None);
            if let EntryKind::Event { advice: of, .. } = &mut drained {
                *of = Some(advice.id.clone());
            }
            entries.push(drained);
        }
        if amounts.premix_l > 0.0 {
            let made_up = match amounts.drain_l > 0.0 {
                true => DRAINS,
                false => Span::from_mins(15),
            };
            let due = sump.now() + made_up + Span::from_mins((wait * 1440.0) as i64);
            self.plan(due, Job::Pour(amounts, advice.id.clone()));
        }
    }

    pub(super) fn pour(
        &mut self,
        amounts: &Amounts,
        advice: &str,
        sump: &mut YearSump,
        entries: &mut Vec<EntryKind>,
    ) {
        sump.add(amounts.premix_l, amounts.premix_strength_pct);
        self.handled.push(sump.now());
        entries.push(addition(
            amounts.premix_l,
            amounts.premix_strength_pct,
            Some(advice),
        ));
    }

    /// As the message asks before a mix is thinned: titration against the hand
    /// refractometer. Oil is skimmed off, and nothing dosed.
    pub(super) fn finds_oil(
        &mut self,
        brix: f64,
        sump: &mut YearSump,
        entries: &mut Vec<EntryKind>,
    ) -> bool {
        let spec = *sump.spec();
        let titrated = sump.titrated_pct();
        let method = Method::Titration;
        entries.push(by_hand(Quantity::Concentration, titrated, method));
        let read = (brix - spec.water_zero_brix) * spec.product.factor;
        if read - titrated < OIL_PCT || !sump.mend(FaultKind::TrampOil) {
            return false;
        }
        entries.push(event(HappeningKind::Skimmed, None, None));
        self.wipe(Channel::Brix, sump, entries);
        true
    }
}
