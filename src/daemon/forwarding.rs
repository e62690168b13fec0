//! Forwarding to servers of series: a task a target.

use std::sync::Arc;

use tokio::sync::Notify;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use super::Clock;
use crate::forward::{Target, TargetReport};
use crate::ingest::Ack;
use crate::settings::Settings;
use crate::store::Writer;

/// The running targets.
pub(super) struct Forwarding {
    /// What each says of itself.
    pub(super) reports: Vec<Arc<TargetReport>>,
    pub(super) tasks: JoinSet<()>,
}

impl Forwarding {
    /// Starts one task a target; they end once `stop` is given. `changes` is woken
    /// when one of them has something new to say.
    pub(super) fn start(
        settings: &Settings,
        writer: &Writer<Ack>,
        clock: &Clock,
        changes: &Arc<Notify>,
        stop: &CancellationToken,
    ) -> Self {
        let mut forwarding = Forwarding {
            reports: Vec::new(),
            tasks: JoinSet::new(),
        };
        for settings_of in &settings.forward {
            let report = Arc::new(TargetReport::new(
                Arc::clone(&settings_of.name),
                settings_of.url.clone(),
                Arc::clone(changes),
                clock.now(),
            ));
            let target = Target {
                settings: Arc::new(settings_of.clone()),
                plant: Arc::clone(&settings.plant.name),
                folder: settings.store.folder.clone(),
                writer: writer.handle(),
                stats: writer.stats(),
                now: clock.as_fn(),
                report: Arc::clone(&report),
            };
            forwarding.tasks.spawn(target.run(stop.clone()));
            forwarding.reports.push(report);
        }
        forwarding
    }

    /// Tells in the log how each goes on.
    pub(super) fn tell(&self, clock: &Clock) {
        for report in &self.reports {
            let status = report.status(clock.now());
            let counts = status.counts;
            tracing::info!(
                forward = %report.name,
                lines = counts.lines,
                retries = counts.retries,
                dead_letters = counts.dead_letters,
                "{}",
                status.text
            );
        }
    }
}
