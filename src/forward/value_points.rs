//! Readings and estimates as points.

use std::collections::HashMap;

use crate::store::{SeriesId, SeriesKind, StoredReading, StoredSeries};

use super::line::{self, Head};
use super::lines::Lines;

/// What one target gets of the series, each with the beginning of its lines.
#[derive(Debug, Default)]
pub struct ValuePoints {
    heads: HashMap<SeriesId, Head>,
}

impl ValuePoints {
    /// For the series of a plant that are wanted.
    pub fn new<'a>(
        plant: &str,
        series: impl IntoIterator<Item = &'a StoredSeries>,
        is_wanted: impl Fn(&StoredSeries) -> bool,
    ) -> Self {
        let wanted = series.into_iter().filter(|series| is_wanted(series));
        let heads = wanted.map(|series| {
            let measurement = match series.kind {
                SeriesKind::Reading => "reading",
                SeriesKind::Estimate => "estimate",
            };
            let head = Head::new(measurement)
                .tag("plant", plant)
                .tag("sump", &series.sump)
                .tag("channel", &series.channel)
                .tag("quantity", &series.quantity)
                .tag("unit", &series.unit);
            (series.id, head)
        });
        ValuePoints {
            heads: heads.collect(),
        }
    }

    /// Values as lines, in their order; those of series that are not wanted are
    /// left out, what is no number is counted.
    pub fn lines(&self, values: &[StoredReading], not_finite: &mut u64) -> Lines {
        let mut text = Vec::with_capacity(128 * values.len());
        let mut ends = Vec::with_capacity(values.len());
        for value in values {
            let Some(head) = self.heads.get(&value.series) else {
                continue;
            };
            let fields = [
                ("value", value.value),
                ("marks", f64::from(value.quality.bits())),
            ];
            let fields = if value.quality.bits() == 0 {
                &fields[..1]
            } else {
                &fields[..]
            };
            if line::write(&mut text, head, fields, value.time, not_finite) {
                ends.push(text.len());
            }
        }
        Lines::new(text, ends)
    }
}
