//! Whether the conductivity follows what the refractometer shows: concentrate brings
//! ions with it, and neither a film on the prism nor tramp oil does (common practice,
//! no source).

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::units::{Concentration, Conductivity, Quantity, Span, Timestamp};

use super::alarm_list::{AlarmIx, Watched};
use super::setup::LimitSetup;
use super::watch::SumpWatch;

/// One point stands for a day on which the pumps ran, and so many are kept. Choice: in
/// ten days the minerals of a mix change little against its concentrate.
const POINT: Span = Span::from_hours(20);
const POINTS: usize = 10;
/// What is newer than this may be under the same film. Choice: most films grow in
/// days.
const CLEAR_OF: Span = Span::from_hours(36);
/// So many points are held against. Choice: one that is wrong is then outvoted.
const LEAST: usize = 3;
/// After a start both instruments show one mix for sure once the pumps have run for so
/// long. Choice: filters and temperatures have followed by then.
const STEADY: Span = Span::from_hours(1);
/// So many standard uncertainties of a reading are surely a rise. Choice: the usual
/// three, as readings and points are read together.
const SURE: f64 = 3.0;

/// A titration is of the mix as it is now for so long. Choice: a sump seldom changes
/// within it by what titrations differ.
const TITRATED_NOW: Span = Span::from_hours(2);

/// How concentration and conductivity stood beside each other.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct ConductivityWitness {
    /// Complete points: their end, concentration, %, and conductivity, µS/cm.
    points: VecDeque<(Timestamp, f32, f32)>,
    began: Option<Timestamp>,
    sums: (f64, f64),
    count: u32,
    /// Since when it contradicts what the refractometer shows.
    contradicts: Option<Timestamp>,
}

impl ConductivityWitness {
    /// Takes in what the instruments show of a mix that runs past them.
    fn step(&mut self, time: Timestamp, percent: f64, us_cm: f64) {
        let began = *self.began.get_or_insert(time);
        if time - began >= POINT && self.count > 0 {
            if self.points.len() == POINTS {
                self.points.pop_front();
            }
            let mean = |sum: f64| (sum / f64::from(self.count)) as f32;
            let point = (time, mean(self.sums.0), mean(self.sums.1));
            self.points.push_back(point);
            self.begin_point(Some(time));
        }
        self.sums.0 += percent;
        self.sums.1 += us_cm;
        self.count += 1;
    }

    fn begin_point(&mut self, time: Option<Timestamp>) {
        (self.began, self.sums, self.count) = (time, (0.0, 0.0), 0);
    }

    /// What was says nothing of what follows.
    pub(super) fn begin_anew(&mut self) {
        self.points.clear();
        self.begin_point(None);
        self.contradicts = None;
    }

    /// The prism was wiped: whether it is still contradicted is seen anew.
    pub(super) fn prism_touched(&mut self) {
        self.contradicts = None;
    }

    /// By how much the concentration has risen beyond what the conductivity shows,
    /// %: against most of the points that are old enough. A per cent of concentrate
    /// conducts `per_percent` µS/cm. Evaporation carries minerals along, so that
    /// conductivity then rises in the proportion of the concentration; the lesser of
    /// both answers counts. That it has fallen, as when a cleaner fades or the cell
    /// fouls, says nothing. Negative where the concentration has risen less.
    fn beyond(&self, now: Timestamp, percent: f64, us_cm: f64, per_percent: f64) -> Option<f64> {
        let old = self.points.iter().filter(|(at, ..)| now - *at >= CLEAR_OF);
        let mut beyond: Vec<f64> = old
            .map(|&(_, then_percent, then_us_cm)| {
                let (then_percent, then_us_cm) = (f64::from(then_percent), f64::from(then_us_cm));
                let risen = percent - then_percent;
                let by_concentrate = (us_cm - then_us_cm) / per_percent;
                let in_proportion = then_percent * (us_cm / then_us_cm - 1.0);
                risen - by_concentrate.max(in_proportion).max(0.0)
            })
            .collect();
        if beyond.len() < LEAST {
            return None;
        }
        beyond.sort_unstable_by(f64::total_cmp);
        Some(beyond[beyond.len() / 2])
    }
}

impl SumpWatch {
    /// Takes in what the instruments show, while both are well and see the mix.
    pub(super) fn follow_conductivity(&mut self) {
        let sees = self.sees_one_mix() && !self.is_more_than_can_be();
        let shown = self.signal(Quantity::Concentration).filter(|_| sees);
        if let Some((percent, us_cm)) = shown.zip(self.signal(Quantity::Conductivity)) {
            self.conductivity_witness.step(self.now, percent, us_cm);
        }
        self.judge_by_conductivity();
    }

    /// It stays as it was judged while nobody can tell, and is over where half of it
    /// is gone.
    fn judge_by_conductivity(&mut self) {
        let balance = &self.balance.balance;
        let ran = balance.pumps_ran_for(self.now);
        let warm = ran.is_none_or(|ran| ran >= STEADY);
        let Some(beyond) = self.beyond_conductivity().filter(|_| warm) else {
            return;
        };
        let least = self.least_beyond_conductivity();
        let since = &mut self.conductivity_witness.contradicts;
        if beyond >= least {
            since.get_or_insert(self.now);
        } else if beyond < least / 2.0 {
            *since = None;
        }
    }

    /// Since when the conductivity contradicts a concentration that has risen.
    pub(super) fn conductivity_contradicts(&self) -> Option<Timestamp> {
        self.conductivity_witness.contradicts
    }

    /// Half of what the target is from the upper end of its window, and what the
    /// instrument surely shows. (choice)
    pub(super) fn least_beyond_conductivity(&self) -> f64 {
        let room = self.setup.window.1.percent() - self.setup.target.percent();
        let sure = self.concentration_channel().map_or(0.0, |(channel, _)| {
            self.points_of(channel, SURE * self.setup.channels[channel].uncertainty)
        });
        (room / 2.0).max(sure)
    }

    /// Somebody titrated so much, %: what bears the refractometer out shows that the
    /// conductivity went another way, as where mix was lost with its minerals and
    /// fresh mix put in.
    pub(super) fn hold_witness_against(&mut self, titrated_pct: f64, time: Timestamp) {
        let fresh = (self.now - time).millis().abs() <= TITRATED_NOW.millis();
        let shown = self.signal(Quantity::Concentration).filter(|_| fresh);
        let least = self.least_beyond_conductivity();
        if shown.is_some_and(|shown| shown - titrated_pct < least / 2.0) {
            self.conductivity_witness.begin_anew();
        }
    }

    fn sees_one_mix(&self) -> bool {
        let well = self.well(Quantity::Concentration) && self.well(Quantity::Conductivity);
        well && self.dosing.mixing_until.is_none() && self.pumps_flush()
    }

    /// By how much the concentration has risen beyond what the conductivity shows,
    /// %; none where nobody can tell.
    pub(super) fn beyond_conductivity(&self) -> Option<f64> {
        if !self.sees_one_mix() {
            return None;
        }
        let percent = self.signal(Quantity::Concentration)?;
        let us_cm = self.signal(Quantity::Conductivity)?;
        let line = |percent| {
            let seen = Conductivity::from_microsiemens_per_cm(us_cm);
            let (minerals, setup) = (&self.chemistry.now.minerals, &self.setup.minerals);
            let excess = minerals.excess(setup, seen, Concentration::from_percent(percent))?;
            Some(excess.base_line_us_cm)
        };
        let per_percent = line(percent + 1.0)? - line(percent)?;
        self.conductivity_witness
            .beyond(self.now, percent, us_cm, per_percent)
    }

    /// Whether the limit is passed by what no conductivity bears out and no hand
    /// reading has confirmed.
    pub(super) fn is_by_film(&self, alarm: AlarmIx) -> bool {
        let since = self.conductivity_contradicts();
        let agreed = since.is_some_and(|since| self.agreed_since(since));
        !agreed && self.is_beyond_conductivity(alarm)
    }

    /// Whether the conductivity bears out no more than the limit.
    pub(super) fn is_beyond_conductivity(&self, alarm: AlarmIx) -> bool {
        let Some(limit) = self.limit_of(alarm) else {
            return false;
        };
        let shown = self.signal(Quantity::Concentration);
        let beyond = self.beyond_conductivity();
        let beyond = beyond.filter(|beyond| *beyond >= self.least_beyond_conductivity());
        shown
            .zip(beyond)
            .is_some_and(|(shown, beyond)| shown - beyond <= limit.threshold)
    }

    /// The limit that the alarm is about.
    pub(super) fn limit_of(&self, alarm: AlarmIx) -> Option<&LimitSetup> {
        match self.alarms.watched(alarm) {
            Watched::Limit(limit) => Some(&self.setup.limits[limit]),
            _ => None,
        }
    }
}
