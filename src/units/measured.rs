//! A value and how far it can be trusted.

use serde::{Deserialize, Serialize};

/// So many standard uncertainties lie between the value and either end of its
/// 90 % interval, where errors are normally distributed.
const SIGMAS_90: f64 = 1.644_853_626_951_472_7;

/// A value with its standard uncertainty, both in the same unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
}

impl Measured {
    /// A value with its standard uncertainty.
    pub const fn new(value: f64, uncertainty: f64) -> Self {
        Measured { value, uncertainty }
    }

    /// The interval that holds the truth in nine of ten cases, lowest and
    /// highest.
    pub fn interval_90(self) -> (f64, f64) {
        let half = SIGMAS_90 * self.uncertainty;
        (self.value - half, self.value + half)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nine_of_ten_lie_within_1_645_standard_uncertainties() {
        let (low, high) = Measured::new(10.0, 2.0).interval_90();
        assert!((low - 6.710_293).abs() < 1e-6 && (high - 13.289_707).abs() < 1e-6);
    }
}
