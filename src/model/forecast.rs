//! When a sump reaches its limits if nobody does anything, and what it wants
//! then.
//!
//! From the losses, not from a line through readings: the volume falls by E + D
//! and the concentration rises as c₀·(V₀/V)^(E/(E+D)) ([`super::drift`]), in
//! mean days first. Where the plant's shifts are known, it is then looked up
//! when as much is lost: little in nights and over weekends. Each time comes
//! with the interval that holds it in nine of ten cases.

use serde::Serialize;

use crate::units::{Concentration, LossRate, Measured, Span, Timestamp, Volume};

use super::drift::Drift;
use super::loss_rates::LossRates;
use super::losses::Losses;
use super::mix::Mix;
use super::shift_pattern::ShiftPattern;
use super::state::UNEVENNESS;

/// Nothing is said about what lies further ahead, d (choice: a quarter; losses
/// change with the seasons).
const HORIZON_DAYS: f64 = 90.0;

/// So far ahead it is looked up when people work, beyond it days count as mean
/// ones (choice: two weeks hold a weekend and most shut-downs, and cost little).
const BY_CALENDAR: Span = Span::from_hours(14 * 24);

/// Premixes whose strengths differ by less are as strong, points. Choice: half
/// of the digit that is shown.
const AS_STRONG: f64 = 0.05;

/// Where a sump stands, and where it must not go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForecastCase {
    /// The time of all this.
    pub now: Timestamp,
    /// Volume, L.
    pub volume_l: Measured,
    /// Concentration, %.
    pub concentration_pct: Measured,
    /// The volume at which it is topped up at the latest, L.
    pub lowest_l: f64,
    /// Highest concentration wanted, %.
    pub highest_pct: f64,
    /// The volume that it is topped up to, L.
    pub full_l: f64,
    /// The concentration that it is to have then, %.
    pub target_pct: f64,
    /// No premix is made up stronger than this, %.
    pub strongest_pct: f64,
}

/// What comes if nobody does anything.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Forecast {
    /// When the volume has fallen to its limit.
    pub low_volume: Option<Outlook>,
    /// When the concentration has risen to its limit.
    pub high_concentration: Option<Outlook>,
    /// The top-up that is wanted when the volume has fallen to its limit.
    pub top_up: Option<TopUp>,
}

/// A time to come.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Outlook {
    /// When, most probably.
    pub time: Timestamp,
    /// Not before, in nineteen of twenty cases.
    pub earliest: Timestamp,
    /// Not after, in nineteen of twenty cases; none where that lies beyond the
    /// horizon.
    pub latest: Option<Timestamp>,
}

/// The next top-up.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TopUp {
    /// When at the latest.
    pub by: Outlook,
    /// How much, L.
    pub litres: f64,
    /// The strength that brings the sump to its target, or as near to it as a
    /// premix can, %; 0 is water alone.
    pub strength_pct: f64,
    /// Whether that brings the sump to its target; where not, it takes a dose.
    pub reaches_target: bool,
}

/// What comes if nobody does anything, in a plant that works in these shifts,
/// where that is known; none where the losses forbid a word.
pub fn forecast(
    case: &ForecastCase,
    losses: &Losses,
    shifts: Option<&ShiftPattern>,
) -> Option<Forecast> {
    let course = Course::new(case.now, losses, shifts);
    let until_low = days_to_volume(case, losses.both_l_per_d);
    let low_volume = until_low.and_then(|days| course.outlook(days));
    let high_concentration =
        days_to_concentration(case, losses).and_then(|days| course.outlook(days));
    let top_up = until_low.zip(low_volume).and_then(|(days, by)| {
        let drift = drift(case, losses, 0.0)?;
        let then = drift.after(span_of(days.value)).ok()?;
        TopUp::of(case, then, by)
    });
    Some(Forecast {
        low_volume,
        high_concentration,
        top_up,
    })
}

impl TopUp {
    /// What fills a sump up from where it stands then; none where it is full.
    /// By the balance of concentrate, p = (cₜVₜ − cV)/(Vₜ − V); worked out here.
    fn of(case: &ForecastCase, then: Mix, by: Outlook) -> Option<Self> {
        let volume = then.volume.litres();
        let litres = case.full_l - volume;
        let missing = case.target_pct * case.full_l - then.concentration.percent() * volume;
        let wanted = missing / litres;
        let strength_pct = wanted.clamp(0.0, case.strongest_pct.max(0.0));
        (litres > 0.0).then(|| TopUp {
            by,
            litres,
            strength_pct,
            reaches_target: (wanted - strength_pct).abs() <= AS_STRONG,
        })
    }
}

/// How much is lost by when.
struct Course {
    /// Times, and what is lost by then, L; straight in between.
    points: Vec<(Timestamp, f64)>,
    /// After the last one, L/d.
    a_day: f64,
}

impl Course {
    fn new(now: Timestamp, losses: &Losses, shifts: Option<&ShiftPattern>) -> Self {
        let mut course = Course {
            points: vec![(now, 0.0)],
            a_day: losses.both_l_per_d.value,
        };
        if let Some((shifts, at_rest)) = shifts.zip(losses.evaporation_at_rest_l_per_h) {
            let evaporation = losses.evaporation_at_work_l_per_h.value;
            let at_work = evaporation + losses.carry_off_at_work_l_per_h.value;
            let end = now + BY_CALENDAR;
            for (begin, over) in shifts.worked_between(now, end) {
                course.go_on(begin, at_rest.value);
                course.go_on(over, at_work);
            }
            course.go_on(end, at_rest.value);
        }
        course
    }

    fn go_on(&mut self, to: Timestamp, litres_per_hour: f64) {
        let (from, lost) = self.last();
        let hours = (to - from).secs_f64() / 3600.0;
        self.points
            .push((to, lost + hours * litres_per_hour.max(0.0)));
    }

    fn last(&self) -> (Timestamp, f64) {
        self.points[self.points.len() - 1]
    }

    /// When as much is lost as in so many mean days.
    fn when(&self, days: f64) -> Timestamp {
        let litres = days.max(0.0) * self.a_day;
        let on_the_way = self.points.windows(2).find(|pair| litres < pair[1].1);
        if let Some(&[(begin, before), (end, after)]) = on_the_way {
            let share = (litres - before) / (after - before);
            return begin + Span::from_millis((share * (end - begin).millis() as f64) as i64);
        }
        let (time, lost) = self.last();
        time + span_of((litres - lost) / self.a_day)
    }

    fn outlook(&self, days: Measured) -> Option<Outlook> {
        let (low, high) = days.interval_90();
        (days.value <= HORIZON_DAYS).then(|| Outlook {
            time: self.when(days.value),
            earliest: self.when(low),
            latest: (high <= HORIZON_DAYS).then(|| self.when(high)),
        })
    }
}

fn span_of(days: f64) -> Span {
    Span::from_millis((days.max(0.0) * 86_400_000.0) as i64)
}

/// t = (V − V_min)/(E + D), with the uncertainty of both.
fn days_to_volume(case: &ForecastCase, both: Measured) -> Option<Measured> {
    if both.value <= 0.0 {
        return None;
    }
    let days = (case.volume_l.value - case.lowest_l) / both.value;
    let by_volume = case.volume_l.uncertainty / both.value;
    let by_rate = days * both.uncertainty / both.value;
    let doubt = by_volume.hypot(by_rate).hypot(uneven(days));
    Some(Measured::new(days, doubt))
}

/// How far what is lost in so many days will be off the mean by chance, d:
/// hours differ from one to the next as the balance takes them to.
fn uneven(days: f64) -> f64 {
    UNEVENNESS * (days.max(0.0) / 24.0).sqrt()
}

/// By the concentration's own uncertainty, the share of evaporation in what is
/// lost, and all that is lost: how far the time moves when each moves by its
/// uncertainty.
fn days_to_concentration(case: &ForecastCase, losses: &Losses) -> Option<Measured> {
    let days = |shift: f64, off: f64| {
        let mut case = *case;
        case.concentration_pct.value -= off;
        let highest = Concentration::from_percent(case.highest_pct);
        drift(&case, losses, shift)?
            .days_to_concentration(highest)
            .ok()?
    };
    let at = days(0.0, 0.0)?;
    let moved = |other: Option<f64>| other.map_or(at, |other| (other - at).abs());
    let by_share = moved(days(-1.0, 0.0));
    let by_concentration = moved(days(0.0, case.concentration_pct.uncertainty));
    let both = losses.both_l_per_d;
    let by_rate = at * both.uncertainty / both.value;
    Some(Measured::new(
        at,
        by_share
            .hypot(by_concentration)
            .hypot(by_rate)
            .hypot(uneven(at)),
    ))
}

/// The drift without top-up, with the evaporation's share moved by so many of
/// its uncertainties.
fn drift(case: &ForecastCase, losses: &Losses, shift: f64) -> Option<Drift> {
    let both = losses.both_l_per_d.value;
    let evaporation = losses.evaporation_l_per_d;
    let evaporation =
        (evaporation.value + shift * evaporation.uncertainty).clamp(0.01 * both, both);
    let rate = LossRate::from_litres_per_day;
    let rates = LossRates::new(rate(evaporation), rate(both - evaporation)).ok()?;
    let start = Mix::new(
        Volume::from_litres(case.volume_l.value),
        Concentration::from_percent(case.concentration_pct.value),
    );
    Drift::new(start, rates).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Shift;

    const NOW: Timestamp = Timestamp::from_millis(1_772_409_600_000);

    fn losses(evaporation: f64, carry_off: f64, uncertainty: f64) -> Losses {
        let rate = |value| Measured::new(value, uncertainty * value);
        Losses {
            evaporation_l_per_d: rate(evaporation),
            carry_off_l_per_d: rate(carry_off),
            both_l_per_d: rate(evaporation + carry_off),
            evaporation_at_work_l_per_h: rate(evaporation / 24.0),
            evaporation_at_rest_l_per_h: None,
            carry_off_at_work_l_per_h: rate(carry_off / 24.0),
            working_hours_a_day: 24.0,
        }
    }

    fn case() -> ForecastCase {
        ForecastCase {
            now: NOW,
            volume_l: Measured::new(1000.0, 0.0),
            concentration_pct: Measured::new(6.0, 0.0),
            lowest_l: 700.0,
            highest_pct: 8.0,
            full_l: 1000.0,
            target_pct: 6.0,
            strongest_pct: 20.0,
        }
    }

    fn days(outlook: Option<Outlook>) -> f64 {
        (outlook.unwrap().time - NOW).secs_f64() / 86_400.0
    }

    #[test]
    fn agrees_with_the_check_table() {
        // mass_balance_misc.csv: drift_time_to_level and drift_time_to_conc.
        let forecast = forecast(&case(), &losses(40.0, 15.0, 0.0), None).unwrap();
        assert!((days(forecast.low_volume) - 5.454_545).abs() < 1e-5);
        assert!((days(forecast.high_concentration) - 5.939_982).abs() < 1e-5);
    }

    #[test]
    fn over_a_weekend_little_is_lost() {
        let shift = Shift::parse("mon-fri 06:00-22:00").unwrap();
        let shifts = ShiftPattern::new(jiff::tz::TimeZone::UTC, &[shift], &[]).unwrap();
        let rate = |value| Measured::new(value, 0.0);
        // 16 h of 3 L/h on five days and 0.5 L/h the rest of the week.
        let a_day = (80.0 * 3.0 + 88.0 * 0.5) / 7.0;
        let losses = Losses {
            both_l_per_d: rate(a_day),
            evaporation_at_work_l_per_h: rate(2.0),
            evaporation_at_rest_l_per_h: Some(rate(0.5)),
            carry_off_at_work_l_per_h: rate(1.0),
            ..losses(0.7 * a_day, 0.3 * a_day, 0.0)
        };
        let days = |hours_of_friday: i64, litres: f64| {
            let case = ForecastCase {
                now: NOW + Span::from_hours(4 * 24 + hours_of_friday),
                lowest_l: 1000.0 - litres,
                ..case()
            };
            let low = forecast(&case, &losses, Some(&shifts)).unwrap().low_volume;
            (low.unwrap().time - case.now).secs_f64() / 86_400.0
        };
        // From Friday 22:00 to Monday 06:00, 56 h, 28 L are lost; each further
        // three take an hour.
        assert!((days(22, 34.0) - 58.0 / 24.0).abs() < 1e-6);
        // On Friday at 12:00 ten working hours are left.
        assert!((days(12, 15.0) - 5.0 / 24.0).abs() < 1e-6);
        // Beyond the calendar's two weeks days count as mean ones.
        let two_weeks = 14.0 * a_day;
        assert!((days(12, two_weeks + 3.0 * a_day) - 17.0).abs() < 1e-6);
    }

    #[test]
    fn the_top_up_brings_the_sump_to_its_target() {
        let forecast = forecast(&case(), &losses(40.0, 15.0, 0.0), None).unwrap();
        let top_up = forecast.top_up.unwrap();
        assert!((top_up.litres - 300.0).abs() < 1e-3);
        // By then 60 L of concentrate less 15 L/d of mix at the mean strength.
        let then = 6.0 * (1000.0f64 / 700.0).powf(40.0 / 55.0) * 7.0;
        assert!((top_up.strength_pct - (6000.0 - 100.0 * then) / 300.0).abs() < 1e-3);
        assert!(top_up.reaches_target);
    }

    #[test]
    fn no_top_up_is_stronger_than_a_premix_may_be() {
        let top_up = |concentration: f64, strongest_pct: f64| {
            let case = ForecastCase {
                concentration_pct: Measured::new(concentration, 0.0),
                strongest_pct,
                ..case()
            };
            let forecast = forecast(&case, &losses(40.0, 15.0, 0.0), None).unwrap();
            let top_up = forecast.top_up.unwrap();
            (top_up.strength_pct, top_up.reaches_target)
        };
        // 300 L would have to be of 20 - c · 7/3 · (10/7)^(40/55) %: 17.0 % at 1 %.
        assert!(top_up(1.0, 20.0).1);
        assert_eq!(top_up(1.0, 15.0), (15.0, false));
        // Too rich for water to thin it in the room that there is.
        assert_eq!(top_up(7.0, 20.0), (0.0, false));
    }

    #[test]
    fn what_is_less_known_lies_in_a_wider_interval() {
        let width = |uncertainty| {
            let forecast = forecast(&case(), &losses(40.0, 15.0, uncertainty), None).unwrap();
            let outlook = forecast.low_volume.unwrap();
            (outlook.latest.unwrap() - outlook.earliest).secs_f64()
        };
        assert!(width(0.1) > 1.9 * width(0.05));
    }

    #[test]
    fn beyond_the_horizon_nothing_is_said() {
        let forecast = forecast(&case(), &losses(1.0, 0.5, 0.05), None).unwrap();
        assert_eq!(forecast.low_volume, None);
    }
}
