//! Pauses between attempts to connect.

use std::collections::hash_map::RandomState;
use std::hash::{BuildHasher, Hasher};
use std::time::Duration;

use super::down::Cause;

/// The first pause.
const FIRST: Duration = Duration::from_secs(1);
/// The first pause where a person must mend something.
const FIRST_REFUSED: Duration = Duration::from_secs(15);
/// The longest pause.
const LONGEST: Duration = Duration::from_secs(60);
/// A connection that lasted so long was a good one: the pauses start anew.
pub(super) const STABLE: Duration = Duration::from_secs(30);

/// Doubling pauses with jitter: each is drawn evenly between half and the
/// whole of 1 s, 2 s, 4 s … 60 s, so that many clients do not come back at the
/// same instant. Where the broker refuses us they begin with 15 s.
#[derive(Debug, Default)]
pub(super) struct Backoff {
    failures: u32,
}

impl Backoff {
    /// The pause after another failure; `lasted` is how long the connection
    /// before it was up.
    pub(super) fn after_failure(&mut self, lasted: Duration, cause: Cause) -> Duration {
        if lasted >= STABLE {
            self.failures = 0;
        }
        let first = match cause {
            Cause::Refused => FIRST_REFUSED,
            Cause::Passing | Cause::Closed | Cause::TakenOver => FIRST,
        };
        let whole = first
            .saturating_mul(1 << self.failures.min(16))
            .min(LONGEST);
        self.failures = self.failures.saturating_add(1);
        whole.mul_f64(0.5 + 0.5 * random_share())
    }

    /// Failures since the last good connection.
    pub(super) fn failures(&self) -> u32 {
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
    fn grows_to_a_minute_and_starts_anew_after_a_good_connection() {
        for (cause, first) in [(Cause::Passing, FIRST), (Cause::Refused, FIRST_REFUSED)] {
            let mut backoff = Backoff::default();
            let mut whole = first;
            for _ in 0..12 {
                let pause = backoff.after_failure(Duration::ZERO, cause);
                assert!(
                    pause >= whole / 2 && pause <= whole,
                    "{pause:?} of {whole:?}"
                );
                whole = (whole * 2).min(LONGEST);
            }
            assert!(backoff.after_failure(STABLE, cause) <= first);
        }
    }
}
