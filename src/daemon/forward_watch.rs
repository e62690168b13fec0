//! How the servers of series stand, for the plant.

use std::sync::Arc;

use crate::engine::{ForwardStuck, StuckKind};
use crate::forward::{Stand, TargetReport, TargetStatus};
use crate::ingest::Content;
use crate::units::Timestamp;

/// So much of a server's words goes out with an alarm, in characters.
const WORDS: usize = 200;

/// Looks at one of them.
pub(super) struct ForwardWatcher {
    report: Arc<TargetReport>,
    /// Lines refused for good that the plant knows of.
    dead_letters: u64,
}

impl ForwardWatcher {
    pub(super) fn new(report: Arc<TargetReport>) -> Self {
        ForwardWatcher {
            report,
            dead_letters: 0,
        }
    }

    /// How it stands; nothing where that is not known.
    pub(super) fn look(&mut self, now: Timestamp) -> Option<Content> {
        let status = self.report.status(now);
        let why = status.why.as_deref();
        let stuck = match status.stand {
            Stand::Starting | Stand::Stopped => return None,
            Stand::Refused => Some((StuckKind::Refused, why)),
            Stand::Waiting => Some((StuckKind::Away, why)),
            Stand::Sending => {
                let last = status.last_dead_letter.as_ref();
                let known = std::mem::replace(&mut self.dead_letters, status.counts.dead_letters);
                let more = status.counts.dead_letters > known;
                more.then(|| (StuckKind::DeadLetters, last.map(|last| &*last.words)))
            }
        };
        Some(Content::Forward {
            name: Arc::clone(&self.report.name),
            stuck: stuck.map(|(kind, why)| Box::new(told(&status, kind, why))),
        })
    }
}

fn told(status: &TargetStatus, kind: StuckKind, why: Option<&str>) -> ForwardStuck {
    let plain = |c: char| if c.is_control() { ' ' } else { c };
    let why = why.unwrap_or("no reason given").trim_end_matches('.');
    ForwardStuck {
        kind,
        address: status.address.clone(),
        why: why.chars().take(WORDS).map(plain).collect(),
        waiting: status.waiting,
        waiting_or_more: status.waiting_or_more,
        dead_letters: status.counts.dead_letters,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Span;

    fn stuck(content: Option<Content>) -> Option<ForwardStuck> {
        match content {
            Some(Content::Forward { stuck, .. }) => stuck.map(|stuck| *stuck),
            _ => None,
        }
    }

    #[test]
    fn nothing_is_said_of_one_that_has_only_begun() {
        let now = Timestamp::from_millis(1_000);
        let report = TargetReport::new("a".into(), "http://h:1".into(), Arc::default(), now);
        let report = Arc::new(report);
        let mut watcher = ForwardWatcher::new(Arc::clone(&report));
        assert!(watcher.look(now).is_none());
        report.handle_stopped(now);
        assert!(watcher.look(now + Span::from_secs(1)).is_none());
    }

    #[test]
    fn long_words_are_cut_and_stay_on_one_line() {
        let now = Timestamp::from_millis(1_000);
        let report = TargetReport::new("a".into(), "http://h:1".into(), Arc::default(), now);
        let status = report.status(now);
        let words = format!("status 401:\n{}", "é".repeat(1_000));
        let told = told(&status, StuckKind::Refused, Some(&words));
        assert_eq!(told.why.chars().count(), WORDS);
        assert!(told.why.starts_with("status 401: é"));
        assert_eq!(stuck(None), None);
    }
}
