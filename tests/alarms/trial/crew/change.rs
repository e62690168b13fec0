//! Souring and minerals: what is looked for, planned, and changed.

use sumpward::engine::{EntryKind, HappeningKind, Method};
use sumpward::simulate::year::{FaultKind, YearSump, next_attendance, stands_still};
use sumpward::units::{Quantity, Span, Timestamp};

use super::entries::{
    addition, by_hand, event, impression, minerals_by_hand, shelve, shelve_until_changed,
};
use super::{AGAIN_H, Crew, DRAINS, Job};
use crate::trial::reaction::{Reaction, reaction};

/// Of what was looked into a shelf is for so long, h: a week; of an instrument three
/// days, as another thing may befall it.
const LOOKED_INTO_H: f64 = 168.0;
const PROBE_LOOKED_INTO_H: f64 = 72.0;
/// Hardness from which somebody looks which tap is used, mg/L: more than soft
/// water comes to in a sump.
const HARD_MG_L: f64 = 250.0;

impl Crew {
    /// A second pH, a slide and the nose; what is sour is changed within two
    /// working days.
    pub(super) fn look_for_souring(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        entries.push(by_hand(Quantity::Ph, sump.hand_ph(), Method::Meter));
        let slide = sump.dip_slide();
        self.made.slides.push(sump.now());
        entries.push(by_hand(Quantity::Bacteria, slide, Method::DipSlide));
        entries.push(impression(sump));
        if slide >= 1e5 && self.recharging.is_none() && !stands_still(sump.now()) {
            let hours = self.chance.between(4.0, 40.0);
            let due = next_attendance(sump.now() + Span::from_millis((hours * 3_600_000.0) as i64));
            self.recharging = Some(due);
            self.plan(due, Job::Emptied);
            self.shelve_souring(sump.now(), due, entries);
        }
    }

    /// What is to be done is planned: nobody needs to be told of it until then.
    pub(super) fn shelve_souring(
        &self,
        now: Timestamp,
        due: Timestamp,
        entries: &mut Vec<EntryKind>,
    ) {
        let sours = |condition: &&String| reaction(condition) == Reaction::Sour;
        let hidden = "souring.likely".to_owned();
        let alarms = self.standing.keys().filter(sours);
        let behind = (!self.standing.contains_key(&hidden)).then_some(&hidden);
        let alarms = alarms.chain(behind);
        entries.extend(alarms.map(|condition| shelve_until_changed(condition, now, due)));
    }

    /// What was looked into twice and calls for nothing is set aside until the
    /// weekly checks have been made once more.
    pub(super) fn shelve_looked_into(
        &self,
        condition: &str,
        now: Timestamp,
        entries: &mut Vec<EntryKind>,
    ) {
        let since = self.standing.get(condition);
        let again = since.is_some_and(|since| now - *since > Span::from_hours(AGAIN_H / 2));
        if again && self.recharging.is_none() {
            let reason = "looked into twice, nothing to be done; again after the weekly checks";
            let hours = match reaction(condition) {
                Reaction::Probe(_) => PROBE_LOOKED_INTO_H,
                _ => LOOKED_INTO_H,
            };
            entries.push(shelve(condition, hours, reason));
        }
    }

    pub(super) fn emptied(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        let litres = (sump.truth().volume_l).round();
        entries.push(event(HappeningKind::PumpsOff, None, None));
        entries.push(event(HappeningKind::Drained, Some(litres), None));
        sump.hold_off(true);
        sump.clean_out();
        self.handled.push(sump.now());
        let due = next_attendance(sump.now() + Span::from_mins(150));
        self.plan(due, Job::Filled);
    }

    pub(super) fn filled(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        let litres = (0.98 * sump.spec().working_l).round();
        entries.push(event(HappeningKind::Cleaned, None, None));
        sump.add(litres, sump.spec().product.target_pct);
        sump.hold_off(false);
        self.handled.push(sump.now());
        entries.push(event(HappeningKind::Recharged, Some(litres), None));
        entries.push(event(HappeningKind::PumpsOn, None, None));
        self.recharging = None;
    }

    /// Which tap is used, and the worst of it swapped.
    pub(super) fn look_for_minerals(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        self.made.minerals.push(sump.now());
        minerals_by_hand(sump, entries);
        if sump.truth().hardness_mg_l > HARD_MG_L && sump.mend(FaultKind::HardWater) {
            let litres = (0.35 * sump.spec().working_l).round();
            sump.drain(litres);
            entries.push(event(HappeningKind::Drained, Some(litres), None));
            self.handled.push(sump.now());
            self.plan(sump.now() + DRAINS, Job::Refill(litres));
        }
    }

    pub(super) fn refill(
        &mut self,
        litres: f64,
        sump: &mut YearSump,
        entries: &mut Vec<EntryKind>,
    ) {
        let target = sump.spec().product.target_pct;
        sump.add(litres, target);
        self.handled.push(sump.now());
        entries.push(addition(litres, target, None));
    }
}
