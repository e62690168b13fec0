//! One channel of a sump: which of its readings count, and what they tell.

use serde::{Deserialize, Serialize};

use crate::signal::{
    Bad, Counted, Despike, Fluid, InstrumentWatch, Judged, LoopWatch, Meter, Seen, Smoother,
};
use crate::units::Timestamp;

use super::event::Quality;
use super::setup::{ChannelKind, ChannelSetup};

/// So much of a reason is kept, in characters.
const LONGEST_REASON: usize = 200;

/// The memory of one channel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct ChannelWatch {
    /// Time of the newest reading that counted.
    pub(super) last_time: Timestamp,
    /// Sump time when a usable reading last came, or when the watch began.
    pub(super) usable_at: Timestamp,
    /// From when on it could be heard again, after nobody listened or its source was
    /// lost; until a usable reading comes what it said before may be over.
    #[serde(default, skip_serializing_if = "is_default")]
    listened_from: Option<Timestamp>,
    despike: Despike,
    smoother: Smoother,
    /// Readings that the despiking filter replaced, ever.
    pub(super) spikes: u64,
    /// What the current of its loop says of the instrument.
    #[serde(default, skip_serializing_if = "is_default")]
    pub(super) current_loop: LoopWatch,
    #[serde(default, skip_serializing_if = "is_default")]
    meter: Meter,
    #[serde(default, skip_serializing_if = "is_default")]
    switch: Option<Switched>,
    /// What stands in until the channel reports.
    #[serde(default, skip_serializing_if = "is_default")]
    pub(super) baseline: Option<f64>,
    /// Its source said that the instrument is gone.
    #[serde(default, skip_serializing_if = "is_default")]
    pub(super) gone: bool,
    /// Its source has been lost, with all its channels.
    #[serde(default, skip_serializing_if = "is_default")]
    pub(super) source_gone: bool,
    /// It was silent before that.
    #[serde(default, skip_serializing_if = "is_default")]
    pub(super) silent_before: bool,
    /// It has not been heard since its source was lost.
    #[serde(default, skip_serializing_if = "is_default")]
    pub(super) unheard_since: bool,
    /// Messages that could not be read since the last reading.
    #[serde(default, skip_serializing_if = "is_default")]
    pub(super) unreadable: Option<Unreadable>,
    /// How its instrument is.
    #[serde(default)]
    pub(super) instrument: InstrumentWatch,
    /// Marks of the newest reading.
    #[serde(default)]
    pub(super) last_quality: Quality,
    /// The newest reading as it was reported, and what it was taken for.
    #[serde(default)]
    newest: Option<(f64, f64)>,
    /// Good readings in a row.
    #[serde(default)]
    good_run: u8,
}

/// Whether it is as if nothing had happened: that need not be kept.
fn is_default<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}

/// What the instrument itself sent, where that is known, and what the fluid does
/// there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Standing {
    pub(super) digits: Option<f64>,
    pub(super) fluid: Fluid,
    /// The pumps are known to stand, where that matters.
    pub(super) pumps_stand: bool,
}

/// What a switch says, and since when.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Switched {
    pub(super) on: bool,
    pub(super) since: Timestamp,
}

/// Messages of a channel that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Unreadable {
    pub(super) count: u64,
    pub(super) since: Timestamp,
    pub(super) why: String,
}

impl ChannelWatch {
    /// A channel that never reported, watched from `start`.
    pub(super) fn new(start: Timestamp) -> Self {
        ChannelWatch {
            last_time: Timestamp::MIN,
            usable_at: start,
            listened_from: None,
            despike: Despike::default(),
            smoother: Smoother::default(),
            spikes: 0,
            current_loop: LoopWatch::default(),
            meter: Meter::default(),
            switch: None,
            baseline: None,
            gone: false,
            source_gone: false,
            silent_before: false,
            unheard_since: false,
            unreadable: None,
            instrument: InstrumentWatch::default(),
            last_quality: Quality::GOOD,
            newest: None,
            good_run: 0,
        }
    }

    /// What the newest reading was taken for, if this was reported: a second
    /// delivery is no other value because the temperature has changed since.
    pub(super) fn taken_for(&self, reported: f64) -> Option<f64> {
        let (newest, taken_for) = self.newest?;
        (newest == reported).then_some(taken_for)
    }

    /// What the newest reading was taken for, if it may be used.
    pub(super) fn newest(&self) -> Option<f64> {
        let (_, taken_for) = self.newest.filter(|_| self.last_quality.is_usable())?;
        Some(taken_for)
    }

    /// What the newest reading was taken for, also where it may not be used.
    pub(super) fn newest_of_any_quality(&self) -> Option<f64> {
        self.newest.map(|(_, taken_for)| taken_for)
    }

    /// Takes in a reading in time order, with the marks it has; returns all of
    /// its marks.
    #[inline]
    pub(super) fn step(
        &mut self,
        setup: &ChannelSetup,
        time: Timestamp,
        (reported, value): (f64, f64),
        marks: Quality,
        standing: Standing,
    ) -> Quality {
        self.last_time = time;
        self.newest = Some((reported, value));
        let marks = marks.with(self.judge(setup, time, value, marks, standing));
        self.note(marks);
        marks
    }

    #[inline]
    fn note(&mut self, marks: Quality) {
        self.last_quality = marks;
        if marks == Quality::GOOD {
            self.good_run = self.good_run.saturating_add(1);
        } else if !is_harmless(marks) {
            self.good_run = 0;
        }
    }

    /// Good readings in a row until now. What is harmless neither counts nor
    /// ends the row.
    pub(super) fn good_run(&self) -> u8 {
        self.good_run
    }

    /// Takes in a reading in time order that leaves the channel's value as it
    /// is; returns all of its marks. It is no sign of life either: the channel
    /// falls silent as if it had not come.
    pub(super) fn hold(
        &mut self,
        setup: &ChannelSetup,
        time: Timestamp,
        (reported, value): (f64, f64),
        marks: Quality,
    ) -> Quality {
        self.last_time = time;
        self.newest = Some((reported, value));
        self.note(marks.with(plausibility(setup, value)));
        self.last_quality
    }

    #[inline]
    fn judge(
        &mut self,
        setup: &ChannelSetup,
        time: Timestamp,
        value: f64,
        marks: Quality,
        standing: Standing,
    ) -> Quality {
        let plausibility = plausibility(setup, value);
        if !marks.is_usable() {
            self.instrument.step_bad(time, Bad::Fault);
            return plausibility;
        }
        if !plausibility.is_usable() {
            self.instrument.step_bad(time, Bad::OutOfRange);
            return plausibility;
        }
        self.gone = false;
        self.baseline = None;
        self.unreadable = None;
        match &setup.kind {
            ChannelKind::Gauge => self.smooth(setup, time, value, standing),
            ChannelKind::Meter { counts, .. } => {
                self.instrument.works();
                match self.meter.step(counts, time, value) {
                    Counted::Held => Quality::SPIKE,
                    _ => Quality::GOOD,
                }
            }
            ChannelKind::Switch { .. } => {
                self.instrument.works();
                self.switch_to(value >= 0.5, time);
                Quality::GOOD
            }
        }
    }

    #[inline]
    fn smooth(
        &mut self,
        setup: &ChannelSetup,
        time: Timestamp,
        value: f64,
        standing: Standing,
    ) -> Quality {
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
        let smoothed = self.smoother.step(setup.smooth, time, value);
        let seen = Seen {
            time,
            digits: standing.digits,
            judged,
            smoothed,
            pumps_stand: standing.pumps_stand,
        };
        self.instrument
            .step(&setup.instrument, seen, standing.fluid);
        quality
    }

    fn switch_to(&mut self, on: bool, time: Timestamp) {
        if self.switch.is_none_or(|switch| switch.on != on) {
            self.switch = Some(Switched { on, since: time });
        }
    }

    /// The value that counts, however old: smoothed, of a meter where it
    /// stands, of a switch 1 or 0.
    pub(super) fn value(&self, kind: &ChannelKind) -> Option<f64> {
        match kind {
            ChannelKind::Gauge => self.smoother.value(),
            ChannelKind::Meter { .. } => self.meter.stands_at(),
            ChannelKind::Switch { .. } => self.switch.map(|switch| f64::from(u8::from(switch.on))),
        }
    }

    /// Everything that ran through the meter since its first count, L.
    pub(super) fn metered(&self) -> f64 {
        self.meter.total()
    }

    /// What the switch says.
    pub(super) fn switched(&self) -> Option<Switched> {
        self.switch
    }

    /// So many messages could not be read; says whether they are the first
    /// since the last reading.
    pub(super) fn count_unreadable(&mut self, time: Timestamp, count: u32, why: &str) -> bool {
        let first = self.unreadable.is_none();
        let unreadable = self.unreadable.get_or_insert(Unreadable {
            count: 0,
            since: time,
            why: String::new(),
        });
        unreadable.count += u64::from(count);
        unreadable.why = why.chars().take(LONGEST_REASON).collect();
        first
    }

    /// Whether no usable reading came for too long at `now`, though somebody
    /// listened, or the instrument is said to be gone.
    pub(super) fn is_silent(&self, setup: &ChannelSetup, now: Timestamp) -> bool {
        self.gone || now - self.expected_from() >= setup.silent_after
    }

    /// When it is silent unless a usable reading comes.
    pub(super) fn silent_at(&self, setup: &ChannelSetup) -> Timestamp {
        self.expected_from() + setup.silent_after
    }

    fn expected_from(&self) -> Timestamp {
        let listened = self.listened_from.unwrap_or(self.usable_at);
        self.usable_at.max(listened)
    }

    /// Whether its newest usable reading is too old at `now` to say what is now,
    /// whoever listened, or the instrument is said to be gone.
    #[inline]
    pub(super) fn is_stale(&self, setup: &ChannelSetup, now: Timestamp) -> bool {
        self.gone || now - self.usable_at >= setup.silent_after
    }

    /// It can be heard from `time` on. One that was silent before stays so until a
    /// usable reading comes.
    pub(super) fn listen_from(&mut self, time: Timestamp) {
        self.listened_from = self.listened_from.max(Some(time));
    }

    /// A usable reading came at `now`.
    #[inline]
    pub(super) fn heard(&mut self, now: Timestamp) {
        self.usable_at = now;
        self.listened_from = None;
        self.unheard_since = false;
    }

    /// Whether it is not heard for the loss of its source: that is gone, or was until
    /// just now.
    pub(super) fn is_blinded(&self, setup: &ChannelSetup, now: Timestamp) -> bool {
        let returns = self.unheard_since && self.is_awaited() && !self.is_silent(setup, now);
        self.source_gone || returns
    }

    /// Whether it has yet to be heard since it can be.
    #[inline]
    pub(super) fn is_awaited(&self) -> bool {
        self.listened_from.is_some()
    }

    /// The clock had run ahead, and stands at `start` again.
    pub(super) fn pull_back(&mut self, start: Timestamp) {
        self.last_time = self.last_time.min(start);
        self.usable_at = self.usable_at.min(start);
        self.listened_from = self.listened_from.map(|from| from.min(start));
        self.start_anew();
    }

    /// What the channel said before says nothing about what it says now.
    pub(super) fn start_anew(&mut self) {
        self.forget_values();
        self.instrument.start_afresh();
    }

    /// The probe was cleaned or calibrated at `time`.
    pub(super) fn touched(&mut self, time: Timestamp) {
        self.forget_values();
        self.instrument.touched(time);
    }

    fn forget_values(&mut self) {
        self.despike.clear();
        self.smoother.clear();
        self.good_run = 0;
    }
}

/// Whether marks say nothing against the channel's value: a spike was replaced
/// by what its neighbours say, and a second delivery says nothing new.
pub(super) fn is_harmless(marks: Quality) -> bool {
    Quality::SPIKE.with(Quality::REPEATED).has(marks)
}

/// The mark of a value outside what the quantity can be.
#[inline]
fn plausibility(setup: &ChannelSetup, value: f64) -> Quality {
    let (lowest, highest) = setup.plausible;
    match (lowest..=highest).contains(&value) {
        true => Quality::GOOD,
        false => Quality::OUT_OF_RANGE,
    }
}
