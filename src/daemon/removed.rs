//! At the start with new settings: alarms that stood and that nothing watches for
//! any more are closed.

use serde::Deserialize;

use crate::alarm::Priority;
use crate::engine::{Effect, KeptAlarm, PLANT, SumpSnapshot};
use crate::ingest::Ack;
use crate::notify::Composer;
use crate::settings::Settings;
use crate::store::{Batch, Reader, SnapshotRow, StoreError};
use crate::units::Timestamp;

use super::worker::drain;

/// How much hurry an alarm has whose lines the journal has no more. Choice: most
/// contacts hear of it, and it wakes nobody.
const UNKNOWN: Priority = Priority::Medium;

/// What is read of an alarm's line.
#[derive(Deserialize)]
struct Line {
    priority: Priority,
}

/// How much hurry an alarm had when it was raised, or, of one that never was, when
/// it was taken out of service.
pub(super) fn priority(reader: &Reader, sump: &str, kept: &KeptAlarm) -> Priority {
    let (since, condition) = (kept.raised().unwrap_or(BEGINNING), kept.condition());
    let lines = reader.alarm_lines(sump, &condition.to_string(), since, 1);
    let lines = lines.inspect_err(|error| {
        tracing::warn!("how much hurry {sump}: {condition} had cannot be read: {error}");
    });
    let first = lines.ok().and_then(|lines| lines.into_iter().next());
    let line = first.and_then(|(_, line)| serde_json::from_str::<Line>(&line).ok());
    line.map_or(UNKNOWN, |line| line.priority)
}

/// Before every line of the journal.
const BEGINNING: Timestamp = Timestamp::from_millis(0);

/// Closes what stood at sumps that the settings do not name any more. What else is
/// kept of them stays, in case they come back.
///
/// # Errors
/// When the store cannot be read.
pub(super) fn close_gone_sumps(
    settings: &Settings,
    reader: &Reader,
    composer: &Composer,
    start: Timestamp,
) -> Result<Batch<Ack>, StoreError> {
    let mut batch = Batch {
        urgent: true,
        ..Batch::default()
    };
    for name in reader.kept_sumps()? {
        let is_known = settings.sumps.iter().any(|sump| sump.name == name);
        let Some(kept) = reader
            .snapshot(&name)?
            .filter(|_| !is_known && *name != *PLANT)
        else {
            continue;
        };
        let Ok(mut snapshot) = serde_json::from_slice::<SumpSnapshot>(&kept.body) else {
            tracing::warn!(
                sump = %name,
                "what is kept of a sump that is in no setting cannot be read; its alarms are not closed"
            );
            continue;
        };
        let mut effects: Vec<Effect> = Vec::new();
        let priority = |kept: &KeptAlarm| priority(reader, &name, kept);
        snapshot.close_all(&name, start, priority, &mut effects);
        if effects.is_empty() {
            continue;
        }
        drain(&mut effects, composer, &mut batch);
        batch.snapshots.push(SnapshotRow {
            sump: name,
            time: kept.time,
            body: serde_json::to_vec(&snapshot)
                .expect("a snapshot has text keys and finite numbers only"),
        });
    }
    Ok(batch)
}
