//! Waiting for a condition, with a deadline instead of a sleep.

use std::time::{Duration, Instant};

/// How long anything may take before a test gives up on it. Generous: it only
/// matters when something is broken.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// Waits until `condition` gives something.
///
/// # Panics
/// When it does not within [`PATIENCE`].
pub fn until<T>(what: &str, mut condition: impl FnMut() -> Option<T>) -> T {
    let begun = Instant::now();
    loop {
        if let Some(found) = condition() {
            return found;
        }
        assert!(begun.elapsed() < PATIENCE, "waited in vain until {what}");
        std::thread::park_timeout(Duration::from_millis(10));
    }
}
