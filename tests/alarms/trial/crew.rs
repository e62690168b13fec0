//! The crew of one sump: it keeps the check plan, tops up, hears alarms and
//! advice, and does what sensible people would. It is there in its shifts only,
//! knows nothing of the truth but what hand instruments and a look at the
//! machine tell, slips now and then, and writes down what it does.

use std::collections::BTreeMap;
use std::sync::Arc;

use sumpward::advice::{Advice, Amounts, LookStep, Way};
use sumpward::engine::{
    AdditionKind, AlarmLine, EntryKind, HappeningKind, JournalBody, JournalRecord, Look, Method,
    Priority, Smell, SumpStatus,
};
use sumpward::simulate::year::{
    Channel, FaultKind, STEP, Smells, YearSump, crew_is_there, day, next_attendance, stands_still,
};
use sumpward::units::{Quantity, Span, Timestamp};

use super::chance::Chance;
use super::reaction::{Reaction, reaction};
use super::record::{Made, Slip, SlipKind};

/// Minutes until an alarm is taken on, and until somebody is at the sump, by
/// how urgent it is (choice).
const ACKNOWLEDGE_MIN: (f64, f64) = (3.0, 60.0);
const VISIT_MIN: (f64, f64) = (30.0, 180.0);
const URGENT_VISIT_MIN: (f64, f64) = (10.0, 40.0);
/// What still stands is looked at again after so long: the next shift has it on
/// its list.
const AGAIN_H: i64 = 10;
/// A shelf lasts for so long beyond what is planned, h: emptying, cleaning and
/// filling takes as long.
const SHELVED_BEYOND_H: f64 = 4.0;
/// And of what was looked into, h: a week.
const LOOKED_INTO_H: f64 = 168.0;
/// The chance that a visit finds what is hidden: a leak, water that runs in.
const FINDS: f64 = 0.8;
/// Below this share of the working volume it is topped up on a round, to that.
const TOP_UP_BELOW: f64 = 0.93;
const TOP_UP_TO: f64 = 0.985;
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
const MISSED_DOSE: f64 = 0.02;
/// A hand refractometer that far off the inline one has the prism wiped before
/// anything is dosed, °Bx: the default of the settings.
const HAND_TOLERANCE_BRIX: f64 = 0.3;
/// A mixer's outlet that far off what it is set to is set right, as a share.
const MIXER_TOLERANCE: f64 = 0.12;
/// A titration that reads by so much less than the refractometer has somebody
/// look for oil, %: more than both are mostly unsure of.
const OIL_PCT: f64 = 0.4;
/// Hardness from which somebody looks which tap is used, mg/L: more than soft
/// water comes to in a sump.
const HARD_MG_L: f64 = 250.0;

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
}

/// The crew of one sump.
pub(crate) struct Crew {
    mixer: String,
    chance: Chance,
    jobs: Vec<(Timestamp, Job)>,
    /// Alarms that stand, by condition, with when the crew was told.
    standing: BTreeMap<String, Timestamp>,
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
            newest: None,
            shown_brix: None,
            planned_day: i64::MIN,
            tests_asked: false,
            round_asked: false,
            water_left_l: 0.0,
            recharging: None,
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
                let mut standing = self.standing.keys();
                let asked = standing.any(|one| reaction(one) == Reaction::Dose);
                if asked && !self.dosing() {
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

    fn dosing(&self) -> bool {
        let doses = |job: &Job| matches!(job, Job::Dose(_) | Job::Pour(..) | Job::Refill(_));
        self.jobs.iter().any(|(_, job)| doses(job))
    }

    fn hear_alarm(&mut self, alarm: &AlarmLine, now: Timestamp) {
        let condition = alarm.condition.to_string();
        if alarm.transition.annunciates(alarm.state) {
            self.standing.insert(condition.clone(), now);
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
            self.plan(there, Job::Visit(condition));
        } else if !alarm.state.holds() {
            self.standing.remove(&condition);
        } else if self.standing.insert(condition.clone(), now).is_none() {
            // Taken on before the pumps stopped, and on the list again.
            let there = self.soon(now, VISIT_MIN);
            self.plan(there, Job::Visit(condition));
        }
    }

    /// Does what is due, and gives what is written down.
    pub(crate) fn work(&mut self, sump: &mut YearSump) -> Vec<EntryKind> {
        let now = sump.now();
        self.plan_day(sump);
        let mut entries = Vec::new();
        if !crew_is_there(now) || self.jobs.is_empty() {
            return entries;
        }
        let mut due: Vec<(Timestamp, Job)> =
            self.jobs.extract_if(.., |(due, _)| *due <= now).collect();
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
        }
    }

    /// On a round: the mixer's hose into what is not full.
    fn top_up(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        if sump.filled() >= TOP_UP_BELOW || self.recharging.is_some() || self.dosing() {
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
        let (strength, mut gives) = match as_water {
            true => (0.0, 0.0),
            false => (sump.spec().mixer_pct, sump.mixer_gives_pct()),
        };
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
            if reaction(condition) == Reaction::Sour {
                entries.push(shelve_until_changed(condition, sump.now(), due));
            }
            return;
        }
        if self.standing.contains_key(condition) {
            let again = self.soon(sump.now() + Span::from_hours(AGAIN_H), (0.0, 60.0));
            self.plan(again, Job::Visit(condition.to_owned()));
        }
        match reaction(condition) {
            Reaction::Dose => self.look_and_dose(condition, sump, entries),
            Reaction::Probe(channel) => self.mend_probe(channel, sump, entries),
            Reaction::Concentration => self.check_concentration(sump, entries),
            Reaction::Leaks => self.look_for_leaks(sump),
            Reaction::Mixer => self.mend_mixer(sump, entries),
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

    /// A hand reading first; where it and the shown value differ, the prism is
    /// wiped and nothing dosed.
    fn look_and_dose(
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
            return;
        }
        if !self.dosing() {
            self.plan(sump.now() + Span::from_mins(10), Job::Dose(advice));
        }
    }

    fn dose(&mut self, advice: &Advice, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
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

    fn pour(
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

    /// As the message asks before a mix is thinned: titration against the hand
    /// refractometer. Oil is skimmed off, and nothing dosed.
    fn finds_oil(&mut self, brix: f64, sump: &mut YearSump, entries: &mut Vec<EntryKind>) -> bool {
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

    /// A second pH, a slide and the nose; what is sour is changed within two
    /// working days.
    fn look_for_souring(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
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
    fn shelve_souring(&self, now: Timestamp, due: Timestamp, entries: &mut Vec<EntryKind>) {
        let sours = |condition: &&String| reaction(condition) == Reaction::Sour;
        let alarms = self.standing.keys().filter(sours);
        entries.extend(alarms.map(|condition| shelve_until_changed(condition, now, due)));
    }

    /// What was looked into twice and calls for nothing is set aside until the
    /// weekly checks have been made once more.
    fn shelve_looked_into(&self, condition: &str, now: Timestamp, entries: &mut Vec<EntryKind>) {
        let since = self.standing.get(condition);
        let again = since.is_some_and(|since| now - *since > Span::from_hours(AGAIN_H / 2));
        if again && self.recharging.is_none() {
            let reason = "looked into twice, nothing to be done; again after the weekly checks";
            entries.push(shelve(condition, LOOKED_INTO_H, reason));
        }
    }

    fn emptied(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        let litres = (sump.truth().volume_l).round();
        entries.push(event(HappeningKind::PumpsOff, None, None));
        entries.push(event(HappeningKind::Drained, Some(litres), None));
        sump.hold_off(true);
        sump.clean_out();
        self.handled.push(sump.now());
        let due = next_attendance(sump.now() + Span::from_mins(150));
        self.plan(due, Job::Filled);
    }

    fn filled(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
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
    fn look_for_minerals(&mut self, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
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

    fn refill(&mut self, litres: f64, sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
        let target = sump.spec().product.target_pct;
        sump.add(litres, target);
        self.handled.push(sump.now());
        entries.push(addition(litres, target, None));
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

fn value_of(kind: &EntryKind) -> f64 {
    match kind {
        EntryKind::HandReading { value, .. } => *value,
        _ => f64::NAN,
    }
}

fn brix_by_hand(sump: &mut YearSump) -> EntryKind {
    by_hand(Quantity::Brix, sump.hand_brix(), Method::Refractometer)
}

fn by_hand(quantity: Quantity, value: f64, method: Method) -> EntryKind {
    EntryKind::HandReading {
        quantity,
        value,
        method: Some(method),
        mixer: None,
        written: None,
    }
}

fn minerals_by_hand(sump: &mut YearSump, entries: &mut Vec<EntryKind>) {
    let (hardness, chloride) = sump.hand_minerals();
    entries.push(by_hand(Quantity::Hardness, hardness, Method::TestStrip));
    entries.push(by_hand(Quantity::Chloride, chloride, Method::TestStrip));
}

fn impression(sump: &YearSump) -> EntryKind {
    let smell = match sump.smells() {
        Smells::Fresh => Smell::Fresh,
        Smells::Stale => Smell::Stale,
        Smells::Bad => Smell::Bad,
    };
    let mut look = Vec::new();
    if sump.has(FaultKind::Foam) {
        look.push(Look::Foam);
    }
    if sump.has(FaultKind::TrampOil) {
        look.push(Look::OilFilm);
    }
    EntryKind::Impression {
        smell: Some(smell),
        look,
        text: None,
    }
}

fn shelve_until_changed(condition: &str, now: Timestamp, due: Timestamp) -> EntryKind {
    let hours = (due - now).secs_f64().max(0.0) / 3600.0 + SHELVED_BEYOND_H;
    shelve(condition, hours, &format!("the sump is changed at {due}"))
}

fn shelve(condition: &str, hours: f64, reason: &str) -> EntryKind {
    EntryKind::Shelve {
        alarm: condition.to_owned(),
        hours,
        reason: reason.to_owned(),
    }
}

fn foam() -> EntryKind {
    EntryKind::Impression {
        smell: None,
        look: vec![Look::Foam],
        text: None,
    }
}

pub(crate) fn event(what: HappeningKind, litres: Option<f64>, channel: Option<&str>) -> EntryKind {
    EntryKind::Event {
        what,
        litres,
        channel: channel.map(str::to_owned),
        advice: None,
    }
}

fn addition(litres: f64, strength_pct: f64, advice: Option<&str>) -> EntryKind {
    let what = match strength_pct {
        s if s <= 0.0 => AdditionKind::Water,
        s if s >= 100.0 => AdditionKind::Concentrate,
        _ => AdditionKind::Premix,
    };
    EntryKind::Addition {
        what,
        litres,
        strength_pct: (what == AdditionKind::Premix).then_some(strength_pct),
        water: None,
        advice: advice.map(str::to_owned),
    }
}
