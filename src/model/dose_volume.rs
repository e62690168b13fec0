//! The true volume of a sump out of what a known addition does to its
//! concentration.
//!
//! An addition v of strength p takes a sump that mixes from c₁ to c₂. By the
//! balance of concentrate (worked out here) it held, before that,
//!
//! ```text
//! V = v·(p − c₂)/(c₂ − c₁)
//! ```
//!
//! Neat concentrate is p = 100 %, water p = 0 %. The step c₂ − c₁ stands below
//! the line and is the least known of all, so one dose gives a rough volume, and
//! a step that does not stand out of its own uncertainty gives none.
//!
//! What is uncertain falls in two parts. Amount, strength and both readings err
//! anew with each dose. The refractive factor errs the same way in every
//! reading: a factor 3 % too high makes every concentration 3 % too high. Where
//! concentrate was counted in litres, V comes out wrong by that share times
//! p/(p − c₂), however many doses there are; where the strength was read with the
//! same instrument, or is that of water, the factor cancels. An offset of both
//! readings, δ, makes V wrong by δ/(p − c₂): next to nothing for concentrate, and
//! by the share δ/c₂ for water.

mod pool;

pub use pool::{DosePool, VolumeJudgement};

use crate::units::{Measured, Volume};

/// How the strength of an addition is known, in % by volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Strength {
    /// By what it was made of: water, neat concentrate, or a premix of counted
    /// litres.
    Counted(Measured),
    /// By the refractometer, and the factor, that the sump is read with.
    ReadAlike(Measured),
}

/// One addition and what it did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DoseStep {
    /// What was added, L.
    pub added_l: Measured,
    /// Its strength.
    pub strength: Strength,
    /// Concentration of the sump before, %; its uncertainty without that of the
    /// refractive factor.
    pub before_pct: Measured,
    /// Concentration after, once mixed, %; its uncertainty alike.
    pub after_pct: Measured,
    /// Standard uncertainty of what both readings are off by alike, as after a
    /// drift of the instrument, %; not in theirs.
    pub offset_pct: f64,
}

/// When a step tells a volume, and when a volume is off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DoseVolumeSetup {
    /// A step of less than so many of its standard uncertainties tells no
    /// volume: the inverse of so uncertain a number has no useful mean.
    pub least_step_sigmas: f64,
    /// Nobody is told about a volume that is off by less than this share, 0 to 1.
    pub least_off: f64,
    /// Relative standard uncertainty of the refractive factor.
    pub factor_uncertainty: f64,
}

impl Default for DoseVolumeSetup {
    /// Choices: at 4 the inverse of the step comes out some 6 % too large on the
    /// average (1/4²), which pooling takes away again; 5 % is where a dose for
    /// the wrong volume begins to show; a factor is known to 3 %.
    fn default() -> Self {
        DoseVolumeSetup {
            least_step_sigmas: 4.0,
            least_off: 0.05,
            factor_uncertainty: 0.03,
        }
    }
}

/// Why a dose tells no volume.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DoseVolumeError {
    /// Nothing was added.
    #[error("{found_l} L were added; give more than 0 L")]
    NothingAdded {
        /// What was given, L.
        found_l: f64,
    },
    /// Not a share of concentrate.
    #[error("a {of} of {found_pct} % is none; give 0 to 100 %")]
    Concentration {
        /// Of what.
        of: &'static str,
        /// What was given, %.
        found_pct: f64,
    },
    /// An uncertainty that is not a number, or below zero.
    #[error("the uncertainty of the {of} is {found}; give 0 or more")]
    Uncertainty {
        /// Of what.
        of: &'static str,
        /// What was given.
        found: f64,
    },
    /// The sump went another way than towards the addition.
    #[error(
        "an addition of {strength_pct} % does not take a sump from {before_pct} to {after_pct} %; \
         check the readings, and whether anything else was added"
    )]
    WrongWay {
        /// Strength of the addition, %.
        strength_pct: f64,
        /// Concentration before, %.
        before_pct: f64,
        /// Concentration after, %.
        after_pct: f64,
    },
    /// The step drowns in the uncertainty of the readings.
    #[error(
        "a step of {step_pct:.2} points, uncertain by {uncertainty_pct:.2}, tells no volume; \
         add enough for a step of {needed_pct:.2} points, or read better"
    )]
    StepTooSmall {
        /// The step, in points of concentration.
        step_pct: f64,
        /// Its standard uncertainty.
        uncertainty_pct: f64,
        /// The least step that tells a volume.
        needed_pct: f64,
    },
    /// The expected volume is none.
    #[error("the expected volume is {found}; give more than 0 L")]
    Expected {
        /// What was given.
        found: Volume,
    },
}

impl Strength {
    fn value(self) -> Measured {
        match self {
            Strength::Counted(strength) | Strength::ReadAlike(strength) => strength,
        }
    }
}

/// The inverse of the volume that one dose tells, 1/L.
///
/// The noise of the step stands above the line here: an inverse is normally
/// distributed where a volume is skewed, and its uncertainty hardly depends on
/// how the step happened to come out. So inverses are what is averaged.
#[derive(Clone, Copy)]
struct Inverse {
    value: f64,
    /// Standard uncertainty of what errs anew with each dose.
    own: f64,
    /// Change with a relative change of the refractive factor.
    by_factor: f64,
    /// What the offset of both readings does.
    by_offset: f64,
}

impl DoseStep {
    /// The volume before the addition, L.
    ///
    /// # Errors
    /// When the numbers are none, when the step goes the wrong way, and when it
    /// is too small beside its uncertainty.
    pub fn volume(&self, setup: &DoseVolumeSetup) -> Result<Measured, DoseVolumeError> {
        let inverse = self.inverse(setup)?;
        let uncertainty = inverse
            .own
            .hypot(inverse.by_factor * setup.factor_uncertainty)
            .hypot(inverse.by_offset);
        Ok(inverted(Measured::new(inverse.value, uncertainty)))
    }

    fn inverse(&self, setup: &DoseVolumeSetup) -> Result<Inverse, DoseVolumeError> {
        self.check()?;
        let (v, p) = (self.added_l, self.strength.value());
        let (c1, c2) = (self.before_pct, self.after_pct);
        let step = c2.value - c1.value;
        let short = p.value - c2.value;
        if step * short <= 0.0 {
            return Err(DoseVolumeError::WrongWay {
                strength_pct: p.value,
                before_pct: c1.value,
                after_pct: c2.value,
            });
        }
        self.check_step(step, setup.least_step_sigmas)?;
        let value = step / (v.value * short);
        // First-order propagation (JCGM 100:2008, 5.1.2; memory).
        let parts = [
            value / v.value * v.uncertainty,
            value / short * p.uncertainty,
            c1.uncertainty / (v.value * short),
            (p.value - c1.value) / (v.value * short * short) * c2.uncertainty,
        ];
        Ok(Inverse {
            value,
            own: parts.iter().map(|part| part * part).sum::<f64>().sqrt(),
            by_factor: match self.strength {
                Strength::Counted(p) => value * p.value / short,
                Strength::ReadAlike(_) => 0.0,
            },
            // The step stays, and p − c₂ is off by as much.
            by_offset: match self.strength {
                Strength::Counted(_) => value / short * self.offset_pct,
                Strength::ReadAlike(_) => 0.0,
            },
        })
    }

    fn check(&self) -> Result<(), DoseVolumeError> {
        let found_l = self.added_l.value;
        if !(found_l.is_finite() && found_l > 0.0) {
            return Err(DoseVolumeError::NothingAdded { found_l });
        }
        let concentrations = [
            ("strength", self.strength.value()),
            ("concentration before", self.before_pct),
            ("concentration after", self.after_pct),
        ];
        for (of, found) in concentrations {
            let found_pct = found.value;
            if !(0.0..=100.0).contains(&found_pct) {
                return Err(DoseVolumeError::Concentration { of, found_pct });
            }
        }
        let offset = Measured {
            value: 0.0,
            uncertainty: self.offset_pct,
        };
        let amount = [("amount added", self.added_l), ("readings alike", offset)];
        for (of, found) in amount.into_iter().chain(concentrations) {
            let found = found.uncertainty;
            if !(found.is_finite() && found >= 0.0) {
                return Err(DoseVolumeError::Uncertainty { of, found });
            }
        }
        Ok(())
    }

    fn check_step(&self, step: f64, least_sigmas: f64) -> Result<(), DoseVolumeError> {
        let (before, after) = (self.before_pct, self.after_pct);
        let uncertainty_pct = before.uncertainty.hypot(after.uncertainty);
        let needed_pct = least_sigmas * uncertainty_pct;
        if step.abs() >= needed_pct {
            return Ok(());
        }
        Err(DoseVolumeError::StepTooSmall {
            step_pct: step.abs(),
            uncertainty_pct,
            needed_pct,
        })
    }
}

/// 1/x, with the same relative uncertainty.
fn inverted(x: Measured) -> Measured {
    Measured::new(1.0 / x.value, x.uncertainty / (x.value * x.value))
}

#[cfg(test)]
mod tests;
