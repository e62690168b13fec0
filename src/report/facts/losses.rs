//! What a sump lost in a part of the period, by the balance of volume and
//! concentrate between its ends.
//!
//! With V the volume, c the concentration, m = c·V, and what went in and out:
//! all losses are V₀ − V₁ + Σv; carry-off is (m₀ − m₁ + Σp·v) / c̄, with c̄ the
//! mean concentration between; evaporation is the rest (trade practice: a mass
//! balance; worked out here). The intervals take in how the instruments scatter,
//! wander and drift, how people measure out, and the fluid's chart.

use crate::alarm::performance::Period;
use crate::units::{Measured, Span};

use super::errors::Errors;
use super::litres::{Moved, MovedKind};
use super::signal::Signal;
use super::steps::net_steps;

/// The volume has risen by more than was told if by so many standard uncertainties.
const UNSEEN: f64 = 2.0;

/// An end of a part is the mean of so long before and behind it.
const END: Span = Span::from_hours(2);
/// Shorter parts tell no losses: what instruments wander would be all of it.
const SHORTEST: Span = Span::from_hours(36);
/// Days in which a channel drifts by its setting.
const DRIFT_DAYS: f64 = 10.0;

/// A loss whose standard uncertainty is more than this share of it is not told;
/// as the daemon has it.
const MOST_DOUBT: f64 = 1.0;

/// What was lost in a part of the period, L.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lost {
    /// All that went in and did not stay.
    pub both_l: Measured,
    /// What it was lost to, where that can be told.
    pub to: Result<LostTo, NotTold>,
}

/// What was lost to what, L.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LostTo {
    /// Water gone as vapour.
    pub evaporation_l: Measured,
    /// Mix gone with parts, chips and mist, and by leaks.
    pub carry_off_l: Measured,
}

/// Why a loss cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotTold {
    /// Too short a part.
    TooShort,
    /// Volume or concentration are not known at its ends.
    NotKnown,
    /// The sump was emptied and filled anew in it.
    NewCharge,
    /// Something fills it up that nothing counts.
    FillsItself,
    /// A premix of unknown strength went in.
    UnknownStrength,
    /// The level does not fall: something fills the sump up that nobody sees.
    LevelDoesNotFall,
    /// The readings scatter or wander too much for what is lost.
    TooUncertain,
    /// One of the two would be a gain: something went in or out that nobody saw.
    NoBalance,
}

impl NotTold {
    /// The key of its words.
    pub const fn name(self) -> &'static str {
        match self {
            NotTold::TooShort => "too_short",
            NotTold::NotKnown => "not_known",
            NotTold::NewCharge => "new_charge",
            NotTold::FillsItself => "fills_itself",
            NotTold::UnknownStrength => "unknown_strength",
            NotTold::LevelDoesNotFall => "level_does_not_fall",
            NotTold::TooUncertain => "too_uncertain",
            NotTold::NoBalance => "no_balance",
        }
    }
}

/// What is known of a sump between two times.
#[derive(Debug, Clone, Copy)]
pub struct Stretch<'a> {
    /// The time.
    pub period: Period,
    /// The estimated concentration, %.
    pub concentration: &'a Signal,
    /// The estimated volume, L.
    pub volume: &'a Signal,
    /// All that went in or out, in any time.
    pub moved: &'a [Moved],
    /// What meters counted in this time: litres, and concentrate in them.
    pub metered: (f64, f64),
    /// Whether something fills the sump up that nothing counts.
    pub fills_itself: bool,
}

impl Stretch<'_> {
    /// Whether it is long enough for losses to be told.
    pub fn is_long(&self) -> bool {
        self.period.length() >= SHORTEST
    }

    /// The part of it between the first and the last hour in which concentration and
    /// volume are both known. What meters counted belongs to all of it, which is not cut
    /// then.
    #[must_use]
    pub fn where_known(mut self) -> Self {
        if self.metered != (0.0, 0.0) {
            return self;
        }
        let hour = Span::from_hours(1);
        let Period { mut from, mut to } = self.period;
        let is_known = |from, to| {
            let signals = [self.concentration, self.volume];
            signals
                .iter()
                .all(|one| one.mean_between(from, to).is_some())
        };
        while from + hour <= to && !is_known(from, from + hour) {
            from = from + hour;
        }
        while to - hour >= from && !is_known(to - hour, to) {
            to = to - hour;
        }
        self.period = Period::new(from, to);
        self
    }
}

/// What was lost in it.
///
/// # Errors
/// When it cannot be told.
pub fn lost(stretch: &Stretch<'_>, errors: &Errors) -> Result<Lost, NotTold> {
    let Stretch {
        period,
        concentration,
        volume,
        moved,
        ..
    } = stretch;
    if stretch.fills_itself {
        return Err(NotTold::FillsItself);
    }
    if !stretch.is_long() {
        return Err(NotTold::TooShort);
    }
    let within = || moved.iter().filter(|one| period.has(one.time));
    if within().any(|one| one.kind == MovedKind::FirstFill) {
        return Err(NotTold::NewCharge);
    }
    let ends = |signal: &Signal| {
        let first = signal.mean_between(period.from - END, period.from + END);
        let last = signal.mean_between(period.to - END, period.to + END);
        first.zip(last).ok_or(NotTold::NotKnown)
    };
    let (v0, v1) = ends(volume)?;
    let (c0, c1) = ends(concentration)?;
    let mean = concentration.mean_between(period.from, period.to);
    let mean = mean.filter(|mean| *mean > 0.0).ok_or(NotTold::NotKnown)?;

    let (mut litres, mut concentrate) = stretch.metered;
    let mut variance = [
        (errors.metering * litres).powi(2),
        (errors.metering * concentrate).powi(2),
    ];
    for one in within() {
        let strength = match one.kind {
            // As strong as the sump.
            MovedKind::Drained | MovedKind::Lines => mean,
            _ => one.strength_pct.ok_or(NotTold::UnknownStrength)?,
        };
        litres += one.litres.value;
        concentrate += one.litres.value * strength / 100.0;
        variance[0] += one.litres.uncertainty.powi(2);
        variance[1] += (one.litres.uncertainty * strength / 100.0).powi(2);
    }
    let drift = (period.length().secs_f64() / 86_400.0 / DRIFT_DAYS).sqrt();
    let u_volume = (2.0 * errors.volume_l.powi(2)) + (drift * errors.volume_drift_l).powi(2);
    let u_points = (2.0 * errors.points.powi(2)) + (drift * errors.points_drift).powi(2);
    let middle = (v0 + v1) / 2.0;

    let all = v0 - v1 + litres;
    let share = mean / 100.0;
    let mass = (c0 * v0 - c1 * v1) / 100.0 + concentrate;
    let carry_off = mass / share;
    // u²(m₀ − m₁) = V²·u²(Δc) + c²·u²(ΔV); over c̄ the second is u²(ΔV) again, so
    // that an error of the level goes into carry-off and out of the rest.
    let by_strength = (middle * u_points.sqrt() / mean).powi(2) + variance[1] / share.powi(2);
    let by_chart = (errors.chart * concentrate / share).powi(2);
    let u_carry_off = (by_strength + u_volume + by_chart).sqrt();
    let u_evaporation = (by_strength + variance[0] + by_chart).sqrt();
    let both_l = Measured::new(all, (u_volume + variance[0]).sqrt());
    let none = errors.none_l_per_d * period.length().secs_f64() / 86_400.0;
    if all < both_l.uncertainty.max(none) {
        return Err(NotTold::LevelDoesNotFall);
    }
    if net_steps(volume, *period) - litres > UNSEEN * both_l.uncertainty {
        return Err(NotTold::NoBalance);
    }
    let to = LostTo {
        evaporation_l: Measured::new(all - carry_off, u_evaporation),
        carry_off_l: Measured::new(carry_off, u_carry_off),
    };
    Ok(Lost {
        both_l,
        to: to.believed(none),
    })
}

impl LostTo {
    /// Unless these cannot be the losses of a sump, or are not known well enough.
    fn believed(self, none: f64) -> Result<Self, NotTold> {
        let each = [self.evaporation_l, self.carry_off_l];
        if each.iter().any(|one| one.interval_90().1 < 0.0) {
            return Err(NotTold::NoBalance);
        }
        let doubtful = |one: &Measured| one.uncertainty > MOST_DOUBT * one.value.max(2.0 * none);
        if each.iter().any(doubtful) {
            return Err(NotTold::TooUncertain);
        }
        Ok(self)
    }
}

#[cfg(test)]
mod tests {
    use super::super::litres::Known;
    use super::super::signal::Window;
    use super::*;
    use crate::engine::Quality;
    use crate::units::Timestamp;

    const MINUTE: i64 = 60_000;
    const MINUTES: i64 = 7 * 24 * 60;

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(minutes * MINUTE)
    }

    fn addition(minutes: i64, litres: f64, strength_pct: Option<f64>) -> Moved {
        Moved {
            time: at(minutes),
            kind: MovedKind::Premix,
            litres: Measured::new(litres, 0.02 * litres),
            strength_pct,
            known: Known::Written,
            by: None,
        }
    }

    /// A week of a sump that loses 30 L of water and 20 L of mix a day, followed
    /// minute by minute.
    fn week(moved: &[Moved]) -> (Signal, Signal) {
        let period = Period::new(at(0), at(MINUTES));
        let signal = || Signal::new(period, Window::default(), Span::from_mins(15));
        let (mut concentration, mut volume) = (signal(), signal());
        let (mut litres, mut concentrate) = (800.0, 64.0);
        for minute in 0..MINUTES {
            for one in moved.iter().filter(|one| one.time == at(minute)) {
                litres += one.litres.value;
                concentrate += one.litres.value * one.strength_pct.unwrap_or(3.0) / 100.0;
            }
            let strength: f64 = concentrate / litres;
            concentration.take(at(minute), 100.0 * strength, Quality::GOOD, true);
            volume.take(at(minute), litres, Quality::GOOD, true);
            litres -= 50.0 / 1440.0;
            concentrate -= 20.0 / 1440.0 * strength;
        }
        concentration.end();
        volume.end();
        (concentration, volume)
    }

    const ERRORS: Errors = Errors {
        volume_l: 2.0,
        volume_drift_l: 1.0,
        points: 0.1,
        points_drift: 0.05,
        chart: 0.03,
        metering: 0.02,
        none_l_per_d: 1.6,
    };

    fn told(moved: &[Moved], fills_itself: bool) -> Result<Lost, NotTold> {
        let (concentration, volume) = week(moved);
        let stretch = Stretch {
            period: Period::new(at(0), at(MINUTES)),
            concentration: &concentration,
            volume: &volume,
            moved,
            metered: (0.0, 0.0),
            fills_itself,
        };
        lost(&stretch, &ERRORS)
    }

    #[test]
    fn a_balance_of_a_week_tells_what_evaporated_and_what_was_carried_off() {
        let moved = [
            addition(2 * 1440, 150.0, Some(3.0)),
            addition(5 * 1440 + 300, 120.0, Some(5.0)),
        ];
        let lost = told(&moved, false).unwrap();
        assert!((lost.both_l.value - 350.0).abs() < 6.0, "{lost:?}");
        let to = lost.to.unwrap();
        let (evaporation, carry_off) = (to.evaporation_l, to.carry_off_l);
        assert!((evaporation.value - 210.0).abs() < 4.0, "{evaporation:?}");
        assert!((carry_off.value - 140.0).abs() < 4.0, "{carry_off:?}");
        // Two ends, each 0.1 of some 8 points of 800 L: 14 L and more.
        assert!(
            (14.0..30.0).contains(&carry_off.uncertainty),
            "{carry_off:?}"
        );
    }

    #[test]
    fn losses_are_worked_out_where_both_are_known() {
        let (concentration, volume) = week(&[addition(2 * 1440, 150.0, Some(3.0))]);
        let period = Period::new(at(0), at(MINUTES));
        let mut partly = Signal::new(period, Window::default(), Span::from_mins(15));
        // Known from 6 h 30 min of the first day to 18 h of the sixth.
        for minute in 390..(5 * 1440 + 18 * 60) {
            partly.take(at(minute), 8.0, Quality::GOOD, true);
        }
        partly.end();
        let stretch = Stretch {
            period,
            concentration: &partly,
            volume: &volume,
            moved: &[],
            metered: (0.0, 0.0),
            fills_itself: false,
        };
        let known = Period::new(at(360), at(5 * 1440 + 18 * 60));
        assert_eq!(stretch.where_known().period, known);
        let metered = Stretch {
            metered: (1.0, 0.0),
            ..stretch
        };
        assert_eq!(metered.where_known().period, period);
        let all = Stretch {
            concentration: &concentration,
            ..stretch
        };
        assert_eq!(all.where_known().period, period);
        let silent = Signal::new(period, Window::default(), Span::from_mins(15));
        let never = Stretch {
            concentration: &silent,
            ..stretch
        };
        assert!(!never.where_known().is_long());
    }

    #[test]
    fn a_loss_that_would_be_a_gain_is_none() {
        let measured = |value| Measured::new(value, 10.0);
        let to = |evaporation, carry_off| {
            let to = LostTo {
                evaporation_l: measured(evaporation),
                carry_off_l: measured(carry_off),
            };
            to.believed(2.0)
        };
        assert!(to(40.0, 30.0).is_ok());
        assert_eq!(to(-40.0, 110.0), Err(NotTold::NoBalance));
        assert_eq!(to(9.0, 110.0), Err(NotTold::TooUncertain));
        // Water that nobody wrote down: the level stands, concentrate goes.
        let mut unseen = [
            addition(2 * 1440, 210.0, Some(0.0)),
            addition(5 * 1440, 140.0, Some(8.0)),
        ];
        let (concentration, volume) = week(&unseen);
        unseen[0].litres = Measured::new(0.0, 0.0);
        unseen[1].litres = Measured::new(0.0, 0.0);
        let stretch = Stretch {
            period: Period::new(at(0), at(MINUTES)),
            concentration: &concentration,
            volume: &volume,
            moved: &unseen,
            metered: (0.0, 0.0),
            fills_itself: false,
        };
        assert_eq!(lost(&stretch, &ERRORS), Err(NotTold::LevelDoesNotFall));
    }

    #[test]
    fn what_went_in_unseen_is_not_taken_for_a_lesser_loss() {
        let mut moved = [
            addition(2 * 1440, 150.0, Some(3.0)),
            addition(5 * 1440 + 300, 120.0, Some(5.0)),
        ];
        let (concentration, volume) = week(&moved);
        moved[0].time = at(-1);
        let stretch = Stretch {
            period: Period::new(at(0), at(MINUTES)),
            concentration: &concentration,
            volume: &volume,
            moved: &moved,
            metered: (0.0, 0.0),
            fills_itself: false,
        };
        assert_eq!(lost(&stretch, &ERRORS), Err(NotTold::NoBalance));
    }

    #[test]
    fn what_the_readings_do_not_tell_is_not_told() {
        assert_eq!(told(&[], true), Err(NotTold::FillsItself));
        let unknown = [addition(1440, 100.0, None)];
        assert_eq!(told(&unknown, false), Err(NotTold::UnknownStrength));
        let mut fill = addition(1440, 800.0, Some(8.0));
        fill.kind = MovedKind::FirstFill;
        assert_eq!(told(&[fill], false), Err(NotTold::NewCharge));
        let period = Period::new(at(0), at(MINUTES));
        let silent = Signal::new(period, Window::default(), Span::from_mins(15));
        let (concentration, volume) = week(&[]);
        let stretch = |period, volume| Stretch {
            period,
            concentration: &concentration,
            volume,
            moved: &[],
            metered: (0.0, 0.0),
            fills_itself: false,
        };
        let not_known = lost(&stretch(period, &silent), &ERRORS);
        assert_eq!(not_known, Err(NotTold::NotKnown));
        let day = Period::new(at(0), at(1440));
        let too_short = lost(&stretch(day, &volume), &ERRORS);
        assert_eq!(too_short, Err(NotTold::TooShort));
    }
}
