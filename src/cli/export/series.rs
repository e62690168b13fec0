//! The series, one after the other, by sump, channel and kind.

use std::ops::ControlFlow;

use super::sink::{ReadingSink, RollupSink, WriteError};
use super::{Count, ExportFault, Job, all_known};
use crate::store::{RollupStep, StoreError, StoredReading, StoredRollup, StoredSeries};

/// How far it has come is told after so many values.
const TOLD_EVERY: u64 = 10_000;

/// The series that are asked for.
pub(super) fn asked(
    job: &Job<'_>,
    channels: &[String],
    kinds: &[&str],
) -> Result<Vec<StoredSeries>, ExportFault> {
    let mut all = job.reader.all_series()?;
    all.sort_by(|a, b| {
        let key = |one: &StoredSeries| (one.sump.clone(), one.channel.clone(), one.kind.name());
        key(a).cmp(&key(b))
    });
    all_known("sump", job.sumps, all.iter().map(|one| one.sump.as_str()))?;
    let of_sumps = || all.iter().filter(|one| job.wants(&one.sump));
    let names = of_sumps().map(|one| one.channel.as_str());
    all_known("channel", channels, names)?;
    let wanted = of_sumps().filter(|one| {
        (channels.is_empty() || channels.contains(&one.channel))
            && (kinds.is_empty() || kinds.contains(&one.kind.name()))
    });
    Ok(wanted.cloned().collect())
}

/// Writes them.
pub(super) fn export(
    job: &mut Job<'_>,
    series: &[StoredSeries],
    mut sink: Box<dyn ReadingSink + '_>,
    failed: &impl Fn(WriteError) -> ExportFault,
) -> Result<Count, ExportFault> {
    let kept = job.reader.value_times()?;
    let (reader, from, to) = (job.reader, job.from, job.to);
    let mut count = Count::NONE;
    for (place, one) in series.iter().enumerate() {
        sink.begin(one);
        each(
            |row| reader.series_range(one.id, from, to, row),
            |reading: &StoredReading| {
                count.note(reading.time);
                sink.reading(reading).map_err(failed)?;
                if count.rows.is_multiple_of(TOLD_EVERY) {
                    let share = job.share(reading.time, kept);
                    job.work.at((place as f64 + share) / series.len() as f64)?;
                }
                Ok(())
            },
        )?;
        job.work.at((place + 1) as f64 / series.len() as f64)?;
    }
    sink.end().map_err(failed)?;
    Ok(count)
}

/// Writes their rollups, of each series the shortest steps first.
pub(super) fn export_rollups(
    job: &mut Job<'_>,
    series: &[StoredSeries],
    steps: &[RollupStep],
    mut sink: Box<dyn RollupSink + '_>,
    failed: &impl Fn(WriteError) -> ExportFault,
) -> Result<Count, ExportFault> {
    let (reader, from, to) = (job.reader, job.from, job.to);
    let mut count = Count::NONE;
    for (place, one) in series.iter().enumerate() {
        for step in steps {
            sink.begin(one, *step);
            each(
                |row| reader.rollups(one.id, *step, from, to, row),
                |rollup: &StoredRollup| {
                    count.note(rollup.start);
                    sink.rollup(rollup).map_err(failed)?;
                    Ok(job.work.goes_on()?)
                },
            )?;
        }
        job.work.at((place + 1) as f64 / series.len() as f64)?;
    }
    sink.end().map_err(failed)?;
    Ok(count)
}

/// Hands each row that `read` finds to `take`, until that fails.
fn each<T>(
    read: impl FnOnce(&mut dyn FnMut(&T) -> ControlFlow<()>) -> Result<(), StoreError>,
    mut take: impl FnMut(&T) -> Result<(), ExportFault>,
) -> Result<(), ExportFault> {
    let mut taken = Ok(());
    read(&mut |row| {
        taken = take(row);
        match taken {
            Ok(()) => ControlFlow::Continue(()),
            Err(_) => ControlFlow::Break(()),
        }
    })?;
    taken
}
