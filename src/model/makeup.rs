//! Make-up: what an addition does to a sump, how much of it a correction
//! takes, and the strength that holds a sump where it is.
//!
//! All of it is the balance of concentrate by volume, volumes taken to add up;
//! worked out here, and the share of a mix known in the trade as Pearson's
//! square.

use crate::units::{Concentration, Volume};

use super::{LossRates, Mix};

/// Why there is no such make-up.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MakeupError {
    /// Not a share of concentrate.
    #[error("the {of} is {found}; give 0 to 100 %")]
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
    /// There is nothing to correct.
    #[error("the sump holds {found}; give more than 0 L")]
    Empty {
        /// What was given.
        found: Volume,
    },
    /// No mix of the two has the concentration wanted.
    #[error(
        "{target} cannot be had from {one} and {other}; \
         what is mixed has to lie on both sides of the target"
    )]
    OutOfReach {
        /// One of what is mixed.
        one: Concentration,
        /// The other.
        other: Concentration,
        /// What is wanted.
        target: Concentration,
    },
    /// An addition as strong as the target comes near it and never there.
    #[error(
        "an addition of {strength} never brings the sump to {strength} while the old mix stays in it; \
         take one that lies beyond the target, or exchange all of the fluid"
    )]
    NeverReached {
        /// Strength of the addition, and target.
        strength: Concentration,
    },
    /// Without carry-off concentrate stays in for good.
    #[error(
        "without carry-off no concentrate leaves, so the concentration never settles; \
         give the carry-off"
    )]
    NeverSettles,
    /// What carries off is too little for what is brought in.
    #[error(
        "with so little carry-off a premix of {premix} would settle at {settles}, beyond neat \
         concentrate; give a weaker premix, or check the losses"
    )]
    BeyondConcentrate {
        /// Strength of the make-up.
        premix: Concentration,
        /// Where the formula leads.
        settles: Concentration,
    },
}

/// What a top-up makes of a sump, once mixed: (cV + pv)/(V + v).
///
/// # Errors
/// When a volume is below zero, or a concentration not 0 to 100 %.
pub fn topped_up(now: Mix, added: Mix) -> Result<Mix, MakeupError> {
    let parts = [("volume", now), ("volume added", added)];
    for (of, Mix { volume: found, .. }) in parts {
        if found < Volume::default() {
            return Err(MakeupError::Volume { of, found });
        }
    }
    check("concentration", now.concentration)?;
    check("strength added", added.concentration)?;
    Ok(Mix::of(&[now, added]))
}

/// Pearson's square: the share of `one` when `one` and `other` are mixed to
/// `target`, (t − b)/(a − b), 0 to 1.
///
/// # Errors
/// When a concentration is not 0 to 100 %, or the target does not lie between
/// the two. Two that are equal make no mix but themselves, and are refused.
pub fn share_of(
    one: Concentration,
    other: Concentration,
    target: Concentration,
) -> Result<f64, MakeupError> {
    check("strength of one part", one)?;
    check("strength of the other part", other)?;
    check("target", target)?;
    let (a, b, t) = (one.fraction(), other.fraction(), target.fraction());
    let share = (t - b) / (a - b);
    if a != b && (0.0..=1.0).contains(&share) {
        Ok(share)
    } else {
        Err(MakeupError::OutOfReach { one, other, target })
    }
}

/// How much of an addition of `strength` brings a sump to `target`, while the
/// level rises: V·(cₜ − c)/(p − cₜ). Water is an addition of 0 %, neat
/// concentrate one of 100 %.
///
/// # Errors
/// As [`share_of`]; when there is no volume; and when the addition is as strong
/// as the target.
pub fn addition(
    now: Mix,
    strength: Concentration,
    target: Concentration,
) -> Result<Volume, MakeupError> {
    let litres = volume_of(now)?;
    let share = share_of(strength, now.concentration, target)?;
    if share < 1.0 {
        Ok(Volume::from_litres(litres * share / (1.0 - share)))
    } else {
        Err(MakeupError::NeverReached { strength })
    }
}

/// How much to drain and replace with premix of `strength` so that a sump comes
/// to `target` at the level that it has: V·(cₜ − c)/(p − c).
///
/// # Errors
/// As [`share_of`], and when there is no volume.
pub fn exchange(
    now: Mix,
    strength: Concentration,
    target: Concentration,
) -> Result<Volume, MakeupError> {
    let litres = volume_of(now)?;
    let share = share_of(strength, now.concentration, target)?;
    Ok(Volume::from_litres(litres * share))
}

/// The strength of make-up that holds a sump at `concentration` while all that
/// is lost is replaced: c·D/(E + D). Evaporation leaves the concentrate behind,
/// so this is never above `concentration`.
///
/// # Errors
/// When `concentration` is not 0 to 100 %.
pub fn holding_strength(
    concentration: Concentration,
    rates: &LossRates,
) -> Result<Concentration, MakeupError> {
    check("concentration", concentration)?;
    let percent = concentration.percent() * rates.carry_off_share();
    Ok(Concentration::from_percent(percent))
}

/// The concentration that make-up of one strength leads a sump to, while all
/// that is lost is replaced with it: p·(E + D)/D.
///
/// # Errors
/// When `premix` is not 0 to 100 %, when nothing is carried off, and when that
/// would be more than neat concentrate.
pub fn steady_concentration(
    premix: Concentration,
    rates: &LossRates,
) -> Result<Concentration, MakeupError> {
    check("premix", premix)?;
    let share = rates.carry_off_share();
    if share == 0.0 {
        return Err(MakeupError::NeverSettles);
    }
    let settles = Concentration::from_percent(premix.percent() / share);
    if settles.percent() <= 100.0 {
        Ok(settles)
    } else {
        Err(MakeupError::BeyondConcentrate { premix, settles })
    }
}

fn check(of: &'static str, found: Concentration) -> Result<(), MakeupError> {
    if (0.0..=100.0).contains(&found.percent()) {
        Ok(())
    } else {
        Err(MakeupError::Concentration { of, found })
    }
}

fn volume_of(now: Mix) -> Result<f64, MakeupError> {
    let litres = now.volume.litres();
    if litres.is_finite() && litres > 0.0 {
        Ok(litres)
    } else {
        Err(MakeupError::Empty { found: now.volume })
    }
}

#[cfg(test)]
mod tests;
