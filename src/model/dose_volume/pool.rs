//! Several doses together, held against the volume of the settings.

use serde::{Deserialize, Serialize};

use super::{DoseStep, DoseVolumeError, DoseVolumeSetup, inverted};
use crate::units::{Measured, Volume};

/// No dose is known better than to this share.
const EXACT: f64 = 1e-9;

/// What several doses say together about the volume that was expected of a
/// sump: by its settings, at the level that it had before each dose. Takes the
/// same room however many there are.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct DosePool {
    doses: u32,
    /// Σw, with w = 1/u² of each inverse ratio, the factor's part left out.
    weight: f64,
    /// Σw·y, with y the inverse ratio, expected over told.
    weighted: f64,
    /// Σw·y².
    squared: f64,
    /// Σw·(change of y with the factor).
    by_factor: f64,
    /// Σw·(what the offset of the readings does to y).
    by_offset: f64,
}

/// Whether the volume of the settings holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VolumeJudgement {
    /// The doses do not speak against it.
    Agrees,
    /// The sump holds less than the settings say.
    HoldsLess,
    /// The sump holds more than the settings say.
    HoldsMore,
}

impl DosePool {
    /// Takes in one more dose, with the volume that was expected before it.
    ///
    /// A dose of which nothing is said to be uncertain, which is not so, is
    /// taken to be known to 1 in 10⁹.
    ///
    /// # Errors
    /// As [`DoseStep::volume`], and when the expected volume is not above zero.
    pub fn add(
        &mut self,
        step: &DoseStep,
        expected: Volume,
        setup: &DoseVolumeSetup,
    ) -> Result<(), DoseVolumeError> {
        let litres = expected.litres();
        if !(litres.is_finite() && litres > 0.0) {
            return Err(DoseVolumeError::Expected { found: expected });
        }
        let inverse = step.inverse(setup)?;
        let ratio = inverse.value * litres;
        // What an offset does counts in the weight too: concentrate hardly minds
        // it and water does.
        let own = (inverse.own.hypot(inverse.by_offset) * litres).max(EXACT * ratio);
        let weight = 1.0 / (own * own);
        self.doses = self.doses.saturating_add(1);
        self.weight += weight;
        self.weighted += weight * ratio;
        self.squared += weight * ratio * ratio;
        self.by_factor += weight * inverse.by_factor * litres;
        self.by_offset += weight * inverse.by_offset * litres;
        Ok(())
    }

    /// How many doses it has taken in.
    pub fn doses(&self) -> u32 {
        self.doses
    }

    /// True volume over expected volume; none before the first dose.
    ///
    /// The weighted mean over the doses. Where they disagree by more than their
    /// uncertainties say, these are widened until they do not (Birge's ratio;
    /// memory). What the factor does is added once, after that, and so is the
    /// offset of the readings: a drift lasts longer than most doses are apart.
    pub fn ratio(&self, setup: &DoseVolumeSetup) -> Option<Measured> {
        if self.doses == 0 {
            return None;
        }
        let mean = self.weighted / self.weight;
        let own = self.scatter() / self.weight.sqrt();
        let by_factor = self.by_factor / self.weight * setup.factor_uncertainty;
        let common = by_factor.hypot(self.by_offset / self.weight);
        Some(inverted(Measured::new(mean, own.hypot(common))))
    }

    /// Whether the expected volume holds: it does not where 1 lies outside the
    /// 90 % interval of the ratio, and the ratio is off by what matters. None
    /// before the first dose.
    pub fn judge(&self, setup: &DoseVolumeSetup) -> Option<VolumeJudgement> {
        let ratio = self.ratio(setup)?;
        let (low, high) = ratio.interval_90();
        let matters = (ratio.value - 1.0).abs() >= setup.least_off;
        Some(if matters && high < 1.0 {
            VolumeJudgement::HoldsLess
        } else if matters && low > 1.0 {
            VolumeJudgement::HoldsMore
        } else {
            VolumeJudgement::Agrees
        })
    }

    /// √(χ²/(n − 1)), at least 1.
    fn scatter(&self) -> f64 {
        if self.doses < 2 {
            return 1.0;
        }
        let chi_squared = self.squared - self.weighted * self.weighted / self.weight;
        (chi_squared / f64::from(self.doses - 1)).max(1.0).sqrt()
    }
}

impl VolumeJudgement {
    /// In one word for machines.
    pub const fn name(self) -> &'static str {
        match self {
            VolumeJudgement::Agrees => "agrees",
            VolumeJudgement::HoldsLess => "holds_less",
            VolumeJudgement::HoldsMore => "holds_more",
        }
    }
}
