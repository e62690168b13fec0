//! How full the store's disk is, for the plant.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::time::{Duration, Instant};

use crate::engine::DiskFull;
use crate::ingest::Content;
use crate::settings::StoreSettings;
use crate::store::Stats;
use crate::units::Timestamp;

/// It counts as full for so long after something was deleted before its time:
/// the store looks every few seconds whether more must go. Choice.
const AFTER_DELETING: Duration = Duration::from_secs(20);

/// A million bytes, as the settings count them.
const MEGABYTE: f64 = 1e6;

/// Looks at the disk.
pub(super) struct DiskWatcher {
    stats: Arc<Stats>,
    most_bytes: u64,
    least_free_bytes: u64,
    /// What was deleted before its time when it was looked last, and since when it
    /// is that much.
    deleted: (u64, Option<Instant>),
}

impl DiskWatcher {
    pub(super) fn new(settings: &StoreSettings, stats: Arc<Stats>) -> Self {
        DiskWatcher {
            stats,
            most_bytes: settings.most_bytes,
            least_free_bytes: settings.least_free_bytes,
            deleted: (0, None),
        }
    }

    /// How it stands; nothing before the store has looked.
    pub(super) fn look(&mut self) -> Option<Content> {
        let get = |value: &std::sync::atomic::AtomicU64| value.load(Relaxed);
        let stats = &self.stats;
        let used = get(&stats.file_bytes);
        if used == 0 {
            return None;
        }
        let deleted = get(&stats.deleted_for_room);
        if deleted > self.deleted.0 {
            self.deleted = (deleted, Some(Instant::now()));
        }
        let is_deleting = (self.deleted.1).is_some_and(|then| then.elapsed() < AFTER_DELETING);
        let is_full = is_deleting || stats.short_of_room.load(Relaxed);
        let full = is_full.then(|| {
            let mb = |bytes: u64| bytes as f64 / MEGABYTE;
            let free = get(&stats.disk_free_bytes);
            let values = get(&stats.values_deleted_for_room);
            let gone_to = stats.deleted_to_ms.load(Relaxed);
            Box::new(DiskFull {
                used_mb: mb(used),
                most_mb: mb(self.most_bytes),
                free_mb: (free > 0).then(|| mb(free)),
                least_free_mb: mb(self.least_free_bytes),
                values_deleted: values,
                values_not_forwarded: get(&stats.values_deleted_unforwarded),
                rollups_deleted: deleted.saturating_sub(values),
                gone_to: (gone_to != 0).then(|| Timestamp::from_millis(gone_to)),
            })
        });
        Some(Content::Disk { full })
    }
}
