//! How the signals of a sump go over the last day, beside what doses do.

use serde::{Deserialize, Serialize};

use crate::rules::causes::Course;
use crate::signal::{Confidence, theil_sen_per_hour};
use crate::units::{Measured, Quantity, Span, Timestamp};

use super::mean_points::MeanPoints;
use super::watch::SumpWatch;

/// One point stands for so long, and so many are kept: a day.
const POINT: Span = Span::from_mins(30);
const POINTS: usize = 48;
/// A course is told from this many points on: three hours.
const LEAST: usize = 6;

/// The course of one signal: fixed memory, taken once.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct SignalCourse(MeanPoints);

/// The courses of a sump.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Courses {
    concentration: SignalCourse,
    volume: SignalCourse,
    ph: SignalCourse,
    conductivity: SignalCourse,
    temperature: SignalCourse,
}

/// The straight line through a course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CourseTrend {
    /// Change a day, in the signal's unit.
    pub(super) a_day: Measured,
    /// Over so many hours.
    pub(super) over_h: f64,
}

impl SignalCourse {
    fn step(&mut self, time: Timestamp, value: f64) {
        self.0.step(time, value, POINT, POINTS);
    }

    fn begin_anew(&mut self) {
        self.0.begin_anew();
    }

    /// Its trend over the points since then.
    fn trend(&self, since: Timestamp) -> Option<CourseTrend> {
        let points = self.0.since(since);
        let (first, last) = (points.first()?.0, points.last()?.0);
        if points.len() < LEAST {
            return None;
        }
        let trend = theil_sen_per_hour(&points, Confidence::Ninety).ok()?;
        let hourly = trend.slope_measured();
        Some(CourseTrend {
            a_day: Measured::new(24.0 * hourly.value, 24.0 * hourly.uncertainty),
            over_h: (last - first).secs_f64() / 3600.0,
        })
    }
}

impl CourseTrend {
    /// How it goes: surely, and by more than `telling` over its time.
    fn course(&self, telling: f64) -> Course {
        let (low, high) = self.a_day.interval_90();
        let moved = self.a_day.value * self.over_h / 24.0;
        if low > 0.0 && moved > telling {
            Course::Rising
        } else if high < 0.0 && moved < -telling {
            Course::Falling
        } else {
            Course::Steady
        }
    }
}

impl Courses {
    /// Something went in or out: what was before says nothing of what follows.
    pub(super) fn disturbed(&mut self) {
        self.concentration.begin_anew();
        self.volume.begin_anew();
        self.ph.begin_anew();
        self.conductivity.begin_anew();
    }

    fn of(&self, signal: Quantity) -> Option<&SignalCourse> {
        match signal {
            Quantity::Concentration => Some(&self.concentration),
            Quantity::Volume => Some(&self.volume),
            Quantity::Ph => Some(&self.ph),
            Quantity::Conductivity => Some(&self.conductivity),
            Quantity::Temperature => Some(&self.temperature),
            _ => None,
        }
    }
}

/// Changes of a signal by less tell nothing. Choice: twice what good instruments
/// are good to; of the volume a half per cent.
const fn telling(signal: Quantity) -> f64 {
    match signal {
        Quantity::Concentration => 0.2,
        Quantity::Ph => 0.1,
        Quantity::Conductivity => 100.0,
        _ => 2.0,
    }
}

impl SumpWatch {
    /// Takes the signals in as they are now; what mixes in, and what stands, is not
    /// the sump's mix.
    pub(super) fn follow_courses(&mut self) {
        if self.dosing.mixing_until.is_some() {
            self.courses.disturbed();
            return;
        }
        if self.pumps_run() == Some(false) {
            return;
        }
        let now = self.now;
        let [concentration, volume, ph, conductivity, temperature] = [
            Quantity::Concentration,
            Quantity::Volume,
            Quantity::Ph,
            Quantity::Conductivity,
            Quantity::Temperature,
        ]
        .map(|signal| self.signal(signal));
        let courses = &mut self.courses;
        for (course, value) in [
            (&mut courses.concentration, concentration),
            (&mut courses.volume, volume),
            (&mut courses.ph, ph),
            (&mut courses.conductivity, conductivity),
            (&mut courses.temperature, temperature),
        ] {
            if let Some(value) = value {
                course.step(now, value);
            }
        }
    }

    /// The signal's trend over the last hours.
    pub(super) fn trend_of(&self, signal: Quantity, over: Span) -> Option<CourseTrend> {
        self.courses.of(signal)?.trend(self.now - over)
    }

    /// How the signal goes.
    pub(super) fn course_of(&self, signal: Quantity) -> Course {
        let telling = match signal {
            Quantity::Volume => 0.005 * self.setup.working_volume.litres(),
            other => telling(other),
        };
        let trend = self.trend_of(signal, Span::from_hours(24));
        trend.map_or(Course::Unknown, |trend| trend.course(telling))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course(a_day: f64, hours: i64) -> SignalCourse {
        let start = Timestamp::from_millis(1_772_409_600_000);
        let mut course = SignalCourse::default();
        for five in 0..(12 * hours) {
            let wave = 0.02 * (five % 5) as f64;
            let value = 8.0 + a_day * five as f64 / 288.0 + wave;
            course.step(start + Span::from_mins(5 * five), value);
        }
        course
    }

    #[test]
    fn a_fall_is_told_and_a_wave_is_not() {
        let all = Timestamp::from_millis(0);
        let trend = course(-3.0, 12).trend(all).unwrap();
        assert!((trend.a_day.value + 3.0).abs() < 0.1, "{trend:?}");
        assert_eq!(trend.course(0.2), Course::Falling);
        assert_eq!(
            course(0.0, 12).trend(all).unwrap().course(0.2),
            Course::Steady
        );
        assert_eq!(
            course(3.0, 12).trend(all).unwrap().course(0.2),
            Course::Rising
        );
        assert_eq!(course(-3.0, 2).trend(all), None, "two hours are too few");
    }

    #[test]
    fn its_memory_is_a_day() {
        let mut kept = course(0.0, 100);
        assert_eq!(kept.0.len(), POINTS);
        kept.begin_anew();
        assert_eq!(kept.trend(Timestamp::from_millis(0)), None);
    }
}
