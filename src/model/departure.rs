//! Losses and gains that are not the usual ones: leaks, ingress, more
//! evaporation.
//!
//! Hour by hour what was lost is held against what is usually lost, and the
//! difference is summed up in both directions (tabular CUSUM, E. S. Page,
//! "Continuous inspection schemes", 1954). One odd hour counts little; what
//! goes on for hours is told. Whether it was water or mix shows in the
//! concentrate that went with the volume.

use serde::{Deserialize, Serialize};

use crate::units::{Measured, Span, Timestamp};

use super::balance::Point;
use super::setup::BalanceSetup;
use super::state::State;

/// The scatter of an hour's mean volume is never taken for less than this share
/// of the working volume.
const LEAST_SCATTER: f64 = 0.0005;
/// Hours over which the scatter is learned.
const SCATTER_HOURS: f64 = 48.0;
/// What is not summed up: this share of the usual loss, as weather and work
/// change by as much, and this share of the working volume an hour (choice).
/// Where nobody says when machines work, losses by day and by night are one to
/// the other as two to one and more.
const SLACK_OF_USUAL: f64 = 0.6;
const SLACK_WITHOUT_SHIFTS: f64 = 1.2;
/// Of a gain most of the usual loss: machines that stand in a shift carry nothing
/// off and evaporate as at rest, a quarter of the usual and less, and nothing runs
/// in for that.
const SLACK_OF_GAIN: f64 = 0.85;
const SLACK_OF_VOLUME: f64 = 0.0002;
/// What is told, summed up: so many times the scatter, which stays the same
/// however many hours are summed up, and at least this share of the working
/// volume (choice: four deviations of the difference of two hours).
const TOLD: f64 = 6.0;
const LEAST_TOLD: f64 = 0.005;
/// Of concentrate alone at least this share of what is in the sump, and so many
/// times what the instrument's drift and wander alone would come to.
const LEAST_TOLD_OF_STRENGTH: f64 = 0.03;
const TOLD_OF_DRIFT: f64 = 3.0;
/// Concentrate that goes while the volume stays is forgotten within so many
/// hours, as what drifts over weeks is no water that runs in, and within fewer
/// once it is told, so that its end is seen within a day (choice).
const THINNED_FORGETS_H: f64 = 48.0;
const TOLD_THINNED_FORGETS_H: f64 = 16.0;
/// From this share of it on the losses are not learned from.
const SUSPECTED: f64 = 0.5;
/// An hour counts for at most this share of it: one odd hour is not told.
const MOST_AN_HOUR: f64 = 0.4;
/// What is summed up never exceeds so many times it, so that the end of a
/// departure is seen.
const MOST_TOLD: f64 = 1.5;
/// What goes on for so long is the usual from then on, h.
const LONGEST_HOURS: f64 = 14.0 * 24.0;
/// Below this share of the sump's own strength what runs is water, above it
/// mix, once its strength lies so many deviations off.
const WATER_BELOW: f64 = 0.5;
const SURE: f64 = 1.5;
/// The mean size of the difference of two normally distributed errors is 2/√π
/// of their deviation.
const DIFFERENCE: f64 = std::f64::consts::FRAC_2_SQRT_PI;
/// What a departure looks like may be told otherwise only after this.
const RENAMED_AFTER: Span = Span::from_hours(12);

/// What is lost or gained beyond what is usual.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Departure {
    /// What it looks like.
    pub kind: DepartureKind,
    /// Since when.
    pub since: Timestamp,
    /// How much, L/h; positive whichever way it runs.
    pub litres_per_hour: Measured,
    /// Strength of what runs, %, where it shows.
    pub strength_pct: Option<f64>,
    /// Whether it runs in.
    #[serde(default)]
    pub gains: bool,
}

/// What a departure looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DepartureKind {
    /// Volume and concentrate go together: a leak, or far more carry-off.
    MixLost,
    /// Water goes and the concentrate stays: far more evaporation.
    WaterLost,
    /// Volume comes and no concentrate with it: water runs in.
    WaterIn,
    /// Mix or premix runs in.
    MixIn,
    /// Concentrate goes and the volume stays: mix is replaced by water.
    Thinned,
    /// Volume comes or goes, and whether it is water or mix does not show.
    Unknown,
}

/// The memory of the watch over departures.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, Default)]
pub(super) struct DepartureWatch {
    hour: Option<Hour>,
    before: Option<Mean>,
    /// Of an hour's mean volume, L.
    scatter: Scatter,
    /// Of an hour's mean concentrate, L.
    #[serde(default)]
    concentrate_scatter: Scatter,
    lost: Sum,
    gained: Sum,
    /// Concentrate that goes while the volume stays.
    #[serde(default)]
    thinned: Sum,
    told: Option<Departure>,
}

/// The mean size of the difference of two hours' means beyond what was
/// expected.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
struct Scatter(Option<f64>);

/// The hour that runs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Hour {
    began: Timestamp,
    last: Timestamp,
    volumes: (f64, u32),
    concentrations: (f64, u32),
    usual_volume: f64,
    usual_concentrate: f64,
    metered: f64,
    metered_concentrate: f64,
}

/// What an hour's points say in the mean.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Mean {
    time: Timestamp,
    volume: f64,
    concentrate: Option<f64>,
    /// What is usually lost in an hour, less what meters let in, L/h.
    expected_volume: f64,
    expected_concentrate: f64,
}

/// What went beyond what was expected from one hour to the next, L/h.
#[derive(Debug, Clone, Copy)]
struct Beyond {
    began: Timestamp,
    hours: f64,
    expected: f64,
    expected_concentrate: f64,
    volume: f64,
    concentrate: Option<f64>,
}

/// What has been summed up in one direction.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
struct Sum {
    /// Beyond the slack, as a share of what is told.
    filled: f64,
    since: Option<Timestamp>,
    hours: f64,
    volume: f64,
    /// Of the hours in which the concentration was seen: volume, concentrate.
    seen: (f64, f64),
}

impl Hour {
    fn begin(time: Timestamp) -> Self {
        Hour {
            began: time,
            last: time,
            volumes: (0.0, 0),
            concentrations: (0.0, 0),
            usual_volume: 0.0,
            usual_concentrate: 0.0,
            metered: 0.0,
            metered_concentrate: 0.0,
        }
    }

    fn add(&mut self, state: &State, point: &Point) {
        let passed = (point.time - self.last).secs_f64() / 3600.0;
        let (volume, concentrate) = state.usual_loss(point.working);
        self.last = point.time;
        self.usual_volume += passed * volume;
        self.usual_concentrate += passed * concentrate;
        self.metered += point.metered_l;
        self.metered_concentrate += point.metered_concentrate_l;
        for (sum, value) in [
            (&mut self.volumes, point.volume_l),
            (&mut self.concentrations, point.concentration_pct),
        ] {
            if let Some(value) = value {
                *sum = (sum.0 + value, sum.1 + 1);
            }
        }
    }

    fn hours(&self) -> f64 {
        (self.last - self.began).secs_f64() / 3600.0
    }

    fn mean(&self) -> Option<Mean> {
        let mean = |(sum, count): (f64, u32)| (count > 0).then(|| sum / f64::from(count));
        let volume = mean(self.volumes)?;
        let hours = self.hours();
        Some(Mean {
            time: self.last,
            volume,
            concentrate: mean(self.concentrations).map(|percent| percent / 100.0 * volume),
            expected_volume: (self.usual_volume - self.metered) / hours,
            expected_concentrate: (self.usual_concentrate - self.metered_concentrate) / hours,
        })
    }
}

impl Mean {
    fn beyond(&self, before: &Mean) -> Beyond {
        let hours = (self.time - before.time).secs_f64() / 3600.0;
        let expected = 0.5 * (before.expected_volume + self.expected_volume);
        let concentrate = 0.5 * (before.expected_concentrate + self.expected_concentrate);
        Beyond {
            began: before.time,
            hours,
            expected,
            expected_concentrate: concentrate,
            volume: (before.volume - self.volume) / hours - expected,
            concentrate: before
                .concentrate
                .zip(self.concentrate)
                .map(|(then, now)| (then - now) / hours - concentrate),
        }
    }
}

impl DepartureWatch {
    /// What is told at present.
    pub(super) fn told(&self) -> Option<&Departure> {
        self.told.as_ref()
    }

    /// Whether something may be going on.
    pub(super) fn is_suspected(&self) -> bool {
        let sums = [&self.lost, &self.gained, &self.thinned];
        sums.into_iter().any(|sum| sum.filled > SUSPECTED)
    }

    /// Whether volume may be going or coming.
    pub(super) fn is_suspected_of_volume(&self) -> bool {
        self.lost.filled.max(self.gained.filled) > SUSPECTED
    }

    /// What came before says nothing about what comes.
    pub(super) fn interrupt(&mut self) {
        self.hour = None;
        self.before = None;
    }

    /// Takes in a point that has just been learned from; says when a departure
    /// begins or ends.
    pub(super) fn step(
        &mut self,
        setup: &BalanceSetup,
        state: &State,
        point: &Point,
    ) -> Option<Option<Departure>> {
        let hour = self.hour.get_or_insert_with(|| Hour::begin(point.time));
        hour.add(state, point);
        if hour.hours() < 1.0 {
            return None;
        }
        let mean = hour.mean()?;
        self.hour = Some(Hour::begin(point.time));
        let before = self.before.replace(mean)?;
        self.count(setup, mean.beyond(&before));
        self.judge(setup, state, point.time)
    }

    fn count(&mut self, setup: &BalanceSetup, beyond: Beyond) {
        let working = setup.working_volume_l;
        let learns = !self.is_suspected();
        let least = LEAST_SCATTER * working;
        let deviation = self
            .scatter
            .step(beyond.hours * beyond.volume, least, learns);
        let told = (TOLD * deviation).max(LEAST_TOLD * working);
        let share = |volume: f64, of_usual: f64| {
            let slack = of_usual * beyond.expected.abs() + SLACK_OF_VOLUME * working;
            filled(beyond.hours * (volume - slack), told)
        };
        let of_usual = match setup.work_is_known {
            true => SLACK_OF_USUAL,
            false => SLACK_WITHOUT_SHIFTS,
        };
        self.lost.add(share(beyond.volume, of_usual), &beyond);
        let of_gain = of_usual.max(SLACK_OF_GAIN);
        self.gained.add(share(-beyond.volume, of_gain), &beyond);
        if let Some(concentrate) = beyond.concentrate {
            self.count_concentrate(setup, &beyond, concentrate, learns);
        }
    }

    fn count_concentrate(
        &mut self,
        setup: &BalanceSetup,
        beyond: &Beyond,
        concentrate: f64,
        learns: bool,
    ) {
        let whole = setup.working_volume_l * (setup.target_pct / 100.0).max(0.001);
        let wander = setup.errors.wander_pct / 100.0 * setup.working_volume_l;
        let deviation = self
            .concentrate_scatter
            .step(beyond.hours * concentrate, wander, learns);
        let drift = setup.errors.drift_pct.hypot(setup.errors.wander_pct);
        let by_drift = drift / 100.0 * setup.working_volume_l;
        let told = (TOLD * deviation)
            .max(LEAST_TOLD_OF_STRENGTH * whole)
            .max(TOLD_OF_DRIFT * by_drift);
        let slack =
            SLACK_WITHOUT_SHIFTS * beyond.expected_concentrate.abs() + SLACK_OF_VOLUME * whole;
        let share = filled(beyond.hours * (concentrate - slack), told);
        let is_told = self
            .told
            .is_some_and(|told| told.kind == DepartureKind::Thinned);
        self.thinned.forget(
            beyond.hours
                / match is_told {
                    true => TOLD_THINNED_FORGETS_H,
                    false => THINNED_FORGETS_H,
                },
        );
        self.thinned.add(share, beyond);
    }

    fn judge(
        &mut self,
        setup: &BalanceSetup,
        state: &State,
        now: Timestamp,
    ) -> Option<Option<Departure>> {
        let by_volume = match self.lost.filled >= self.gained.filled {
            true => self.lost,
            false => self.gained,
        };
        let thinned = self.thinned.filled > 1.0 && by_volume.filled <= 1.0;
        let sum = if thinned { self.thinned } else { by_volume };
        let Some(since) = sum.since.filter(|_| sum.filled > 1.0) else {
            let over = self.told.is_some() && !self.is_suspected();
            return over.then(|| {
                self.told = None;
                None
            });
        };
        if sum.hours > LONGEST_HOURS {
            (self.lost, self.gained, self.thinned, self.told) = Default::default();
            return Some(None);
        }
        let (kind, strength_pct) = match thinned {
            true => (DepartureKind::Thinned, Some(0.0)),
            false => kind(setup, state, &sum),
        };
        let litres_per_hour = match thinned {
            true => sum.replaced(state),
            false => self.rate(setup, &sum),
        };
        let departure = Departure {
            kind,
            since,
            litres_per_hour,
            strength_pct,
            gains: thinned || sum.volume < 0.0,
        };
        let news = match self.told {
            None => true,
            Some(told) if kind == DepartureKind::Unknown || told.kind == kind => false,
            Some(told) => told.kind == DepartureKind::Unknown || now - told.since > RENAMED_AFTER,
        };
        let kind = self.told.filter(|_| !news).map_or(kind, |told| told.kind);
        self.told = Some(Departure { kind, ..departure });
        news.then_some(self.told)
    }

    fn rate(&self, setup: &BalanceSetup, sum: &Sum) -> Measured {
        let hours = sum.hours.max(1.0);
        let deviation = self
            .scatter
            .deviation(LEAST_SCATTER * setup.working_volume_l);
        let deviation = deviation * std::f64::consts::SQRT_2 / hours;
        Measured::new((sum.volume / hours).abs(), deviation)
    }
}

/// How much of what is told an hour fills.
fn filled(beyond: f64, told: f64) -> f64 {
    (beyond / told).min(MOST_AN_HOUR)
}

impl Scatter {
    /// Takes in the difference of two hours, if it `learns`; gives the
    /// deviation of one.
    fn step(&mut self, difference: f64, least: f64, learns: bool) -> f64 {
        let deviation = self.deviation(least);
        if learns {
            let mean = self.0.get_or_insert(deviation * DIFFERENCE);
            *mean += (difference.abs().min(4.0 * deviation) - *mean) / SCATTER_HOURS;
        }
        deviation
    }

    fn deviation(&self, least: f64) -> f64 {
        let learned = self.0.map(|mean| mean / DIFFERENCE);
        learned.unwrap_or(2.0 * least).max(least)
    }
}

impl Sum {
    fn forget(&mut self, share: f64) {
        self.filled *= (1.0 - share).max(0.0);
    }

    fn add(&mut self, filled: f64, beyond: &Beyond) {
        self.filled = (self.filled + filled).min(MOST_TOLD);
        if self.filled <= 0.0 {
            *self = Sum::default();
            return;
        }
        self.since.get_or_insert(beyond.began);
        self.hours += beyond.hours;
        self.volume += beyond.hours * beyond.volume;
        if let Some(concentrate) = beyond.concentrate {
            self.seen.0 += beyond.hours * beyond.volume;
            self.seen.1 += beyond.hours * concentrate;
        }
    }
}

impl Sum {
    /// How much mix must have been replaced by water for so much concentrate to
    /// go, L/h.
    fn replaced(&self, state: &State) -> Measured {
        let share = (state.concentration_pct().value / 100.0).max(0.001);
        let rate = self.seen.1 / self.hours.max(1.0) / share;
        Measured::new(rate, 0.2 * rate)
    }
}

/// Water or mix, by the concentrate that went with the volume.
fn kind(setup: &BalanceSetup, state: &State, sum: &Sum) -> (DepartureKind, Option<f64>) {
    let (volume, concentrate) = sum.seen;
    if volume.abs() < 0.3 * sum.volume.abs() || volume * sum.volume <= 0.0 {
        return (DepartureKind::Unknown, None);
    }
    let strength = 100.0 * concentrate / volume;
    let off = strength - WATER_BELOW * state.concentration_pct().value;
    let wander = std::f64::consts::SQRT_2 * setup.errors.wander_pct;
    let doubt = wander * state.contents().0 / volume.abs();
    let kind = match (off.abs() > SURE * doubt, sum.volume > 0.0, off < 0.0) {
        (false, ..) => DepartureKind::Unknown,
        (true, true, true) => DepartureKind::WaterLost,
        (true, true, false) => DepartureKind::MixLost,
        (true, false, true) => DepartureKind::WaterIn,
        (true, false, false) => DepartureKind::MixIn,
    };
    (kind, Some(strength))
}

impl DepartureKind {
    /// What it looks like, in words.
    pub const fn words(self) -> &'static str {
        match self {
            DepartureKind::MixLost => {
                "mix is lost beyond what is usual: look for a leak, an open drain, a return that misses the tank"
            }
            DepartureKind::WaterLost => {
                "water is lost beyond what is usual: look for heat, an extraction that draws more, a jet in the open"
            }
            DepartureKind::WaterIn => {
                "water runs in that nobody wrote down: look for a valve or float that does not close, a cooler that leaks, washing"
            }
            DepartureKind::MixIn => {
                "mix runs in that nobody wrote down: look for a mixer that does not shut, a return from another sump"
            }
            DepartureKind::Thinned => {
                "concentrate goes and the volume stays: look for water that runs in while as much mix runs over or out, a mixer that gives water only, or a refractometer that drifts"
            }
            DepartureKind::Unknown => {
                "volume comes or goes beyond what is usual; whether water or mix does not show yet"
            }
        }
    }
}
