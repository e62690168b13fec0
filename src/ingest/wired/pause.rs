//! Pauses between attempts to open a wire.

use std::collections::hash_map::RandomState;
use std::hash::{BuildHasher, Hasher};
use std::time::Duration;

/// The first pause.
const FIRST: Duration = Duration::from_millis(500);
/// The longest pause: a device plugged in again is read within it.
const LONGEST: Duration = Duration::from_secs(10);
/// A wire that was open for so long was a good one: the pauses start anew.
pub(super) const STABLE: Duration = Duration::from_secs(10);

/// Doubling pauses with jitter: each is drawn evenly between half and the whole
/// of 0.5 s, 1 s, 2 s … 10 s.
#[derive(Debug, Default)]
pub(super) struct Pauses {
    failures: u32,
}

impl Pauses {
    /// The pause after another failure; `lasted` is how long the wire before it
    /// was open.
    pub(super) fn after_failure(&mut self, lasted: Duration) -> Duration {
        if lasted >= STABLE {
            self.failures = 0;
        }
        let whole = FIRST
            .saturating_mul(1 << self.failures.min(16))
            .min(LONGEST);
        self.failures = self.failures.saturating_add(1);
        whole.mul_f64(0.5 + 0.5 * random_share())
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
    fn grow_to_ten_seconds_and_start_anew_after_a_good_wire() {
        let mut pauses = Pauses::default();
        let mut whole = FIRST;
        for _ in 0..12 {
            let pause = pauses.after_failure(Duration::ZERO);
            assert!(
                pause >= whole / 2 && pause <= whole,
                "{pause:?} of {whole:?}"
            );
            whole = (whole * 2).min(LONGEST);
        }
        assert!(pauses.after_failure(STABLE) <= FIRST);
    }
}
