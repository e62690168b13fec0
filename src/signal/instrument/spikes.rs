//! The share of spikes among the readings of the last hour. A despiking filter
//! calls the first readings after a true step spikes too; they are none here.

use serde::{Deserialize, Serialize};

use super::moment::Moment;

/// The hour is counted in so many parts, and moves on by one of them.
const PARTS: usize = 6;
/// Length of a part, s.
const PART: u32 = 600;
/// The newest so many parts are of late: 20 to 30 min.
const OF_LATE: usize = 3;
/// Fewer readings in the hour have no share. Choice: one every five minutes.
const FEWEST: u32 = 12;

/// Of spikes in a row so many count: more of them are a step. Choice: bubbles
/// come singly.
const IN_A_ROW: u8 = 2;

/// Counts of one part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
struct Part {
    readings: u16,
    spikes: u16,
    /// Rows of spikes, one or more in each.
    #[serde(default)]
    rows: u16,
}

/// Readings and spikes of the last hour.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Spikes {
    /// The newest first.
    parts: [Part; PARTS],
    /// When the newest part ends.
    ends: Moment,
    since: Moment,
    /// Spikes in a row until now.
    in_a_row: u8,
}

impl Spikes {
    /// Counts one reading.
    #[inline]
    pub(super) fn count(&mut self, time: Moment, spike: bool) {
        if time >= self.ends {
            self.move_on(time);
        }
        let newest = &mut self.parts[0];
        if newest.readings == u16::MAX {
            // A hundred readings a second: halved, the share stays.
            newest.readings /= 2;
            newest.spikes /= 2;
            newest.rows /= 2;
        }
        self.in_a_row = if spike {
            self.in_a_row.saturating_add(1)
        } else {
            0
        };
        let counts = spike && self.in_a_row <= IN_A_ROW;
        newest.readings += 1;
        newest.spikes += u16::from(counts);
        newest.rows += u16::from(spike && self.in_a_row == 1);
    }

    /// So many of the readings counted before were spikes after all.
    #[inline]
    pub(super) fn add(&mut self, spikes: u8) {
        let newest = &mut self.parts[0];
        newest.spikes = newest.spikes.saturating_add(u16::from(spikes));
        newest.rows = newest.rows.saturating_add(u16::from(spikes > 0));
    }

    fn move_on(&mut self, time: Moment) {
        let ends = time.end_of_stretch(PART);
        let passed = ends.seconds_since(self.ends) / PART;
        let passed = usize::try_from(passed).unwrap_or(PARTS).min(PARTS);
        self.parts.rotate_right(passed % PARTS);
        self.parts[..passed].fill(Part::default());
        self.ends = ends;
    }

    /// Spikes among the last hour's readings, 0 to 1; none of too few.
    pub(super) fn share(&self) -> Option<f64> {
        let sum = |of: fn(&Part) -> u16| -> u32 {
            self.parts.iter().map(|part| u32::from(of(part))).sum()
        };
        let readings = sum(|part| part.readings);
        let spikes = f64::from(sum(|part| part.spikes));
        (readings >= FEWEST).then(|| (spikes / f64::from(readings)).min(1.0))
    }

    /// Whether more than this share of the newest readings are spikes, in more
    /// than one row: a step is one.
    pub(super) fn are_many_of_late(&self, share: f64) -> bool {
        let newest = &self.parts[..OF_LATE];
        let sum =
            |of: fn(&Part) -> u16| -> u32 { newest.iter().map(|part| u32::from(of(part))).sum() };
        let (readings, spikes) = (sum(|part| part.readings), sum(|part| part.spikes));
        sum(|part| part.rows) > 1 && f64::from(spikes) > share * f64::from(readings)
    }

    /// Judges the share against its limit; it is well again below half of it.
    pub(super) fn judge(&mut self, limit: f64, time: Moment) {
        let share = self.share().unwrap_or(0.0);
        if self.since == Moment::NEVER && share > limit {
            self.since = time;
        } else if share <= 0.5 * limit {
            self.since = Moment::NEVER;
        }
    }

    /// Since when there are too many.
    pub(super) fn since(&self) -> Option<Moment> {
        (self.since != Moment::NEVER).then_some(self.since)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Timestamp;

    fn at(minute: i64) -> Moment {
        Moment::of(Timestamp::from_millis(minute * 60_000))
    }

    #[test]
    fn the_share_is_that_of_the_last_hour() {
        let mut spikes = Spikes::default();
        for m in 0..60 {
            spikes.count(at(m), m % 4 == 0);
        }
        assert_eq!(spikes.share(), Some(0.25));
        for m in 60..120 {
            spikes.count(at(m), false);
        }
        assert_eq!(spikes.share(), Some(0.0));
    }

    #[test]
    fn a_pause_forgets_what_is_older_than_an_hour() {
        let mut spikes = Spikes::default();
        (0..30).for_each(|m| spikes.count(at(m), m % 2 == 0));
        assert_eq!(spikes.share(), Some(0.5));
        spikes.count(at(75), false);
        // The part from 20 to 30 is left, and the newest reading.
        assert_eq!(spikes.share(), None);
        (75..90).for_each(|m| spikes.count(at(m), false));
        assert_eq!(spikes.share(), Some(0.0));
    }

    #[test]
    fn a_step_is_no_row_of_spikes() {
        let mut spikes = Spikes::default();
        for m in 0..50 {
            spikes.count(at(m), (20..25).contains(&m));
        }
        assert_eq!(spikes.share(), Some(0.04));
    }

    #[test]
    fn a_fast_instrument_keeps_its_share() {
        let mut spikes = Spikes::default();
        for i in 0..200_000u32 {
            spikes.count(at(0), i % 10 == 0);
        }
        let share = spikes.share().unwrap();
        assert!((share - 0.1).abs() < 0.001, "{share}");
    }

    #[test]
    fn it_is_told_above_the_limit_and_well_below_half_of_it() {
        let mut spikes = Spikes::default();
        let mut told = Vec::new();
        for m in 0..240 {
            spikes.count(at(m), m < 120 && m % 3 == 0);
            spikes.judge(0.2, at(m));
            told.push(spikes.since());
        }
        assert!(told[..11].iter().all(Option::is_none), "too few");
        assert!(told[12..150].iter().all(|since| *since == Some(at(11))));
        assert!(told[200..].iter().all(Option::is_none));
    }
}
