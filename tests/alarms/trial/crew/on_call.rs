//! Who is on call while nobody is in the plant: looks at the message, and sets
//! aside until the next shift what can wait for it.

use sumpward::engine::{AlarmLine, EntryKind, Priority};
use sumpward::simulate::year::{crew_is_there, next_attendance};
use sumpward::units::{Span, Timestamp};

use super::entries::shelve;
use super::{Crew, Job};

/// Minutes until a message is looked at (choice).
const LOOKS_MIN: (f64, f64) = (10.0, 240.0);
/// Nobody is woken: from and until then messages are looked at, h of the day.
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
            return;
        }
        let minutes = self.chance.between(LOOKS_MIN.0, LOOKS_MIN.1);
        let looks = awake(now + Span::from_millis((60_000.0 * minutes) as i64));
        if !crew_is_there(looks) && there - looks > Span::from_hours(LEFT_TO_SHIFT_H) {
            self.plan(looks, Job::SetAside(condition.to_owned()));
        }
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
