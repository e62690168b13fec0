//! Foam under a level probe: the level rises, and is noisy or lost in between.
//! Memory: hold the volume and dose nothing while it is so.

use serde::{Deserialize, Serialize};

use super::moment::Moment;
use super::vote::Vote;

/// What is known of foam under a probe.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Foam {
    /// The smoothed value while it was last calm.
    calm: Option<f32>,
    since: Moment,
}

impl Foam {
    /// Judges a period by its last smoothed value and the votes on noise and
    /// loss: foam is what lifts the value by `rise` over what it was while calm.
    pub(super) fn judge(&mut self, smoothed: f64, rise: f64, votes: [Vote; 2]) {
        if votes.iter().all(Vote::is_calm) {
            self.calm = Some(smoothed as f32);
            self.since = Moment::NEVER;
            return;
        }
        let risen = self
            .calm
            .is_some_and(|calm| smoothed > f64::from(calm) + rise);
        let disturbed = votes.iter().filter_map(Vote::since).min();
        match disturbed {
            Some(since) if risen && self.since == Moment::NEVER => self.since = since,
            _ if !risen => self.since = Moment::NEVER,
            _ => {}
        }
    }

    /// Since when there is foam.
    pub(super) fn since(&self) -> Option<Moment> {
        (self.since != Moment::NEVER).then_some(self.since)
    }

    /// The value before the foam, while there is any.
    pub(super) fn held(&self) -> Option<f64> {
        self.since().and(self.calm).map(f64::from)
    }
}
