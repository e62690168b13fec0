//! Pauses between attempts to connect.

use std::time::Duration;

use super::down::Cause;
use crate::doubling_pause::DoublingPause;

/// The first pause.
const FIRST: Duration = Duration::from_secs(1);
/// The first pause where a person must mend something.
const FIRST_REFUSED: Duration = Duration::from_secs(15);
/// The longest pause.
const LONGEST: Duration = Duration::from_secs(60);
/// A connection that lasted so long was a good one: the pauses start anew.
pub(super) const STABLE: Duration = Duration::from_secs(30);

/// Doubling pauses: half to the whole of 1 s, 2 s, 4 s … 60 s. Where the broker
/// refuses us they begin with 15 s.
#[derive(Debug, Default)]
pub(super) struct Backoff {
    pauses: DoublingPause,
}

impl Backoff {
    /// The pause after another failure; `lasted` is how long the connection
    /// before it was up.
    pub(super) fn after_failure(&mut self, lasted: Duration, cause: Cause) -> Duration {
        if lasted >= STABLE {
            self.pauses.begin_anew();
        }
        let first = match cause {
            Cause::Refused => FIRST_REFUSED,
            Cause::Passing | Cause::Closed | Cause::TakenOver => FIRST,
        };
        self.pauses.after_failure(first, LONGEST)
    }

    /// Failures since the last good connection.
    pub(super) fn failures(&self) -> u32 {
        self.pauses.failures()
    }
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
