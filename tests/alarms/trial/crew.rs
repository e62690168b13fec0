//! The crew of one sump: it keeps the check plan, tops up, hears alarms and
//! advice, and does what sensible people would. It is there in its shifts only,
//! knows nothing of the truth but what hand instruments and a look at the
//! machine tell, slips now and then, and writes down what it does.

mod change;
mod dosing;
pub(crate) mod entries;
mod on_call;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use sumpward::advice::{Advice, Amounts, LookStep};
use sumpward::alarm::Transition;
use sumpward::engine::{
    AlarmLine, EntryKind, HappeningKind, JournalBody, JournalRecord, ListedAlarm, Method, Priority,
    SumpStatus,
};
use sumpward::simulate::year::{
    Channel, FaultKind, STEP, YearSump, crew_is_there, day, next_attendance, stands_still,
};
use sumpward::units::{Quantity, Span, Timestamp};

use super::chance::Chance;
use super::reaction::{Reaction, reaction};
use super::record::{Made, Slip, SlipKind};
use entries::{
    addition, brix_by_hand, by_hand, event, foam, impression, minerals_by_hand,
    shelve_until_changed, value_of,
};

/// Minutes until an alarm is taken on, and until somebody is at the sump, by
/// how urgent it is (choice).
const ACKNOWLEDGE_MIN: (f64, f64) = (3.0, 60.0);
const VISIT_MIN: (f64, f64) = (30.0, 180.0);
const URGENT_VISIT_MIN: (f64, f64) = (10.0, 40.0);
/// What still stands is looked at again after so long: the next shift has it on
/// its list.
const AGAIN_H: i64 = 10;
/// The chance that a visit finds what is hidden: a leak, water that runs in.
const FINDS: f64 = 0.8;
/// Below this share of the working volume it is topped up on a round, to that.
const TOP_UP_BELOW: f64 = 0.93;
const TOP_UP_TO: f64 = 0.985;
/// A sump that is emptied within so long is left as it is.
const LEFT_AS_IT_IS: Span = Span::from_hours(6);
/// What shows so much more than its target is topped up with water, %: half of
/// the way to the upper limit that the settings come with.
const RICH_PCT: f64 = 0.5;
/// Rounds, by the hour of the day.
const ROUNDS_H: [f64; 2] = [7.0, 14.5];
/// What is let out runs for so long, with the hose laid and the premix made up.
const DRAINS: Span = Span::from_mins(45);
/// Slips, each as a share of the top-ups, checks and doses (choice).
const UNLOGGED: f64 = 0.03;
const WRONG_STRENGTH: f64 = 0.01;
const MISWRITTEN: f64 = 0.01;
const MISSED_CHECK: f64 = 0.05;
/// A hand refractometer that far off the inline one has the prism wiped before
/// anything is dosed, °Bx: the default of the settings.
const HAND_TOLERANCE_BRIX: f64 = 0.3;
/// A mixer's outlet that far off what it is set to is set right, as a share.
const MIXER_TOLERANCE: f64 = 0.12;

/// Something to be done at a time.
#[derive(Debug, Clone)]
enum Job {
    Acknowledge(String),
    Visit(String),
    Dose(Arc<Advice>),
    Pour(Amounts, String),
    TopUp,
    Weekly,
    Monthly,
    Wiped,
    Emptied,
    Filled,
    Refill(f64),
    SetAside(String),
    Called(String, String),
}

/// The crew of one sump.
pub(crate) struct Crew {
    mixer: String,
    chance: Chance,
    jobs: Vec<(Timestamp, Job)>,
    /// Alarms that stand, by condition, with when the crew was told.
    standing: BTreeMap<String, Timestamp>,
    /// What who was on call has set aside until the next shift.
    aside: BTreeSet<String>,
    newest: Option<Arc<Advice>>,
    /// What the refractometer shows, if it is shown at all.
    shown_brix: Option<f64>,
    planned_day: i64,
    /// The tests of the month are among the checks that were last called for.
    tests_asked: bool,
    /// Others are.
    round_asked: bool,
    /// So much water is to be topped up in place of premix, L.
    water_left_l: f64,
    /// When the sump is to be emptied, until it is filled anew.
    recharging: Option<Timestamp>,
    /// Until when somebody who came from home is there.
    called_until: Option<Timestamp>,
    pub(crate) slips: Vec<Slip>,
    pub(crate) handled: Vec<Timestamp>,
    pub(crate) made: Made,
}

impl Crew {
    pub(crate) fn new(sump: &YearSump, seed: u64) -> Self {
        let place = sump.spec().place as u64;
        Crew {
            mixer: format!("x-{}", sump.spec().name()),
            chance: Chance(seed.wrapping_mul(1_000_003) ^ (place + 1).wrapping_mul(0x9E37_79B9)),
            jobs: Vec::new(),
            standing: BTreeMap::new(),
            aside: BTreeSet::new(),
            newest: None,
            shown_brix: None,
            planned_day: i64::MIN,
            tests_asked: false,
            round_asked: false,
            water_left_l: 0.0,
            recharging: None,
            called_until: None,
            slips: Vec::new(),
            handled: Vec::new(),
            made: Made::default(),
        }
    }

    /// One visit for one condition is enough.
    fn plan(&mut self, due: Timestamp, job: Job) {
        if let Job::Visit(condition) = &job {
            let same = |(_, one): &(_, Job)| matches!(one, Job::Visit(of) if of == condition);
            if self.jobs.iter().any(same) {
                return;
            }
        }
        self.jobs.push((due, job));
    }

    /// Some minutes after somebody is there: who comes in the morning does not
    /// stand at every sump at once.
    fn soon(&mut self, now: Timestamp, minutes: (f64, f64)) -> Timestamp {
        let minutes = self.chance.between(minutes.0, minutes.1);
        let there = next_attendance(now);
        next_attendance(there + Span::from_millis((minutes * 60_000.0) as i64))
    }

    pub(crate) fn see(&mut self, status: &SumpStatus) {
        let brix = status.channels.iter().find(|one| &*one.channel == "brix");
        self.shown_brix = brix.filter(|one| !one.silent).and_then(|one| one.value);
    }

    pub(crate) fn hear(&mut self, line: &JournalRecord) {
        match &line.body {
            JournalBody::Alarm(alarm) => self.hear_alarm(alarm, line.time),
            JournalBody::Advice { advice } if advice.dose.is_some() => {
                self.newest = Some(Arc::clone(advice));
                if self.is_dose_asked() && !self.dosing() {
                    let due = self.soon(line.time, VISIT_MIN);
                    self.plan(due, Job::Visit("concentration.low".into()));
                }
            }
            JournalBody::AdviceWithdrawn { advice } => {
                self.newest.take_if(|one| one.id == *advice);
            }
            _ => {}
        }
    }

    /// Whether an alarm stands that asks for a dose.
    fn is_dose_asked(&self) -> bool {
        let mut standing = self.standing.keys();
        standing.any(|one| reaction(one) == Reaction::Dose)
    }

    fn dosing(&self) -> bool {
        let doses = |job: &Job| matches!(job, Job::Dose(_) | Job::Pour(..) | Job::Refill(_));
        self.jobs.iter().any(|(_, job)| doses(job))
    }

    fn hear_alarm(&mut self, alarm: &AlarmLine, now: Timestamp) {
        let condition = alarm.condition.to_string();
        if alarm.transition.annunciates(alarm.state) {
            // What comes off the shelf of who was on call has been there all along.
            let was_aside = self.aside.remove(&condition);
            let since = self.standing.entry(condition.clone()).or_insert(now);
            *since = if was_aside { *since } else { now };
            if reaction(&condition) == Reaction::Check {
                let advice = alarm.advice.as_ref();
                let steps = advice.map_or(&[][..], |advice| advice.look_at.as_slice());
                self.tests_asked = steps.iter().any(is_of_month);
                self.round_asked = steps
                    .iter()
                    .any(|step| *step != LookStep::EnterCheck && !is_of_month(step));
            }
            let seen = self.soon(now, ACKNOWLEDGE_MIN);
            self.plan(seen, Job::Acknowledge(alarm.id.clone()));
            let hurry = match alarm.priority {
                Priority::High => URGENT_VISIT_MIN,
                _ => VISIT_MIN,
            };
            let there = self.soon(now, hurry).max(seen);
            self.call(alarm, &condition, (now, there));
            self.plan(there, Job::Visit(condition));
        } else if !alarm.state.holds() {
            // What was set aside until the next shift is on its list.
            let shelved = alarm.transition == Transition::Shelved;
            if !(shelved && self.aside.contains(&condition)) {
                self.standing.remove(&condition);
                self.aside.remove(&condition);
            }
        } else if self.standing.insert(condition.clone(), now).is_none() {
            // Taken on before the pumps stopped, and on the list again.
            let there = self.soon(now, VISIT_MIN);
            self.plan(there, Job::Visit(condition));
        }
    }

    /// The plant's alarm about a start tells of an alarm of this sump.
    pub(crate) fn hear_listed(&mut self, listed: &ListedAlarm, now: Timestamp) {
        let condition = listed.condition.to_string();
        self.standing.insert(condition.clone(), now);
        let seen = self.soon(now, ACKNOWLEDGE_MIN);
        let hurry = match listed.priority {
            Priority::High => URGENT_VISIT_MIN,
            _ => VISIT_MIN,
        };
        let there = self.soon(now, hurry).max(seen);
        self.plan(there, Job::Visit(condition));
    }

    /// Does what is due, and gives what is written down.
    pub(crate) fn work(&mut self, sump: &mut YearSump) -> Vec<EntryKind> {
        let now = sump.now();
        self.plan_day(sump);
        let mut entries = Vec::new();
        let is_there = crew_is_there(now) || self.called_until.is_some_and(|until| now < until);
        let from_home = |job: &Job| matches!(job, Job::SetAside(_) | Job::Called(..));
        let can = |job: &Job| is_there || from_home(job);
        let mut due: Vec<(Timestamp, Job)> = self
            .jobs
            .extract_if(.., |(due, job)| *due <= now && can(job))
            .collect();
        due.sort_by_key(|(due, _)| *due);
        for (_, job) in due {
            self.carry_out(job, sump, &mut entries);
        }
        entries
    }

    /// Rounds and checks of the day; on a day of a stand-still only a round.
    fn plan_day(&mut self, sump: &YearSump) {
        let now = sump.now();
        let today = day(now);
        if today == self.planned_day {
            return;
        }
        self.planned_day = today;
        let midnight = now.floor(Span::from_hours(24));
        let of_week = today.rem_euclid(7);
        let at = |hours: f64| midnight + Span::from_millis((hours * 3_600_000.0) as i64);
        if of_week >= 5 {
            return;
        }
        for hour in ROUNDS_H {
            let due = at(hour + self.chance.between(-0.4, 0.4));
            self.plan(due, Job::TopUp);
        }
        if stands_still(now) {
            return;
        }
        let place = sump.spec().place as i64;
        let at_ten = at(10.0 + self.chance.between(-0.5, 0.5));
        if of_week == place % 5 {
            self.check(at_ten, Job::Weekly, SlipKind::MissedWeekly);
            // The week of the month on which the laboratory's kit comes along.
            if today.div_euclid(7) % 4 == place % 4 {
                let due = at_ten + Span::from_mins(20);
                self.check(due, Job::Monthly, SlipKind::MissedMonthly);
            }
        }
    }

    fn check(&mut self, due: Timestamp, job: Job, missed: SlipKind) {
        if self.chance.even() < MISSED_CHECK {
            self.slip(missed, due, 0.0);
        } else {
            self.plan(due, job);
        }
    }

    fn slip(&mut self, kind: SlipKind, time: Timestamp, size: f64) {
        self.slips.push(Slip { kind, time, size });
    }

    fn carry_out(&mut self, job: Job, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        match job {
            Job::Acknowledge(alarm) => entries.push(EntryKind::Acknowledge { alarm }),
            Job::Visit(condition) => self.visit(&condition, sump, entries),
            Job::Dose(advice) => self.dose(&advice, sump, entries),
            Job::Pour(amounts, advice) => self.pour(&amounts, &advice, sump, entries),
            Job::TopUp => self.top_up(sump, entries),
            Job::Weekly => self.weekly(sump, entries),
            Job::Monthly => self.monthly(sump, entries),
            Job::Wiped => entries.push(brix_by_hand(sump)),
            Job::Emptied => self.emptied(sump, entries),
            Job::Filled => self.filled(sump, entries),
            Job::Refill(litres) => self.refill(litres, sump, entries),
            Job::SetAside(condition) => self.set_aside(condition, sump.now(), entries),
            Job::Called(alarm, condition) => self.called(alarm, condition, sump, entries),
        }
    }

    /// On a round: the mixer's hose into what is not full.
    fn top_up(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        let until_changed = self.recharging.map(|due| due - sump.now());
        let changed_soon = until_changed.is_some_and(|left| left < LEFT_AS_IT_IS);
        // Whoever comes for the alarm gives what the message says, unless the sump is
        // to be changed.
        let is_advised = self.newest.is_some() && self.is_dose_asked() && until_changed.is_none();
        if sump.filled() >= TOP_UP_BELOW || changed_soon || is_advised || self.dosing() {
            return;
        }
        let working = sump.spec().working_l;
        let litres = (working * (TOP_UP_TO - sump.filled())).round();
        let mut as_water = self.water_left_l > 0.0;
        if !as_water && self.shows_rich(sump) {
            match self.is_rich_by_hand(sump, entries) {
                Some(rich) => as_water = rich,
                None => self.mend_probe(Channel::Brix, sump, entries),
            }
        }
        let strength = match as_water {
            true => 0.0,
            false if self.is_low_told() => self.fill_strength(litres, sump, entries),
            false => sump.spec().mixer_pct,
        };
        let mut gives = sump.mixer_gives_pct() * strength / sump.spec().mixer_pct;
        self.water_left_l -= litres;
        let draw = self.chance.even();
        let mut written = litres;
        let share = litres / working;
        let unlogged = draw < UNLOGGED;
        if unlogged {
            self.slip(SlipKind::Unlogged, sump.now(), share);
        } else if draw < UNLOGGED + WRONG_STRENGTH && !as_water {
            // The hose of the tap, or a can of concentrate with it.
            let target = sump.spec().product.target_pct;
            gives = if self.chance.even() < 0.5 {
                0.0
            } else {
                4.0 * strength
            };
            let off = litres * (gives - strength).abs() / (working * target);
            self.slip(SlipKind::WrongStrength, sump.now(), off);
        } else if draw < UNLOGGED + WRONG_STRENGTH + MISWRITTEN {
            written = if self.chance.even() < 0.5 {
                3.0 * litres
            } else {
                (litres / 4.0).round()
            };
            self.slip(
                SlipKind::Miswritten,
                sump.now(),
                (written - litres).abs() / working,
            );
        }
        sump.add(litres, gives);
        self.handled.push(sump.now());
        if !unlogged {
            entries.push(addition(written, strength, None));
        }
    }

    fn is_low_told(&self) -> bool {
        let mut standing = self.standing.keys();
        standing.any(|one| one.starts_with("volume.low"))
    }

    /// As the message of a low volume asks, the mix is read before it is topped up:
    /// what the mixer is set to leads to the target, in halves of a percent.
    fn fill_strength(&self, litres: f64, sump: &mut YearSump, entries: &mut Vec<EntryKind>) -> f64 {
        let reading = brix_by_hand(sump);
        let spec = *sump.spec();
        let read = (value_of(&reading) - spec.water_zero_brix) * spec.product.factor;
        entries.push(reading);
        let there = spec.working_l * sump.filled();
        let target = spec.product.target_pct;
        let strength = (target * (there + litres) - read * there) / litres;
        (2.0 * strength).round().clamp(0.0, 4.0 * target) / 2.0
    }

    /// Whether what is shown lies nearer to the upper limit than to the target:
    /// then nobody puts premix in without a look.
    fn shows_rich(&self, sump: &YearSump) -> bool {
        self.shown_brix.is_some_and(|brix| is_rich(brix, sump))
    }

    /// Whether a sample read by hand is rich too; none where it and what is shown
    /// differ, and the prism is to be wiped.
    fn is_rich_by_hand(&self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) -> Option<bool> {
        let reading = brix_by_hand(sump);
        let by_hand = value_of(&reading);
        entries.push(reading);
        let shown = self.shown_brix.unwrap_or(by_hand);
        ((shown - by_hand).abs() <= HAND_TOLERANCE_BRIX).then(|| is_rich(by_hand, sump))
    }

    fn weekly(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        self.made.rounds.push(sump.now());
        self.made.slides.push(sump.now());
        entries.push(brix_by_hand(sump));
        entries.push(by_hand(Quantity::Ph, sump.hand_ph(), Method::Meter));
        entries.push(self.mixer_by_hand(sump));
        entries.push(by_hand(
            Quantity::Nitrite,
            sump.hand_nitrite(),
            Method::TestStrip,
        ));
        entries.push(by_hand(
            Quantity::Bacteria,
            sump.dip_slide(),
            Method::DipSlide,
        ));
        entries.push(impression(sump));
    }

    /// Test sets, titration, and probes wiped and checked.
    fn monthly(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        self.made.minerals.push(sump.now());
        minerals_by_hand(sump, entries);
        let titrated = sump.titrated_pct();
        entries.push(by_hand(
            Quantity::Concentration,
            titrated,
            Method::Titration,
        ));
        for channel in [Channel::Brix, Channel::Ph] {
            self.wipe(channel, sump, entries);
        }
    }

    fn mixer_by_hand(&self, sump: &mut YearSump) -> EntryKind {
        EntryKind::HandReading {
            quantity: Quantity::Brix,
            value: sump.mixer_brix(),
            method: Some(Method::Refractometer),
            mixer: Some(self.mixer.clone()),
            written: None,
        }
    }

    fn wipe(&mut self, channel: Channel, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        sump.set_right(channel);
        let what = match channel {
            Channel::Ph => HappeningKind::ProbeCalibrated,
            _ => HappeningKind::ProbeCleaned,
        };
        entries.push(event(what, None, Some(channel.name())));
        if channel == Channel::Brix {
            self.plan(sump.now() + Span::from_mins(30), Job::Wiped);
        }
    }

    /// Somebody goes and looks, and comes again while the alarm stands.
    fn visit(&mut self, condition: &str, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        if !self.standing.contains_key(condition) && reaction(condition) != Reaction::Dose {
            return;
        }
        if let Some(due) = self.recharging {
            if can_wait_for_change(condition) {
                entries.push(shelve_until_changed(condition, sump.now(), due));
            } else {
                self.plan(due, Job::Visit(condition.to_owned()));
            }
            return;
        }
        if self.standing.contains_key(condition) {
            let again = self.soon(sump.now() + Span::from_hours(AGAIN_H), (0.0, 60.0));
            self.plan(again, Job::Visit(condition.to_owned()));
        }
        match reaction(condition) {
            Reaction::Dose => {
                self.look_and_dose(condition, sump, entries);
                // It sinks by itself once nothing more is put in.
                if condition.starts_with("volume.high") {
                    self.shelve_looked_into(condition, sump.now(), entries);
                }
            }
            Reaction::Probe(channel) => {
                self.mend_probe(channel, sump, entries);
                self.shelve_looked_into(condition, sump.now(), entries);
            }
            Reaction::Concentration => self.check_concentration(sump, entries),
            Reaction::Leaks => {
                self.look_for_leaks(sump);
                self.shelve_looked_into(condition, sump.now(), entries);
            }
            Reaction::Mixer => {
                self.mend_mixer(sump, entries);
                self.shelve_looked_into(condition, sump.now(), entries);
            }
            Reaction::Sour => {
                self.look_for_souring(sump, entries);
                self.shelve_looked_into(condition, sump.now(), entries);
            }
            Reaction::Minerals => {
                self.look_for_minerals(sump, entries);
                self.shelve_looked_into(condition, sump.now(), entries);
            }
            Reaction::Pumps => {
                sump.mend(FaultKind::PumpsStopped);
            }
            Reaction::Check => {
                if self.tests_asked {
                    self.monthly(sump, entries);
                }
                if self.round_asked {
                    self.weekly(sump, entries);
                }
            }
            Reaction::Nothing => {}
        }
    }

    /// Cable, loop, film, bubbles: whatever is wrong with the instrument.
    fn mend_probe(&mut self, channel: Channel, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        let kinds = [
            FaultKind::Silent(channel),
            FaultKind::BrokenLoop(channel),
            FaultKind::Frozen(channel),
            FaultKind::Spiking(channel),
        ];
        for kind in kinds {
            sump.mend(kind);
        }
        match channel {
            Channel::Brix => {
                sump.mend(FaultKind::Bubbles);
            }
            Channel::Level if sump.has(FaultKind::Foam) => {
                entries.push(foam());
                sump.mend(FaultKind::Foam);
            }
            _ => {}
        }
        if channel != Channel::Pumps {
            self.wipe(channel, sump, entries);
        }
    }

    /// The refractometer against titration: oil is skimmed off.
    fn check_concentration(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        let titrated = sump.titrated_pct();
        entries.push(by_hand(
            Quantity::Concentration,
            titrated,
            Method::Titration,
        ));
        self.mend_probe(Channel::Brix, sump, entries);
        if sump.mend(FaultKind::TrampOil) {
            entries.push(event(HappeningKind::Skimmed, None, None));
        }
    }

    fn look_for_leaks(&mut self, sump: &mut YearSump) {
        if self.chance.even() < FINDS {
            sump.mend(FaultKind::Leak);
            sump.mend(FaultKind::WaterIngress);
        }
    }

    fn mend_mixer(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        let reading = self.mixer_by_hand(sump);
        let spec = *sump.spec();
        let got = (value_of(&reading) - spec.water_zero_brix) * spec.product.factor;
        entries.push(reading);
        if (got / spec.mixer_pct - 1.0).abs() > MIXER_TOLERANCE {
            let mended = sump.mend(FaultKind::MixerLean) | sump.mend(FaultKind::MixerRich);
            if mended {
                entries.push(self.mixer_by_hand(sump));
            }
        }
    }

    /// What nobody was told of is found by chance in the end.
    pub(crate) fn find_by_chance(&mut self, sump: &mut YearSump) {
        let now = sump.now();
        if !now.millis().rem_euclid(86_400_000).lt(&STEP.millis()) {
            return;
        }
        let old: Vec<FaultKind> = sump
            .happened()
            .iter()
            .filter(|one| one.over.is_none())
            .filter(|one| now - one.planned.from > super::kinds::found_after(one.planned.kind))
            .map(|one| one.planned.kind)
            .collect();
        for kind in old {
            sump.mend(kind);
        }
    }
}

/// Whether it need not be seen to before the sump is emptied and its probes with it
/// are cleaned: all but its level, and what is about its pumps and leaks.
fn can_wait_for_change(condition: &str) -> bool {
    let at_once = [Reaction::Pumps, Reaction::Leaks, Reaction::Check];
    !condition.starts_with("volume") && !at_once.contains(&reaction(condition))
}

/// Whether the check comes with the laboratory's kit.
fn is_of_month(step: &LookStep) -> bool {
    matches!(
        step,
        LookStep::CheckHardness
            | LookStep::CheckChloride
            | LookStep::CheckTrampOil
            | LookStep::CheckConductivity
    )
}

fn is_rich(brix: f64, sump: &YearSump) -> bool {
    let spec = sump.spec();
    let read = (brix - spec.water_zero_brix) * spec.product.factor;
    read > spec.product.target_pct + RICH_PCT
}
