//! A sump that nobody tops up: it sinks, and evaporation concentrates it.
//!
//! With evaporation E and carry-off D that do not change, V(t) = V₀ − (E+D)·t
//! and d(cV)/dt = −D·c, so that
//!
//! ```text
//! c(t) = c₀·(V₀/V(t))^(E/(E+D))
//! ```
//!
//! Worked out here, and checked against a numeric solution of the balance. It
//! holds while there is water to evaporate: up to neat concentrate, or an empty
//! sump.

use crate::units::{Concentration, Span, Volume};

use super::{LossRates, Mix};

const SECONDS_A_DAY: f64 = 86_400.0;

/// A sump without top-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    start: Mix,
    rates: LossRates,
}

/// Why there is no such course.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DriftError {
    /// Nothing can be lost from it.
    #[error("the sump holds {found} at first; give more than 0 L")]
    Empty {
        /// What was given.
        found: Volume,
    },
    /// Not a share of concentrate in a mix.
    #[error("the {of} is {found}; give 0 % or more, and less than 100 %")]
    Concentration {
        /// Of what.
        of: &'static str,
        /// What was given.
        found: Concentration,
    },
    /// Less than nothing.
    #[error("the {of} is {found}; give 0 L or more")]
    Volume {
        /// Of what.
        of: &'static str,
        /// What was given.
        found: Volume,
    },
    /// The course is only known forwards.
    #[error("the time is {found}; give 0 d or more")]
    Past {
        /// What was given.
        found: Span,
    },
    /// There is no sump left then.
    #[error("nothing is left, or no water in it, after {days:.2} d; ask for a time before that")]
    Gone {
        /// When that is so, days.
        days: f64,
    },
    /// More than the water that is there.
    #[error("the mix holds {water} of water; less than that can evaporate, not {found}")]
    NotThatMuchWater {
        /// The water in the mix.
        water: Volume,
        /// What was to evaporate.
        found: Volume,
    },
}

/// What evaporation alone makes of a mix: c·V/(V − E).
///
/// # Errors
/// When the mix is empty or no mix, when `evaporated` is below zero, and when
/// all the water in the mix, or more, would evaporate.
pub fn evaporated(mix: Mix, evaporated: Volume) -> Result<Mix, DriftError> {
    check(mix)?;
    if evaporated < Volume::default() {
        let of = "volume evaporated";
        let found = evaporated;
        return Err(DriftError::Volume { of, found });
    }
    let water = mix.water_part();
    if evaporated >= water {
        return Err(DriftError::NotThatMuchWater {
            water,
            found: evaporated,
        });
    }
    let left = mix.volume.litres() - evaporated.litres();
    let percent = mix.concentration.percent() * mix.volume.litres() / left;
    Ok(Mix::new(
        Volume::from_litres(left),
        Concentration::from_percent(percent),
    ))
}

impl Drift {
    /// From where a sump stands now, with losses that do not change.
    ///
    /// # Errors
    /// When the sump is empty, or its concentration not one of a mix.
    pub fn new(start: Mix, rates: LossRates) -> Result<Self, DriftError> {
        check(start)?;
        Ok(Drift { start, rates })
    }

    /// Where the sump stands after `span`.
    ///
    /// # Errors
    /// When `span` is below zero, or nothing is left then, or no water.
    pub fn after(&self, span: Span) -> Result<Mix, DriftError> {
        if span < Span::ZERO {
            return Err(DriftError::Past { found: span });
        }
        let days = span.secs_f64() / SECONDS_A_DAY;
        let volume = self.start.volume.litres() - self.rates.total_l_d() * days;
        self.sunk_to(Volume::from_litres(volume))
    }

    /// What is in the sump once it has sunk to `volume`.
    ///
    /// # Errors
    /// When nothing is left then, or no water.
    pub fn sunk_to(&self, volume: Volume) -> Result<Mix, DriftError> {
        let left = volume.litres() / self.start.volume.litres();
        let thickened = left.powf(-self.rates.evaporation_share());
        let percent = self.start.concentration.percent() * thickened;
        if left > 0.0 && percent < 100.0 {
            Ok(Mix::new(volume, Concentration::from_percent(percent)))
        } else {
            let days = self.days_until_gone();
            Err(DriftError::Gone { days })
        }
    }

    /// Days until the sump has sunk to `lowest`, (V₀ − V)/(E + D); 0 when it
    /// stands there already. None when the water is gone before.
    ///
    /// # Errors
    /// When `lowest` is below zero.
    pub fn days_to_volume(&self, lowest: Volume) -> Result<Option<f64>, DriftError> {
        if lowest < Volume::default() {
            let of = "lowest volume";
            return Err(DriftError::Volume { of, found: lowest });
        }
        let days = (self.start.volume.litres() - lowest.litres()) / self.rates.total_l_d();
        Ok((days <= self.days_until_gone()).then_some(days.max(0.0)))
    }

    /// Days until evaporation has brought the concentration to `highest`,
    /// V₀·(1 − (c₀/c)^((E+D)/E))/(E + D); 0 when it is there already. None when
    /// it never comes there: without evaporation, or from water alone.
    ///
    /// # Errors
    /// When `highest` is not one of a mix.
    pub fn days_to_concentration(&self, highest: Concentration) -> Result<Option<f64>, DriftError> {
        check_concentration("highest concentration", highest)?;
        Ok(self.days_to_percent(highest.percent()))
    }

    fn days_to_percent(&self, percent: f64) -> Option<f64> {
        let at_first = self.start.concentration.percent();
        if percent <= at_first {
            return Some(0.0);
        }
        let evaporation = self.rates.evaporation_share();
        if evaporation == 0.0 || at_first == 0.0 {
            return None;
        }
        let left = (at_first / percent).powf(1.0 / evaporation);
        Some(self.start.volume.litres() * (1.0 - left) / self.rates.total_l_d())
    }

    /// When the sump is empty, or nothing but concentrate, whatever is first.
    fn days_until_gone(&self) -> f64 {
        let empty = self.start.volume.litres() / self.rates.total_l_d();
        self.days_to_percent(100.0).unwrap_or(empty)
    }
}

fn check(mix: Mix) -> Result<(), DriftError> {
    check_concentration("concentration", mix.concentration)?;
    if mix.volume.litres() > 0.0 {
        Ok(())
    } else {
        Err(DriftError::Empty { found: mix.volume })
    }
}

fn check_concentration(of: &'static str, found: Concentration) -> Result<(), DriftError> {
    if (0.0..100.0).contains(&found.percent()) {
        Ok(())
    } else {
        Err(DriftError::Concentration { of, found })
    }
}

#[cfg(test)]
mod tests;
