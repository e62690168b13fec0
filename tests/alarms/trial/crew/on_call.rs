//! Who is on call while nobody is in the plant: comes for what is urgent, looks at
//! the message of the rest, and sets aside until the next shift what can wait for it.

use sumpward::engine::{AlarmLine, EntryKind, Priority};
use sumpward::simulate::year::{YearSump, crew_is_there, next_attendance};
use sumpward::units::{Span, Timestamp};

use super::entries::shelve;
use super::{Crew, Job};

/// Minutes until a message is looked at (choice).
const LOOKS_MIN: (f64, f64) = (10.0, 240.0);
/// Minutes until somebody has come for what is urgent, at any hour (choice).
const COMES_MIN: (f64, f64) = (45.0, 150.0);
/// So long whoever came stays, and then goes, whatever still stands.
const STAYS: Span = Span::from_hours(3);
/// Nobody is woken for the rest: from and until then messages are looked at, h of the day.
const AWAKE_H: (f64, f64) = (7.0, 22.0);
/// What the next shift finds within so many hours anyway is left to it.
const LEFT_TO_SHIFT_H: i64 = 10;
/// So long into the shift it is set aside, h: until somebody has been there.
const INTO_SHIFT_H: (f64, f64) = (3.0, 6.0);

impl Crew {
    /// An alarm came while nobody was there, or just before the shift went home: then
    /// somebody is at the sump only at `there`.
    pub(super) fn call(
        &mut self,
        alarm: &AlarmLine,
        condition: &str,
        (now, there): (Timestamp, Timestamp),
    ) {
        if alarm.priority == Priority::High {
            let minutes = self.chance.between(COMES_MIN.0, COMES_MIN.1);
            let comes = now + Span::from_millis((60_000.0 * minutes) as i64);
            if !crew_is_there(comes) && comes < there {
                let job = Job::Called(alarm.id.clone(), condition.to_owned());
                self.plan(comes, job);
            }
            return;
        }
        let minutes = self.chance.between(LOOKS_MIN.0, LOOKS_MIN.1);
        let looks = awake(now + Span::from_millis((60_000.0 * minutes) as i64));
        if !crew_is_there(looks) && there - looks > Span::from_hours(LEFT_TO_SHIFT_H) {
            self.plan(looks, Job::SetAside(condition.to_owned()));
        }
    }

    /// Whoever came takes the alarm on and does what a shift would.
    pub(super) fn called(
        &mut self,
        alarm: String,
        condition: String,
        sump: &mut YearSump,
        entries: &mut Vec<EntryKind>,
    ) {
        if !self.standing.contains_key(&condition) {
            return;
        }
        let stays = sump.now() + STAYS;
        self.called_until = Some(stays);
        self.jobs
            .retain(|(_, job)| !matches!(job, Job::Acknowledge(of) if *of == alarm));
        entries.push(EntryKind::Acknowledge { alarm });
        self.visit(&condition, sump, entries);
        self.plan(stays, Job::SetAside(condition));
    }

    pub(super) fn set_aside(
        &mut self,
        condition: String,
        now: Timestamp,
        entries: &mut Vec<EntryKind>,
    ) {
        if !self.standing.contains_key(&condition) {
            return;
        }
        let there = next_attendance(now);
        let into = self.chance.between(INTO_SHIFT_H.0, INTO_SHIFT_H.1);
        let hours = (there - now).secs_f64() / 3600.0 + into;
        entries.push(shelve(&condition, hours, "can wait for the next shift"));
        self.aside.insert(condition);
    }
}

/// The first time from then on at which nobody is woken, in steps of five minutes.
fn awake(time: Timestamp) -> Timestamp {
    let mut then = time;
    let hour = |time: Timestamp| time.millis().rem_euclid(86_400_000) as f64 / 3_600_000.0;
    while !(AWAKE_H.0..AWAKE_H.1).contains(&hour(then)) {
        then = then + Span::from_mins(5);
    }
    then
}
