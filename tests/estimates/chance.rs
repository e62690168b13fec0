//! Chance for what people do, which comes out the same each time.

/// A linear congruential generator with Knuth's constants.
pub(crate) struct Chance(pub(crate) u64);

impl Chance {
    /// Evenly spread over 0 (included) to 1 (excluded).
    pub(crate) fn even(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly spread over `low` to `high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }
}
