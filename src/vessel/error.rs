//! What does not make a tank.

use crate::units::Length;

/// Why dimensions do not make a tank.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum VesselError {
    /// A dimension is not a positive finite number.
    #[error("the tank's {dimension} is {found}; give a length above 0 m")]
    NotPositive {
        /// The dimension's name.
        dimension: &'static str,
        /// What was given.
        found: Length,
    },
    /// A dimension is larger than another that must hold it.
    #[error(
        "the tank's {dimension} is {found}, more than its {limit_name} of {limit}; \
         measure both again, inside and from the lowest point"
    )]
    DoesNotFit {
        /// The dimension's name.
        dimension: &'static str,
        /// What was given.
        found: Length,
        /// Name of the dimension that it may not exceed.
        limit_name: &'static str,
        /// That dimension.
        limit: Length,
    },
    /// A radius of a dished head that the head cannot have.
    #[error("the head's {name} is {found} of the diameter; allowed is {least} to {most}")]
    Proportion {
        /// The radius's name.
        name: &'static str,
        /// What was given, as a share of the diameter.
        found: f64,
        /// The least share.
        least: f64,
        /// The largest share.
        most: f64,
    },
}

/// The dimension, where it is a length.
pub(super) fn positive(dimension: &'static str, found: Length) -> Result<Length, VesselError> {
    if found.metres().is_finite() && found.metres() > 0.0 {
        Ok(found)
    } else {
        Err(VesselError::NotPositive { dimension, found })
    }
}

/// The dimension, where it is at most the limit.
pub(super) fn within(
    dimension: &'static str,
    found: Length,
    limit_name: &'static str,
    limit: Length,
) -> Result<Length, VesselError> {
    if found <= limit {
        Ok(found)
    } else {
        Err(VesselError::DoesNotFit {
            dimension,
            found,
            limit_name,
            limit,
        })
    }
}
