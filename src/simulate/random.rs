//! Chance that comes out the same every time.

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number
/// generators", OOPSLA 2014): small, and good enough for noise.
#[derive(Debug, Clone)]
pub(crate) struct Random(u64);

impl Random {
    /// A generator of its own for the part called `name`, so that what one part
    /// draws changes nothing for the others. The same seed and name give the
    /// same numbers.
    pub(crate) fn for_part(seed: u64, name: &str) -> Self {
        let mut mixed = Random(seed);
        for byte in name.bytes() {
            mixed = Random(mixed.next() ^ u64::from(byte));
        }
        mixed
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly spread over 0 (included) to 1 (excluded).
    pub(crate) fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly spread over `low` to `high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// Normally distributed about 0 with standard deviation 1 (the sum of
    /// twelve even numbers, cut off at 6).
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.share()).sum::<f64>() - 6.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_numbers_of_the_published_generator() {
        // From memory of the reference implementation by S. Vigna: seed 1234567.
        let mut random = Random(1_234_567);
        assert_eq!(random.next(), 6_457_827_717_110_365_317);
        assert_eq!(random.next(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn normal_numbers_have_mean_0_and_deviation_1() {
        let mut random = Random(7);
        let drawn: Vec<f64> = (0..20_000).map(|_| random.normal()).collect();
        let mean = drawn.iter().sum::<f64>() / 20_000.0;
        let variance = drawn.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03, "{mean}");
        assert!((variance - 1.0).abs() < 0.05, "{variance}");
    }

    #[test]
    fn parts_draw_different_numbers() {
        let mut a = Random::for_part(1, "mill-2");
        let mut b = Random::for_part(1, "mill-3");
        assert_ne!(a.next(), b.next());
    }
}
