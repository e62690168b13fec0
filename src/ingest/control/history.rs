//! Rows of history against the plant: which series they belong to, or why they
//! are not taken.

use std::collections::HashMap;

use super::shape::{HistoryRow, RowRefused, SumpShape};
use crate::engine::{AdmissionSetup, ChannelSetup, Quality, Sample, SumpSetup};
use crate::ingest::recent::fnv1a;
use crate::settings::nearest;
use crate::units::Timestamp;

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
    #[error("its time {time} is yet to come; it is {now} now")]
    Future { time: Timestamp, now: Timestamp },
}

fn meant(near: &Option<String>) -> String {
    near.as_ref()
        .map(|near| format!("; did you mean \"{near}\"?"))
        .unwrap_or_default()
}

/// The rows as samples, marked late, and those that are none.
pub(super) fn samples(
    rows: &[HistoryRow],
    sumps: &[SumpSetup],
    admission: &AdmissionSetup,
    arrival: Timestamp,
) -> (Vec<Sample>, Vec<RowRefused>) {
    let by_name: HashMap<&str, &SumpSetup> = sumps.iter().map(|sump| (&*sump.name, sump)).collect();
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
    if row.time > arrival + admission.future_skew {
        return Err(RowError::Future {
            time: row.time,
            now: arrival,
        });
    }
    let (lowest, highest) = channel.plausible;
    let quality = if (lowest..=highest).contains(&row.value) {
        Quality::LATE
    } else {
        Quality::LATE.with(Quality::OUT_OF_RANGE)
    };
    Ok(Sample {
        series: channel.series,
        time: row.time,
        value: row.value,
        quality,
        delay: arrival - row.time,
    })
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
