//! Wires the rooms together: start, run, drain, stop.
//!
//! Promises: nothing is acknowledged to a broker before it is on the disk; a
//! broker that is not there delays and never ends the daemon; on stop the
//! sources stop first, then the engine, then the store is flushed, then the
//! messages leave, then the store is closed. Refuses: to start on settings
//! that were not checked, or on a folder that another daemon holds.

mod catch_up;
mod clock;
mod control;
mod desk;
mod digest;
mod disk_watch;
mod entries;
mod forward_watch;
mod forwarding;
mod keeping;
pub mod kept;
mod pages;
mod plant_desk;
mod plant_news;
mod removed;
mod reports;
mod source_watch;
mod sources;
mod start_up_lists;
pub mod stock;
mod stock_watch;
mod worker;

pub use clock::Clock;

use std::collections::HashMap;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

use tokio::sync::{Notify, mpsc, watch};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use crate::ingest::control::EntryDoor;
use crate::ingest::{Ack, Intake, SourceReport};
use crate::notify::{
    Address, Composer, LinkKeyError, Links, Publisher, PublisherCounters, Sender, SenderCounters,
    Texts,
};
use crate::phrases::TextsError;
use crate::settings::{SeriesKind, Settings};
use crate::store::{
    self, KeeperThread, Limits, Opened, Reader, Receipt, SeriesRow, Store, StoreError, Writer,
};
use crate::web::metrics::{self, Board, Gather, Observed};
use crate::web::{ListenError, Listener};

use catch_up::{TakenUp, take_up};
use desk::Desk;
use entries::Journal;
use forwarding::Forwarding;
use pages::Pages;
use plant_desk::PlantDesk;
use plant_news::PlantNews;
use reports::Reporter;
use source_watch::SourceWatcher;
use sources::Sources;
use start_up_lists::StartUpLists;
use stock_watch::StockWatcher;
use worker::Worker;

/// The shards are told the time this often.
const TELL_TIME_EVERY: Duration = Duration::from_millis(50);
/// The counts are told this often.
const SUMMARY_EVERY: Duration = Duration::from_secs(300);
/// Commits whose acknowledgements may wait for one source.
const COMMITS_WAITING: usize = 64;
/// For leaving messages, when the daemon stops.
const LEAVING: Duration = Duration::from_secs(3);

/// Why the daemon cannot run.
#[derive(Debug, thiserror::Error)]
pub enum DaemonError {
    /// The store does not open, or was lost on the way.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A thread could not be started.
    #[error("cannot start a thread: {0}")]
    Thread(#[source] std::io::Error),
    /// The pages cannot be served.
    #[error(transparent)]
    Web(#[from] ListenError),
    /// Links cannot be signed.
    #[error(transparent)]
    LinkKey(#[from] LinkKeyError),
    /// The texts of messages are wrong.
    #[error("the texts of messages:\n{0}")]
    Texts(#[from] TextsError),
    /// A part ended that must not.
    #[error("a part of the daemon ended on a fault of its own; see the log above and report it")]
    PartFailed,
}

/// Runs the daemon until `stop`, then drains it.
///
/// # Errors
/// When the texts of messages are wrong, the store cannot be opened or closed,
/// the pages' address cannot be bound, or a thread cannot be started.
pub async fn run(
    settings: Arc<Settings>,
    clock: Clock,
    stop: CancellationToken,
) -> Result<(), DaemonError> {
    let texts = Texts::new(&settings.texts)?;
    let mut store = Store::open(&settings.store.folder)?;
    tell_opened(store.opened());
    for remark in &settings.remarks {
        tracing::warn!("{remark}");
    }
    let web = settings.web.as_ref();
    let listener = web.map(|web| Listener::bind(web.listen)).transpose()?;
    let series = store.register(&series_rows(&settings))?;
    let series_map = series.clone();
    let reader = Reader::open(&settings.store.folder)?;

    let wake = Arc::new(Notify::new());
    let (mut ack_doors, ack_rooms): (Vec<_>, Vec<_>) = settings
        .brokers
        .iter()
        .map(|_| mpsc::channel(COMMITS_WAITING))
        .unzip();
    let (control_door, control_room) = mpsc::channel(COMMITS_WAITING);
    ack_doors.push(control_door);
    let (pages_door, pages_room) = mpsc::channel(COMMITS_WAITING);
    ack_doors.push(pages_door);
    let limits = Limits {
        outbox_rows: settings.store.outbox_max_rows as usize,
        linger: Duration::from_millis(settings.store.commit_after.millis() as u64),
        ..Limits::default()
    };
    let (spare_door, spare_room) = std::sync::mpsc::sync_channel(SPARE_BATCHES);
    let (post_door, posted) = watch::channel(0);
    let after = after_commit(ack_doors, Arc::clone(&wake), post_door, spare_door);
    let writer = Writer::start(store, series, limits, Box::new(after))?;
    let keeper = KeeperThread::start(
        &settings.store.folder,
        writer.handle(),
        keeping::setup(&settings.store),
        clock.as_fn(),
    )?;

    let (intake, rooms) = Intake::open(settings.engine_threads);
    let links = Links::open(&settings)?;
    let composer = Composer::new(&settings, texts.clone(), links.clone());
    let start = clock.now();
    let taken = take_up(&settings, &reader, &series_map, start)?;
    composer.post().take_up_floods(&reader, start)?;
    let gone = removed::close_gone_sumps(&settings, &reader, &composer, start)?;
    writer.handle().submit(gone)?;
    let mut plant = Some(PlantDesk::take_up(&settings, &reader, start)?);
    let (of_plant, _) = intake.place(settings.sumps.len() as u32);
    let spare = Arc::new(Mutex::new(spare_room));
    let board = Arc::new(Board::new(intake.shards()));
    let lists = Arc::new(StartUpLists::new(intake.shards()));
    let mut workers = Vec::new();
    for (taken, room) in deal(taken, intake.shards()).into_iter().zip(rooms) {
        let plant = plant.take_if(|_| workers.len() == of_plant);
        let worker = Worker::new(
            (taken, plant),
            start,
            composer.clone(),
            writer.handle(),
            Arc::clone(&spare),
            Journal::new(settings.store.folder.clone()),
            (Arc::clone(&board), Arc::clone(&lists), workers.len()),
        );
        let name = format!("engine-{}", workers.len());
        workers.push(spawn(name, &stop, move || worker.run(room))?);
    }

    let changes = Arc::new(Notify::new());
    let arrivals = clock.never_back();
    let mut sources = Sources::start(
        &settings, &reader, &intake, &arrivals, ack_rooms, &changes, &stop,
    )?;
    let writes = writer.handle();
    sources.add_control(&settings, &intake, writes, &arrivals, control_room, &stop)?;
    let sumps = settings.sumps.len();
    let watcher = SourceWatcher::new(&settings.watched, &sources.reports, sumps, &intake, &clock);
    let mut watching = JoinSet::new();
    watching.spawn(watcher.run(stop.clone()));
    let stock = StockWatcher {
        settings: Arc::clone(&settings),
        intake: intake.clone(),
        clock: clock.clone(),
    };
    watching.spawn(stock.run(stop.clone()));
    let mut forwarding = Forwarding::start(&settings, &writer, &clock, &changes, &stop);
    let stats = writer.stats();
    let news = PlantNews::new(
        &settings,
        &forwarding.reports,
        stats,
        lists,
        &intake,
        &clock,
    );
    watching.spawn(news.run(stop.clone()));
    let reporter = Reporter {
        reports: sources.reports.clone().into(),
        targets: forwarding.reports.clone().into(),
        changes,
        composer: composer.clone(),
        writer: writer.handle(),
        clock: clock.clone(),
    };
    let reporting = tokio::spawn(reporter.run(stop.clone()));
    let publisher = Publisher {
        broker: settings.brokers[settings.messages_broker].clone(),
        status_topic: composer.status_topic(),
        folder: settings.store.folder.clone(),
        writer: writer.handle(),
        wake,
        counters: Arc::default(),
    };
    let published = Arc::clone(&publisher.counters);
    let stop_publishing = CancellationToken::new();
    let letters = Arc::new(SenderCounters::default());
    let mut senders = JoinSet::new();
    for address in Address::all(&settings) {
        let sender = Sender {
            address,
            folder: settings.store.folder.clone(),
            writer: writer.handle(),
            posted: posted.clone(),
            now: clock.as_fn(),
            counters: Arc::clone(&letters),
        };
        senders.spawn(sender.run(stop_publishing.clone()));
    }
    let desk = Desk {
        settings: Arc::clone(&settings),
        post: composer.post().clone(),
        writer: writer.handle(),
        clock: clock.clone(),
    };
    senders.spawn(desk.run(stop.clone()));
    let publishing = tokio::spawn(publisher.run(stop_publishing.clone(), LEAVING));
    if let Some((listener, web)) = listener.zip(web) {
        tracing::info!(listen = %listener.address, "serving pages");
        let observed = Observed {
            plant: settings.plant.name.clone(),
            sumps,
            now: clock.as_fn(),
            started: start,
            board,
            intake: intake.clone(),
            sources: sources.reports.clone(),
            store: writer.stats(),
            folder: settings.store.folder.clone(),
            published: Arc::clone(&published),
            letters: Arc::clone(&letters),
            targets: forwarding.reports.clone(),
        };
        let pages = Pages {
            settings: Arc::clone(&settings),
            stats: writer.stats(),
            texts: texts.clone(),
            links,
            door: EntryDoor {
                ix: settings.brokers.len() as u16 + 1,
                intake: intake.clone(),
                pending: Arc::default(),
                clock: clock.as_fn(),
            },
            committed: pages_room,
            metrics: metrics::routes(Gather::new(observed), web.metrics_max_series),
        };
        sources.threads.push(pages.serve(listener, &stop)?);
    }
    tracing::info!(
        plant = %settings.plant.name, sumps = settings.sumps.len(),
        channels = settings.routes.len(), folder = %settings.store.folder.display(),
        "running"
    );

    keep_time(&intake, &clock, &stop, || {
        summary(
            &sources.reports,
            &clock,
            &writer.stats(),
            &published,
            &texts,
        );
        tell_letters(&letters);
        forwarding.tell(&clock);
    })
    .await;

    tracing::info!("stopping: sources, engine, store, messages");
    // A disk that refuses must not hold the drain up.
    writer.lose_patience();
    let reports = sources.reports.clone();
    let mut well = join(sources.threads).await;
    well &= match reporting.await {
        Ok(reporter) => blocking(move || reporter.say_stopped()).await.is_ok(),
        Err(_) => false,
    };
    well &= ended(std::mem::take(&mut forwarding.tasks)).await;
    well &= ended(watching).await;
    drop(intake);
    well &= join(workers).await;
    let flushing = writer.handle();
    // What a failure here means is told by the writer itself, below.
    well &= blocking(move || flushing.flush()).await.is_ok();
    stop_publishing.cancel();
    well &= publishing.await.is_ok();
    well &= ended(senders).await;
    summary(&reports, &clock, &writer.stats(), &published, &texts);
    tell_letters(&letters);
    forwarding.tell(&clock);
    let kept = tokio::task::spawn_blocking(move || keeper.stop()).await;
    well &= matches!(kept, Ok(true));
    blocking(move || writer.stop()).await?;
    if !well {
        return Err(DaemonError::PartFailed);
    }
    tracing::info!("stopped");
    Ok(())
}

/// Emptied batches kept for the engine to fill again.
const SPARE_BATCHES: usize = 8;

/// Deals the watches out so that each sump lies where [`Intake::place`] says.
fn deal(taken: Vec<TakenUp>, shards: usize) -> Vec<Vec<TakenUp>> {
    let each = taken.len().div_ceil(shards);
    let mut dealt: Vec<Vec<TakenUp>> = (0..shards).map(|_| Vec::with_capacity(each)).collect();
    for (place, one) in taken.into_iter().enumerate() {
        dealt[place % shards].push(one);
    }
    dealt
}

fn tell_opened(opened: &Opened) {
    match opened {
        Opened::Clean => {}
        Opened::AfterUncleanStop => {
            tracing::warn!("the last stop was not clean; the store was checked and is whole");
        }
        Opened::SetAside { path, reason } => tracing::error!(
            set_aside = %path.display(),
            "the store was damaged ({reason}) and has been set aside; a new one was begun"
        ),
    }
}

/// The series of the settings as the store keeps them.
pub fn series_rows(settings: &Settings) -> Vec<SeriesRow> {
    let rows = settings.series.iter().map(|series| SeriesRow {
        sump: Arc::clone(&series.sump),
        channel: Arc::clone(&series.channel),
        quantity: series.quantity,
        kind: match series.kind {
            SeriesKind::Reading => store::SeriesKind::Reading,
            SeriesKind::Estimate => store::SeriesKind::Estimate,
        },
    });
    rows.collect()
}

/// What happens after each commit: acknowledgements go to their sources, the
/// publisher is woken, the emptied batches go round again.
fn after_commit(
    doors: Vec<mpsc::Sender<Vec<Ack>>>,
    wake: Arc<Notify>,
    posted: watch::Sender<u64>,
    spare: std::sync::mpsc::SyncSender<store::Batch<Ack>>,
) -> impl FnMut(Receipt<Ack>) + Send {
    move |receipt| {
        let mut by_source: HashMap<u16, Vec<Ack>> = HashMap::new();
        for ack in receipt.acks {
            by_source.entry(ack.source).or_default().push(ack);
        }
        for (source, acks) in by_source {
            // A source that has stopped needs no acknowledgements: its broker
            // delivers again, and the store knows the readings.
            let _ = doors[usize::from(source)].blocking_send(acks);
        }
        if receipt.counts.outbox_added > 0 {
            wake.notify_one();
            posted.send_modify(|count| *count += 1);
        }
        for batch in receipt.emptied {
            // Enough are going round.
            let _ = spare.try_send(batch);
        }
    }
}

/// Tells the shards the time until `stop`.
async fn keep_time(intake: &Intake, clock: &Clock, stop: &CancellationToken, summary: impl Fn()) {
    let mut tick = tokio::time::interval(TELL_TIME_EVERY);
    let mut sum = tokio::time::interval(SUMMARY_EVERY);
    sum.reset();
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            _ = tick.tick() => intake.tell_time(clock.now()),
            _ = sum.tick() => summary(),
        }
    }
}

fn summary(
    sources: &[Arc<SourceReport>],
    clock: &Clock,
    store: &store::Stats,
    published: &PublisherCounters,
    texts: &Texts,
) {
    for report in sources {
        let (name, kind) = (&report.source.name, report.source.kind);
        let status = report.status(clock.now());
        tracing::info!(source = %name, kind, "{}", report.summary());
        tracing::info!(source = %name, kind, "{}", status.text);
    }
    tracing::info!("store: {}", store.summary());
    tracing::info!(
        confirmed = published.confirmed.load(Ordering::Relaxed),
        refused = published.refused.load(Ordering::Relaxed),
        in_english_instead = texts.failed(),
        "messages sent"
    );
}

fn tell_letters(letters: &SenderCounters) {
    tracing::info!(
        delivered = letters.delivered.load(Ordering::Relaxed),
        failed = letters.failed.load(Ordering::Relaxed),
        refused = letters.refused.load(Ordering::Relaxed),
        "mail and webhooks"
    );
}

/// Waits for the tasks that were told to end; says whether all ended well.
/// What they did not write down for lack of time is due at the next start.
async fn ended(mut tasks: JoinSet<()>) -> bool {
    let all = async {
        let mut well = true;
        while let Some(one) = tasks.join_next().await {
            well &= one.is_ok();
        }
        well
    };
    tokio::time::timeout(LEAVING, all).await.unwrap_or(true)
}

/// Starts a thread that is to run until `stop`. One that ends before, by a
/// panic or because another part is gone, takes the daemon down with it: a
/// daemon that hears nothing must not look alive.
fn spawn(
    name: String,
    stop: &CancellationToken,
    work: impl FnOnce() + Send + 'static,
) -> Result<JoinHandle<Ended>, DaemonError> {
    let guard = EndsAll {
        name: name.clone(),
        stop: stop.clone(),
    };
    let run = move || {
        let guard = guard;
        work();
        if guard.stop.is_cancelled() {
            Ended::WhenTold
        } else {
            Ended::Early
        }
    };
    std::thread::Builder::new()
        .name(name)
        .spawn(run)
        .map_err(DaemonError::Thread)
}

/// How a thread ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ended {
    WhenTold,
    Early,
}

/// Stops the daemon when its thread ends, for whatever reason.
struct EndsAll {
    name: String,
    stop: CancellationToken,
}

impl Drop for EndsAll {
    fn drop(&mut self) {
        if !self.stop.is_cancelled() {
            tracing::error!(thread = self.name, "ended early; the daemon stops");
            self.stop.cancel();
        }
    }
}

/// Whether all of them ended when they were told to.
async fn join(threads: Vec<JoinHandle<Ended>>) -> bool {
    let mut well = true;
    for thread in threads {
        let joined = tokio::task::spawn_blocking(move || thread.join()).await;
        well &= matches!(joined, Ok(Ok(Ended::WhenTold)));
    }
    well
}

async fn blocking(
    work: impl FnOnce() -> Result<(), StoreError> + Send + 'static,
) -> Result<(), DaemonError> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|_| DaemonError::PartFailed)??;
    Ok(())
}
