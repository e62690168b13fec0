//! The daemon's own values.

use std::fmt;
use std::sync::Arc;

use prometheus_client::collector::Collector;
use prometheus_client::encoding::DescriptorEncoder;

use super::family::Family;
use super::figures::{
    DaemonFigures, ForwardFigures, Scrape, ShardFigures, SourceFigures, StoreFigures,
};

const BUILD: Family = Family::new("build", "Which program this is");
const STARTED: Family = Family::of(
    "start_time",
    "seconds",
    "When the daemon started, since 1970",
);
const FRESH: Family = Family::new(
    "scrape_fresh",
    "Whether the whole engine answered this scrape in time: 1 yes, 0 no, then the plant's values may be older",
);
const LEFT_OUT: Family = Family::new(
    "scrape_sumps_left_out",
    "Sumps whose values are left out, as the scrape would become larger than web.metrics_max_series allows",
);
const CONNECTED: Family = Family::new(
    "source_connected",
    "Whether there is a connection to a source of readings: 1 yes, 0 no",
);
const MESSAGES: Family = Family::new(
    "source_messages",
    "Messages, lines or answers that came from a source",
);
const READINGS: Family = Family::new("source_readings", "Readings that came from a source");
const REFUSED: Family = Family::new(
    "source_messages_refused",
    "Messages of a source that were not taken, by reason",
);
const REPEATED: Family = Family::new(
    "source_messages_repeated",
    "Messages that a source delivered again: known ones, and ones of which that cannot be told",
);
const GAPS: Family = Family::new(
    "source_gaps",
    "Times that messages of an edge node were missing",
);
const DROPPED: Family = Family::new(
    "source_readings_dropped",
    "Readings of a wire that were dropped, as the store took none for too long",
);
const BUSY: Family = Family::of(
    "engine_busy",
    "seconds",
    "How long a shard of the engine has worked",
);
const CONTENTS: Family = Family::new(
    "engine_contents",
    "Readings, entries and the like that a shard of the engine has taken",
);
const LATE: Family = Family::new(
    "engine_readings_late",
    "Readings that came too late to change anything, and were kept",
);
const BATCHES_WAITING: Family = Family::new(
    "engine_queue_batches",
    "Batches that wait for a shard of the engine",
);
const CONTENTS_WAITING: Family = Family::new(
    "engine_queue_contents",
    "Readings, entries and the like that wait for a shard of the engine",
);
const VALUES: Family = Family::new(
    "store_values",
    "Values by what became of them in the store: duplicates and conflicts were there already, refused ones are no number or of no series",
);
const COMMIT: Family = Family::of(
    "store_commit",
    "seconds",
    "How long transactions of the store took until they were on the disk",
);
const WRITE_ERRORS: Family = Family::new("store_write_errors", "Attempts to commit that failed");
const FAILING: Family = Family::new(
    "store_failing",
    "Whether the last attempt to commit failed, so that nothing is acknowledged now: 1 yes, 0 no",
);
const STORE_QUEUE: Family = Family::new(
    "store_queue_commands",
    "Commands that wait for the thread that writes",
);
const BYTES: Family = Family::of(
    "store_file",
    "bytes",
    "Size of the store's files: main, and wal for what is not yet taken over into it",
);
const PACKED: Family = Family::new(
    "store_values_packed",
    "Readings and estimates that were packed into blocks",
);
const HELD_VALUES: Family = Family::new(
    "store_packed_values",
    "Readings and estimates that the store holds in packed blocks, as it counted last",
);
const HELD_BLOCKS: Family = Family::new(
    "store_blocks",
    "Packed blocks that the store holds, as it counted last",
);
const HELD_ROLLUPS: Family = Family::new(
    "store_rollups",
    "Rows of rollups that the store holds, by step, as it counted last; a row of minutes holds those of an hour",
);
const HELD_LINES: Family = Family::new(
    "store_journal_lines",
    "Lines of the journal that the store holds, as it counted last",
);
const LATE_VALUES: Family = Family::new(
    "store_late_values",
    "Values that came to packed times and wait to be packed with them, counted up to 100000",
);
const LAG: Family = Family::of(
    "store_lag",
    "seconds",
    "How far packing and rolling up are behind the clock; by the settings at least store.pack_after",
);
const DELETED: Family = Family::new(
    "store_rows_deleted",
    "Values, rollups and lines of the journal that were deleted as they were too old",
);
const FORCED_VALUES: Family = Family::new(
    "store_values_deleted_for_room",
    "Readings and estimates that were deleted before their time for want of room, by whether all servers of series had them",
);
const FORCED_ROLLUPS: Family = Family::new(
    "store_rollups_deleted_for_room",
    "Rows of minutes and hours that were deleted before their time for want of room",
);
const SHORT: Family = Family::new(
    "store_short_of_room",
    "Whether the store takes more room than it may, or leaves its disk less: 1 yes, 0 no",
);
const DISK_FREE: Family = Family::of(
    "store_disk_free",
    "bytes",
    "What is free on the disk of the store",
);
const OUTBOX: Family = Family::new(
    "outbox_messages",
    "Messages that wait to be sent, by kind of receiver",
);
const OUTBOX_AGE: Family = Family::of(
    "outbox_oldest_age",
    "seconds",
    "Age of the oldest message that waits to be sent, by kind of receiver; 0 where none waits",
);
const MESSAGES_DROPPED: Family = Family::new(
    "outbox_messages_dropped",
    "Messages that were given up: the outbox was full, nobody took them in time, or they were refused for good",
);
const SENT: Family = Family::new(
    "messages",
    "Messages and attempts to send them, by road and by what became of them",
);

const FORWARD_SENDING: Family = Family::new(
    "forward_sending",
    "Whether a server that gets what is stored takes it: 1 yes, 0 no",
);
const FORWARD_LAG: Family = Family::of(
    "forward_lag",
    "seconds",
    "How far a server is behind the store; 0 once it has caught up",
);
const FORWARD_WAITING: Family = Family::new(
    "forward_waiting_values",
    "Readings and estimates that wait for a server",
);
const FORWARD_LINES: Family = Family::new("forward_lines", "Lines that a server has taken");
const FORWARD_RETRIES: Family = Family::new(
    "forward_retries",
    "Times that the same was sent to a server again",
);
const FORWARD_REFUSED: Family = Family::new(
    "forward_lines_refused",
    "Lines that a server will never take; they stand in the file of dead letters",
);

/// Writes the daemon's own values.
#[derive(Debug)]
pub(super) struct DaemonValues {
    pub(super) scrape: Arc<Scrape>,
    /// Sumps that are left out.
    pub(super) left_out: usize,
}

impl Collector for DaemonValues {
    fn encode(&self, mut out: DescriptorEncoder<'_>) -> fmt::Result {
        let out = &mut out;
        let figures = &self.scrape.daemon;
        BUILD.info(out, &[("version", env!("CARGO_PKG_VERSION"))])?;
        one(STARTED, out, figures.started_s)?;
        one(FRESH, out, flag(figures.all_answered))?;
        one(LEFT_OUT, out, self.left_out as f64)?;
        sources(out, &figures.sources)?;
        shards(out, &figures.shards)?;
        store(out, figures)?;
        messages(out, figures)?;
        forward(out, &figures.forward)
    }
}

/// A value that there is once.
fn one(family: Family, out: &mut DescriptorEncoder<'_>, value: f64) -> fmt::Result {
    family.gauges(out, [(NONE, value)])
}

/// No labels.
const NONE: [(&str, &str); 0] = [];

fn flag(flag: bool) -> f64 {
    f64::from(u8::from(flag))
}

fn sources(out: &mut DescriptorEncoder<'_>, sources: &[SourceFigures]) -> fmt::Result {
    let each = || sources.iter().map(|source| (of(source), source));
    CONNECTED.gauges(out, each().map(|(of, source)| (of, flag(source.connected))))?;
    MESSAGES.counters(out, each().map(|(of, source)| (of, source.messages)))?;
    READINGS.counters(out, each().map(|(of, source)| (of, source.readings)))?;
    let refused = each().flat_map(|(of, source)| {
        let reasons = source.refused.into_iter();
        reasons.map(move |(reason, count)| ((of, [("reason", reason)]), count))
    });
    REFUSED.counters(out, refused)?;
    let repeated = each().flat_map(|(of, source)| {
        let judged = source.repeated.into_iter();
        judged.map(move |(judged, count)| ((of, [("judged", judged)]), count))
    });
    REPEATED.counters(out, repeated)?;
    GAPS.counters(out, each().map(|(of, source)| (of, source.gaps)))?;
    DROPPED.counters(out, each().map(|(of, source)| (of, source.dropped)))
}

fn of(source: &SourceFigures) -> [(&'static str, &str); 2] {
    [("source", &source.name), ("kind", source.kind)]
}

fn shards(out: &mut DescriptorEncoder<'_>, shards: &[ShardFigures]) -> fmt::Result {
    let each = || {
        let numbered = shards.iter().enumerate();
        numbered.map(|(ix, shard)| ([("shard", ix)], shard))
    };
    BUSY.counters(out, each().map(|(of, shard)| (of, shard.busy_s)))?;
    CONTENTS.counters(out, each().map(|(of, shard)| (of, shard.contents)))?;
    LATE.counters(out, each().map(|(of, shard)| (of, shard.late)))?;
    let batches = each().map(|(of, shard)| (of, shard.batches_waiting as f64));
    BATCHES_WAITING.gauges(out, batches)?;
    let contents = each().map(|(of, shard)| (of, shard.contents_waiting as f64));
    CONTENTS_WAITING.gauges(out, contents)
}

fn store(out: &mut DescriptorEncoder<'_>, figures: &DaemonFigures) -> fmt::Result {
    let store = &figures.store;
    VALUES.counters(
        out,
        store.values.map(|(became, n)| ([("became", became)], n)),
    )?;
    COMMIT.histogram(out, &store.commit_steps, store.commit_sum_s)?;
    WRITE_ERRORS.counters(out, [(NONE, store.write_errors)])?;
    one(FAILING, out, flag(store.failing))?;
    one(STORE_QUEUE, out, store.queue as f64)?;
    let files = store.bytes.map(|(file, n)| ([("file", file)], n as f64));
    BYTES.gauges(out, files)?;
    room(out, store)?;
    let dropped = store.messages_dropped;
    MESSAGES_DROPPED.counters(out, dropped.map(|(reason, n)| ([("reason", reason)], n)))
}

fn room(out: &mut DescriptorEncoder<'_>, store: &StoreFigures) -> fmt::Result {
    PACKED.counters(out, [(NONE, store.packed)])?;
    one(LATE_VALUES, out, store.late as f64)?;
    LAG.gauges(out, store.lags_s.map(|(of, s)| ([("of", of)], s)))?;
    if let Some(held) = store.held {
        one(HELD_BLOCKS, out, held.blocks as f64)?;
        one(HELD_VALUES, out, held.packed_values as f64)?;
        let steps = [
            ("minute", held.minute_hours),
            ("hour", held.hours),
            ("day", held.days),
        ];
        let steps = steps.map(|(step, n)| ([("step", step)], n as f64));
        HELD_ROLLUPS.gauges(out, steps)?;
        one(HELD_LINES, out, held.journal_lines as f64)?;
    }
    DELETED.counters(out, [(NONE, store.deleted)])?;
    let forced = store.forced_values;
    FORCED_VALUES.counters(out, forced.map(|(had, n)| ([("forwarded", had)], n)))?;
    FORCED_ROLLUPS.counters(out, [(NONE, store.forced_rollups)])?;
    one(SHORT, out, flag(store.short_of_room))?;
    let free = store.disk_free.into_iter();
    DISK_FREE.gauges(out, free.map(|bytes| (NONE, bytes as f64)))
}

fn messages(out: &mut DescriptorEncoder<'_>, figures: &DaemonFigures) -> fmt::Result {
    let each = || {
        let kinds = figures.outbox.iter();
        kinds.map(|outbox| ([("receiver", outbox.kind)], outbox))
    };
    OUTBOX.gauges(out, each().map(|(of, outbox)| (of, outbox.messages as f64)))?;
    OUTBOX_AGE.gauges(out, each().map(|(of, outbox)| (of, outbox.oldest_s)))?;
    let sent = figures.messages.sent;
    let rows = sent.map(|(road, became, n)| ([("road", road), ("became", became)], n));
    SENT.counters(out, rows)
}

fn forward(out: &mut DescriptorEncoder<'_>, targets: &[ForwardFigures]) -> fmt::Result {
    let each = || targets.iter().map(|one| ([("target", &*one.target)], one));
    FORWARD_SENDING.gauges(out, each().map(|(of, one)| (of, flag(one.sending))))?;
    FORWARD_LAG.gauges(out, each().map(|(of, one)| (of, one.behind_s)))?;
    FORWARD_WAITING.gauges(out, each().map(|(of, one)| (of, one.waiting as f64)))?;
    FORWARD_LINES.counters(out, each().map(|(of, one)| (of, one.lines)))?;
    FORWARD_RETRIES.counters(out, each().map(|(of, one)| (of, one.retries)))?;
    FORWARD_REFUSED.counters(out, each().map(|(of, one)| (of, one.refused)))
}
