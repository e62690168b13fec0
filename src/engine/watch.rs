//! The watch over one sump.

use std::sync::Arc;

use crate::model::BalanceSetup;
use crate::signal::{LoopJudgement, LoopWatch};
use crate::units::{Quantity, Span, Timestamp};

use super::alarm_list::AlarmList;
use super::balance_watch::{BalanceWatch, Tells, balance_setup, tells};
use super::channel::ChannelWatch;
use super::check_plan::Interval;
use super::chemistry_memory::ChemistryWatch;
use super::conductivity_witness::ConductivityWitness;
use super::control_charts::ControlCharts;
use super::courses::Courses;
use super::current_loop::mark;
use super::dosing::Dosing;
use super::entry::Entry;
use super::event::{Effect, Event, Quality, Reading, Sample, SeriesIx, Trouble, TroubleKind};
use super::input::When;
use super::journal::{JournalBody, JournalRecord};
use super::ph_trend::PhTrend;
use super::rates::Rates;
use super::remembered::Remembered;
use super::setup::{AdmissionSetup, ChannelKind, SumpSetup};
use super::start_up::StartUp;
use super::upkeep::Upkeep;

/// Timers fire on this grid, counted from 1970.
pub const GRID: Span = Span::from_secs(1);

/// Estimates are kept and the state is shown at most this often, and at each
/// alarm.
const ESTIMATE_EVERY: Span = Span::from_secs(60);

/// Steps of a percent of concentration, and of a litre, in which estimates are kept.
/// Choice: a step is a fiftieth or less of what the best instruments know (0.05 points
/// of concentration, 0.5 L of a tank of 50 L), and numbers of few digits take a fraction of
/// the room of all digits that a calculation gives.
const STEPS_OF_CONCENTRATION: f64 = 1_000.0;
const STEPS_OF_VOLUME: f64 = 100.0;

/// Rules are judged this often. Choice: what they look at changes over hours.
const JUDGED_EVERY: Span = Span::from_mins(5);

/// The watch over one sump. See the front of this room for what it promises.
#[derive(Debug, Clone)]
pub struct SumpWatch {
    pub(super) setup: Arc<SumpSetup>,
    pub(super) admission: AdmissionSetup,
    /// Newest time of any event; never goes back.
    pub(super) now: Timestamp,
    pub(super) channels: Vec<ChannelWatch>,
    pub(super) alarms: AlarmList,
    /// When rules are judged next.
    pub(super) judge_at: Timestamp,
    pub(super) upkeep: Upkeep,
    /// When the present intervals of the check plan end, as long as they are the
    /// present ones.
    pub(super) due_dates: Vec<(Interval, Timestamp)>,
    /// What of it the plant's alarm about a start tells.
    pub(super) start_up: StartUp,
    /// When it was emptied, until it is filled anew.
    pub(super) emptied: Option<Timestamp>,
    /// When it was last filled anew.
    pub(super) refilled: Option<Timestamp>,
    pub(super) dosing: Dosing,
    /// Minerals, souring, and the refractometer against other methods.
    pub(super) chemistry: ChemistryWatch,
    pub(super) balance: BalanceWatch,
    pub(super) ph_trend: PhTrend,
    pub(super) courses: Courses,
    pub(super) rates: Rates,
    pub(super) charts: ControlCharts,
    /// Whether the conductivity follows the refractometer.
    pub(super) conductivity_witness: ConductivityWitness,
    pub(super) balance_setup: BalanceSetup,
    /// What each channel tells the balance.
    pub(super) tells: Vec<Tells>,
    /// The newest entries, so that none counts twice and each can be corrected.
    pub(super) remembered: Remembered,
    /// Since when the pumps run or stand, by the newest of them that says so.
    pub(super) pumps_said: Option<(Timestamp, bool)>,
    /// Lines that this sump wrote to the journal so far.
    pub(super) seq: u64,
    /// When the estimates were last kept.
    pub(super) estimated_at: Timestamp,
    /// No timer ends before this.
    next_due: Timestamp,
    /// Limits to look at after a reading of each channel.
    pub(super) limits_of: Vec<Box<[u16]>>,
}

impl SumpWatch {
    /// A watch that begins at `start`: every channel is expected to report
    /// from then on.
    pub fn new(setup: Arc<SumpSetup>, admission: AdmissionSetup, start: Timestamp) -> Self {
        let limits_of = setup
            .channels
            .iter()
            .map(|channel| limits_touched(&setup, channel.quantity))
            .collect();
        let mut watch = SumpWatch {
            admission,
            now: start,
            channels: vec![ChannelWatch::new(start); setup.channels.len()],
            alarms: AlarmList::new(&setup),
            judge_at: judging_after(start),
            upkeep: Upkeep::default(),
            due_dates: Vec::new(),
            start_up: StartUp::default(),
            emptied: None,
            refilled: None,
            dosing: Dosing::default(),
            chemistry: ChemistryWatch::default(),
            balance: BalanceWatch::new(&setup),
            ph_trend: PhTrend::default(),
            courses: Courses::default(),
            rates: Rates::default(),
            charts: ControlCharts::default(),
            conductivity_witness: ConductivityWitness::default(),
            balance_setup: balance_setup(&setup),
            tells: tells(&setup),
            remembered: Remembered::default(),
            pumps_said: None,
            seq: 0,
            estimated_at: Timestamp::MIN,
            next_due: Timestamp::MAX,
            limits_of,
            setup,
        };
        watch.look_at_chart();
        watch.find_next_due();
        watch
    }

    /// The settings of the sump.
    pub fn setup(&self) -> &Arc<SumpSetup> {
        &self.setup
    }

    /// Newest time of any event.
    pub fn now(&self) -> Timestamp {
        self.now
    }

    /// Before this no tick changes anything.
    pub fn next_due(&self) -> Timestamp {
        self.next_due
    }

    /// Lets one event happen.
    #[inline]
    pub fn step(&mut self, event: &Event, out: &mut Vec<Effect>) {
        match event {
            Event::Reading(reading) => self.step_reading(reading, out),
            Event::Entry(entry, _) | Event::PastEntry(entry, _)
                if self.remembered.passes_over(entry) => {}
            Event::Entry(entry, arrival) => {
                let time = if self.is_ahead(entry, *arrival) {
                    *arrival
                } else {
                    entry.time
                };
                self.advance(time, out);
                self.step_entry(entry, time, out);
            }
            Event::Baseline { channel, value } => self.step_baseline(*channel, *value, out),
            Event::Trouble(trouble) => self.step_trouble(trouble, out),
            Event::PastEntry(entry, _) => self.step_past_entry(entry, out),
            Event::Tick(time) => self.advance(*time, out),
        }
    }

    /// Whether an entry's time is so far ahead of its arrival that it is taken as
    /// of then.
    pub fn is_ahead(&self, entry: &Entry, arrival: Timestamp) -> bool {
        entry.time > arrival + self.admission.future_skew
    }

    #[inline]
    fn step_reading(&mut self, reading: &Reading, out: &mut Vec<Effect>) {
        let ix = usize::from(reading.channel);
        let reported = reading.value;
        let (time, quality) = self.admit(reading);
        let last = self.channels[ix].last_time;
        let before = quality.has(Quality::LATE) || time < self.now - self.admission.late_after;
        let late = before || time < last;
        if !late && time != last {
            // First what was due: a thermometer may fall silent on the way.
            self.advance(time, out);
        }
        let when = if before { When::Before } else { When::Now };
        let (reading, of_loop) = self.off_the_loop(*reading, time, late || time == last);
        let (value, found) = self.settle(&reading, when);
        let quality = quality.with(found).with(mark(of_loop));
        let record = |watch: &Self, value: f64, quality: Quality, out: &mut Vec<Effect>| {
            let sample = Sample {
                series: watch.setup.channels[ix].series,
                time,
                value,
                quality,
                delay: reading.arrival - time,
            };
            out.push(Effect::Record(sample));
        };
        if late {
            record(self, value, quality.with(Quality::LATE), out);
            return;
        }
        if time == last {
            // Delivered before: the store keeps the first and counts this one.
            let value = self.channels[ix].taken_for(reported).unwrap_or(value);
            record(self, value, quality, out);
            return;
        }
        if of_loop == LoopJudgement::Held {
            // Seen and kept; the last measured value goes on standing for now.
            let quality =
                self.channels[ix].hold(&self.setup.channels[ix], time, (reported, value), quality);
            record(self, value, quality, out);
            return;
        }
        let switched = self.channels[ix].switched();
        let standing = self.standing(ix, reported, reading.form);
        let setup = &self.setup.channels[ix];
        let quality = self.channels[ix].step(setup, time, (reported, value), quality, standing);
        record(self, value, quality, out);
        self.weigh(ix, (time, value), quality, out);
        if !quality.is_usable() {
            return;
        }
        self.channels[ix].heard(self.now);
        if self.channels[ix].switched() != switched {
            self.show(out);
        }
        self.heard(ix, out);
        self.watch_limits(ix, out);
        if self.dosing.owed {
            self.advise_again(out);
        }
        if self.now - self.estimated_at >= ESTIMATE_EVERY {
            self.keep_estimates(out);
        }
        self.judge_rules(out);
    }

    /// The time that a reading stands at, and what that says about it.
    #[inline]
    fn admit(&self, reading: &Reading) -> (Timestamp, Quality) {
        let quality = match reading.claimed {
            Some(time) if self.admission.believes(time, reading.arrival) => {
                return (time, reading.quality);
            }
            Some(_) => reading.quality.with(Quality::CLOCK),
            None => reading.quality,
        };
        if quality.has(Quality::LATE) {
            // Behind the newest, whose next moment is another reading's.
            return (reading.arrival, quality);
        }
        // Several may arrive in one millisecond; each is kept.
        let last = self.channels[usize::from(reading.channel)].last_time;
        (reading.arrival.max(last + Span::from_millis(1)), quality)
    }

    /// What a broker had retained says nothing about now, and only stands in
    /// where nothing else is known.
    fn step_baseline(&mut self, channel: u16, reported: f64, out: &mut Vec<Effect>) {
        let ix = usize::from(channel);
        let mut watch = LoopWatch::default();
        let (reported, of_loop) = self.current_stands_for(ix, reported, self.now, &mut watch);
        let (value, quality) = self.calibrate(ix, reported, When::Now);
        let quality = quality.with(mark(of_loop));
        let (lowest, highest) = self.setup.channels[ix].plausible;
        let never_heard = self.channels[ix].last_time == Timestamp::MIN;
        if never_heard && quality.is_usable() && (lowest..=highest).contains(&value) {
            self.channels[ix].baseline = Some(value);
            self.show(out);
        }
    }

    fn step_trouble(&mut self, trouble: &Trouble, out: &mut Vec<Effect>) {
        let ix = usize::from(trouble.channel);
        match &trouble.kind {
            // Whatever its clock says: it comes behind all that was reported.
            TroubleKind::Gone => {
                self.channels[ix].gone = true;
                self.watch_silence(ix, out);
                self.show(out);
            }
            TroubleKind::SourceGone(gone) => self.step_source(ix, (*gone, trouble.time), out),
            TroubleKind::Unreadable { count, why } => {
                let first = self.channels[ix].count_unreadable(trouble.time, *count, why);
                if first {
                    self.show(out);
                }
            }
        }
    }

    /// Moves the sump's time forward, letting each timer end at its own point
    /// of the grid on the way.
    #[inline]
    pub(super) fn advance(&mut self, time: Timestamp, out: &mut Vec<Effect>) {
        while self.next_due <= time {
            self.now = self.now.max(self.next_due);
            self.end_timers(out);
            self.find_next_due();
        }
        self.now = self.now.max(time);
    }

    fn end_timers(&mut self, out: &mut Vec<Effect>) {
        for channel in 0..self.channels.len() {
            self.watch_silence(channel, out);
        }
        self.end_alarm_timers(out);
        self.end_mixing(out);
        self.judge_rules(out);
    }

    /// A timer may end at `due`.
    pub(super) fn expect(&mut self, due: Timestamp) {
        self.next_due = self.next_due.min(due.ceil(GRID));
    }

    /// The first point of the grid after now at which a timer ends.
    pub(super) fn find_next_due(&mut self) {
        let channels = self.channels.iter().zip(&self.setup.channels).enumerate();
        let silences = channels
            .filter(|(ix, _)| self.alarms.waits_for_silence(*ix))
            .map(|(_, (watch, setup))| watch.silent_at(setup));
        let alarms = self.alarms.each();
        let alarms = alarms.filter_map(|(alarm, _, life)| life.due(self.alarms.manner(alarm)));
        let due = silences
            .chain(alarms)
            .chain(self.dosing.mixing_until)
            .fold(self.judge_at, Timestamp::min);
        self.next_due = due.ceil(GRID);
    }

    fn keep_estimates(&mut self, out: &mut Vec<Effect>) {
        self.estimated_at = self.now;
        self.watch_chemistry();
        let estimates = [
            (
                self.setup.concentration_series,
                Quantity::Concentration,
                STEPS_OF_CONCENTRATION,
            ),
            (self.setup.volume_series, Quantity::Volume, STEPS_OF_VOLUME),
        ];
        for (series, signal, steps) in estimates {
            if let Some(value) = self.signal(signal) {
                let value = in_steps(value, steps);
                self.record_estimate(series, value, self.marks_of(signal), out);
            }
        }
        for ix in 0..self.channels.len() {
            if let ChannelKind::Meter { total_series, .. } = self.setup.channels[ix].kind {
                let total = in_steps(self.channels[ix].metered(), STEPS_OF_VOLUME);
                self.record_estimate(total_series, total, Quality::GOOD, out);
            }
        }
        self.show(out);
    }

    fn record_estimate(
        &self,
        series: SeriesIx,
        value: f64,
        quality: Quality,
        out: &mut Vec<Effect>,
    ) {
        out.push(Effect::Record(Sample {
            series,
            time: self.now,
            value,
            quality,
            delay: Span::ZERO,
        }));
    }

    /// Shows the sump's present state.
    pub(super) fn show(&self, out: &mut Vec<Effect>) {
        out.push(Effect::Show(Box::new(self.status())));
    }

    /// Adds a line to the journal.
    pub(super) fn journal(&mut self, body: JournalBody, out: &mut Vec<Effect>) {
        self.seq += 1;
        out.push(Effect::Journal(Box::new(JournalRecord {
            time: self.now,
            sump: Arc::clone(&self.setup.name),
            seq: self.seq,
            body,
        })));
    }
}

/// The next of so many steps of a unit.
fn in_steps(value: f64, steps: f64) -> f64 {
    (value * steps).round() / steps
}

/// When rules are judged next after this time.
pub(super) fn judging_after(time: Timestamp) -> Timestamp {
    (time + Span::from_millis(1)).ceil(JUDGED_EVERY)
}

fn limits_touched(setup: &SumpSetup, quantity: Quantity) -> Box<[u16]> {
    let touches = |signal: Quantity| match quantity {
        Quantity::Brix => matches!(signal, Quantity::Brix | Quantity::Concentration),
        Quantity::Level => matches!(signal, Quantity::Level | Quantity::Volume),
        other => signal == other,
    };
    (0u16..)
        .zip(&setup.limits)
        .filter(|(_, limit)| touches(limit.signal))
        .map(|(ix, _)| ix)
        .collect()
}
