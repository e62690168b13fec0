//! How far single readings scatter, and how far they usually do.
//!
//! The standard deviation is taken from the mean difference d of successive
//! readings, which a slow change of the value leaves alone: for independent
//! normal errors E|d| = 2σ/√π (J. von Neumann's idea, from memory; the constant
//! worked out here). Against single steps it is robust by the vote of minutes.

use serde::{Deserialize, Serialize};

use crate::units::Span;

use super::moment::Moment;
use super::vote::Vote;
use super::{InstrumentSetup, LONGEST_GAP};

/// √π / 2.
const TO_SIGMA: f32 = 0.886_227;

/// Noise so many times the usual is far above it. Choice.
const FAR_ABOVE_USUAL: f32 = 4.0;
/// Noise below so many standard uncertainties of a smoothed reading is never
/// called so: smoothing leaves little of it. Choice.
const HARMLESS: f64 = 3.0;
/// A surface so many times as rough as usual, and by this share of the standard
/// uncertainty at least, does not rest. Choice: foam is told by its rise as well.
const ROUGH: f32 = 2.75;
/// See [`ROUGH`].
const LEAST_ROUGH: f64 = 0.5;

/// An instrument has a past after so many periods. Choice: an hour of minutes.
const PAST: u8 = 60;
/// The usual noise follows a rise within so many periods and a fall within
/// [`DOWN`]: a day against four weeks. Standing pumps make quiet nights and
/// holidays, which are not what is usual. Choice.
const UP: f32 = 1_440.0;
/// See [`UP`].
const DOWN: f32 = 40_320.0;

/// The scatter of an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Scatter {
    /// The last reading that is no spike.
    last: Option<f32>,
    /// Sum and count of differences in this period.
    sum: f32,
    count: u32,
    /// Standard deviation in the last period.
    sigma: f32,
    /// What is usual, and from how many periods that is known.
    usual: f32,
    periods: u8,
    vote: Vote,
}

impl Scatter {
    /// Takes in a reading that is no spike, so long after the last.
    #[inline]
    pub(super) fn add(&mut self, passed: Span, value: f64) {
        let value = value as f32;
        if let Some(last) = self.last
            && passed <= LONGEST_GAP
        {
            self.sum += (value - last).abs();
            self.count += 1;
        }
        self.last = Some(value);
    }

    /// Judges the readings since the last period ended; gives whether they were
    /// rough, where that is known.
    pub(super) fn end_period(&mut self, setup: &InstrumentSetup, time: Moment) -> Option<bool> {
        if self.count == 0 {
            return None;
        }
        self.sigma = TO_SIGMA * self.sum / self.count as f32;
        (self.sum, self.count) = (0.0, 0);
        self.vote.cast(time, self.sigma > self.limit(setup));
        let least = (LEAST_ROUGH * setup.uncertainty) as f32;
        let rough = self.sigma > (ROUGH * self.usual).max(least);
        let is_rough = (self.periods >= PAST).then_some(rough);
        self.learn();
        is_rough
    }

    /// What two readings that differ by more than this are is not the same value.
    #[inline]
    pub(super) fn jump(&self, setup: &InstrumentSetup) -> f32 {
        match setup.noise_limit {
            Some(limit) => FAR_ABOVE_USUAL * limit as f32,
            None => self.limit(setup),
        }
    }

    /// Above this a period is noisy.
    fn limit(&self, setup: &InstrumentSetup) -> f32 {
        match setup.noise_limit {
            Some(limit) => limit as f32,
            None if self.periods < PAST => f32::INFINITY,
            None => (FAR_ABOVE_USUAL * self.usual).max((HARMLESS * setup.uncertainty) as f32),
        }
    }

    /// A digit that does not change tells nothing of what is usual, and noise
    /// that is told of must not become it.
    fn learn(&mut self) {
        if self.sigma == 0.0 || !self.sigma.is_finite() || self.vote.since().is_some() {
            return;
        }
        let slowest = if self.sigma > self.usual { UP } else { DOWN };
        let weight = if self.periods < PAST {
            f32::from(self.periods + 1)
        } else {
            slowest
        };
        // What is rough is not usual, or only very slowly becomes so.
        let most = match self.periods {
            PAST.. => ROUGH * self.usual,
            _ => f32::INFINITY,
        };
        self.usual += (self.sigma.min(most) - self.usual) / weight;
        self.periods = (self.periods + 1).min(PAST);
    }

    /// Begins anew, knowing what is usual.
    pub(super) fn afresh(&self) -> Self {
        Scatter {
            usual: self.usual,
            periods: self.periods,
            ..Scatter::default()
        }
    }

    /// Whether it is noisy.
    pub(super) fn vote(&self) -> Vote {
        self.vote
    }

    /// Standard deviation of single readings in the last period, and the usual
    /// one where there is a past.
    pub(super) fn sigmas(&self) -> (f64, Option<f64>) {
        let usual = (self.periods >= PAST).then(|| f64::from(self.usual));
        (f64::from(self.sigma), usual)
    }
}
