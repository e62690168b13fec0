//! Whether more reaches a receiver than a person can follow. Pure.
//!
//! A flood begins with the annunciation that makes it more than ten within ten
//! minutes, and ends when the last ten minutes held fewer than five (ISA-18.2,
//! IEC 62682; memory).

use std::collections::VecDeque;

use crate::alarm::Priority;
use crate::units::{Span, Timestamp};

use super::item::Item;

/// What is counted together.
pub(super) const TEN_MINUTES: Span = Span::from_mins(10);
/// It begins with more than so many.
pub(in crate::notify) const MANY: usize = 10;
/// It is over with fewer than so many.
const FEW: usize = 5;

/// The flow of alarms to one receiver.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Course {
    /// The newest annunciations, one more than [`MANY`] at most, in order.
    newest: VecDeque<Item>,
    /// The flood, while there is one.
    flood: Option<Flood>,
}

/// A flood as it goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Flood {
    /// When it began.
    pub(super) since: Timestamp,
    /// The last summary; none before the first.
    pub(super) told: Option<Timestamp>,
}

/// How a step reaches the receiver.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Flow {
    /// By a message of its own.
    Single,
    /// In the next summary.
    Held,
    /// In the first summary of a flood that begins with it, after these, which
    /// had messages of their own.
    Begins(Vec<Item>),
}

/// What is to be told of a flood now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Due {
    /// That it has begun.
    Begin,
    /// What has changed since.
    GoesOn,
    /// That it is over.
    End,
}

impl Course {
    /// As it was before a restart: these annunciations came last, and a flood
    /// goes on that was last summed up then.
    pub(super) fn take_up(newest: impl Iterator<Item = Item>, flood: Option<Flood>) -> Self {
        let mut course = Course {
            flood,
            ..Course::default()
        };
        newest.for_each(|item| course.count(item));
        course
    }

    /// The flood, while there is one.
    pub(super) fn flood(&self) -> Option<Flood> {
        self.flood
    }

    /// A step that the receiver is to hear of; with `at_once` by a message of
    /// its own whatever happens.
    pub(super) fn take(&mut self, item: &Item, at_once: bool) -> Flow {
        if item.is_new() {
            self.count(Item {
                told: true,
                ..item.clone()
            });
        }
        let begins = item.is_new() && self.flood.is_none() && self.within(item.time) > MANY;
        if begins {
            self.flood = Some(Flood {
                since: item.time,
                told: None,
            });
        }
        match (begins, self.flood) {
            (true, _) => {
                // One of high priority begins it too, and has its own message.
                let is_own = |other: &&Item| other.alarm == item.alarm && other.time == item.time;
                let before = self.newest.iter();
                let before = before.filter(|other| at_once || !is_own(other));
                Flow::Begins(before.cloned().collect())
            }
            (false, Some(_)) if !at_once => Flow::Held,
            _ => Flow::Single,
        }
    }

    /// An annunciation that waited has a message of its own at its `time`.
    pub(super) fn handle_told_singly(&mut self, item: Item) {
        self.count(item);
    }

    /// Whether one more of high priority is followed by itself: there were no more
    /// of them within ten minutes than a person can follow.
    pub(super) fn takes_one_more(&self, now: Timestamp) -> bool {
        let high = |item: &&Item| item.priority == Priority::High && now - item.time < TEN_MINUTES;
        self.newest.iter().filter(high).count() < MANY
    }

    fn count(&mut self, item: Item) {
        let at = self.newest.partition_point(|other| other.time <= item.time);
        self.newest.insert(at, item);
        if self.newest.len() > MANY + 1 {
            self.newest.pop_front();
        }
    }

    /// Annunciations in the ten minutes up to `now`, as far as they are kept.
    fn within(&self, now: Timestamp) -> usize {
        let in_time = |item: &&Item| now - item.time < TEN_MINUTES;
        self.newest.iter().filter(in_time).count()
    }

    /// What is to be told at `now`, where `waits` says whether something has
    /// been held back.
    pub(super) fn due(&self, now: Timestamp, waits: bool) -> Option<Due> {
        let flood = self.flood?;
        let Some(told) = flood.told else {
            return Some(Due::Begin);
        };
        if self.within(now) < FEW {
            return Some(Due::End);
        }
        (waits && now - told >= TEN_MINUTES).then_some(Due::GoesOn)
    }

    /// That was told at `now`.
    pub(super) fn handle_told(&mut self, due: Due, now: Timestamp) {
        self.flood = match due {
            Due::End => None,
            Due::Begin | Due::GoesOn => self.flood.map(|flood| Flood {
                told: Some(now),
                ..flood
            }),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::AlarmState;
    use proptest::prelude::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(1_772_457_900_000 + seconds * 1000)
    }

    fn step(seconds: i64, is_new: bool) -> Item {
        Item {
            alarm: format!("s/ph.low/{seconds}"),
            title: "S".to_owned(),
            condition: "ph.low".to_owned(),
            own_title: None,
            priority: Priority::Medium,
            transition: if is_new { "raised" } else { "returned" }.to_owned(),
            state: AlarmState::Unacknowledged,
            is_new,
            time: at(seconds),
            told: false,
        }
    }

    #[test]
    fn the_eleventh_within_ten_minutes_begins_it_and_fewer_than_five_end_it() {
        let mut course = Course::default();
        for n in 0..10 {
            assert_eq!(course.take(&step(n * 50, true), false), Flow::Single);
            // What ends counts for nothing.
            assert_eq!(course.take(&step(n * 50, false), false), Flow::Single);
        }
        assert_eq!(course.due(at(450), false), None);
        let Flow::Begins(before) = course.take(&step(500, true), false) else {
            panic!("it is the eleventh");
        };
        assert_eq!(before.len(), 10);
        assert!(before.iter().all(|item| item.told));
        assert_eq!(course.due(at(500), true), Some(Due::Begin));
        course.handle_told(Due::Begin, at(500));
        assert_eq!(course.take(&step(510, true), false), Flow::Held);
        assert_eq!(course.take(&step(511, false), false), Flow::Held);
        // High ones never wait.
        assert_eq!(course.take(&step(512, true), true), Flow::Single);
        assert_eq!(course.due(at(999), true), None, "five are left");
        // 450, 500, 510 and 512 are left of the last ten minutes.
        assert_eq!(course.due(at(1000), true), Some(Due::End));
        course.handle_told(Due::End, at(1000));
        assert_eq!(course.take(&step(1001, true), false), Flow::Single);
    }

    #[test]
    fn ten_of_high_priority_come_singly_and_more_are_a_flood_too() {
        let mut course = Course::default();
        let high = |seconds: i64| Item {
            priority: Priority::High,
            ..step(seconds, true)
        };
        for n in 0..10 {
            assert!(course.takes_one_more(at(n)), "{n}");
            assert_eq!(course.take(&high(n), true), Flow::Single);
        }
        assert!(!course.takes_one_more(at(10)));
        assert!(matches!(course.take(&high(10), false), Flow::Begins(_)));
        assert!(!course.takes_one_more(at(500)));
        assert!(course.takes_one_more(at(601)), "the first two are past");
    }

    #[test]
    fn ten_minutes_lie_between_summaries_while_it_goes_on() {
        let mut course = Course::default();
        for n in 0..11 {
            course.take(&step(n, true), false);
        }
        course.handle_told(Due::Begin, at(11));
        for n in 12..1000 {
            course.take(&step(n, true), false);
            let due = course.due(at(n), true);
            assert_eq!(due, (n == 611).then_some(Due::GoesOn), "{n}");
            if let Some(due) = due {
                course.handle_told(due, at(n));
            }
        }
        assert_eq!(course.due(at(1300), false), None, "nothing has changed");
    }

    #[test]
    fn a_course_is_taken_up_where_it_was() {
        let mut course = Course::default();
        for n in 0..15 {
            course.take(&step(n, true), false);
        }
        course.handle_told(Due::Begin, at(15));
        let kept = course.newest.clone();
        let again = Course::take_up(kept.into_iter(), course.flood());
        assert_eq!(again, course);
    }

    proptest! {
        /// Whatever comes when: each step is told singly or held, a flood holds
        /// everything but what is told at once, and nothing is held outside.
        #[test]
        fn nothing_is_lost_and_nothing_comes_twice(
            steps in prop::collection::vec((0i64..200, any::<bool>(), prop::bool::weighted(0.1)), 1..200),
        ) {
            let mut course = Course::default();
            let mut now = 0;
            let (mut held, mut single, mut summed) = (0, 0, 0);
            for (pause, is_new, at_once) in &steps {
                now += pause;
                if let Some(due) = course.due(at(now), held > 0) {
                    summed += std::mem::take(&mut held);
                    course.handle_told(due, at(now));
                }
                match course.take(&step(now, *is_new), *at_once) {
                    Flow::Single => single += 1,
                    Flow::Begins(_) if *at_once => single += 1,
                    Flow::Held | Flow::Begins(_) => {
                        prop_assert!(course.flood().is_some());
                        held += 1;
                    }
                }
            }
            prop_assert_eq!(single + summed + held, steps.len());
            prop_assert!(held == 0 || course.flood().is_some());
            // It ends by itself.
            if course.flood().is_some() {
                let late = at(now + 601);
                if course.due(late, true) == Some(Due::Begin) {
                    course.handle_told(Due::Begin, late);
                }
                prop_assert_eq!(course.due(late, true), Some(Due::End));
            }
        }
    }
}
