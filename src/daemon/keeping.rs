//! From the settings to what the store's keeper is to do.

use crate::settings::StoreSettings;
use crate::store::{Keep, KeeperSetup, Room};

pub(super) fn setup(settings: &StoreSettings) -> KeeperSetup {
    let keep = settings.keep;
    KeeperSetup {
        pack_after: settings.pack_after,
        keep: Keep {
            readings: keep.readings,
            estimates: keep.estimates,
            minutes: keep.minutes,
            hours: keep.hours,
            days: keep.days,
            journal: keep.journal,
        },
        room: Room {
            most: Some(settings.most_bytes),
            least_free: settings.least_free_bytes,
        },
    }
}
