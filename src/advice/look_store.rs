//! What to look at first where the store's disk is too full, or a server of series
//! does not get what is stored. Common practice, no source.

use super::{Caution, LookStep};

/// Room first: each minute costs readings.
pub(super) fn disk() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::DiskMakeRoom,
            LookStep::DiskCopy,
            LookStep::DiskSettings,
        ],
        Vec::new(),
    )
}

/// What the server says stands with the alarm.
pub(super) fn forward() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::ForwardReach,
            LookStep::ForwardLetIn,
            LookStep::ForwardLines,
            LookStep::ForwardKept,
        ],
        Vec::new(),
    )
}
