//! The sources of readings and entries, each on a thread of its own.

use std::sync::Arc;
use std::thread::JoinHandle;

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::{Clock, DaemonError, Ended, spawn};
use crate::ingest::mqtt::{Source, acknowledge};
use crate::ingest::{Ack, IngestCounters, Intake, Recent, Router, Trace};
use crate::settings::{BrokerSettings, Settings};
use crate::store::{Reader, StoreError};

/// A source's name and what it counts.
pub(super) type SourceCounts = (Arc<str>, Arc<IngestCounters>);

/// The running sources.
pub(super) struct Sources {
    pub(super) counts: Vec<SourceCounts>,
    pub(super) threads: Vec<JoinHandle<Ended>>,
}

impl Sources {
    /// Starts one source a broker; `ack_rooms` tell each what was committed.
    /// They end once `stop` is given.
    pub(super) fn start(
        settings: &Settings,
        reader: &Reader,
        intake: &Intake,
        clock: &Clock,
        ack_rooms: Vec<mpsc::Receiver<Vec<Ack>>>,
        stop: &CancellationToken,
    ) -> Result<Self, DaemonError> {
        let sumps: Arc<[_]> = settings.sumps.clone().into();
        let mut sources = Sources {
            counts: Vec::new(),
            threads: Vec::new(),
        };
        for (place, (broker, ack_room)) in settings.brokers.iter().zip(ack_rooms).enumerate() {
            let source = Source {
                ix: place as u16,
                broker: broker.clone(),
                router: Router::new(settings, place),
                sumps: Arc::clone(&sumps),
                admission: settings.admission,
                intake: intake.clone(),
                recent: recent(reader, broker)?,
                counters: Arc::default(),
                clock: clock.as_fn(),
            };
            sources
                .counts
                .push((Arc::clone(&broker.name), Arc::clone(&source.counters)));
            let (link, polling) = source.start(stop.clone());
            tokio::spawn(acknowledge(link, ack_room));
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .map_err(DaemonError::Thread)?;
            let name = format!("mqtt-{}", broker.name);
            sources
                .threads
                .push(spawn(name, stop, move || runtime.block_on(polling))?);
        }
        Ok(sources)
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
