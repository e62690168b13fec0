//! Telling a channel of messages that could not be read, at a limited rate.

use std::time::{Duration, Instant};

use crate::engine::TroubleKind;

/// A channel is told at most so often.
const TELL_EVERY: Duration = Duration::from_secs(1);

/// What the channels of one source have not been told yet, by the place of
/// their route.
#[derive(Debug, Default)]
pub struct Unreadable(Vec<Pending>);

#[derive(Debug, Clone, Copy, Default)]
struct Pending {
    count: u32,
    told_at: Option<Instant>,
}

impl Unreadable {
    /// Counts one message; gives what is to be told now, if anything.
    pub fn count(
        &mut self,
        route: usize,
        why: &dyn std::fmt::Display,
        now: Instant,
    ) -> Option<TroubleKind> {
        if self.0.len() <= route {
            self.0.resize(route + 1, Pending::default());
        }
        let pending = &mut self.0[route];
        pending.count = pending.count.saturating_add(1);
        let recently = |at: Instant| now.saturating_duration_since(at) < TELL_EVERY;
        if pending.told_at.is_some_and(recently) {
            return None;
        }
        pending.told_at = Some(now);
        Some(TroubleKind::Unreadable {
            count: std::mem::take(&mut pending.count),
            why: why.to_string(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flood_is_told_once_a_second_and_counted_whole() {
        let mut unreadable = Unreadable::default();
        let start = Instant::now();
        let told: u32 = (0..2_500u64)
            .filter_map(|n| unreadable.count(3, &"no number", start + Duration::from_millis(n)))
            .map(|kind| match kind {
                TroubleKind::Unreadable { count, .. } => count,
                TroubleKind::Gone | TroubleKind::SourceGone(_) => 0,
            })
            .inspect(|count| assert!(*count <= 1000))
            .sum();
        assert_eq!(told, 2001, "what came after 2 s is told with the next");
    }
}
