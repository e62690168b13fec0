//! Pauses between attempts to open a wire.

use std::time::Duration;

use crate::doubling_pause::DoublingPause;

/// The first pause.
const FIRST: Duration = Duration::from_millis(500);
/// The longest pause: a device plugged in again is read within it.
const LONGEST: Duration = Duration::from_secs(10);
/// A wire that was open for so long was a good one: the pauses start anew.
pub(super) const STABLE: Duration = Duration::from_secs(10);

/// Doubling pauses: half to the whole of 0.5 s, 1 s, 2 s … 10 s.
#[derive(Debug, Default)]
pub(super) struct Pauses {
    pauses: DoublingPause,
}

impl Pauses {
    /// The pause after another failure; `lasted` is how long the wire before it
    /// was open.
    pub(super) fn after_failure(&mut self, lasted: Duration) -> Duration {
        if lasted >= STABLE {
            self.pauses.begin_anew();
        }
        self.pauses.after_failure(FIRST, LONGEST)
    }
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
