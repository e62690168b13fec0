//! How an instrument is, told from its readings in the words of NAMUR NE 107.
//!
//! Promises: fixed memory, less than 220 bytes a channel; a handful of
//! operations a reading, the heavier ones once a minute; each status keeps its
//! reason and since when. Refuses: to call a probe in a standing sump frozen,
//! or noisy before it has a past or a limit that says so.
//!
//! Source: NAMUR NE 107, the four status signals and their order, from public
//! pages on it. Which signs stand for which of them is our choice: a value that
//! cannot be true any more is a failure, one that is worse than the instrument's
//! usual is out of specification, one that still holds asks for maintenance.

mod drift;
mod excursion;
mod foam;
mod moment;
mod scatter;
mod spikes;
mod status;
mod stillness;
mod vote;

use serde::{Deserialize, Serialize};

use crate::units::{Measured, Span, Timestamp};

use super::hampel::Judged;
pub use drift::{Compared, Drift};
use excursion::Excursion;
use foam::Foam;
use moment::Moment;
use scatter::Scatter;
use spikes::Spikes;
pub use status::{InstrumentClass, InstrumentJudgement, InstrumentReason};
use stillness::Stillness;

/// What is heavier than a few operations is done so often, s. Choice: far below
/// the time in which an instrument ages, far above that between readings.
const PERIOD: u32 = 60;

/// Between readings further apart nothing is known of the time between, as it
/// is of a channel that is silent by default. Memory: an online reading is stale
/// after a quarter of an hour.
const LONGEST_GAP: Span = Span::from_mins(15);

/// A smoothed value that moved by more than so many of its standard
/// uncertainties did move. Choice: the usual two.
const MOVES: f64 = 2.0;

/// More spikes of late than this share of what is told make a value unsettled.
/// Choice: half.
const UNSETTLED: f64 = 0.5;

/// So many bad readings in a row, over so many seconds, are no slip. Choice.
const BAD: (u8, u32) = (3, 60);

/// Settings of an instrument's watch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InstrumentSetup {
    /// Without a change in the last digit for so long, while the fluid moves,
    /// it is frozen; never where there is none.
    pub frozen_after: Option<Span>,
    /// It is noisy if single readings scatter by more than this standard
    /// deviation; without one its own past is what it is held against.
    pub noise_limit: Option<f64>,
    /// Standard uncertainty of one smoothed reading, in the quantity's unit.
    pub uncertainty: f64,
    /// It is spiking if more than this share of the last hour's readings are
    /// spikes, 0 to 1.
    pub spike_share: f64,
    /// After it was cleaned or calibrated it settles for so long.
    pub function_check: Span,
    /// What it looks at.
    pub probe: Probe,
}

/// What a probe looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Probe {
    /// The fluid's surface: foam deceives it.
    Surface,
    /// Anything else.
    Other,
}

/// What the fluid does at an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fluid {
    /// The pumps run, or other channels of the sump move.
    Moves,
    /// It stands, or nobody knows: a constant value is right.
    Stands,
}

/// A reading that may be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Its time, not before that of the one before.
    pub time: Timestamp,
    /// The number that the instrument sent, where it is known.
    pub digits: Option<f64>,
    /// What the despiking filter made of its value.
    pub judged: Judged,
    /// The smoothed value after it.
    pub smoothed: f64,
    /// Whether the pumps are known to stand: a level is another one then.
    pub pumps_stand: bool,
}

/// Why a reading may not be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Bad {
    /// The instrument, its loop or its gateway says that it failed.
    Fault,
    /// The value is none that can be true.
    OutOfRange,
}

/// The memory of one instrument's watch.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct InstrumentWatch {
    /// Time of the newest reading that may be used, ms.
    last_ms: i64,
    stillness: Stillness,
    scatter: Scatter,
    spikes: Spikes,
    #[serde(default)]
    excursion: Excursion,
    foam: Foam,
    /// Why the newest reading is bad, and since when readings are.
    bad: Option<Bad>,
    bad_since: Moment,
    /// So many of them in a row.
    bad_in_a_row: u8,
    /// Since the period began a reading was bad.
    lost_one: bool,
    period_began: Moment,
    /// The smoothed value when it last moved, and when that was.
    anchor: Option<f32>,
    moved_at: Moment,
    /// When it was last cleaned or calibrated.
    touched_at: Moment,
    /// What hand readings say.
    drift: Option<Drift>,
    /// Since when it drifts as the mass balance forbids.
    forbidden_since: Moment,
    /// That drift, in the quantity's unit a day.
    forbidden: f32,
}

impl InstrumentWatch {
    /// Takes in a reading that may be used.
    #[inline]
    pub fn step(&mut self, setup: &InstrumentSetup, seen: Seen, fluid: Fluid) {
        self.works();
        let time = Moment::of(seen.time);
        let passed = seen.time - Timestamp::from_millis(self.last_ms);
        self.last_ms = seen.time.millis();
        self.stillness.step(time, passed, seen.digits, fluid);
        self.spikes
            .count(time, matches!(seen.judged, Judged::Spike(_)));
        if let Judged::Kept(value) = seen.judged {
            self.scatter.add(passed, value);
            let jump = self.scatter.jump(setup);
            self.spikes.add(self.excursion.step(value, jump));
        }
        if time.seconds_since(self.period_began) >= PERIOD {
            self.end_period(setup, time, &seen);
        }
    }

    /// Takes in a reading that may not be used.
    pub fn step_bad(&mut self, time: Timestamp, why: Bad) {
        if self.bad != Some(why) {
            self.bad = Some(why);
            self.bad_since = Moment::of(time);
            self.bad_in_a_row = 0;
        }
        self.bad_in_a_row = self.bad_in_a_row.saturating_add(1);
        self.lost_one = true;
    }

    /// The newest reading may be used; of instruments that only count or switch
    /// that is all there is to say.
    #[inline]
    pub fn works(&mut self) {
        self.bad = None;
    }

    /// Whether a reading of these digits leaves it standing still.
    #[inline]
    pub fn stays_at(&self, digits: f64) -> bool {
        self.stillness.is_at(digits)
    }

    fn end_period(&mut self, setup: &InstrumentSetup, time: Moment, seen: &Seen) {
        let smoothed = seen.smoothed;
        self.period_began = time;
        let rough = self.scatter.end_period(setup, time);
        let lost = std::mem::take(&mut self.lost_one);
        self.spikes.judge(setup.spike_share, time);
        let step = MOVES * setup.uncertainty;
        if setup.probe == Probe::Surface {
            let disturbed = if lost { Some(true) } else { rough };
            self.foam
                .judge(time, (smoothed, step), disturbed, seen.pumps_stand);
        }
        match self.anchor {
            Some(anchor) if (smoothed - f64::from(anchor)).abs() <= step => return,
            Some(_) => self.moved_at = time,
            None => {}
        }
        self.anchor = Some(smoothed as f32);
    }

    /// When the smoothed value last moved by more than its noise explains.
    pub fn moved_at(&self) -> Option<Timestamp> {
        self.moved_at.time()
    }

    /// When the probe was last cleaned or calibrated.
    pub fn touched_at(&self) -> Option<Timestamp> {
        self.touched_at.time()
    }

    /// Whether the value is not to be acted on yet: readings leave it and come
    /// back, or foam may be lifting it. Before long that is told of the
    /// instrument, or over.
    pub fn is_unsettled(&self, setup: &InstrumentSetup) -> bool {
        let some = UNSETTLED * setup.spike_share;
        self.excursion.is_out() || self.spikes.are_many_of_late(some) || self.foam.is_suspected()
    }

    /// The probe was cleaned or calibrated at `time`: what it showed before says
    /// nothing about what it shows now, and until it has settled it is not to be
    /// trusted. Of several such times the newest counts, whichever is told last.
    pub fn touched(&mut self, time: Timestamp) {
        let touched_at = self.touched_at.max(Moment::of(time));
        let stillness = self.stillness;
        self.start_afresh();
        self.touched_at = touched_at;
        // A digit that does not even change for that is as still as it was.
        self.stillness = stillness;
    }

    /// Forgets everything but the instrument's usual noise and what hand
    /// readings say.
    pub fn start_afresh(&mut self) {
        *self = InstrumentWatch {
            scatter: self.scatter.afresh(),
            drift: self.drift,
            ..InstrumentWatch::default()
        };
    }

    /// What hand readings say now.
    pub fn set_drift(&mut self, drift: Option<Drift>) {
        self.drift = drift;
    }

    /// How fast the value drifts, in the quantity's unit a day, as no addition
    /// and no loss explains; none where everything is explained. It counts where
    /// its 90 % interval excludes zero.
    pub fn forbidden_drift(&mut self, now: Timestamp, drift: Option<Measured>) {
        let certain = |drift: &Measured| {
            let (low, high) = drift.interval_90();
            drift.value.is_finite() && (low > 0.0 || high < 0.0)
        };
        match drift.filter(certain) {
            None => self.forbidden_since = Moment::NEVER,
            Some(drift) => {
                if self.forbidden_since == Moment::NEVER {
                    self.forbidden_since = Moment::of(now);
                }
                self.forbidden = drift.value as f32;
            }
        }
    }
}

#[cfg(test)]
mod tests;
