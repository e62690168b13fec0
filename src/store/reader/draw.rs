//! A series in so few points that it can be drawn.

use std::ops::ControlFlow;

use rusqlite::Row;

use crate::engine::QualityClass;
use crate::units::Timestamp;

use super::super::error::StoreError;
use super::super::frontiers::Frontiers;
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

/// Values that are looked at one by one. Choice: some 50 ms; of more, hours are
/// taken where they are fine enough.
const ONE_BY_ONE: i64 = 4_000_000;

/// So many rollups in a span are fine enough.
const FINE: i64 = 4;

/// Lengths of rollups, ms.
const MINUTE: i64 = 60_000;
const HOUR: i64 = 60 * MINUTE;

const HOURS: &str = "SELECT start, min, mean, max, good, count FROM rollups
    WHERE series = ?1 AND step = 3600000 AND start >= ?2 AND start < ?3 ORDER BY start";

const MINUTES: &str = "SELECT hour + 60000 * minute.key,
           iif(minute.type = 'array', json_extract(minute.value, '$[0]'), minute.value),
           iif(minute.type = 'array', json_extract(minute.value, '$[1]'), minute.value),
           iif(minute.type = 'array', json_extract(minute.value, '$[2]'), minute.value),
           iif(minute.type = 'array', json_extract(minute.value, '$[3]'), 1),
           iif(minute.type = 'array', json_extract(minute.value, '$[#-1]'), 1)
    FROM rollup_minutes JOIN json_each(rollup_minutes.body) AS minute
    WHERE series = ?1 AND hour >= ?2 AND hour < ?3 AND minute.type <> 'null'
    ORDER BY hour, minute.key";

impl Reader {
    /// One series with `from <= time < to` in `points` spans of the same
    /// length, by time. Spans without a value are left out. Where there are
    /// millions of values, or they are deleted already, hours or minutes are
    /// taken in place of them if they are fine enough; each counts to the span
    /// in which it begins.
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
        let (begin, end, rollups) = self.rolled_part(series, &drawing, to)?;
        self.draw_values(series, (from, begin), &mut drawing)?;
        let bounds = (series.0, begin.millis(), end.millis());
        if begin < end {
            let mut found = self.list(rollups, bounds, rolled)?;
            if found.is_empty() {
                // Slow series have no minutes.
                found = self.list(HOURS, bounds, rolled)?;
            }
            for rolled in &found {
                drawing.add_rolled(rolled);
            }
        }
        self.draw_values(series, (end, to), &mut drawing)?;
        Ok(drawing.finish())
    }

    fn draw_values(
        &self,
        series: SeriesId,
        (from, to): (Timestamp, Timestamp),
        drawing: &mut Drawing,
    ) -> Result<(), StoreError> {
        self.series_range(series, from, to, |one| {
            let good = one.quality.class() == QualityClass::Good;
            drawing.add(one.time, one.value, good);
            ControlFlow::Continue(())
        })
    }

    /// The part for which rollups are taken, and which.
    fn rolled_part(
        &self,
        series: SeriesId,
        drawing: &Drawing,
        to: Timestamp,
    ) -> Result<(Timestamp, Timestamp, &'static str), StoreError> {
        let (from, to) = (drawing.from, to.millis());
        let frontiers = self.at_once(|transaction| {
            Frontiers::read(transaction).map_err(StoreError::doing("see how far it is packed"))
        })?;
        let values = self.first(
            "SELECT sum(count) FROM blocks WHERE series = ?1 AND first < ?3 AND last >= ?2",
            (series.0, from, to),
            |row| row.get::<_, Option<i64>>(0),
        )?;
        let many = values.flatten().is_some_and(|values| values > ONE_BY_ONE);
        let span = (drawing.length / drawing.points) as i64;
        let (until, rollups) = match span {
            span if many && span >= FINE * HOUR => (frontiers.rolled_to, HOURS),
            span if span >= FINE * HOUR => (frontiers.raw_from, HOURS),
            span if span >= FINE * MINUTE => (frontiers.raw_from, MINUTES),
            _ => (i64::MIN, HOURS),
        };
        let up = |time: i64| {
            time.saturating_add(HOUR - 1)
                .div_euclid(HOUR)
                .saturating_mul(HOUR)
        };
        let begin = up(from).min(to);
        let end = up(until.min(frontiers.rolled_to))
            .min(to.div_euclid(HOUR) * HOUR)
            .max(begin);
        Ok((
            Timestamp::from_millis(begin.max(from)),
            Timestamp::from_millis(end),
            rollups,
        ))
    }
}

/// One minute or hour.
struct Rolled {
    start: Timestamp,
    spread: Option<Spread>,
    good: u64,
    count: u64,
}

fn rolled(row: &Row<'_>) -> rusqlite::Result<Rolled> {
    let (min, mean, max): (Option<f64>, Option<f64>, Option<f64>) =
        (row.get(1)?, row.get(2)?, row.get(3)?);
    let spread = min.zip(mean).zip(max);
    Ok(Rolled {
        start: Timestamp::from_millis(row.get(0)?),
        spread: spread.map(|((min, mean), max)| Spread { min, mean, max }),
        good: row.get::<_, i64>(4)?.cast_unsigned(),
        count: row.get::<_, i64>(5)?.cast_unsigned(),
    })
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
        self.add_rolled(&Rolled {
            start: time,
            spread: good.then_some(Spread {
                min: value,
                mean: value,
                max: value,
            }),
            good: u64::from(good),
            count: 1,
        });
    }

    fn add_rolled(&mut self, rolled: &Rolled) {
        if self.drawn.last().is_none_or(|last| rolled.start >= last.to) {
            self.begin(rolled.start);
        }
        let last = self.drawn.last_mut().expect("one was begun");
        last.count += rolled.count;
        last.good += rolled.good;
        let Some(new) = rolled.spread else { return };
        self.sum += new.mean * rolled.good as f64;
        let known = last.spread.unwrap_or(new);
        last.spread = Some(Spread {
            min: known.min.min(new.min),
            mean: known.mean,
            max: known.max.max(new.max),
        });
    }

    /// Begins the span in which `time` lies.
    fn begin(&mut self, time: Timestamp) {
        let into = i128::from(time.millis() - self.from);
        let place = (into * self.points).div_euclid(self.length);
        self.settle();
        self.drawn.push(Drawn {
            from: self.edge(place),
            to: self.edge(place + 1),
            spread: None,
            good: 0,
            count: 0,
        });
    }

    /// Works out the mean of the last span.
    fn settle(&mut self) {
        if let Some(last) = self.drawn.last_mut()
            && let Some(spread) = &mut last.spread
        {
            spread.mean = self.sum / last.good as f64;
        }
        self.sum = 0.0;
    }

    fn finish(mut self) -> Vec<Drawn> {
        self.settle();
        self.drawn
    }
}
