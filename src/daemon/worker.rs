//! One shard's thread: messages in, effects to the store.

use std::sync::mpsc::Receiver as Spare;
use std::sync::{Arc, Mutex};
use std::time::Instant;

use tokio::sync::mpsc::Receiver;

use crate::engine::{
    Effect, Entry, Event, Form, GRID, JournalBody, JournalRecord, PlantEvent, Quality, Reading,
    SETTLING, Shard, SumpWatch, Trouble,
};
use crate::ingest::{Ack, AnswerTo, AnswerTopic, Arrived, Batch as Inbound, Content, EntryOutcome};
use crate::notify::Composer;
use crate::store::{
    AnswerRow, Batch, JournalRow, RecentRow, SnapshotRow, StoreError, WriterHandle,
};
use crate::units::{Span, Timestamp, to_wire};
use crate::web::metrics::{Board, Laid};

use super::catch_up::TakenUp;
use super::entries::Journal;
use super::plant_desk::PlantDesk;
use super::start_up_lists::StartUpLists;

/// A watch is kept at least this often while readings come, so that little is
/// left to be caught up with after a crash.
pub(super) const SNAPSHOT_EVERY: Span = Span::from_secs(60);

/// What the plant tells of the sumps after a start is laid anew this often while there
/// is anything. Choice: half as often as the plant is told.
const LIST_EVERY: Span = Span::from_secs(15);

/// At the start so many watches are kept in one go. Choice: what they are kept as
/// takes many times what they remember, and few goes cost little time.
const KEPT_AT_ONCE: usize = 128;

/// Emptied batches, shared by the workers.
pub(super) type SpareBatches = Arc<Mutex<Spare<Batch<Ack>>>>;

pub(super) struct Worker {
    shard: Shard,
    /// What is the plant's, for one of the workers.
    plant: Option<PlantDesk>,
    /// How many shards share the sumps.
    shards: usize,
    /// When each watch is to be kept next.
    keep_at: Vec<Timestamp>,
    /// Newest arrival; never goes back.
    clock: Timestamp,
    composer: Composer,
    writer: WriterHandle<Ack>,
    spare: SpareBatches,
    journal: Journal,
    /// Where it lays how its sumps stand, and its own place there.
    board: (Arc<Board>, usize),
    /// Where it lays what the plant tells of its sumps after a start, at the same
    /// place; when it last did so while there was anything.
    lists: Arc<StartUpLists>,
    listed_at: Option<Timestamp>,
    effects: Vec<Effect>,
    /// What each watch wanted done while it was taken up, until that is done.
    wanted: Vec<Vec<Effect>>,
    batch: Batch<Ack>,
}

impl Worker {
    /// A worker for these watches, of a plant whose sumps are spread over the
    /// shards of the board; with its place there and among the lists.
    pub(super) fn new(
        (taken, plant): (Vec<TakenUp>, Option<PlantDesk>),
        start: Timestamp,
        composer: Composer,
        writer: WriterHandle<Ack>,
        spare: SpareBatches,
        journal: Journal,
        (board, lists, place): (Arc<Board>, Arc<StartUpLists>, usize),
    ) -> Self {
        // Spread, so that not all are kept in the same second.
        let count = taken.len() as i64;
        let share = |ix: i64| Span::from_millis(SNAPSHOT_EVERY.millis() * ix / count.max(1));
        let taken = taken.into_iter().map(|one| (one.watch, one.effects));
        let (watches, wanted) = taken.unzip();
        Worker {
            keep_at: (0..count).map(|ix| start + share(ix)).collect(),
            shard: Shard::new(watches),
            plant,
            shards: board.shards(),
            clock: start,
            composer,
            writer,
            spare,
            journal,
            board: (board, place),
            lists,
            listed_at: None,
            effects: Vec::new(),
            wanted,
            batch: Batch::default(),
        }
    }

    /// Works until all doors are closed; then keeps every watch.
    pub(super) fn run(mut self, mut room: Receiver<Inbound>) {
        if !self.begin() {
            return;
        }
        self.lay_list();
        while let Some(inbound) = room.blocking_recv() {
            self.work(inbound);
            if !self.submit() {
                return;
            }
        }
        for ix in 0..self.shard.watches().len() {
            self.keep(ix);
        }
        self.keep_plant();
        self.submit();
    }

    /// What the watches wanted done while they were taken up is done, each kept with
    /// where it stands. `false` when the store is gone.
    fn begin(&mut self) -> bool {
        if let Some(plant) = &mut self.plant {
            drain(&mut plant.wanted, &self.composer, &mut self.batch);
            self.keep_plant();
        }
        let wanted = std::mem::take(&mut self.wanted);
        for (ix, mut effects) in wanted.into_iter().enumerate() {
            drain(&mut effects, &self.composer, &mut self.batch);
            let row = snapshot_row(&self.shard.watches()[ix], self.clock);
            self.batch.snapshots.push(row);
            let full = self.batch.snapshots.len() == KEPT_AT_ONCE;
            if full && !(self.submit() && self.is_on_the_disk()) {
                return false;
            }
        }
        self.submit()
    }

    /// Waits until everything that was submitted is. `false` when the store is gone.
    fn is_on_the_disk(&self) -> bool {
        let flushed = self.writer.flush();
        flushed.inspect_err(gone).is_ok()
    }

    /// Takes in a batch; tells how long that took, and how the sumps stand if
    /// somebody has asked.
    fn work(&mut self, inbound: Inbound) {
        let (begun, contents) = (Instant::now(), inbound.arrived.len());
        self.take(inbound);
        self.lay_list_if_due();
        let (board, place) = &self.board;
        board.count_late(*place, late(&self.batch));
        if let Some(question) = board.question(*place) {
            let laid = Laid {
                sumps: self
                    .shard
                    .watches()
                    .iter()
                    .map(SumpWatch::figures)
                    .collect(),
                plant: self.plant.as_ref().map(|desk| desk.watch.alarm_counts()),
            };
            board.lay(*place, question, laid);
        }
        board.count_work(*place, begun.elapsed(), contents);
    }

    /// Lays what the plant tells of the sumps after a start: when their journal has
    /// gone on, and from time to time, as values do.
    fn lay_list_if_due(&mut self) {
        let listed_at = self.listed_at;
        let goes_on = listed_at.is_some_and(|at| self.clock - at >= LIST_EVERY);
        let watches = self.shard.watches();
        let lists = || listed_at.is_some() || watches.iter().any(SumpWatch::lists_anything);
        if goes_on || (!self.batch.journal.is_empty() && lists()) {
            self.lay_list();
        }
    }

    fn lay_list(&mut self) {
        let watches = self.shard.watches().iter();
        let all: Vec<_> = watches.filter(|one| one.lists_anything()).collect();
        let listed: Vec<_> = all.iter().flat_map(|one| one.listed()).collect();
        self.listed_at = (!all.is_empty()).then_some(self.clock);
        self.lists.lay(self.board.1, listed);
    }

    fn take(&mut self, inbound: Inbound) {
        if let Some(clock) = inbound.clock {
            self.advance(clock);
            self.keep_due();
        }
        for arrived in inbound.arrived {
            self.deliver(arrived);
        }
        let recent = inbound.recent.into_iter().map(|(source, trace)| RecentRow {
            source,
            packet: trace.packet,
            hash: trace.hash,
            seq: trace.seq,
        });
        self.batch.recent.extend(recent);
    }

    fn advance(&mut self, clock: Timestamp) {
        self.clock = self.clock.max(clock);
        let (composer, batch) = (&self.composer, &mut self.batch);
        let mut wrote = Vec::new();
        self.shard
            .advance(self.clock, &mut self.effects, |ix, effects| {
                if drain(effects, composer, batch) {
                    // Kept with what it just wrote, once the shard is free.
                    wrote.push(ix);
                }
            });
        for ix in wrote {
            self.keep(ix);
        }
        let point = (self.clock - SETTLING).floor(GRID);
        self.step_plant(&PlantEvent::Tick(point));
    }

    /// Lets something happen to the plant, and keeps its watch with what it
    /// wrote.
    fn step_plant(&mut self, event: &PlantEvent) {
        let Some(plant) = &mut self.plant else {
            return;
        };
        plant.watch.step(event, &mut self.effects);
        if drain(&mut self.effects, &self.composer, &mut self.batch) {
            self.keep_plant();
        }
    }

    fn keep_plant(&mut self) {
        let kept = self.plant.as_mut().map(|plant| plant.keep(self.clock));
        self.batch.snapshots.extend(kept);
    }

    fn deliver(&mut self, arrived: Arrived) {
        self.advance(arrived.arrival);
        let ix = arrived.sump as usize / self.shards;
        if ix == self.shard.watches().len() {
            return self.deliver_to_plant(arrived);
        }
        let event = match arrived.content {
            Content::Reading {
                channel,
                claimed,
                value,
                quality,
            } => Event::Reading(Reading {
                channel,
                claimed,
                // Not the shard's clock: a wire may have held it while others
                // went on.
                arrival: arrived.arrival,
                value,
                form: Form::Reported,
                quality,
            }),
            Content::Baseline { channel, value } => Event::Baseline { channel, value },
            Content::Trouble {
                channel,
                time,
                kind,
            } => Event::Trouble(Trouble {
                channel,
                time: time.unwrap_or(self.clock),
                kind,
            }),
            Content::Entry { entry, answer } => {
                let watch = &self.shard.watches()[ix];
                let outcome = self.journal.judge(watch, &entry, self.clock);
                if !self.may_happen(&entry, outcome, answer) {
                    self.batch.acks.extend(arrived.ack);
                    return;
                }
                Event::Entry(entry, self.clock)
            }
            Content::Answer { to, payload } => {
                self.answer(to, payload);
                self.batch.acks.extend(arrived.ack);
                return;
            }
            Content::PastEntry { entry, answer } => {
                let outcome = self.journal.judge_past(&self.shard.watches()[ix], &entry);
                if !self.may_happen(&entry, outcome, answer) {
                    self.batch.acks.extend(arrived.ack);
                    return;
                }
                Event::PastEntry(entry, self.clock)
            }
            Content::Known
            | Content::Source { .. }
            | Content::Stock { .. }
            | Content::Forward { .. }
            | Content::Disk { .. }
            | Content::StartUp { .. } => {
                self.batch.acks.extend(arrived.ack);
                return;
            }
        };
        self.shard.deliver(ix, &event, &mut self.effects);
        let wrote = drain(&mut self.effects, &self.composer, &mut self.batch);
        if wrote || self.clock >= self.keep_at[ix] {
            self.keep(ix);
        }
        self.batch.acks.extend(arrived.ack);
    }

    fn deliver_to_plant(&mut self, arrived: Arrived) {
        let event = self.event_of_plant(arrived.content);
        if let Some(event) = event {
            self.step_plant(&event);
        }
        self.batch.acks.extend(arrived.ack);
    }

    /// What happens to the plant by this; nothing by what is of channels.
    fn event_of_plant(&mut self, content: Content) -> Option<PlantEvent> {
        let (clock, watch) = (self.clock, &self.plant.as_ref()?.watch);
        match content {
            Content::Source { name, lost } => Some(PlantEvent::Source {
                name,
                time: clock,
                lost,
            }),
            Content::Stock { fluid, left } => Some(PlantEvent::Stock {
                fluid,
                time: clock,
                left,
            }),
            Content::Forward { name, stuck } => Some(PlantEvent::Forward {
                name,
                time: clock,
                stuck: stuck.map(|stuck| *stuck),
            }),
            Content::Disk { full } => Some(PlantEvent::Disk {
                time: clock,
                full: full.map(|full| *full),
            }),
            Content::StartUp { listed } => Some(PlantEvent::StartUp {
                time: clock,
                listed,
            }),
            Content::Entry { entry, answer } => {
                let outcome = self.journal.judge(watch, &entry, clock);
                let taken = self.may_happen(&entry, outcome, answer);
                taken.then_some(PlantEvent::Entry(entry, clock))
            }
            Content::PastEntry { entry, answer } => {
                let outcome = self.journal.judge_past(watch, &entry);
                let taken = self.may_happen(&entry, outcome, answer);
                taken.then_some(PlantEvent::PastEntry(entry, clock))
            }
            _ => None,
        }
    }

    /// Whether the entry is to be taken in; whoever wrote it is told.
    fn may_happen(&mut self, entry: &Entry, outcome: EntryOutcome, answer: AnswerTo) -> bool {
        let taken = match &outcome {
            EntryOutcome::Taken { .. } => {
                self.journal.handle_taken(entry);
                true
            }
            EntryOutcome::Known => false,
            EntryOutcome::Refused { why } => {
                tracing::warn!(sump = entry.sump, id = entry.id, "entry refused: {why}");
                false
            }
        };
        match answer {
            AnswerTo::Nobody => {}
            // There is one answer to a question.
            AnswerTo::Asker(asker) => drop(asker.set(outcome)),
            AnswerTo::Topic(to) => self.answer(to, outcome.published(entry)),
        }
        taken
    }

    fn answer(&mut self, to: AnswerTopic, payload: String) {
        self.batch.answers.push(AnswerRow {
            topic: to.topic,
            payload,
            correlation: to.correlation,
            created: self.clock,
        });
    }

    /// Keeps the watches whose minute is over, readings or not: what is stored
    /// after the oldest of them is read again at the next start.
    fn keep_due(&mut self) {
        for ix in 0..self.keep_at.len() {
            if self.clock >= self.keep_at[ix] {
                self.keep(ix);
            }
        }
        if self
            .plant
            .as_ref()
            .is_some_and(|plant| plant.is_due(self.clock))
        {
            self.keep_plant();
        }
    }

    /// Puts the memory of a watch into the batch.
    fn keep(&mut self, ix: usize) {
        self.keep_at[ix] = self.clock + SNAPSHOT_EVERY;
        self.batch
            .snapshots
            .push(snapshot_row(&self.shard.watches()[ix], self.clock));
    }

    /// Hands the batch to the store. `false` when the store is gone.
    fn submit(&mut self) -> bool {
        if self.batch.rows() == 0 {
            return true;
        }
        let spare = self
            .spare
            .lock()
            .ok()
            .and_then(|spare| spare.try_recv().ok());
        let batch = std::mem::replace(&mut self.batch, spare.unwrap_or_default());
        match self
            .writer
            .submit(batch)
            .and_then(|()| self.wait_for_entries())
        {
            Ok(()) => true,
            Err(error) => {
                gone(&error);
                false
            }
        }
    }

    /// Waits for the store once many entries are on their way to it, so that
    /// it can be asked for them and they need not be kept in mind.
    fn wait_for_entries(&mut self) -> Result<(), StoreError> {
        if self.journal.is_crowded() {
            self.writer.flush()?;
            self.journal.handle_stored();
        }
        Ok(())
    }
}

fn gone(error: &StoreError) {
    tracing::error!("the engine stops, the store takes nothing more: {error}");
}

/// How many of the values to be kept came late.
fn late(batch: &Batch<Ack>) -> u64 {
    let samples = batch.samples.iter();
    samples.filter(|one| one.quality.has(Quality::LATE)).count() as u64
}

fn snapshot_row(watch: &SumpWatch, clock: Timestamp) -> SnapshotRow {
    let body = serde_json::to_vec(&watch.snapshot())
        .expect("a snapshot has text keys and finite numbers only");
    SnapshotRow {
        sump: Arc::clone(&watch.setup().name),
        time: clock,
        body,
    }
}

/// Moves effects into the batch; says whether the journal got something, so
/// that the watch must be kept with it.
pub(super) fn drain(
    effects: &mut Vec<Effect>,
    composer: &Composer,
    batch: &mut Batch<Ack>,
) -> bool {
    let mut wrote = false;
    for effect in effects.drain(..) {
        match effect {
            Effect::Record(sample) => batch.samples.push(sample),
            Effect::Journal(record) => {
                wrote = true;
                batch.urgent |= !matches!(record.body, JournalBody::Entry { .. });
                composer.messages(&record, &mut batch.outbox, &mut batch.waiting);
                batch.journal.push(journal_row(&record));
            }
            Effect::Show(status) => batch.outbox.push(composer.state(&status)),
        }
    }
    wrote
}

fn journal_row(record: &JournalRecord) -> JournalRow {
    JournalRow {
        time: record.time,
        sump: Arc::clone(&record.sump),
        seq: record.seq,
        kind: record.body.kind(),
        body: to_wire(record).expect("a journal line has text keys only"),
    }
}
