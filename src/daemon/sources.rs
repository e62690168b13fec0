//! The sources of readings and entries, each on a thread of its own.

use std::sync::Arc;
use std::thread::JoinHandle;

use tokio::runtime::Runtime;
use tokio::sync::{Notify, mpsc};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use super::clock::Telling;
use super::{DaemonError, Ended, spawn};
use crate::ingest::mqtt::{Source, acknowledge};
use crate::ingest::wired::WireSource;
use crate::ingest::{Ack, Intake, Recent, Router, SourceName, SourceReport, Trace};
use crate::settings::{BrokerSettings, Settings};
use crate::store::{Reader, StoreError};

/// The running sources.
pub(super) struct Sources {
    /// What each says of itself.
    pub(super) reports: Vec<Arc<SourceReport>>,
    pub(super) threads: Vec<JoinHandle<Ended>>,
    /// Woken when one of them has something new to say.
    pub(super) changes: Arc<Notify>,
}

impl Sources {
    /// Starts one source a broker and one a wire; `clock` tells when something
    /// arrives and never goes back, `ack_rooms` tell each broker what was
    /// committed, and `changes` is woken when one of them has something
    /// new to say. They end once `stop` is given.
    pub(super) fn start(
        settings: &Settings,
        reader: &Reader,
        intake: &Intake,
        clock: &Telling,
        ack_rooms: Vec<mpsc::Receiver<Vec<Ack>>>,
        changes: &Arc<Notify>,
        stop: &CancellationToken,
    ) -> Result<Self, DaemonError> {
        let sumps = Arc::clone(&settings.sumps);
        let mut reports = Vec::new();
        let mut threads = Vec::new();
        for (place, (broker, ack_room)) in settings.brokers.iter().zip(ack_rooms).enumerate() {
            let report = Arc::new(SourceReport::new(
                source_name(broker),
                Arc::default(),
                settings.admission,
                Arc::clone(changes),
                clock(),
            ));
            let source = Source {
                ix: place as u16,
                broker: broker.clone(),
                router: Router::new(settings, place),
                sumps: Arc::clone(&sumps),
                admission: settings.admission,
                intake: intake.clone(),
                recent: recent(reader, broker)?,
                report: Arc::clone(&report),
                clock: Arc::clone(clock),
            };
            reports.push(report);
            let (link, polling) = source.start(stop.clone());
            tokio::spawn(acknowledge(link, ack_room));
            let runtime = runtime()?;
            let name = format!("mqtt-{}", broker.name);
            threads.push(spawn(name, stop, move || runtime.block_on(polling))?);
        }
        let mut sources = Sources {
            reports,
            threads,
            changes: Arc::clone(changes),
        };
        sources.start_wires(settings, intake, clock, stop)?;
        Ok(sources)
    }

    /// The wires share a thread, each with a task of its own: they are slow.
    fn start_wires(
        &mut self,
        settings: &Settings,
        intake: &Intake,
        clock: &Telling,
        stop: &CancellationToken,
    ) -> Result<(), DaemonError> {
        let wires = WireSource::all(settings, intake, clock, &self.changes);
        if wires.is_empty() {
            return Ok(());
        }
        self.reports
            .extend(wires.iter().map(|wire| Arc::clone(wire.report())));
        let (runtime, stopping) = (runtime()?, stop.clone());
        let reading = async move {
            let mut tasks = JoinSet::new();
            for wire in wires {
                tasks.spawn(wire.run(stopping.clone()));
            }
            // One that ends before it is told to takes the others with it.
            let first = tasks.join_next().await;
            if first.is_some_and(|ended| ended.is_ok()) {
                tasks.join_all().await;
            }
        };
        let thread = spawn("wires".to_owned(), stop, move || runtime.block_on(reading))?;
        self.threads.push(thread);
        Ok(())
    }
}

fn runtime() -> Result<Runtime, DaemonError> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(DaemonError::Thread)
}

fn source_name(broker: &BrokerSettings) -> SourceName {
    SourceName {
        kind: "broker",
        name: Arc::clone(&broker.name),
        address: format!("{}:{}", broker.host, broker.port),
    }
}

/// What the store knows of the broker's messages without a time.
fn recent(reader: &Reader, broker: &BrokerSettings) -> Result<Recent, StoreError> {
    let rows = reader.recent_messages(&broker.name)?;
    let traces = rows.into_iter().map(|row| Trace {
        packet: row.packet,
        hash: row.hash,
        seq: row.seq,
    });
    Ok(Recent::load(broker.protocol.receive_maximum(), traces))
}
