//! Gathers what a scrape tells, from all over the daemon.

use std::path::PathBuf;
use std::sync::atomic::AtomicU64;
use std::sync::atomic::Ordering::Relaxed;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use super::board::{Board, Laid};
use super::figures::{
    DaemonFigures, ForwardFigures, MessageFigures, OutboxFigures, Scrape, ShardFigures,
    SourceFigures, StoreFigures,
};
use crate::engine::AlarmCounts;
use crate::forward::{Stand, TargetReport};
use crate::ingest::{Intake, SourceReport};
use crate::notify::{PublisherCounters, SenderCounters};
use crate::store::{BROKER, FILE_NAME, Reader, Stats, StoreError, WaitingLetters};
use crate::units::Timestamp;

/// The shards are waited for so long, and then the outbox. Choice: well below the
/// ten seconds after which collectors usually give up.
const PATIENCE: Duration = Duration::from_secs(1);

/// Where the figures come from.
pub struct Observed {
    /// Name of the plant.
    pub plant: Arc<str>,
    /// How many sumps it has.
    pub sumps: usize,
    /// The time.
    pub now: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    /// When the daemon started.
    pub started: Timestamp,
    /// What the shards lay down.
    pub board: Arc<Board>,
    /// What waits for the shards.
    pub intake: Intake,
    /// The sources.
    pub sources: Vec<Arc<SourceReport>>,
    /// What the store's writer has done.
    pub store: Arc<Stats>,
    /// Folder of the store.
    pub folder: PathBuf,
    /// Messages over MQTT.
    pub published: Arc<PublisherCounters>,
    /// Mail and webhooks.
    pub letters: Arc<SenderCounters>,
    /// The servers that get what is stored.
    pub targets: Vec<Arc<TargetReport>>,
}

impl std::fmt::Debug for Observed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Observed").finish_non_exhaustive()
    }
}

/// Gathers scrapes.
#[derive(Debug)]
pub struct Gather {
    observed: Observed,
    /// Held by the query that runs; opened by the first.
    reader: Arc<Mutex<Option<Reader>>>,
}

impl Gather {
    /// From there.
    pub fn new(observed: Observed) -> Self {
        Gather {
            observed,
            reader: Arc::default(),
        }
    }

    /// How everything stands now, within twice `PATIENCE`.
    pub async fn scrape(&self) -> Scrape {
        let observed = &self.observed;
        let (laid, all_answered) = observed.board.ask(PATIENCE).await;
        let now = (observed.now)();
        let outbox = self.outbox(now).await;
        let plant_alarms = laid.iter().find_map(|laid| laid.plant.clone());
        Scrape {
            plant: Arc::clone(&observed.plant),
            now,
            sumps: in_order(&laid, observed.sumps),
            plant_alarms: plant_alarms.unwrap_or_else(AlarmCounts::default),
            daemon: DaemonFigures {
                started_s: observed.started.millis() as f64 / 1e3,
                all_answered,
                sources: self.sources(now),
                shards: self.shards(),
                store: self.store(),
                outbox,
                messages: self.messages(),
                forward: observed
                    .targets
                    .iter()
                    .map(|one| target(one, now))
                    .collect(),
            },
        }
    }

    fn sources(&self, now: Timestamp) -> Vec<SourceFigures> {
        let each = self.observed.sources.iter();
        each.map(|report| source(report, now)).collect()
    }

    fn shards(&self) -> Vec<ShardFigures> {
        let (board, intake) = (&self.observed.board, &self.observed.intake);
        let each = (0..board.shards()).map(|shard| {
            let (batches_waiting, contents_waiting) = intake.waiting(shard);
            ShardFigures {
                batches_waiting,
                contents_waiting,
                ..board.work(shard)
            }
        });
        each.collect()
    }

    fn store(&self) -> StoreFigures {
        let stats = &self.observed.store;
        let of = |counter: &AtomicU64| counter.load(Relaxed);
        let missed = of(&stats.values_deleted_unforwarded);
        let forced = of(&stats.values_deleted_for_room).max(missed);
        StoreFigures {
            values: [
                ("stored", of(&stats.rows_stored)),
                ("duplicate", of(&stats.duplicates)),
                ("conflict", of(&stats.conflicts)),
                ("refused", of(&stats.refused)),
            ],
            commits: of(&stats.commits),
            commit_steps: stats.commit_times.steps(),
            commit_sum_s: stats.commit_times.sum_s(),
            write_errors: of(&stats.write_errors),
            failing: stats.failing.load(Relaxed),
            queue: stats.queue_depth.load(Relaxed),
            bytes: [("main", self.bytes("")), ("wal", self.bytes("-wal"))],
            packed: of(&stats.values_packed),
            late: of(&stats.late_values),
            lags_s: [
                ("packing", of(&stats.packing_lag_ms) as f64 / 1e3),
                ("rollups", of(&stats.rolling_lag_ms) as f64 / 1e3),
            ],
            held: *stats.held.lock().unwrap_or_else(PoisonError::into_inner),
            deleted: of(&stats.deleted),
            forced_values: [("yes", forced - missed), ("no", missed)],
            forced_rollups: of(&stats.deleted_for_room).saturating_sub(forced),
            short_of_room: stats.short_of_room.load(Relaxed),
            disk_free: Some(of(&stats.disk_free_bytes)).filter(|bytes| *bytes > 0),
            messages_dropped: [
                ("outbox_full", of(&stats.outbox_dropped)),
                ("expired", of(&stats.expired)),
                ("refused", of(&stats.put_aside)),
            ],
        }
    }

    /// Size of a file of the store; 0 while there is none.
    fn bytes(&self, ending: &str) -> u64 {
        let file = format!("{FILE_NAME}{ending}");
        let about = std::fs::metadata(self.observed.folder.join(file));
        about.map_or(0, |about| about.len())
    }

    fn messages(&self) -> MessageFigures {
        let (mqtt, letters) = (&self.observed.published, &self.observed.letters);
        let of = |counter: &AtomicU64| counter.load(Relaxed);
        MessageFigures {
            sent: [
                ("mqtt", "confirmed", of(&mqtt.confirmed)),
                ("mqtt", "refused", of(&mqtt.refused)),
                ("letter", "delivered", of(&letters.delivered)),
                ("letter", "failed", of(&letters.failed)),
                ("letter", "refused", of(&letters.refused)),
            ],
        }
    }

    /// What waits to be sent; nothing where the store does not say so in time.
    async fn outbox(&self, now: Timestamp) -> Vec<OutboxFigures> {
        let (reader, folder) = (Arc::clone(&self.reader), self.observed.folder.clone());
        let asked = tokio::task::spawn_blocking(move || -> Result<_, StoreError> {
            // One that still waits for an answer is not joined by a second.
            let Ok(mut kept) = reader.try_lock() else {
                return Ok(None);
            };
            let reader = match kept.take() {
                Some(reader) => reader,
                None => Reader::open(&folder)?,
            };
            let waiting = reader.waiting_letters()?;
            *kept = Some(reader);
            Ok(Some(waiting))
        });
        match tokio::time::timeout(PATIENCE, asked).await {
            Ok(Ok(Ok(Some(waiting)))) => by_kind(&waiting, now),
            _ => Vec::new(),
        }
    }
}

/// The sumps as the settings have them: dealt out to the shards in turn.
fn in_order(laid: &[Arc<Laid>], sumps: usize) -> Vec<crate::engine::SumpFigures> {
    let shards = laid.len();
    let each = (0..sumps).filter_map(|place| laid[place % shards].sumps.get(place / shards));
    each.cloned().collect()
}

fn source(report: &SourceReport, now: Timestamp) -> SourceFigures {
    let status = report.status(now);
    let counters = &report.counters;
    let of = |counter: &AtomicU64| counter.load(Relaxed);
    SourceFigures {
        name: Arc::clone(&report.source.name),
        kind: report.source.kind,
        connected: status.connected,
        messages: of(&counters.received),
        readings: of(&counters.readings),
        refused: [
            ("unreadable", of(&counters.refused)),
            ("oversized", of(&counters.oversized)),
            ("unknown_topic", of(&counters.unknown_topic)),
            ("retained_without_time", of(&counters.retained)),
        ],
        repeated: [
            ("known", of(&counters.repeated)),
            ("undecided", of(&counters.undecided)),
        ],
        gaps: of(&counters.gaps),
        dropped: status.wire.map_or(0, |wire| wire.dropped),
    }
}

fn target(report: &TargetReport, now: Timestamp) -> ForwardFigures {
    let status = report.status(now);
    ForwardFigures {
        target: status.target,
        sending: status.stand == Stand::Sending,
        behind_s: status.behind_s,
        waiting: status.waiting,
        lines: status.counts.lines,
        retries: status.counts.retries,
        refused: status.counts.dead_letters,
    }
}

/// Contacts have no bound that is known here, the kinds of receivers do.
fn by_kind(waiting: &[WaitingLetters], now: Timestamp) -> Vec<OutboxFigures> {
    let mut kinds = [BROKER, "mail", "webhook"].map(|kind| OutboxFigures {
        kind,
        ..OutboxFigures::default()
    });
    for letters in waiting {
        let road = letters.receiver.rsplit('/').next().unwrap_or_default();
        if let Some(known) = kinds.iter_mut().find(|known| known.kind == road) {
            known.messages += letters.count;
            let age = (now - letters.oldest).secs_f64();
            known.oldest_s = known.oldest_s.max(age);
        }
    }
    kinds.to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Span;

    #[test]
    fn the_outbox_is_told_by_kind_of_receiver() {
        let now = Timestamp::from_millis(1_000_000_000);
        let letters = |receiver: &str, count, ago| WaitingLetters {
            receiver: receiver.to_owned(),
            count,
            oldest: now - Span::from_secs(ago),
        };
        let waiting = [
            letters("broker", 3, 5),
            letters("anna/mail", 2, 40),
            letters("bert/mail", 1, 60),
        ];
        let told: Vec<_> = by_kind(&waiting, now)
            .iter()
            .map(|one| (one.kind, one.messages, one.oldest_s))
            .collect();
        assert_eq!(
            told,
            [("broker", 3, 5.0), ("mail", 3, 60.0), ("webhook", 0, 0.0)]
        );
    }
}
