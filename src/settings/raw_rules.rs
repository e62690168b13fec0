//! The rules as people write them: every key that exists, nothing checked but its
//! kind.

use serde::Deserialize;

use super::raw::tables;
use super::written::{Switch, Written};

tables! {
    /// `[plant.rules]`
    RawPlantRules {
        source: Switch<RawRule>,
        stock: Switch<RawRule>,
        forward: Switch<RawForwardRule>,
        disk: Switch<RawRule>,
        start_up: Switch<RawRule>,
    }
    /// `[plant.rules.forward]`
    RawForwardRule {
        away_after: Written,
        priority: String,
        on_delay: Written,
        off_delay: Written,
        latching: bool,
        again_after: Written,
    }
    /// `[sump.NAME.rules]`
    RawRules {
        silent: Switch<RawRule>,
        disagrees: Switch<RawDoubt>,
        instrument: Switch<RawRule>,
        loss: Switch<RawRule>,
        gain: Switch<RawRule>,
        dose_missed: Switch<RawRule>,
        contradicted: Switch<RawRule>,
        mixer: Switch<RawRule>,
        hardness_high: Switch<RawRule>,
        hardness_high_high: Switch<RawRule>,
        chloride_high: Switch<RawRule>,
        chloride_high_high: Switch<RawRule>,
        conductivity_excess: Switch<RawRule>,
        conductivity_excess_high: Switch<RawRule>,
        souring_suspected: Switch<RawRule>,
        souring_likely: Switch<RawRule>,
        tramp_oil: Switch<RawRule>,
        factor: Switch<RawRule>,
        concentration_low_ahead: Switch<RawAhead>,
        concentration_high_ahead: Switch<RawAhead>,
        level_low_ahead: Switch<RawAhead>,
        ph_low_ahead: Switch<RawAhead>,
        hardness_high_ahead: Switch<RawAhead>,
        chloride_high_ahead: Switch<RawAhead>,
        overdue: Switch<RawRule>,
        nitrite_watch: Switch<RawRule>,
        nitrite_act: Switch<RawRule>,
        ph_drop_watch: Switch<RawRule>,
        ph_drop_act: Switch<RawRule>,
        concentration_rate: Switch<RawRate>,
        ph_rate: Switch<RawRate>,
        conductivity_rate: Switch<RawRate>,
        temperature_rate: Switch<RawRate>,
        level_rate: Switch<RawRate>,
        concentration_shifted: Switch<RawChart>,
        ph_shifted: Switch<RawChart>,
        refractive_factor_shifted: Switch<RawChart>,
        pumps_stopped: Switch<RawPumps>,
    }
    /// `[sump.NAME.rules.disagrees]`
    RawDoubt {
        priority: String,
        latching: bool,
        again_after: Written,
    }
    /// `[sump.NAME.rules.NAME]` of limits ahead
    RawAhead {
        within: Written,
        priority: String,
        on_delay: Written,
        off_delay: Written,
        latching: bool,
        again_after: Written,
    }
    /// `[sump.NAME.rules.NAME]` of rates of change
    RawRate {
        falling: Written,
        rising: Written,
        over: Written,
        priority: String,
        on_delay: Written,
        off_delay: Written,
        latching: bool,
        again_after: Written,
    }
    /// `[sump.NAME.rules.NAME]` of control charts
    RawChart {
        run_in: u16,
        slack: f64,
        limit: f64,
        priority: String,
        on_delay: Written,
        off_delay: Written,
        latching: bool,
        again_after: Written,
    }
    /// `[sump.NAME.rules.pumps_stopped]`
    RawPumps {
        after: Written,
        priority: String,
        on_delay: Written,
        off_delay: Written,
        latching: bool,
        again_after: Written,
    }
    /// `[sump.NAME.rules.NAME]`, `[plant.rules.NAME]`
    RawRule {
        priority: String,
        on_delay: Written,
        off_delay: Written,
        latching: bool,
        again_after: Written,
    }
}

/// How the alarm of a rule is written to behave, beside what the rule itself is.
macro_rules! behave {
    ($($table:ident),*) => {$(
        impl From<&$table> for RawRule {
            fn from(raw: &$table) -> Self {
                RawRule {
                    priority: raw.priority.clone(),
                    on_delay: raw.on_delay.clone(),
                    off_delay: raw.off_delay.clone(),
                    latching: raw.latching,
                    again_after: raw.again_after.clone(),
                }
            }
        }
    )*};
}

behave!(RawAhead, RawRate, RawChart, RawPumps, RawForwardRule);
