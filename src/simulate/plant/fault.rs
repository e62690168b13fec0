//! What goes wrong, and when.

use crate::units::{Span, Timestamp};

use super::instrument::Channel;

/// Something that goes wrong at a sump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fault {
    /// The concentrate side of the mixer has run dry and its float valve
    /// sticks: plain water runs in without pause, and as much mix runs out over
    /// the lip. The level stays full, the concentration falls.
    LeanDrift,
    /// A film grows on the refractometer's prism and lifts its reading.
    FoulingProbe,
    /// A channel sends nothing any more.
    SilentChannel(Channel),
    /// Air in the refractometer's cell: now and then a reading far too low.
    Bubbles,
}

/// One line of a timetable.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Planned {
    /// The sump.
    pub sump: &'static str,
    /// What goes wrong.
    pub fault: Fault,
    /// When it begins, from the start of the plant.
    pub from: Span,
    /// When it ends by itself; otherwise it stays until somebody mends it.
    pub until: Option<Span>,
}

/// The demo's faults during the first `length` of the plant's time, in the
/// order of their beginning. The first day has one of each kind; from then on
/// they return, each at an interval of its own. The sump without an automatic
/// top-up runs low without any fault.
pub fn timetable(length: Span) -> Vec<Planned> {
    let mut plan = vec![
        returning("mill-2", Fault::LeanDrift, 0, None, 72),
        returning("hobbing-1", Fault::FoulingProbe, 4, None, 60),
        returning("grinder-1", Fault::SilentChannel(Channel::Ph), 5, None, 96),
        returning("central-1", Fault::Bubbles, 2, Some(10), 48),
        returning("hobbing-1", Fault::LeanDrift, 36, None, 120),
        returning("mill-2", Fault::SilentChannel(Channel::Brix), 52, None, 168),
    ]
    .into_iter()
    .flat_map(|course| course.lines(length))
    .collect::<Vec<_>>();
    plan.sort_by_key(|planned| (planned.from, planned.sump, planned.fault));
    plan
}

/// A fault that comes again and again.
struct Course {
    sump: &'static str,
    fault: Fault,
    first: Span,
    lasts: Option<Span>,
    every: Span,
}

fn returning(
    sump: &'static str,
    fault: Fault,
    first_hour: i64,
    lasts_hours: Option<i64>,
    every_hours: i64,
) -> Course {
    Course {
        sump,
        fault,
        first: Span::from_hours(first_hour),
        lasts: lasts_hours.map(Span::from_hours),
        every: Span::from_hours(every_hours),
    }
}

impl Course {
    fn lines(self, length: Span) -> impl Iterator<Item = Planned> {
        (0..)
            .map(move |n| self.first.millis() + n * self.every.millis())
            .take_while(move |&from| from < length.millis())
            .map(move |from| Planned {
                sump: self.sump,
                fault: self.fault,
                from: Span::from_millis(from),
                until: self
                    .lasts
                    .map(|lasts| Span::from_millis(from + lasts.millis())),
            })
    }
}

/// The faults of one sump as they stand at a time.
#[derive(Debug, Clone)]
pub(super) struct Faults {
    plan: Vec<(Timestamp, Option<Timestamp>, Fault)>,
    present: Vec<(Timestamp, Option<Timestamp>, Fault)>,
}

impl Faults {
    pub(super) fn new(start: Timestamp, plan: &[Planned], sump: &str) -> Self {
        let mut plan: Vec<_> = plan
            .iter()
            .filter(|planned| planned.sump == sump)
            .map(|p| (start + p.from, p.until.map(|until| start + until), p.fault))
            .collect();
        plan.sort_by_key(|&(from, ..)| std::cmp::Reverse(from));
        Faults {
            plan,
            present: Vec::new(),
        }
    }

    /// Lets faults begin and end by the clock. One that is there already does
    /// not begin again.
    pub(super) fn advance(&mut self, now: Timestamp) {
        while let Some(next) = self.plan.pop_if(|&mut (from, ..)| from <= now) {
            if self.since(next.2).is_none() {
                self.present.push(next);
            }
        }
        self.present
            .retain(|&(_, until, _)| until.is_none_or(|until| now < until));
    }

    /// Since when a fault is there.
    pub(super) fn since(&self, fault: Fault) -> Option<Timestamp> {
        self.present
            .iter()
            .find(|&&(.., present)| present == fault)
            .map(|&(from, ..)| from)
    }

    /// Ends a fault; `false` if it was not there.
    pub(super) fn mend(&mut self, fault: Fault) -> bool {
        let before = self.present.len();
        self.present.retain(|&(.., present)| present != fault);
        self.present.len() < before
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_day_has_one_of_each_kind() {
        let first_day = timetable(Span::from_hours(24));
        let told: Vec<_> = first_day
            .iter()
            .map(|p| (p.from.millis() / 3_600_000, p.sump, p.fault))
            .collect();
        let expected = [
            (0, "mill-2", Fault::LeanDrift),
            (2, "central-1", Fault::Bubbles),
            (4, "hobbing-1", Fault::FoulingProbe),
            (5, "grinder-1", Fault::SilentChannel(Channel::Ph)),
        ];
        assert_eq!(told, expected);
    }

    #[test]
    fn a_longer_timetable_begins_like_a_shorter_one_and_never_falls_quiet() {
        let (short, long) = (
            timetable(Span::from_hours(100)),
            timetable(Span::from_hours(2000)),
        );
        assert_eq!(long[..short.len()], short[..]);
        let longest_pause = long
            .windows(2)
            .map(|pair| pair[1].from.millis() - pair[0].from.millis());
        assert!(longest_pause.max().unwrap() <= Span::from_hours(48).millis());
    }

    #[test]
    fn faults_begin_end_and_are_mended() {
        let start = Timestamp::from_millis(0);
        let plan = timetable(Span::from_hours(24));
        let mut central = Faults::new(start, &plan, "central-1");
        let at = |hours| start + Span::from_hours(hours);
        central.advance(at(1));
        assert_eq!(central.since(Fault::Bubbles), None);
        central.advance(at(3));
        assert_eq!(central.since(Fault::Bubbles), Some(at(2)));
        central.advance(at(12));
        assert_eq!(central.since(Fault::Bubbles), None);
        let mut mill = Faults::new(start, &plan, "mill-2");
        mill.advance(at(1));
        assert!(mill.mend(Fault::LeanDrift));
        assert!(!mill.mend(Fault::LeanDrift));
        mill.advance(at(2));
        assert_eq!(mill.since(Fault::LeanDrift), None);
    }
}
