//! A point in time as small as a watch of many instruments wants it.

use serde::{Deserialize, Serialize};

use crate::units::Timestamp;

/// A time to the second in four bytes, 1970 to 2106; also "never yet". What
/// lies outside is taken for the nearest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct Moment(u32);

impl Moment {
    /// Never yet.
    pub(super) const NEVER: Moment = Moment(0);

    /// The second that `time` lies in.
    #[inline]
    pub(super) fn of(time: Timestamp) -> Self {
        let second = time.millis().div_euclid(1000).max(1);
        Moment(u32::try_from(second).unwrap_or(u32::MAX))
    }

    /// The beginning of the second, unless it is never yet.
    pub(super) fn time(self) -> Option<Timestamp> {
        (self != Moment::NEVER).then(|| Timestamp::from_millis(i64::from(self.0) * 1000))
    }

    /// Seconds from `earlier` until this, none before it.
    #[inline]
    pub(super) fn seconds_since(self, earlier: Moment) -> u32 {
        self.0.saturating_sub(earlier.0)
    }

    /// The end of the stretch of so many seconds, counted from 1970, that it
    /// lies in.
    pub(super) fn end_of_stretch(self, seconds: u32) -> Self {
        Moment((self.0 / seconds).saturating_add(1).saturating_mul(seconds))
    }
}
