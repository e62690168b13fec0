//! Foam under a level probe: the level rises, and is rough or lost in between.
//! Memory: hold the volume and dose nothing while it is so.
//!
//! The level before it is remembered apart for pumps that run and that stand:
//! what drains back from the lines when they stop is more than foam lifts, and
//! foam that comes up as they start would not be seen against it.

use serde::{Deserialize, Serialize};

use super::moment::Moment;
use super::vote::Vote;

/// Foam is told once so large a share of the last periods is rough and the level
/// has risen. Choice: two signs need less of each than roughness alone.
const TOLD_FROM: f32 = 0.25;
/// It is suspected once this share is, one of the last ten or so. Choice.
const SUSPECTED_FROM: f32 = 0.05;
/// The level before the foam follows a calm one by this share a period. Choice:
/// foam comes up within the hour, and must not be followed on its way.
const FOLLOWS: f32 = 0.05;
/// Below this share of the rise it has gone down again. Choice: foam billows.
const DOWN: f64 = 0.25;

/// What is known of foam under a probe.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Foam {
    /// The smoothed value while it was last calm, with pumps that run or of which
    /// nothing is known, and with pumps that stand.
    rested: [Option<f32>; 2],
    stand: bool,
    vote: Vote,
    risen: bool,
    since: Moment,
}

impl Foam {
    /// Judges a period by its last smoothed value and by whether it was rough or
    /// readings were lost, none where nobody knows: foam is what lifts the value
    /// by `rise` over what it was while calm.
    pub(super) fn judge(
        &mut self,
        time: Moment,
        (smoothed, rise): (f64, f64),
        disturbed: Option<bool>,
        pumps_stand: bool,
    ) {
        self.stand = pumps_stand;
        if let Some(disturbed) = disturbed {
            self.vote.cast(time, disturbed);
        }
        let before = self.before();
        self.risen = before.is_some_and(|before| smoothed > before + rise);
        if self.vote.is_calm() {
            self.since = Moment::NEVER;
            self.follow(smoothed);
        } else if self.since != Moment::NEVER {
            if before.is_some_and(|before| smoothed < before + DOWN * rise) {
                self.since = Moment::NEVER;
            }
        } else if self.risen && self.vote.share() > TOLD_FROM {
            self.since = self.vote.began();
        }
    }

    fn follow(&mut self, smoothed: f64) {
        let rested = self.rested[usize::from(self.stand)].get_or_insert(smoothed as f32);
        *rested += FOLLOWS * (smoothed as f32 - *rested);
    }

    fn before(&self) -> Option<f64> {
        self.rested[usize::from(self.stand)].map(f64::from)
    }

    /// Since when there is foam.
    pub(super) fn since(&self) -> Option<Moment> {
        (self.since != Moment::NEVER).then_some(self.since)
    }

    /// Whether there may be some: the level has risen and does not rest.
    pub(super) fn is_suspected(&self) -> bool {
        self.risen && self.vote.share() > SUSPECTED_FROM
    }

    /// The value before the foam, while there is any.
    pub(super) fn held(&self) -> Option<f64> {
        self.since().and(self.before())
    }
}
