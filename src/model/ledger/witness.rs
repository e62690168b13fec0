//! Whether the level could have shown what somebody wrote down: a probe that is
//! silent, or stands still to the last digit, is no witness.

use serde::{Deserialize, Serialize};

use crate::units::{Span, Timestamp};

/// Without a level for longer than this it was away. Choice: more than it is not
/// looked at after the pumps started or stopped.
const AWAY: Span = Span::from_mins(20);

/// Means of the same readings differ by no more than this share, however many they
/// are of.
const SAME: f64 = 1e-9;

/// What the level has shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Saw {
    /// All that there was to see.
    All,
    /// It has stood still, as what is stuck does.
    Still,
    /// It was away.
    Nothing,
}

/// When the level was seen.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::model) struct Witness {
    newest: Option<(Timestamp, f64)>,
    /// The first point since it was touched.
    since: Option<Timestamp>,
    /// The newest point that was other than the one before.
    moved: Option<Timestamp>,
    /// From the last point before the level was away until the first after.
    away: Option<(Timestamp, Timestamp)>,
}

impl Witness {
    /// The level of a point, L.
    pub(in crate::model) fn see(&mut self, time: Timestamp, litres: f64) {
        let before = self.newest.replace((time, litres));
        let same = |(_, other): (Timestamp, f64)| (other - litres).abs() <= SAME * litres.abs();
        if !before.is_some_and(same) {
            self.moved = Some(time);
        }
        self.since.get_or_insert(time);
        if let Some((last, _)) = before
            && time - last > AWAY
        {
            self.away = Some((last, time));
        }
    }

    /// What it has shown of what there was to see from a deed at `time` until `due`.
    pub(super) fn saw(&self, time: Timestamp, due: Timestamp) -> Saw {
        if self.since.is_none_or(|since| time < since) {
            return Saw::Nothing;
        }
        match (self.moved, self.newest) {
            (Some(moved), _) if moved >= due => Saw::All,
            (_, Some((newest, _))) if newest >= due => Saw::Still,
            _ => Saw::Nothing,
        }
    }

    /// Since when a step may have been that is seen from `since` to `until`: where
    /// the level was away before, since then.
    pub(in crate::model) fn may_have_begun(&self, since: Timestamp, until: Timestamp) -> Timestamp {
        let away = self.away.filter(|(_, back)| (since..=until).contains(back));
        away.map_or(since, |(gone, _)| gone.min(since))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(60_000 * minutes)
    }

    #[test]
    fn a_level_that_stands_still_is_no_witness() {
        let mut witness = Witness::default();
        assert_eq!(witness.saw(at(0), at(0)), Saw::Nothing);
        for (minutes, litres) in [(0, 500.0), (5, 500.5), (10, 500.5), (15, 500.5)] {
            witness.see(at(minutes), litres);
        }
        assert_eq!(witness.saw(at(0), at(5)), Saw::All);
        assert_eq!(witness.saw(at(5), at(15)), Saw::Still);
        witness.see(at(20), 500.4);
        assert_eq!(witness.saw(at(5), at(20)), Saw::All);
        assert_eq!(witness.saw(at(5), at(25)), Saw::Nothing);
        // Before it was seen it saw nothing.
        assert_eq!(witness.saw(at(-5), at(20)), Saw::Nothing);
    }

    #[test]
    fn means_of_the_same_readings_stand_still() {
        let mut witness = Witness::default();
        let mean = |count: usize| vec![0.4137; count].iter().sum::<f64>() / count as f64;
        for (minutes, count) in [(0, 29), (5, 30), (10, 31), (15, 4), (20, 6)] {
            witness.see(at(minutes), 1000.0 * mean(count));
        }
        assert_eq!(witness.saw(at(0), at(20)), Saw::Still);
    }

    #[test]
    fn what_moved_while_the_level_was_away_may_have_moved_since_then() {
        let mut witness = Witness::default();
        witness.see(at(0), 500.0);
        witness.see(at(15), 499.9);
        assert_eq!(witness.may_have_begun(at(15), at(20)), at(15));
        witness.see(at(400), 540.0);
        assert_eq!(witness.may_have_begun(at(400), at(410)), at(15));
        assert_eq!(witness.may_have_begun(at(500), at(510)), at(500));
    }
}
