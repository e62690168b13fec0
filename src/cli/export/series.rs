//! The series, one after the other, by sump, channel and kind.

use std::ops::ControlFlow;

use super::sink::{ReadingSink, RollupSink, WriteError};
use super::{Count, ExportFault, Job, all_known};
use crate::store::{RollupStep, StoredSeries};

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
    let mut count = Count::NONE;
    for (place, one) in series.iter().enumerate() {
        sink.begin(one);
        let mut fault = None;
        let (reader, from, to) = (job.reader, job.from, job.to);
        reader.series_range(one.id, from, to, |reading| {
            count.note(reading.time);
            let written = sink.reading(reading).map_err(failed).and_then(|()| {
                if !count.rows.is_multiple_of(TOLD_EVERY) {
                    return Ok(());
                }
                let share = job.share(reading.time, kept);
                job.at((place as f64 + share) / series.len() as f64)
            });
            match written {
                Ok(()) => ControlFlow::Continue(()),
                Err(why) => {
                    fault = Some(why);
                    ControlFlow::Break(())
                }
            }
        })?;
        if let Some(fault) = fault {
            return Err(fault);
        }
        job.at((place + 1) as f64 / series.len() as f64)?;
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
    let mut count = Count::NONE;
    for (place, one) in series.iter().enumerate() {
        for step in steps {
            sink.begin(one, *step);
            let mut fault = None;
            let (from, to) = (job.from, job.to);
            job.reader.rollups(one.id, *step, from, to, |rollup| {
                count.note(rollup.start);
                match sink.rollup(rollup).map_err(failed) {
                    Ok(()) if !job.stopped.now() => ControlFlow::Continue(()),
                    Ok(()) => ControlFlow::Break(()),
                    Err(why) => {
                        fault = Some(why);
                        ControlFlow::Break(())
                    }
                }
            })?;
            if let Some(fault) = fault {
                return Err(fault);
            }
        }
        job.at((place + 1) as f64 / series.len() as f64)?;
    }
    sink.end().map_err(failed)?;
    Ok(count)
}
