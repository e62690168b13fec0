//! What to drain and what to add to bring a sump from where it is to where it
//! is wanted.
//!
//! Volumes are taken to add up (mixing contraction is below 0.1 %; memory) and
//! concentrations are by volume: concentrate is 100 %, water 0 %.
//!
//! Of the volume V at concentration c a part k is kept and V − k drained. The
//! target Vₜ at cₜ then lacks
//!
//! ```text
//! concentrate  cₜ·Vₜ − c·k        water  (1 − cₜ)·Vₜ − (1 − c)·k
//! ```
//!
//! Neither can be less than nothing, so the most that can be kept, and with it
//! the least that must be drained, is k = min(V, cₜ·Vₜ/c, (1−cₜ)·Vₜ/(1−c)).
//! Where the second bounds it the sump is too rich and water refills it; where
//! the third does it is too lean for the room there is, and neat concentrate
//! does.

use serde::Serialize;

use crate::model::Mix;
use crate::units::{Concentration, Volume};

/// Amounts below this share of the volumes at hand are rounding errors.
const ROUNDING: f64 = 1e-12;

/// What to drain first and what to add then.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Mix to let out, the least that reaches the target.
    pub drain: Volume,
    /// Concentrate to add.
    pub concentrate: Volume,
    /// Water to add.
    pub water: Volume,
}

/// What to drain first and what premix to add then.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Makeup {
    /// Mix to let out.
    pub drain: Volume,
    /// Premix to add: concentrate and water together.
    pub premix: Volume,
    /// Strength of the premix; zero for water alone, or when nothing is added.
    pub strength: Concentration,
    /// Concentrate in the premix.
    pub concentrate: Volume,
    /// Water in the premix.
    pub water: Volume,
}

/// Why there is no balance.
#[derive(Debug, Clone, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum BalanceError {
    /// The volume now is negative or not a number.
    #[error("the volume now is {found}; give 0 L or more")]
    Volume {
        /// What was given.
        found: Volume,
    },
    /// The target volume is not above zero.
    #[error("the target volume is {found}; give more than 0 L")]
    TargetVolume {
        /// What was given.
        found: Volume,
    },
    /// The concentration now is not that of a mix.
    #[error("the concentration now is {found}; give 0 % or more, and less than 100 %")]
    Concentration {
        /// What was given.
        found: Concentration,
    },
    /// The target concentration is not that of a mix.
    #[error("the target concentration is {found}; give more than 0 % and less than 100 %")]
    TargetConcentration {
        /// What was given.
        found: Concentration,
    },
    /// The strength of the strongest premix is not a concentration.
    #[error("the strongest premix is {found}; give more than 0 % and at most 100 %")]
    StrongestPremix {
        /// What was given.
        found: Concentration,
    },
    /// The premix is not stronger than the target.
    #[error(
        "a premix of at most {strongest} cannot bring the sump up to {target}; \
         allow a premix stronger than the target, or lower the target"
    )]
    PremixTooWeak {
        /// The strongest premix allowed.
        strongest: Concentration,
        /// The target concentration.
        target: Concentration,
    },
}

impl Balance {
    /// Strength of concentrate and water together, as a mixer is set to; none
    /// when nothing is added.
    pub fn premix_strength(&self) -> Option<Concentration> {
        let added = self.premix_volume().litres();
        (added > 0.0).then(|| Concentration::from_fraction(self.concentrate.litres() / added))
    }

    /// Concentrate and water together.
    pub fn premix_volume(&self) -> Volume {
        Volume::from_litres(self.concentrate.litres() + self.water.litres())
    }
}

/// The least drain, and the concentrate and water, that bring a sump from
/// `volume` at `concentration` to the target.
///
/// # Errors
/// Unless `volume` ≥ 0, `target_volume` > 0, 0 ≤ `concentration` < 100 % and
/// 0 < `target_concentration` < 100 %.
pub fn balance(
    volume: Volume,
    concentration: Concentration,
    target_volume: Volume,
    target_concentration: Concentration,
) -> Result<Balance, BalanceError> {
    check(volume, concentration, target_volume, target_concentration)?;
    let (v, c) = (volume.litres(), concentration.fraction());
    let (vt, ct) = (target_volume.litres(), target_concentration.fraction());
    let most_concentrate_allows = if c > 0.0 { ct * vt / c } else { f64::INFINITY };
    let most_water_allows = (1.0 - ct) * vt / (1.0 - c);
    let kept = v.min(most_concentrate_allows).min(most_water_allows);
    let amount = |litres: f64| {
        let noise = ROUNDING * v.max(vt);
        Volume::from_litres(if litres > noise { litres } else { 0.0 })
    };
    Ok(Balance {
        drain: amount(v - kept),
        concentrate: amount(ct * vt - c * kept),
        water: amount((1.0 - ct) * vt - (1.0 - c) * kept),
    })
}

/// As [`balance`], with no premix stronger than `strongest_premix`.
///
/// Where the bare balance asks for a stronger one, more is drained: with a
/// premix of strength p the part k = Vₜ·(p − cₜ)/(p − c) is kept and the rest
/// of the target filled with premix. For a full sump (V = Vₜ) that is a drain
/// of V·(cₜ − c)/(p − c).
///
/// # Errors
/// As [`balance`]; when `strongest_premix` is not above 0 and at most 100 %;
/// and when a premix stronger than the target is needed but not allowed.
pub fn limited(
    volume: Volume,
    concentration: Concentration,
    target_volume: Volume,
    target_concentration: Concentration,
    strongest_premix: Concentration,
) -> Result<Makeup, BalanceError> {
    let bare = balance(volume, concentration, target_volume, target_concentration)?;
    let p = strongest_premix.fraction();
    if !(p > 0.0 && p <= 1.0) {
        return Err(BalanceError::StrongestPremix {
            found: strongest_premix,
        });
    }
    let strength = bare.premix_strength();
    if strength.is_none_or(|strength| strength.fraction() <= p * (1.0 + ROUNDING)) {
        return Ok(Makeup {
            drain: bare.drain,
            premix: bare.premix_volume(),
            strength: strength.unwrap_or_default(),
            concentrate: bare.concentrate,
            water: bare.water,
        });
    }
    if strongest_premix <= target_concentration {
        return Err(BalanceError::PremixTooWeak {
            strongest: strongest_premix,
            target: target_concentration,
        });
    }
    // Here c < cₜ < p: something stronger than p has to be mixed with what is
    // kept to reach cₜ.
    let (vt, ct) = (target_volume.litres(), target_concentration.fraction());
    let most_kept = vt * (p - ct) / (p - concentration.fraction());
    let drain = (volume.litres() - most_kept).max(bare.drain.litres());
    let premix = vt - (volume.litres() - drain);
    Ok(Makeup {
        drain: Volume::from_litres(drain),
        premix: Volume::from_litres(premix),
        strength: strongest_premix,
        concentrate: Volume::from_litres(p * premix),
        water: Volume::from_litres((1.0 - p) * premix),
    })
}

/// Where a sump stands after `drain` was let out of it and `concentrate` and
/// `water` were added and mixed in. A drain of more than there is empties it;
/// an empty sump has concentration 0.
pub fn after(
    volume: Volume,
    concentration: Concentration,
    drain: Volume,
    concentrate: Volume,
    water: Volume,
) -> (Volume, Concentration) {
    let kept = (volume.litres() - drain.litres()).max(0.0);
    let made = Mix::of(&[
        Mix::new(Volume::from_litres(kept), concentration),
        Mix::concentrate(concentrate),
        Mix::water(water),
    ]);
    (made.volume, made.concentration)
}

fn check(
    volume: Volume,
    concentration: Concentration,
    target_volume: Volume,
    target_concentration: Concentration,
) -> Result<(), BalanceError> {
    let finite_from = |litres: f64| litres.is_finite() && litres >= 0.0;
    if !finite_from(volume.litres()) {
        return Err(BalanceError::Volume { found: volume });
    }
    if !(0.0..1.0).contains(&concentration.fraction()) {
        return Err(BalanceError::Concentration {
            found: concentration,
        });
    }
    if !finite_from(target_volume.litres()) || target_volume.litres() == 0.0 {
        return Err(BalanceError::TargetVolume {
            found: target_volume,
        });
    }
    let target = target_concentration.fraction();
    if !(target > 0.0 && target < 1.0) {
        return Err(BalanceError::TargetConcentration {
            found: target_concentration,
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests;
