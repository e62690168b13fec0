//! How long a sump takes to mix.
//!
//! In a vessel that mixes perfectly, a flow Q of fluid that is led round leaves
//! e^(−Qt/V) of a step behind (worked out here). Real sumps have dead corners:
//! take such times as the least.

use crate::units::{Flow, Volume};

/// Why there is no such time.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MixingError {
    /// There is nothing to mix.
    #[error("the volume is {found}; give more than 0 L")]
    Volume {
        /// What was given.
        found: Volume,
    },
    /// Nothing moves.
    #[error("the circulation is {found}; give more than 0 L/min")]
    Flow {
        /// What was given.
        found: Flow,
    },
    /// All of a step is only there after an endless time.
    #[error("the share of the step is {} %; give 0 % or more, and less than 100 %", found * 100.0)]
    Share {
        /// What was given, 1 for all.
        found: f64,
    },
}

/// Minutes in which the circulation moves the volume once, V/Q.
///
/// # Errors
/// Unless both are above zero.
pub fn turnover_min(volume: Volume, circulation: Flow) -> Result<f64, MixingError> {
    if volume <= Volume::default() {
        return Err(MixingError::Volume { found: volume });
    }
    if circulation <= Flow::default() {
        return Err(MixingError::Flow { found: circulation });
    }
    Ok(volume.litres() / circulation.litres_per_minute())
}

/// Turnovers until `share` of a step has arrived, −ln(1 − share).
///
/// # Errors
/// Unless 0 ≤ `share` < 1.
pub fn turnovers(share: f64) -> Result<f64, MixingError> {
    if (0.0..1.0).contains(&share) {
        // ln_1p is exact where little is asked for.
        Ok(-(-share).ln_1p())
    } else {
        Err(MixingError::Share { found: share })
    }
}

/// Minutes until `share` of a step has arrived, −ln(1 − share)·V/Q.
///
/// # Errors
/// As [`turnover_min`] and [`turnovers`].
pub fn mixing_min(volume: Volume, circulation: Flow, share: f64) -> Result<f64, MixingError> {
    Ok(turnovers(share)? * turnover_min(volume, circulation)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::reference::{cases, same};

    fn minutes(v: f64, q: f64, share: f64) -> Result<f64, MixingError> {
        let flow = Flow::from_litres_per_minute(q);
        mixing_min(Volume::from_litres(v), flow, share)
    }

    #[test]
    fn agrees_with_the_table() {
        let table = cases("turnover_mixing", 2);
        for (case, share) in table.iter().zip([0.95, 0.99]) {
            let found = minutes(case.number("V="), case.number("Q="), share).unwrap();
            assert!(same(found, case.value), "{share}: {found}");
        }
    }

    #[test]
    fn one_turnover_leaves_a_share_of_1_over_e() {
        assert!((turnovers(1.0 - (-1f64).exp()).unwrap() - 1.0).abs() < 1e-12);
        assert_eq!(turnovers(0.0).unwrap(), 0.0);
    }

    #[test]
    fn refuses_what_does_not_mix() {
        let told = |v, q, share| minutes(v, q, share).unwrap_err().to_string();
        assert!(told(0.0, 50.0, 0.95).starts_with("the volume is 0.0 L"));
        assert!(told(1000.0, 0.0, 0.95).starts_with("the circulation is 0.0 L/min"));
        assert!(told(1000.0, 50.0, 1.0).starts_with("the share of the step is 100 %"));
    }
}
