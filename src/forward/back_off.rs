//! Pauses before the same is sent again.

use std::time::Duration;

use crate::doubling_pause::DoublingPause;

/// No pause is shorter.
const SHORTEST: Duration = Duration::from_secs(1);
/// No pause is longer.
const LONGEST: Duration = Duration::from_secs(60);
/// The first pause where a person must mend something. Choice: nobody mends
/// anything sooner.
const FIRST_SHUT: Duration = Duration::from_secs(10);

/// Doubling pauses: half to the whole of 2 s, 4 s, 8 s … 60 s.
#[derive(Debug, Default)]
pub(super) struct BackOff {
    pauses: DoublingPause,
}

impl BackOff {
    /// The server took something: the pauses start anew.
    pub(super) fn handle_taken(&mut self) {
        self.pauses.begin_anew();
    }

    /// The pause after another failure that may pass by itself.
    pub(super) fn passing(&mut self) -> Duration {
        self.pause(2 * SHORTEST)
    }

    /// The pause after another refusal.
    pub(super) fn shut(&mut self) -> Duration {
        self.pause(FIRST_SHUT)
    }

    fn pause(&mut self, first: Duration) -> Duration {
        self.pauses.after_failure(first, LONGEST).max(SHORTEST)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_to_a_minute_and_start_anew_once_something_is_taken() {
        let mut back_off = BackOff::default();
        let mut whole = 2 * SHORTEST;
        for _ in 0..12 {
            let pause = back_off.passing();
            assert!(pause >= whole / 2 && pause <= whole, "{pause:?}");
            whole = (whole * 2).min(LONGEST);
        }
        back_off.handle_taken();
        assert!(back_off.passing() <= 2 * SHORTEST);
        back_off.handle_taken();
        assert!(back_off.shut() >= FIRST_SHUT / 2);
    }
}
