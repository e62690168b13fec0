//! One channel of a sump: which of its readings count, and the smoothed value.

use serde::{Deserialize, Serialize};

use crate::signal::{Despike, Judged, Smoother};
use crate::units::Timestamp;

use super::event::Quality;
use super::setup::ChannelSetup;

/// The memory of one channel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct ChannelWatch {
    /// Time of the newest reading that counted.
    pub(super) last_time: Timestamp,
    /// Sump time when a usable reading last came, or when the watch began.
    pub(super) usable_at: Timestamp,
    despike: Despike,
    smoother: Smoother,
    /// Readings that the despiking filter replaced, ever.
    pub(super) spikes: u64,
}

impl ChannelWatch {
    /// A channel that never reported, watched from `start`.
    pub(super) fn new(start: Timestamp) -> Self {
        ChannelWatch {
            last_time: Timestamp::MIN,
            usable_at: start,
            despike: Despike::default(),
            smoother: Smoother::default(),
            spikes: 0,
        }
    }

    /// Takes in a reading in time order; returns its marks.
    #[inline]
    pub(super) fn step(&mut self, setup: &ChannelSetup, time: Timestamp, value: f64) -> Quality {
        self.last_time = time;
        let (lowest, highest) = setup.plausible;
        if !(lowest..=highest).contains(&value) {
            return Quality::OUT_OF_RANGE;
        }
        let judged = match &setup.despike {
            Some(despike) => self.despike.step(despike, time, value),
            None => Judged::Kept(value),
        };
        let (value, quality) = match judged {
            Judged::Kept(value) => (value, Quality::GOOD),
            Judged::Spike(median) => {
                self.spikes += 1;
                (median, Quality::SPIKE)
            }
        };
        self.smoother.step(setup.smooth, time, value);
        quality
    }

    /// The smoothed value, however old.
    pub(super) fn smoothed(&self) -> Option<f64> {
        self.smoother.value()
    }

    /// Whether no usable reading came for too long at `now`.
    pub(super) fn is_silent(&self, setup: &ChannelSetup, now: Timestamp) -> bool {
        now - self.usable_at >= setup.silent_after
    }

    /// The probe was touched: what it said before says nothing about what it
    /// says now.
    pub(super) fn start_anew(&mut self) {
        self.despike.clear();
        self.smoother.clear();
    }
}
