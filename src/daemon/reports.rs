//! What each source and each target is doing, published for whoever has to look after it.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use super::Clock;
use crate::forward::TargetReport;
use crate::ingest::{Ack, SourceReport};
use crate::notify::Composer;
use crate::store::{Batch, StoreError, WriterHandle};

/// Without any change each source is told of this often.
const EVERY: Duration = Duration::from_secs(300);
/// Changes within this time are told together.
const TOGETHER: Duration = Duration::from_secs(1);

/// Puts the reports of all sources into the outbox.
pub(super) struct Reporter {
    pub(super) reports: Arc<[Arc<SourceReport>]>,
    pub(super) targets: Arc<[Arc<TargetReport>]>,
    /// Woken when one of them has something new to say.
    pub(super) changes: Arc<Notify>,
    pub(super) composer: Composer,
    pub(super) writer: WriterHandle<Ack>,
    pub(super) clock: Clock,
}

impl Reporter {
    /// Reports changes, and everything from time to time, until `stop`.
    pub(super) async fn run(self, stop: CancellationToken) -> Self {
        let mut every = tokio::time::interval(EVERY);
        every.reset();
        loop {
            let all = tokio::select! {
                () = stop.cancelled() => return self,
                () = self.changes.notified() => false,
                _ = every.tick() => true,
            };
            tokio::select! {
                () = stop.cancelled() => return self,
                () = tokio::time::sleep(TOGETHER) => {}
            }
            let is_wanted = |is_changed: bool| is_changed || all;
            let batch = self.batch(
                |report| is_wanted(report.take_change()),
                |target| is_wanted(target.take_change()),
            );
            // A store that takes nothing now has more urgent things to write.
            if self.writer.try_submit(batch).is_err() {
                for report in self.reports.iter() {
                    report.mark_changed();
                }
                for target in self.targets.iter() {
                    target.mark_changed();
                }
            }
        }
    }

    /// Says of all that they have been stopped.
    pub(super) fn say_stopped(self) -> Result<(), StoreError> {
        for report in self.reports.iter() {
            report.handle_lost(self.clock.now(), "the daemon was stopped");
        }
        for target in self.targets.iter() {
            target.handle_stopped(self.clock.now());
        }
        self.writer.submit(self.batch(|_| true, |_| true))
    }

    fn batch(
        &self,
        wanted: impl Fn(&SourceReport) -> bool,
        wanted_target: impl Fn(&TargetReport) -> bool,
    ) -> Batch<Ack> {
        let now = self.clock.now();
        let wanted = self.reports.iter().filter(|report| wanted(report));
        let rows = wanted.map(|report| {
            let name = &report.source.name;
            self.composer.source(name, &report.status(now), now)
        });
        let targets = self.targets.iter().filter(|target| wanted_target(target));
        let targets =
            targets.map(|target| self.composer.target(&target.name, &target.status(now), now));
        Batch {
            outbox: rows.chain(targets).collect(),
            ..Batch::default()
        }
    }
}
