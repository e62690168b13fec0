//! Two methods at one time.

use serde::{Deserialize, Serialize};

use crate::units::Timestamp;

/// Standard uncertainty of one refractometer reading, °Bx. Memory: hand
/// instruments resolve 0.1 to 0.2.
const READING_BX: f64 = 0.1;
/// Standard uncertainty of one concentration by titration or a laboratory, %.
/// Choice: half a drop of a usual test set; as that of an inline instrument.
const OTHER_PCT: f64 = 0.2;

/// The method that the refractometer is held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OtherMethod {
    /// Titration beside the machine.
    Titration,
    /// A laboratory.
    Laboratory,
}

impl OtherMethod {
    /// The name in sentences.
    pub const fn name(self) -> &'static str {
        match self {
            OtherMethod::Titration => "titration",
            OtherMethod::Laboratory => "the laboratory",
        }
    }
}

/// Two methods at one time, as they were read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FactorPair {
    /// When.
    pub time: Timestamp,
    /// Refractometer reading less that of the water alone, °Bx.
    pub net_brix: f64,
    /// Concentration by the refractometer and the chart then in force, %.
    pub refractometer_pct: f64,
    /// Concentration by the other method, %.
    pub other_pct: f64,
    /// The other method.
    pub method: OtherMethod,
}

impl FactorPair {
    /// Whether it can be compared at all: both read a mix, not water.
    pub(super) fn is_telling(&self) -> bool {
        let numbers = [self.net_brix, self.refractometer_pct, self.other_pct];
        numbers
            .into_iter()
            .all(|number| number.is_finite() && number > 0.0)
    }

    /// How much more the refractometer says, points.
    pub(super) fn gap(&self) -> f64 {
        self.refractometer_pct - self.other_pct
    }

    /// What the other method says as a share of what the refractometer says.
    pub(super) fn ratio(&self) -> f64 {
        self.other_pct / self.refractometer_pct
    }

    /// Standard uncertainty of the ratio from the two readings.
    pub(super) fn ratio_uncertainty(&self) -> f64 {
        let of_reading = READING_BX / self.net_brix;
        self.ratio() * of_reading.hypot(OTHER_PCT / self.other_pct)
    }
}
