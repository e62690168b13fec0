//! Rows of history against the plant: which series they belong to, or why they
//! are not taken.

use std::collections::HashMap;
use std::sync::Arc;

use super::shape::{HistoryRow, RowRefused, SumpShape};
use crate::engine::{AdmissionSetup, ChannelSetup, Quality, Sample, SumpSetup};
use crate::ingest::decode::{QualityError, decode_quality};
use crate::ingest::recent::fnv1a;
use crate::settings::nearest;
use crate::units::{Span, Timestamp};

/// Why a row is not taken.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(super) enum RowError {
    #[error("there is no sump \"{found}\"{}", meant(near))]
    Sump { found: String, near: Option<String> },
    #[error("sump {sump} has no channel \"{found}\"{}", meant(near))]
    Channel {
        sump: String,
        found: String,
        near: Option<String>,
    },
    #[error(transparent)]
    Quality(#[from] QualityError),
    #[error("its time {time} is yet to come; it is {now} now")]
    Future { time: Timestamp, now: Timestamp },
    #[error(
        "its time {time} is within the last {late_after} (late_after under [admission]), which belong to the live readings; import it once it is older"
    )]
    Live { time: Timestamp, late_after: Span },
}

fn meant(near: &Option<String>) -> String {
    near.as_ref()
        .map(|near| format!("; did you mean \"{near}\"?"))
        .unwrap_or_default()
}

/// The rows as samples, marked late, and those that are none.
pub(super) fn samples(
    rows: &[HistoryRow],
    sumps: &[Arc<SumpSetup>],
    admission: &AdmissionSetup,
    arrival: Timestamp,
) -> (Vec<Sample>, Vec<RowRefused>) {
    let by_name: HashMap<&str, &SumpSetup> =
        sumps.iter().map(|sump| (&*sump.name, &**sump)).collect();
    let mut samples = Vec::with_capacity(rows.len());
    let mut refused = Vec::new();
    for (place, row) in rows.iter().enumerate() {
        match sample(row, &by_name, admission, arrival) {
            Ok(sample) => samples.push(sample),
            Err(why) => refused.push(RowRefused {
                row: place,
                why: why.to_string(),
            }),
        }
    }
    (samples, refused)
}

fn sample(
    row: &HistoryRow,
    sumps: &HashMap<&str, &SumpSetup>,
    admission: &AdmissionSetup,
    arrival: Timestamp,
) -> Result<Sample, RowError> {
    let channel = channel(row, sumps)?;
    of_the_past(row.time, admission.late_after, arrival)?;
    let marks = decode_quality(row.quality.as_deref().unwrap_or_default())?;
    let (lowest, highest) = channel.plausible;
    let found = if (lowest..=highest).contains(&row.value) {
        Quality::LATE
    } else {
        Quality::LATE.with(Quality::OUT_OF_RANGE)
    };
    Ok(Sample {
        series: channel.series,
        time: row.time,
        value: row.value,
        quality: marks.with(found),
        delay: arrival - row.time,
    })
}

/// What a live reading may still stand at is kept free for it: the first value
/// at a time stays, and a live one would then count as known.
fn of_the_past(time: Timestamp, late_after: Span, now: Timestamp) -> Result<(), RowError> {
    if time > now {
        return Err(RowError::Future { time, now });
    }
    if time >= now - late_after {
        return Err(RowError::Live { time, late_after });
    }
    Ok(())
}

fn channel<'s>(
    row: &HistoryRow,
    sumps: &HashMap<&str, &'s SumpSetup>,
) -> Result<&'s ChannelSetup, RowError> {
    let sump = *sumps.get(&*row.sump).ok_or_else(|| RowError::Sump {
        found: row.sump.clone(),
        near: near(&row.sump, sumps.keys().copied()),
    })?;
    let mut channels = sump.channels.iter();
    channels
        .find(|channel| *channel.name == *row.channel)
        .ok_or_else(|| RowError::Channel {
            sump: row.sump.clone(),
            found: row.channel.clone(),
            near: near(&row.channel, sump.channels.iter().map(|c| &*c.name)),
        })
}

/// The nearest name; of several equally near ones the first by name.
fn near<'a>(wrong: &str, names: impl Iterator<Item = &'a str>) -> Option<String> {
    let mut names: Vec<&str> = names.collect();
    names.sort_unstable();
    nearest(wrong, names).map(str::to_owned)
}

/// Changes with the sumps and channels of a plant: a file whose rows were
/// refused for want of a channel is another one to those who have it.
pub fn channels_digest(sumps: &[SumpShape]) -> u64 {
    let names = sumps.iter().flat_map(|sump| {
        let channels = sump.channels.iter().map(|channel| &channel.name);
        std::iter::once(&sump.name).chain(channels)
    });
    fnv1a(names.flat_map(|name| name.bytes().chain([0])))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_as_new_as_live_readings_is_not_history() {
        let now = Timestamp::from_millis(1_000_000_000_000);
        let late_after = Span::from_mins(2);
        let oldest_live = now - late_after;
        let before = oldest_live - Span::from_millis(1);
        assert_eq!(of_the_past(before, late_after, now), Ok(()));
        for time in [oldest_live, now] {
            let refused = Err(RowError::Live { time, late_after });
            assert_eq!(of_the_past(time, late_after, now), refused);
        }
        let time = now + Span::from_millis(1);
        let refused = Err(RowError::Future { time, now });
        assert_eq!(of_the_past(time, late_after, now), refused);
    }
}
