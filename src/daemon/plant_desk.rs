//! The plant's watch beside those of the sumps: telling it, taking it up, and
//! keeping it.

use std::sync::Arc;

use crate::engine::{Effect, PLANT, PlantSnapshot, PlantWatch};
use crate::ingest::{Arrived, Batch, Content, Intake, IntakeClosed};
use crate::settings::Settings;
use crate::store::{Reader, SnapshotRow, StoreError};
use crate::units::Timestamp;

use super::Clock;
use super::removed::priority;
use super::worker::SNAPSHOT_EVERY;

/// Tells the plant's watch, which has its place behind the sumps.
///
/// # Errors
/// When the engine has ended.
pub(super) async fn tell(
    intake: &Intake,
    plant: u32,
    clock: &Clock,
    contents: Vec<Content>,
) -> Result<(), IntakeClosed> {
    let (shard, _) = intake.place(plant);
    let arrival = clock.now();
    let arrived = contents.into_iter().map(|content| Arrived {
        sump: plant,
        arrival,
        content,
        ack: None,
    });
    let mut batch = Batch::default();
    batch.arrived.extend(arrived);
    intake.send(shard, batch).await
}

/// The plant's watch, with when it is to be kept next.
pub(super) struct PlantDesk {
    pub(super) watch: PlantWatch,
    /// What it wanted done while it was taken up, until that is done.
    pub(super) wanted: Vec<Effect>,
    keep_at: Timestamp,
}

impl PlantDesk {
    /// The watch as it stood, ready to go on at `start`.
    ///
    /// # Errors
    /// When the store cannot be read. A kept state that cannot be read is told,
    /// and the watch starts anew.
    pub(super) fn take_up(
        settings: &Settings,
        reader: &Reader,
        start: Timestamp,
    ) -> Result<Self, StoreError> {
        let (setup, admission) = (Arc::new(settings.watched.clone()), settings.admission);
        let kept = reader.snapshot(PLANT)?;
        let snapshot = kept.and_then(|kept| {
            let read = serde_json::from_slice::<PlantSnapshot>(&kept.body);
            read.inspect_err(|error| {
                tracing::error!(
                    "the plant's kept state cannot be read ({error}); its watch starts anew"
                );
            })
            .ok()
        });
        let stood = snapshot.as_ref().map(PlantSnapshot::standing);
        let mut watch = match snapshot {
            Some(snapshot) => PlantWatch::restore(setup, admission, snapshot),
            None => PlantWatch::new(setup, admission, start),
        };
        if watch.now() > start + admission.future_skew {
            watch.pull_back(start);
        }
        watch.listen_from(start);
        let mut wanted = Vec::new();
        let of = |kept: &_| priority(reader, PLANT, kept);
        watch.close_removed(&stood.unwrap_or_default(), start, of, &mut wanted);
        Ok(PlantDesk {
            watch,
            wanted,
            keep_at: start,
        })
    }

    /// Whether its minute is over.
    pub(super) fn is_due(&self, clock: Timestamp) -> bool {
        clock >= self.keep_at
    }

    /// The memory of the watch, to be stored.
    pub(super) fn keep(&mut self, clock: Timestamp) -> SnapshotRow {
        self.keep_at = clock + SNAPSHOT_EVERY;
        let body = serde_json::to_vec(&self.watch.snapshot())
            .expect("a snapshot has text keys and finite numbers only");
        SnapshotRow {
            sump: PLANT.into(),
            time: clock,
            body,
        }
    }
}
