//! How a broker has treated our connections of late, and what to do next.

use std::time::Duration;

use super::backoff::{Backoff, STABLE};
use super::down::{Cause, Down};

/// So many connections in a row that the broker grants and closes again
/// without a reason are no accident.
const SUSPICIOUS: u32 = 3;

/// The attempts of one client to be connected.
#[derive(Debug, Default)]
pub struct Attempts {
    backoff: Backoff,
    /// Connections in a row that were granted and soon closed by the broker.
    closed_soon: u32,
}

/// What to do after a connection has ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retry {
    /// Pause before the next attempt.
    pub pause: Duration,
    /// Connections that have failed since the last good one.
    pub failures: u32,
    /// Why there is no connection, in words.
    pub why: String,
}

impl Attempts {
    /// A connection has ended, or could not be made; `lasted` is how long it
    /// stood after the broker had granted it.
    pub fn ended(&mut self, down: &Down, lasted: Option<Duration>, client_id: &str) -> Retry {
        let soon = lasted.is_some_and(|lasted| lasted < STABLE);
        match (down.cause, soon) {
            (Cause::Closed, true) => self.closed_soon += 1,
            (Cause::Closed | Cause::TakenOver | Cause::Refused, _) | (_, true) => {
                self.closed_soon = 0;
            }
            // Away in between: not a word about the connections before.
            (Cause::Passing, false) => {}
        }
        let why = if down.cause == Cause::TakenOver {
            format!("{down} (ours is \"{client_id}\")")
        } else if self.closed_soon >= SUSPICIOUS {
            format!(
                "the broker let us in and closed the connection again {} times in a row: most likely another client uses our client id \"{client_id}\"; stop that one, or give each daemon a client_id of its own",
                self.closed_soon
            )
        } else {
            down.to_string()
        };
        let pause = self
            .backoff
            .after_failure(lasted.unwrap_or_default(), down.cause);
        Retry {
            pause,
            failures: self.backoff.failures(),
            why,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHORT: Option<Duration> = Some(Duration::from_secs(2));

    #[test]
    fn another_client_with_our_id_is_recognised_where_the_broker_says_nothing() {
        let mut attempts = Attempts::default();
        for _ in 1..SUSPICIOUS {
            let told = attempts.ended(&Down::closed(), SHORT, "us").why;
            assert!(!told.contains("us"), "{told}");
        }
        let told = attempts.ended(&Down::closed(), SHORT, "us").why;
        assert!(told.contains("client id \"us\""), "{told}");
        // One good connection, and the suspicion is gone.
        attempts.ended(&Down::closed(), Some(STABLE), "us");
        let told = attempts.ended(&Down::closed(), SHORT, "us").why;
        assert!(!told.contains("client id"), "{told}");
    }

    #[test]
    fn a_broker_that_restarts_is_no_rival() {
        let mut attempts = Attempts::default();
        for _ in 0..SUSPICIOUS {
            let told = attempts.ended(&Down::closed(), Some(STABLE), "us").why;
            assert!(!told.contains("client id"), "{told}");
            let away = Down::passing("nothing listens");
            assert_eq!(attempts.ended(&away, None, "us").why, "nothing listens");
        }
    }

    #[test]
    fn where_the_broker_says_it_the_first_time_is_enough() {
        let told = Attempts::default()
            .ended(&Down::taken_over(), SHORT, "us")
            .why;
        assert!(
            told.contains("another client") && told.contains("\"us\""),
            "{told}"
        );
    }
}
