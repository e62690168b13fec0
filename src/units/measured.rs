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

/// How the errors of two values hang together, −1 to 1, as their uncertainties
/// and that of their sum tell: (u²(a+b) − u²(a) − u²(b))/(2·u(a)·u(b)), from
/// u²(a+b) = u²(a) + u²(b) + 2·u(a, b) (JCGM 100, section 5.2). 0 where one is
/// certain.
pub fn correlation_by_sum(one: Measured, other: Measured, sum: Measured) -> f64 {
    let (u, v, w) = (one.uncertainty, other.uncertainty, sum.uncertainty);
    let correlation = (w * w - u * u - v * v) / (2.0 * u * v);
    if correlation.is_finite() {
        correlation.clamp(-1.0, 1.0)
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sum_known_better_than_its_parts_sets_them_against_each_other() {
        let of = |u, v, w| {
            let [one, other, sum] = [u, v, w].map(|u| Measured::new(1.0, u));
            correlation_by_sum(one, other, sum)
        };
        assert!(of(3.0, 4.0, 5.0).abs() < 1e-12);
        assert_eq!(of(2.0, 2.0, 0.0), -1.0);
        assert_eq!(of(2.0, 1.0, 3.0), 1.0);
        assert_eq!(of(2.0, 1.0, 0.1), -1.0);
        assert_eq!(of(0.0, 1.0, 1.0), 0.0);
    }

    #[test]
    fn nine_of_ten_lie_within_1_645_standard_uncertainties() {
        let (low, high) = Measured::new(10.0, 2.0).interval_90();
        assert!((low - 6.710_293).abs() < 1e-6 && (high - 13.289_707).abs() < 1e-6);
    }
}
