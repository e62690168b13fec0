//! What a sump loses a day, and to what.

use crate::units::LossRate;

/// Evaporation and carry-off of a sump: neither below zero, and not both zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossRates {
    evaporation_l_d: f64,
    carry_off_l_d: f64,
}

/// Why two rates are not those of a sump.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LossRatesError {
    /// A gain is no loss.
    #[error("the {loss} is {found}; give 0 L/d or more")]
    Negative {
        /// Which of the two.
        loss: &'static str,
        /// What was given.
        found: LossRate,
    },
    /// A sump that loses nothing does not change and needs no make-up.
    #[error("evaporation and carry-off are both 0 L/d; give at least one that is not")]
    Nothing,
}

impl LossRates {
    /// Water lost as vapour, and mix lost with parts, chips and mist.
    ///
    /// # Errors
    /// When one is below zero or not finite, or both are zero.
    pub fn new(evaporation: LossRate, carry_off: LossRate) -> Result<Self, LossRatesError> {
        for (loss, found) in [("evaporation", evaporation), ("carry-off", carry_off)] {
            let rate = found.litres_per_day();
            if !(rate.is_finite() && rate >= 0.0) {
                return Err(LossRatesError::Negative { loss, found });
            }
        }
        let rates = LossRates {
            evaporation_l_d: evaporation.litres_per_day(),
            carry_off_l_d: carry_off.litres_per_day(),
        };
        if rates.total_l_d() > 0.0 {
            Ok(rates)
        } else {
            Err(LossRatesError::Nothing)
        }
    }

    /// All that is lost, L/d; above zero.
    pub fn total_l_d(&self) -> f64 {
        self.evaporation_l_d + self.carry_off_l_d
    }

    /// The share of evaporation in the loss, E/(E+D), 0 to 1.
    pub fn evaporation_share(&self) -> f64 {
        self.evaporation_l_d / self.total_l_d()
    }

    /// The share of carry-off in the loss, D/(E+D), 0 to 1.
    pub fn carry_off_share(&self) -> f64 {
        self.carry_off_l_d / self.total_l_d()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rates(evaporation: f64, carry_off: f64) -> Result<LossRates, LossRatesError> {
        let l_d = LossRate::from_litres_per_day;
        LossRates::new(l_d(evaporation), l_d(carry_off))
    }

    #[test]
    fn the_shares_make_the_whole() {
        let rates = rates(40.0, 15.0).unwrap();
        assert_eq!(rates.total_l_d(), 55.0);
        assert_eq!(rates.evaporation_share() + rates.carry_off_share(), 1.0);
    }

    #[test]
    fn refuses_gains_and_nothing() {
        let told = rates(-1.0, 15.0).unwrap_err().to_string();
        assert_eq!(told, "the evaporation is -1.0 L/d; give 0 L/d or more");
        let told = rates(1.0, -0.1).unwrap_err().to_string();
        assert!(told.starts_with("the carry-off is -0.1 L/d"), "{told}");
        assert_eq!(rates(0.0, 0.0).unwrap_err(), LossRatesError::Nothing);
    }
}
