//! What a sump loses, as doses and mixers go by it.

use crate::model;
use crate::units::{LossRate, Measured, correlation_by_sum};

/// What a sump loses, L/d. How much it loses in all is known by the level, and
/// far better than how much of it was vapour and how much was mix: where the
/// one is taken too high, the other is too low.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossRates {
    /// Water lost as vapour.
    pub evaporation: Measured,
    /// Mix lost with parts, chips and mist.
    pub carry_off: Measured,
    /// Both together.
    pub both: Measured,
}

impl LossRates {
    /// The rates as they most likely are, one that was found below nothing as
    /// nothing; none where nothing is lost.
    pub(super) fn rates(&self) -> Option<model::LossRates> {
        let [evaporation, carry_off] = [self.evaporation, self.carry_off]
            .map(|rate| LossRate::from_litres_per_day(rate.value.clamp(0.0, f64::INFINITY)));
        model::LossRates::new(evaporation, carry_off).ok()
    }

    /// The share of carry-off in what is lost, D/T of T = E + D, 0 to 1; none
    /// as for [`LossRates::rates`].
    ///
    /// With ∂/∂E = −D/T² and ∂/∂D = E/T², and as E and D hang together
    /// (JCGM 100, section 5.2); worked out here.
    pub(super) fn carry_off_share(&self) -> Option<Measured> {
        let rates = self.rates()?;
        let (share, total) = (rates.carry_off_share(), rates.total_l_d());
        let (e, d) = (self.evaporation, self.carry_off);
        let by_e = -share / total * e.uncertainty;
        let by_d = (1.0 - share) / total * d.uncertainty;
        let correlation = correlation_by_sum(e, d, self.both);
        let variance = by_e * by_e + by_d * by_d + 2.0 * correlation * by_e * by_d;
        Some(Measured::new(share, variance.max(0.0).sqrt()))
    }

    /// Days until the volume has fallen by so much without any top-up:
    /// V/(E + D), worked out here. None where nothing is lost.
    pub fn days_for(&self, fall: Measured) -> Option<Measured> {
        let both = self.both;
        let value = fall.value / both.value;
        let relative = both.uncertainty / both.value;
        (both.value > 0.0 && value.is_finite() && value >= 0.0).then(|| Measured {
            value,
            uncertainty: (value * relative).hypot(fall.uncertainty / both.value),
        })
    }
}
