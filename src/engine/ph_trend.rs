//! The course of pH over the last two weeks, and when it reaches its limit.

use serde::{Deserialize, Serialize};

use crate::model::Outlook;
use crate::rules::LimitLevel;
use crate::signal::{Confidence, theil_sen_per_hour};
use crate::units::{Measured, Quantity, Span, Timestamp};

use super::balance_status::minute;
use super::mean_points::MeanPoints;
use super::watch::SumpWatch;

/// One point stands for so long, and so many are kept: two weeks.
const POINT: Span = Span::from_hours(6);
const POINTS: usize = 56;
/// A slope is told from this many points on: three days.
const LEAST: usize = 12;
/// Nothing is said about what lies further ahead, d.
const HORIZON_DAYS: f64 = 60.0;

/// The course of pH.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct PhTrend {
    #[serde(flatten)]
    course: MeanPoints,
    a_week: Option<Measured>,
}

/// When pH reaches its lower limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PhOutlook {
    /// Its change a week.
    pub a_week: Measured,
    /// Its lower limit.
    pub limit: f64,
    /// When it reaches that.
    pub reaches: Outlook,
}

impl PhTrend {
    /// Takes in pH as it is now.
    pub(super) fn step(&mut self, time: Timestamp, ph: f64) {
        if self.course.step(time, ph, POINT, POINTS) {
            self.find_slope();
        }
    }

    /// The fluid is another: its course begins anew.
    pub(super) fn begin_anew(&mut self) {
        *self = PhTrend::default();
    }

    /// The change a week.
    pub(super) fn a_week(&self) -> Option<Measured> {
        self.a_week
    }

    fn find_slope(&mut self) {
        if self.course.len() < LEAST {
            return;
        }
        let points = self.course.since(Timestamp::MIN);
        let trend = theil_sen_per_hour(&points, Confidence::Ninety).ok();
        let hourly = trend.map(|trend| trend.slope_measured());
        self.a_week =
            hourly.map(|slope| Measured::new(168.0 * slope.value, 168.0 * slope.uncertainty));
    }
}

impl SumpWatch {
    /// When pH reaches its lower limit, if it surely falls.
    pub(super) fn ph_outlook(&self) -> Option<PhOutlook> {
        let a_week = self.ph_trend.a_week()?;
        let now = self.signal(Quantity::Ph)?;
        let mut limits = self.setup.limits.iter();
        let limit =
            limits.find(|one| one.signal == Quantity::Ph && one.level == LimitLevel::Low)?;
        let (steepest, flattest) = a_week.interval_90();
        let days = |slope: f64| (now - limit.threshold) / -slope * 7.0;
        if flattest >= 0.0 || now <= limit.threshold || days(a_week.value) > HORIZON_DAYS {
            return None;
        }
        let at = |days: f64| self.now + Span::from_millis((days * 86_400_000.0) as i64);
        let latest = days(flattest);
        Some(PhOutlook {
            a_week,
            limit: limit.threshold,
            reaches: Outlook {
                time: at(days(a_week.value)),
                earliest: at(days(steepest)),
                latest: (latest <= HORIZON_DAYS).then(|| at(latest)),
            },
        })
    }
}

impl PhOutlook {
    pub(super) fn in_words(&self) -> String {
        format!(
            "pH falls by {:.2} a week and reaches {:.1} about {} (not before {}).",
            -self.a_week.value,
            self.limit,
            minute(self.reaches.time),
            minute(self.reaches.earliest)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_fall_is_found_and_a_constant_ph_has_none() {
        let start = Timestamp::from_millis(1_772_409_600_000);
        let slope = |a_day: f64| {
            let mut trend = PhTrend::default();
            for hour in 0..(10 * 24) {
                let wave = 0.02 * f64::from(hour % 7);
                let ph = 9.2 + a_day * f64::from(hour) / 24.0 + wave;
                trend.step(start + Span::from_hours(i64::from(hour)), ph);
            }
            trend.a_week().unwrap()
        };
        let falling = slope(-0.03);
        assert!((falling.value + 0.21).abs() < 0.02, "{falling:?}");
        assert!(falling.interval_90().1 < 0.0);
        let constant = slope(0.0).interval_90();
        assert!(constant.0 < 0.0 && constant.1 > 0.0, "{constant:?}");
    }
}
