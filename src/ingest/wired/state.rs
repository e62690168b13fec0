//! How a wire does: what is told of it, in its report and in the log.

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use crate::ingest::report::SourceReport;
use crate::units::Timestamp;

use super::pause::STABLE;

/// Tells each change of a wire once.
pub(super) struct State {
    report: Arc<SourceReport>,
    clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    health: Health,
}

#[derive(Debug)]
enum Health {
    /// Never opened yet, and nothing told.
    New,
    /// Told as open.
    Up,
    /// Told as down, with this reason.
    Down {
        why: String,
        /// It opens and is lost again at once; only bytes prove that it is up.
        flaps: bool,
    },
}

impl State {
    pub(super) fn new(
        report: Arc<SourceReport>,
        clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    ) -> Self {
        State {
            report,
            clock,
            health: Health::New,
        }
    }

    pub(super) fn report(&self) -> &Arc<SourceReport> {
        &self.report
    }

    /// It is open.
    pub(super) fn opened(&mut self) {
        self.report.handle_opened();
        if !matches!(self.health, Health::Down { flaps: true, .. }) {
            self.up();
        }
    }

    /// Something came over it.
    pub(super) fn heard(&mut self) {
        self.up();
    }

    fn up(&mut self) {
        if !matches!(self.health, Health::Up) {
            tracing::info!(wire = %self.report.source, "open");
            self.report.handle_connected((self.clock)());
            self.health = Health::Up;
        }
    }

    /// It did not open, or was lost after it had been open for so long.
    pub(super) fn failed(&mut self, why: &dyn fmt::Display, lasted: Duration) {
        self.report.handle_failed();
        let why = why.to_string();
        let told = matches!(&self.health, Health::Down { why: before, .. } if *before == why);
        if !told {
            tracing::warn!(wire = %self.report.source, "{why}; tried again until it is there");
            self.report.handle_lost((self.clock)(), &why);
        }
        let flaps = !lasted.is_zero() && lasted < STABLE;
        self.health = Health::Down { why, flaps };
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::engine::AdmissionSetup;
    use crate::ingest::report::{Said, SourceName, WireStatus};
    use crate::line::LineCounts;
    use crate::units::Span;

    const NOW: Timestamp = Timestamp::from_millis(1_700_000_000_000);

    /// The report of a serial port.
    pub(in crate::ingest::wired) fn port() -> SourceReport {
        let source = SourceName {
            kind: "serial",
            name: "bench".into(),
            address: "/dev/ttyS1".to_owned(),
        };
        let admission = AdmissionSetup {
            future_skew: Span::ZERO,
            oldest: Span::ZERO,
            late_after: Span::ZERO,
        };
        let report = SourceReport::new(source, Arc::default(), admission, Arc::default(), NOW);
        report.with_wire(WireStatus::new(Said::Lines(LineCounts::default())))
    }

    fn state() -> State {
        State::new(Arc::new(port()), Arc::new(|| NOW))
    }

    /// Whether the report says that it is up, and whether that is news.
    fn told(state: &State) -> (bool, bool) {
        let status = state.report.status((state.clock)());
        (status.connected, state.report.take_change())
    }

    #[test]
    fn a_wire_that_flaps_is_told_once() {
        let mut state = state();
        state.opened();
        assert_eq!(told(&state), (true, true));
        for round in 0..3 {
            state.failed(&"gone", Duration::from_millis(1));
            state.opened();
            assert_eq!(told(&state), (false, round == 0));
        }
        state.heard();
        assert_eq!(told(&state), (true, true));
        state.heard();
        state.failed(&"gone", STABLE);
        state.failed(&"absent", Duration::ZERO);
        let status = state.report.status((state.clock)());
        assert_eq!(status.why.as_deref(), Some("absent"));
        state.opened();
        assert_eq!(told(&state), (true, true));
        let wire = state.report.status((state.clock)()).wire.unwrap();
        assert_eq!((wire.opened, wire.failed), (5, 5));
    }
}
