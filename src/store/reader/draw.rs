//! A series in so few points that it can be drawn.

use std::ops::ControlFlow;

use crate::engine::QualityClass;
use crate::units::Timestamp;

use super::super::error::StoreError;
use super::super::series::SeriesId;
use super::Reader;

/// What a series was in a span of time. Lowest, highest and mean value are
/// those of its good values, and missing where it has none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drawn {
    /// Begin of the span.
    pub from: Timestamp,
    /// Its end, which is not in it.
    pub to: Timestamp,
    /// Lowest, mean and highest good value in the series' unit.
    pub spread: Option<Spread>,
    /// Good values.
    pub good: u64,
    /// Values of any quality.
    pub count: u64,
}

/// How the good values of a span spread, in the series' unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// The lowest.
    pub min: f64,
    /// The arithmetic mean.
    pub mean: f64,
    /// The highest.
    pub max: f64,
}

impl Reader {
    /// One series with `from <= time < to` in `points` spans of the same
    /// length, by time. Spans without a value are left out.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn draw(
        &self,
        series: SeriesId,
        from: Timestamp,
        to: Timestamp,
        points: usize,
    ) -> Result<Vec<Drawn>, StoreError> {
        let mut drawing = Drawing::new(from, to, points);
        self.series_range(series, from, to, |one| {
            let good = one.quality.class() == QualityClass::Good;
            drawing.add(one.time, one.value, good);
            ControlFlow::Continue(())
        })?;
        Ok(drawing.finish())
    }
}

/// Collects values into spans.
struct Drawing {
    from: i64,
    /// Length of all spans together, ms, at least 1.
    length: i128,
    points: i128,
    drawn: Vec<Drawn>,
    /// Sum of the last span's good values.
    sum: f64,
}

impl Drawing {
    fn new(from: Timestamp, to: Timestamp, points: usize) -> Self {
        Drawing {
            from: from.millis(),
            length: i128::from((to.millis() - from.millis()).max(1)),
            points: points.max(1) as i128,
            drawn: Vec::new(),
            sum: 0.0,
        }
    }

    /// Where a span begins.
    fn edge(&self, place: i128) -> Timestamp {
        let into = (place * self.length + self.points - 1).div_euclid(self.points);
        Timestamp::from_millis(self.from + i64::try_from(into).expect("lies in the time asked for"))
    }

    fn add(&mut self, time: Timestamp, value: f64, good: bool) {
        if self.drawn.last().is_none_or(|last| time >= last.to) {
            self.begin(time);
        }
        let last = self.drawn.last_mut().expect("one was begun");
        last.count += 1;
        if good {
            last.good += 1;
            self.sum += value;
            let (min, max) = last.spread.map_or((value, value), |s| (s.min, s.max));
            last.spread = Some(Spread {
                min: min.min(value),
                mean: self.sum / last.good as f64,
                max: max.max(value),
            });
        }
    }

    /// Begins the span in which `time` lies.
    fn begin(&mut self, time: Timestamp) {
        let into = i128::from(time.millis() - self.from);
        let place = (into * self.points).div_euclid(self.length);
        self.sum = 0.0;
        self.drawn.push(Drawn {
            from: self.edge(place),
            to: self.edge(place + 1),
            spread: None,
            good: 0,
            count: 0,
        });
    }

    fn finish(self) -> Vec<Drawn> {
        self.drawn
    }
}
