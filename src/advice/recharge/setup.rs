//! What a plan goes by.

use std::sync::Arc;

use serde::Serialize;

use crate::advice::Measure;
use crate::model::money::Prices;
use crate::units::{Concentration, Flow, Span, Volume};

/// A system cleaner.
#[derive(Debug, Clone, PartialEq)]
pub struct Cleaner {
    /// Name as people say it.
    pub title: String,
    /// What it holds, and with it whether an amount may be told.
    pub content: CleanerContent,
}

/// Whether a cleaner holds a biocide. Only of one that does not can an amount
/// be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CleanerContent {
    /// It does: the amount stands in the supplier's data sheet, and nowhere
    /// else.
    Biocide,
    /// It does not.
    NoBiocide {
        /// The amount by its data sheet, as a share of the fluid's volume, where
        /// the plant has written it down.
        share: Option<Concentration>,
    },
}

impl Cleaner {
    /// The share of the fluid's volume, where it may be told and is known.
    pub(super) fn share(&self) -> Option<f64> {
        match self.content {
            CleanerContent::Biocide => None,
            CleanerContent::NoBiocide { share } => share.map(Concentration::fraction),
        }
    }
}

/// How clean-outs are made at a sump.
#[derive(Debug, Clone, PartialEq)]
pub struct RechargeSetup {
    /// The cleaner, where the plant has chosen one.
    pub cleaner: Option<Cleaner>,
    /// How long the cleaner circulates in the old fluid.
    pub cleaner_time: Span,
    /// What the pump or the truck takes out, where known.
    pub drain_rate: Option<Flow>,
    /// Rinses that are planned, 1 or more.
    pub rinses: u16,
    /// Volume of a rinse, as a share of the whole volume, above 0.
    pub rinse_share: f64,
    /// Strength of a rinse; 0 is fresh water.
    pub rinse_strength: Concentration,
    /// How long a rinse circulates.
    pub rinse_time: Span,
    /// Share of old fluid in the new charge that must not be reached, above 0.
    pub carry_over_limit: f64,
    /// Points above the target for the first charge.
    pub first_fill_surplus: Concentration,
    /// How long the new charge circulates before it is measured, at least.
    pub settle: Span,
}

/// The charge that is to be replaced, and what is to take its place.
#[derive(Debug, Clone, PartialEq)]
pub struct RechargeCase {
    /// Name of the sump.
    pub sump: Arc<str>,
    /// Its name as people say it.
    pub title: String,
    /// The product as people say it.
    pub fluid: String,
    /// What its data sheet says about mixing.
    pub mixing_note: Option<String>,
    /// The whole volume that the new charge is filled to, with what is in lines
    /// and machines.
    pub volume: Volume,
    /// The whole volume of the old charge.
    pub old_volume: Volume,
    /// How that is known.
    pub volume_source: VolumeSource,
    /// What fits in above the old charge.
    pub head_room: Volume,
    /// Concentration of the old charge.
    pub old: Concentration,
    /// Share of the volume that each drain leaves, 0 to 0.5.
    pub rest: f64,
    /// Concentration that the sump is to be kept at.
    pub target: Concentration,
    /// No premix stronger than this.
    pub strongest_premix: Concentration,
    /// How long an addition takes to mix in.
    pub mixing: Span,
    /// What people measure amounts out with, where they are to be rounded to
    /// it.
    pub measure: Option<Measure>,
    /// What things cost, where known.
    pub prices: Option<Prices>,
}

/// How the volume of the old charge is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "source", rename_all = "snake_case")]
pub enum VolumeSource {
    /// It is the working volume of the settings.
    Settings,
    /// A person gave it for this plan.
    Given,
    /// It was worked out from readings.
    Estimated {
        /// Its standard uncertainty, L.
        uncertainty_l: f64,
    },
}

/// Why there is no plan.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RechargeError {
    /// The volume is not above zero.
    #[error("the volume is {found}; give more than 0 L")]
    Volume {
        /// What was given.
        found: Volume,
    },
    /// A concentration is not that of a mix.
    #[error("the concentration is {found}; give more than 0 % and less than 100 %")]
    Concentration {
        /// What was given.
        found: Concentration,
    },
    /// More stays than a clean-out leaves.
    #[error(
        "a rest of {:.0} % of the volume is no clean-out; give 0 to 50 %, or drain further", 100.0 * found
    )]
    Rest {
        /// What was given, as a share.
        found: f64,
    },
    /// No premix allowed is as strong as the first fill.
    #[error(
        "the first fill would be {fill}, and no premix is to be stronger than {strongest}; \
         lower first_fill_surplus or allow a stronger premix"
    )]
    FillTooStrong {
        /// Strength of the first fill.
        fill: Concentration,
        /// The strongest premix allowed.
        strongest: Concentration,
    },
    /// What stays holds more concentrate than the new charge.
    #[error(
        "the {rest} that stay at {strength} make the new charge richer than {fill} even with water \
         alone; drain further or rinse once more"
    )]
    RestTooRich {
        /// What stays.
        rest: Volume,
        /// Its strength.
        strength: Concentration,
        /// Strength of the first fill.
        fill: Concentration,
    },
}

impl RechargeCase {
    /// So many litres as they are measured out.
    pub(super) fn out(&self, litres: f64) -> f64 {
        self.measure.map_or(litres, |measure| measure.out(litres))
    }

    /// As [`RechargeCase::out`], and never more than that.
    pub(super) fn out_at_most(&self, litres: f64) -> f64 {
        let measure = self.measure;
        measure.map_or(litres, |measure| measure.out_at_most(litres))
    }
}

impl RechargeSetup {
    /// Strength of the first fill.
    pub(super) fn fill_strength(&self, case: &RechargeCase) -> Concentration {
        Concentration::from_percent(case.target.percent() + self.first_fill_surplus.percent())
    }
}

/// Points that target and surplus may exceed the strongest premix by, as they
/// are added up.
const ROUNDING: f64 = 1e-9;

/// Whether a plan can be made.
pub(super) fn check(setup: &RechargeSetup, case: &RechargeCase) -> Result<(), RechargeError> {
    for volume in [case.volume, case.old_volume] {
        if !(volume.litres() > 0.0 && volume.litres().is_finite()) {
            return Err(RechargeError::Volume { found: volume });
        }
    }
    if !(case.target.percent() > 0.0 && case.target.percent() < 100.0) {
        let found = case.target;
        return Err(RechargeError::Concentration { found });
    }
    if !(0.0..100.0).contains(&case.old.percent()) {
        return Err(RechargeError::Concentration { found: case.old });
    }
    if !(0.0..=0.5).contains(&case.rest) {
        return Err(RechargeError::Rest { found: case.rest });
    }
    let (fill, strongest) = (setup.fill_strength(case), case.strongest_premix);
    if fill.percent() > strongest.percent() + ROUNDING {
        return Err(RechargeError::FillTooStrong { fill, strongest });
    }
    Ok(())
}
