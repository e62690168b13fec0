//! The temperatures that a water-mixed fluid can have.

use std::ops::RangeInclusive;

use crate::units::Temperature;

/// From where to where water is liquid, in °C.
pub(super) const RANGE_C: RangeInclusive<f64> = 0.0..=100.0;

/// A temperature at which there is no fluid to measure.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{found} is no temperature of a fluid; give 0 to 100 °C")]
pub struct NotLiquid {
    /// What was given.
    pub found: Temperature,
}

/// The temperature in °C, when water is liquid there.
pub(super) fn celsius(temperature: Temperature) -> Result<f64, NotLiquid> {
    let celsius = temperature.celsius();
    if RANGE_C.contains(&celsius) {
        Ok(celsius)
    } else {
        Err(NotLiquid { found: temperature })
    }
}
