//! Pauses between attempts at what failed.

use std::collections::hash_map::RandomState;
use std::hash::{BuildHasher, Hasher};
use std::time::Duration;

/// Doubling pauses with jitter: each is drawn evenly between half and the whole of
/// a length that doubles with every failure, so that many who lost the same do not
/// come back at the same instant.
#[derive(Debug, Default)]
pub struct DoublingPause {
    failures: u32,
}

impl DoublingPause {
    /// The pause after another failure: at most `first` after the first one, and
    /// never more than `longest`.
    pub fn after_failure(&mut self, first: Duration, longest: Duration) -> Duration {
        let whole = first
            .saturating_mul(1 << self.failures.min(16))
            .min(longest);
        self.failures = self.failures.saturating_add(1);
        whole.mul_f64(0.5 + 0.5 * random_share())
    }

    /// It went well: the pauses start anew.
    pub fn begin_anew(&mut self) {
        self.failures = 0;
    }

    /// Failures since it last went well.
    pub fn failures(&self) -> u32 {
        self.failures
    }
}

/// Between 0 and 1, from the seed that the standard library gives each hasher.
fn random_share() -> f64 {
    let drawn = RandomState::new().build_hasher().finish();
    drawn as f64 / u64::MAX as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_to_the_longest_and_differ() {
        let (first, longest) = (Duration::from_secs(1), Duration::from_secs(60));
        let mut pauses = DoublingPause::default();
        let mut whole = first;
        for failures in 1..200 {
            let pause = pauses.after_failure(first, longest);
            assert!(
                pause >= whole / 2 && pause <= whole,
                "{pause:?} of {whole:?}"
            );
            whole = (whole * 2).min(longest);
            assert_eq!(pauses.failures(), failures);
        }
        let next = pauses.after_failure(first, longest);
        let other = pauses.after_failure(first, longest);
        assert_ne!(next, other);
        pauses.begin_anew();
        assert!(pauses.after_failure(first, longest) <= first);
    }
}
