//! Tells the plant, and every channel that is concerned, of sources that are lost
//! and of those that are there again.

use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use super::Clock;
use crate::engine::{Lost, PlantSetup, TroubleKind};
use crate::ingest::{Arrived, Batch, Content, Intake, IntakeClosed, SourceReport, Standing};

/// Sources are looked at this often. What is lost for less is not missed by
/// anybody.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// Looks at the sources.
pub(super) struct SourceWatcher {
    sources: Vec<Watched>,
    /// The plant's place behind the sumps.
    plant: u32,
    intake: Intake,
    clock: Clock,
}

struct Watched {
    report: Arc<SourceReport>,
    channels: Vec<(usize, u16)>,
    /// What was said of it last.
    said: Standing,
}

impl SourceWatcher {
    /// For the sources of `setup` in a plant with so many sumps.
    pub(super) fn new(
        setup: &PlantSetup,
        reports: &[Arc<SourceReport>],
        sumps: usize,
        intake: &Intake,
        clock: &Clock,
    ) -> Self {
        let watched = setup.sources.iter().filter_map(|source| {
            let mut reports = reports.iter();
            let report = reports.find(|report| report.source.name == source.name)?;
            Some(Watched {
                report: Arc::clone(report),
                channels: source.channels.clone(),
                said: Standing::Starting,
            })
        });
        SourceWatcher {
            sources: watched.collect(),
            plant: sumps as u32,
            intake: intake.clone(),
            clock: clock.clone(),
        }
    }

    /// Looks until `stop`, and at nothing after it: that our own end closes all
    /// connections is no loss.
    pub(super) async fn run(mut self, stop: CancellationToken) {
        let mut look = tokio::time::interval(LOOK_EVERY);
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled() => return,
                _ = look.tick() => {}
            }
            if self.look().await.is_err() {
                return;
            }
        }
    }

    /// Tells what has changed. The channels hear of a loss before the plant
    /// does, so that none is told silent for it; of a return as well, so that
    /// each has its time to report.
    async fn look(&mut self) -> Result<(), IntakeClosed> {
        let mut news = Vec::new();
        for source in &mut self.sources {
            source.news(self.plant, &mut news);
        }
        if news.is_empty() {
            return Ok(());
        }
        let arrival = self.clock.now();
        let mut batches: Vec<Batch> = (0..self.intake.shards())
            .map(|_| Batch::default())
            .collect();
        for (sump, content) in news {
            let (shard, _) = self.intake.place(sump);
            batches[shard].arrived.push(Arrived {
                sump,
                arrival,
                content,
                ack: None,
            });
        }
        for (shard, batch) in batches.into_iter().enumerate() {
            if !batch.arrived.is_empty() {
                self.intake.send(shard, batch).await?;
            }
        }
        Ok(())
    }
}

impl Watched {
    /// What is to be said of it now, and to whom.
    fn news(&mut self, plant: u32, out: &mut Vec<(u32, Content)>) {
        let standing = self.report.standing();
        let Some(lost) = loss(&standing).filter(|_| standing != self.said) else {
            return;
        };
        let said = std::mem::replace(&mut self.said, standing);
        if loss(&said).map(|lost| lost.is_some()) != Some(lost.is_some()) {
            let gone = lost.is_some();
            let each = self.channels.iter().map(|&(sump, channel)| {
                let kind = TroubleKind::SourceGone(gone);
                let trouble = Content::Trouble {
                    channel,
                    time: None,
                    kind,
                };
                (sump as u32, trouble)
            });
            out.extend(each);
        }
        let name = Arc::clone(&self.report.source.name);
        out.push((plant, Content::Source { name, lost }));
    }
}

/// The loss, or that there is none; nothing where it is not known yet.
fn loss(standing: &Standing) -> Option<Option<Lost>> {
    match standing {
        Standing::Starting => None,
        Standing::Connected => Some(None),
        Standing::Lost(lost) => Some(Some(lost.clone())),
    }
}
