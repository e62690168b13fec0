//! What runs through a meter that only ever counts up.

use serde::{Deserialize, Serialize};

use crate::units::{Flow, Span, Timestamp};

/// How a meter counts.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MeterSetup {
    /// Where it stands at zero again, L: one step beyond the largest number it
    /// can show. Without it the meter never comes round.
    pub rolls_over_at: Option<f64>,
    /// The most that can run through it. With it a slip of the count is told
    /// from a flow, and a meter that came round from one that was reset.
    pub max_flow: Option<Flow>,
}

/// Slack for a count whose time is off by about so much.
const SLACK: Span = Span::from_secs(1);

impl MeterSetup {
    /// Whether so many litres can have run in this time.
    fn can_run(&self, litres: f64, time: Span) -> bool {
        let seconds = time.secs_f64() + SLACK.secs_f64();
        let most = |flow: Flow| flow.litres_per_minute() / 60.0 * seconds;
        litres >= 0.0 && self.max_flow.is_none_or(|flow| litres <= most(flow))
    }

    /// What ran if the meter came round between the two, if it can have.
    /// Without a largest flow it must have come round within half its range.
    fn came_round(&self, from: Count, to: Count) -> Option<f64> {
        let range = self.rolls_over_at?;
        let litres = range - from.litres + to.litres;
        let can = match self.max_flow {
            Some(_) => self.can_run(litres, to.time - from.time),
            None => litres <= range / 2.0,
        };
        (can && to.litres < from.litres && from.litres <= range).then_some(litres)
    }
}

/// Where the meter stood, L, and when.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Count {
    time: Timestamp,
    litres: f64,
}

/// What a count told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Counted {
    /// Where the meter stands; nothing to compare it with.
    First,
    /// So many litres ran since the count before, perhaps none.
    Ran(f64),
    /// So many litres ran, and the meter came round to zero on the way.
    CameRound(f64),
    /// The meter began anew, by a reset or an exchange, and the count before
    /// this one told so: so many litres are sure to have run since. What ran
    /// before it began anew is unknown and not counted.
    BeganAnew(f64),
    /// It contradicts the count before: a slip, or the meter began anew. The
    /// next count will tell which.
    Held,
}

/// Follows one meter. Counts come in the order of their times.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Meter {
    last: Option<Count>,
    /// The newest count, while it contradicts the one before.
    held: Option<Count>,
    /// Everything that ran since the first count, L.
    total: f64,
}

impl Meter {
    /// Takes in the next count, L.
    pub fn step(&mut self, setup: &MeterSetup, time: Timestamp, litres: f64) -> Counted {
        let count = Count { time, litres };
        let held = self.held.take();
        let counted = match (self.last, held) {
            (None, _) => Counted::First,
            (Some(last), held) => self.compare(setup, last, held, count),
        };
        if counted == Counted::Held {
            self.held = Some(count);
            return counted;
        }
        if let Counted::Ran(litres) | Counted::CameRound(litres) | Counted::BeganAnew(litres) =
            counted
        {
            self.total += litres;
        }
        self.last = Some(count);
        counted
    }

    fn compare(
        &self,
        setup: &MeterSetup,
        last: Count,
        held: Option<Count>,
        count: Count,
    ) -> Counted {
        let since = |from: Count| count.litres - from.litres;
        if setup.can_run(since(last), count.time - last.time) {
            return Counted::Ran(since(last));
        }
        if let Some(litres) = setup.came_round(last, count) {
            return Counted::CameRound(litres);
        }
        match held {
            Some(held) if setup.can_run(since(held), count.time - held.time) => {
                Counted::BeganAnew(since(held))
            }
            _ => Counted::Held,
        }
    }

    /// Where the meter stands, L: the newest count that is not in question.
    pub fn stands_at(&self) -> Option<f64> {
        self.last.map(|count| count.litres)
    }

    /// Everything that is sure to have run since the first count, L.
    pub fn total(&self) -> f64 {
        self.total
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_millis(1_772_431_800_000) + Span::from_mins(minute)
    }

    fn follow(setup: &MeterSetup, counts: &[f64]) -> (Vec<Counted>, f64) {
        let mut meter = Meter::default();
        let told = (0i64..)
            .zip(counts)
            .map(|(minute, &count)| meter.step(setup, at(minute), count))
            .collect();
        (told, meter.total())
    }

    #[test]
    fn counts_what_runs() {
        let (told, total) = follow(&MeterSetup::default(), &[1000.0, 1004.0, 1004.0, 1010.0]);
        use Counted::{First, Ran};
        assert_eq!(told, [First, Ran(4.0), Ran(0.0), Ran(6.0)]);
        assert_eq!(total, 10.0);
    }

    #[test]
    fn comes_round() {
        let setup = MeterSetup {
            rolls_over_at: Some(65_536.0),
            max_flow: None,
        };
        let (told, total) = follow(&setup, &[65_530.0, 4.0, 9.0]);
        assert_eq!(told[1], Counted::CameRound(10.0));
        assert_eq!(total, 15.0);
    }

    #[test]
    fn a_reset_is_believed_once_the_next_count_follows_it() {
        let (told, total) = follow(&MeterSetup::default(), &[5000.0, 3.0, 7.0, 9.0]);
        assert_eq!(told[1..3], [Counted::Held, Counted::BeganAnew(4.0)]);
        assert_eq!(
            total, 6.0,
            "the 3 L of an unknown beginning are not counted"
        );
    }

    #[test]
    fn with_the_largest_flow_known_a_reset_is_not_taken_for_coming_round() {
        let setup = MeterSetup {
            rolls_over_at: Some(65_536.0),
            max_flow: Some(Flow::from_litres_per_minute(50.0)),
        };
        let (told, total) = follow(&setup, &[60_000.0, 0.0, 5.0]);
        assert_eq!(told[1..], [Counted::Held, Counted::BeganAnew(5.0)]);
        assert_eq!(total, 5.0);
    }

    #[test]
    fn a_slip_counts_nothing() {
        let setup = MeterSetup {
            rolls_over_at: None,
            max_flow: Some(Flow::from_litres_per_minute(50.0)),
        };
        for slip in [0.0, 9_999_999.0] {
            let (told, total) = follow(&setup, &[5000.0, slip, 5002.0]);
            assert_eq!(told[1..], [Counted::Held, Counted::Ran(2.0)], "{slip}");
            assert_eq!(total, 2.0);
        }
    }

    proptest! {
        /// Whatever runs, in whatever steps, and however often the meter comes
        /// round, the total is what ran.
        #[test]
        fn the_total_is_what_ran(
            start in 0u32..65_536,
            steps in prop::collection::vec(0u32..30_000, 1..60),
        ) {
            let setup = MeterSetup { rolls_over_at: Some(65_536.0), max_flow: None };
            let mut meter = Meter::default();
            let mut count = u64::from(start);
            meter.step(&setup, at(0), count as f64);
            for (minute, step) in (1i64..).zip(&steps) {
                count += u64::from(*step);
                meter.step(&setup, at(minute), (count % 65_536) as f64);
            }
            let ran: u64 = steps.iter().map(|step| u64::from(*step)).sum();
            prop_assert_eq!(meter.total(), ran as f64);
        }

        /// No counts make the total fall, or more than the largest flow allows.
        #[test]
        fn the_total_never_falls(counts in prop::collection::vec(0.0f64..1e6, 1..60)) {
            let flow = 100.0;
            let setup = MeterSetup {
                rolls_over_at: Some(1e6),
                max_flow: Some(Flow::from_litres_per_minute(flow)),
            };
            let mut meter = Meter::default();
            let mut before = 0.0;
            for (minute, count) in (0i64..).zip(counts) {
                meter.step(&setup, at(minute), count);
                prop_assert!(meter.total() >= before);
                before = meter.total();
                let most = flow * (minute as f64 + 2.0 * minute as f64 / 60.0);
                prop_assert!(before <= most + 1e-6, "{before} of {most}");
            }
        }
    }
}
