//! A sump for the tests of this room.

use crate::units::Span;

use super::setup::{BalanceSetup, ErrorSetup};

/// 800 L at 8 %, factor 1, with a level probe and a refractometer.
pub(super) fn setup() -> BalanceSetup {
    BalanceSetup {
        working_volume_l: 800.0,
        target_pct: 8.0,
        lines_l: 60.0,
        drain_back_l: None,
        level_measured: true,
        concentration_measured: true,
        fills_itself: false,
        work_is_known: true,
        mixing: Span::from_mins(60),
        strongest_premix_pct: 20.0,
        errors: ErrorSetup {
            volume_l: 3.0,
            concentration_pct: 0.05,
            wander_pct: 0.02,
            drift_pct: 0.1,
            metering: 0.02,
            chart: 0.02,
        },
    }
}
