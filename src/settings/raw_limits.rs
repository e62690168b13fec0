//! The limits as people write them: every key that exists, nothing checked but its
//! kind.

use serde::Deserialize;

use super::raw::tables;
use super::written::{Switch, Written};

tables! {
    /// `[sump.NAME.limits]`
    RawLimits {
        concentration: Switch<RawLimit>,
        ph: Switch<RawLimit>,
        conductivity: Switch<RawLimit>,
        temperature: Switch<RawLimit>,
        level: Switch<RawLimit>,
        flow: Switch<RawLimit>,
        pressure: Switch<RawLimit>,
        dissolved_oxygen: Switch<RawLimit>,
        redox: Switch<RawLimit>,
    }
    /// `[sump.NAME.limits.QUANTITY]`
    RawLimit {
        low_low: Written,
        low: Written,
        high: Written,
        high_high: Written,
        dead_band: Written,
        priority: RawLimitPriority,
        on_delay: Written,
        off_delay: Written,
        latching: bool,
        again_after: Written,
    }
    /// `[sump.NAME.limits.QUANTITY.priority]`
    RawLimitPriority {
        low_low: String,
        low: String,
        high: String,
        high_high: String,
    }
}
