//! What is remembered of a charge to judge whether it goes sour.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::setup::SouringSetup;
use crate::model::FirstDay;
use crate::units::{Concentration, Measured, Ph, Potential, Span, Timestamp};

/// A rise within this time is sudden. Memory: pH changes by at most 0.3 an hour
/// by itself.
const SUDDEN: Span = Span::from_hours(2);
/// Whoever cleans or calibrates a probe writes it down within this. Choice: the
/// work itself takes a quarter of an hour.
const HANDLED: Span = Span::from_mins(30);
/// One pH is kept so often to compare later ones with.
const KEPT_EVERY: Span = Span::from_mins(30);
/// So many cover [`SUDDEN`].
const KEPT: usize = 4;
/// pH rises with concentration too: where that has risen by more than this
/// share, a rise is no jump. Choice: above what two readings differ by.
const STRONGER: f64 = 1.05;
/// Longer than any charge.
const FOR_EVER: Span = Span::from_hours(24 * 365 * 1000);
/// Differences of numbers with two decimals are exact to this.
pub(super) const ROUNDING: f64 = 1e-9;

/// How a mix smells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Odour {
    /// As when it was fresh.
    Fresh,
    /// Stale, when one comes near.
    Stale,
    /// Bad, from afar.
    Bad,
    /// Of rotten eggs.
    Rotten,
}

/// The sump as it is now; what is not known is left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SouringNow {
    /// When.
    pub time: Timestamp,
    /// pH.
    pub ph: Option<Ph>,
    /// How fast it rises, a week.
    pub ph_slope_a_week: Option<Measured>,
    /// Concentration.
    pub concentration: Option<Concentration>,
    /// Dissolved oxygen, mg/L.
    pub oxygen_mg_l: Option<f64>,
    /// Redox potential.
    pub redox: Option<Potential>,
}

/// The signs of one sump: fixed memory, to be written and read again.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct SouringWatch {
    ph: FirstDay,
    /// The first pH that was taken by hand on the charge's first day.
    first_by_hand: Option<f64>,
    /// The newest pH that was taken by hand.
    by_hand: Option<(Timestamp, f64)>,
    concentration: FirstDay,
    redox: FirstDay,
    recent: VecDeque<Kept>,
    /// Since when pH is further below the reference than is good.
    pub(super) low_since: Option<Timestamp>,
    /// When the last sudden rise of pH began, and by how much it rose.
    pub(super) jump: Option<(Timestamp, f64)>,
    /// The newest count of bacteria, CFU/mL.
    pub(super) bacteria: Option<(Timestamp, f64)>,
    /// The newest count of yeasts and moulds, CFU/mL.
    pub(super) fungi: Option<(Timestamp, f64)>,
    /// The newest smell.
    pub(super) odour: Option<(Timestamp, Odour)>,
    /// When slime was last seen.
    pub(super) slime: Option<Timestamp>,
    /// When somebody last looked and saw none.
    #[serde(skip_serializing_if = "Option::is_none")]
    no_slime: Option<Timestamp>,
    /// Whether it circulates, and since when.
    circulates: Option<(Timestamp, bool)>,
}

/// A pH that later ones are compared with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Kept {
    time: Timestamp,
    ph: f64,
    concentration_pct: Option<f64>,
}

impl SouringWatch {
    /// The sump was filled anew: the references of the charge are learned from
    /// here on, and what was seen of the old charge is forgotten.
    pub fn begin(&mut self, time: Timestamp) {
        *self = SouringWatch {
            ph: FirstDay::of_charge(time),
            concentration: FirstDay::of_charge(time),
            redox: FirstDay::of_charge(time),
            circulates: self.circulates,
            ..SouringWatch::default()
        };
    }

    /// Takes in the sump as it is now.
    pub fn sense(&mut self, setup: &SouringSetup, now: &SouringNow) {
        if let Some(concentration) = now.concentration {
            self.concentration.step(now.time, concentration.percent());
        }
        if let Some(redox) = now.redox {
            self.redox.step(now.time, redox.millivolts());
        }
        if let Some(ph) = now.ph {
            self.ph.step(now.time, ph.units());
            self.look_for_jump(setup, now, ph.units());
            self.note_drop(setup, now.time, ph);
        }
    }

    /// The pH probe was cleaned or calibrated: what it said before is no measure
    /// for what it says now, and a rise just before was that of the probe.
    pub fn probe_touched(&mut self, time: Timestamp) {
        self.recent.clear();
        self.jump = self.jump.filter(|(rose, _)| *rose < time - HANDLED);
    }

    /// pH was read by hand: it stands for what no instrument says, and on the
    /// charge's first day for what none has learned.
    pub fn read_ph(&mut self, setup: &SouringSetup, time: Timestamp, ph: Ph) {
        if self.ph.holds(time) {
            self.first_by_hand.get_or_insert(ph.units());
        }
        keep_newest(&mut self.by_hand, time, ph.units());
        self.note_drop(setup, time, ph);
    }

    /// A dip slide was read for bacteria, CFU/mL.
    pub fn read_bacteria(&mut self, time: Timestamp, count: f64) {
        keep_newest(&mut self.bacteria, time, count);
    }

    /// A dip slide was read for yeasts and moulds, CFU/mL.
    pub fn read_fungi(&mut self, time: Timestamp, count: f64) {
        keep_newest(&mut self.fungi, time, count);
    }

    /// Somebody smelt it.
    pub fn smell(&mut self, time: Timestamp, odour: Odour) {
        keep_newest(&mut self.odour, time, odour);
    }

    /// Somebody saw slime or flakes.
    pub fn see_slime(&mut self, time: Timestamp) {
        self.slime = self.slime.max(Some(time));
    }

    /// Somebody looked, and saw none. What was seen before counts for its time all
    /// the same: slime hides under covers.
    pub fn see_no_slime(&mut self, time: Timestamp) {
        self.no_slime = self.no_slime.max(Some(time));
    }

    /// The circulation pumps were found on or off.
    pub fn circulate(&mut self, time: Timestamp, on: bool) {
        if self.circulates.is_none_or(|(_, was_on)| was_on != on) {
            self.circulates = Some((time, on));
        }
    }

    /// pH of the charge when it was fresh: as it is settled, else as its first
    /// day had it, else as the fluid's sheet says of a fresh mix.
    pub fn reference_ph(&self, setup: &SouringSetup) -> Option<Ph> {
        let learned = self.ph.reference().map(|ph| ph.value);
        let seen = learned.or(self.first_by_hand);
        // More than a jump above what the sheet says was no fresh mix alone: a
        // cleaner stood in it.
        let most = setup.fresh_ph.map(|fresh| fresh.units() + setup.ph_jump);
        let seen = seen.map(|seen| most.map_or(seen, |most| seen.min(most)));
        setup
            .reference_ph
            .or(seen.map(Ph::from_units))
            .or(setup.fresh_ph)
    }

    /// How far pH is below that of the fresh charge.
    pub fn ph_drop(&self, setup: &SouringSetup, ph: Ph) -> Option<f64> {
        self.reference_ph(setup)
            .map(|reference| reference.units() - ph.units())
    }

    /// How far pH is below that of the fresh charge now, where both are known.
    pub fn ph_drop_now(&self, setup: &SouringSetup, now: &SouringNow) -> Option<f64> {
        self.ph_drop(setup, self.ph_now(setup, now)?)
    }

    /// The newest count of bacteria, CFU/mL, as long as it counts.
    pub fn bacteria_now(&self, setup: &SouringSetup, now: Timestamp) -> Option<f64> {
        setup.still_counts(self.bacteria, now)
    }

    /// The newest count of yeasts and moulds, CFU/mL, as long as it counts.
    pub fn fungi_now(&self, setup: &SouringSetup, now: Timestamp) -> Option<f64> {
        setup.still_counts(self.fungi, now)
    }

    /// The last sudden rise of pH that no concentrate explains: a cleaner, or
    /// alkali.
    pub fn last_jump(&self) -> Option<Timestamp> {
        self.jump.map(|(time, _)| time)
    }

    /// How it smells, as long as that counts.
    pub fn odour_now(&self, setup: &SouringSetup, now: Timestamp) -> Option<Odour> {
        setup.still_counts(self.odour, now)
    }

    /// The change of pH since the first day that the concentration explains.
    pub fn shift_now(&self, setup: &SouringSetup, now: &SouringNow) -> Option<f64> {
        super::signs::shift_by_concentration(self, setup, now)
    }

    /// Whether it circulates, and since when, where that is known.
    pub fn circulates(&self) -> Option<(Timestamp, bool)> {
        self.circulates
    }

    /// pH as it is now: by an instrument, or else as somebody read it not too
    /// long ago.
    pub(super) fn ph_now(&self, setup: &SouringSetup, now: &SouringNow) -> Option<Ph> {
        let counts = |(time, _): &(Timestamp, f64)| now.time - *time <= setup.counts_for;
        let by_hand = self.by_hand.filter(counts);
        now.ph.or(by_hand.map(|(_, ph)| Ph::from_units(ph)))
    }

    /// The same with what people found last of each kind counting for ever, where
    /// some of it is too old to count.
    pub(super) fn as_last_found(
        &self,
        setup: &SouringSetup,
        now: Timestamp,
    ) -> Option<(SouringWatch, SouringSetup)> {
        let numbers = [self.by_hand, self.bacteria, self.fungi];
        let times = numbers.into_iter().flatten().map(|(time, _)| time);
        let smelt = self.odour.map(|(time, _)| time);
        let slime = self.slime.filter(|seen| self.no_slime < Some(*seen));
        let mut found = times.chain(smelt).chain(slime);
        let some_is_old = found.any(|time| now - time > setup.counts_for);
        some_is_old.then(|| {
            let counts_for = FOR_EVER;
            let watch = SouringWatch {
                slime,
                ..self.clone()
            };
            (
                watch,
                SouringSetup {
                    counts_for,
                    ..*setup
                },
            )
        })
    }

    fn note_drop(&mut self, setup: &SouringSetup, time: Timestamp, ph: Ph) {
        let drop = self.ph_drop(setup, ph);
        let low = drop.is_some_and(|drop| drop > setup.ph_drop.watch + ROUNDING);
        self.low_since = low.then(|| self.low_since.unwrap_or(time));
    }

    /// Concentration on the charge's first day, %.
    pub(super) fn reference_pct(&self) -> Option<f64> {
        self.concentration.reference().map(|pct| pct.value)
    }

    /// Redox potential on the charge's first day, mV.
    pub(super) fn reference_mv(&self) -> Option<f64> {
        self.redox.reference().map(|mv| mv.value)
    }

    fn look_for_jump(&mut self, setup: &SouringSetup, now: &SouringNow, ph: f64) {
        let pct = now.concentration.map(Concentration::percent);
        self.recent.retain(|kept| kept.time >= now.time - SUDDEN);
        let stronger = |kept: &Kept| {
            let both = pct.zip(kept.concentration_pct);
            both.is_some_and(|(now, then)| now > STRONGER * then)
        };
        let rises = self.recent.iter().filter(|kept| !stronger(kept));
        let rise = rises.map(|kept| ph - kept.ph).fold(0.0, f64::max);
        if rise > setup.ph_jump + ROUNDING {
            self.jump = Some(match self.jump {
                Some((since, before)) if now.time - since <= SUDDEN => (since, rise.max(before)),
                _ => (now.time, rise),
            });
        }
        let rested = self
            .recent
            .back()
            .is_none_or(|kept| now.time >= kept.time + KEPT_EVERY);
        if rested {
            if self.recent.len() == KEPT {
                self.recent.pop_front();
            }
            self.recent.push_back(Kept {
                time: now.time,
                ph,
                concentration_pct: pct,
            });
        }
    }
}

fn keep_newest<T>(kept: &mut Option<(Timestamp, T)>, time: Timestamp, value: T) {
    if kept.as_ref().is_none_or(|(newest, _)| time >= *newest) {
        *kept = Some((time, value));
    }
}
