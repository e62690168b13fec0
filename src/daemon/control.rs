//! The control socket, on a thread of its own.

use std::sync::Arc;

use tokio::sync::{Mutex, mpsc};
use tokio_util::sync::CancellationToken;

use super::clock::Telling;
use super::sources::Sources;
use super::{DaemonError, spawn};
use crate::ingest::control::{Control, Pending, answer_committed};
use crate::ingest::{Ack, Intake, SourceName, SourceReport};
use crate::settings::Settings;
use crate::store::WriterHandle;

/// Its name as a source.
const NAME: &str = "control";

impl Sources {
    /// Adds the control socket as the source with the next place behind the
    /// brokers; `ack_room` tells what was committed.
    pub(super) fn add_control(
        &mut self,
        settings: &Settings,
        intake: &Intake,
        writer: WriterHandle<Ack>,
        clock: &Telling,
        ack_room: mpsc::Receiver<Vec<Ack>>,
        stop: &CancellationToken,
    ) -> Result<(), DaemonError> {
        let control = Control {
            ix: settings.brokers.len() as u16,
            plant: Arc::clone(&settings.plant.name),
            sumps: Arc::clone(&settings.sumps),
            admission: settings.admission,
            folder: settings.store.folder.clone(),
            intake: intake.clone(),
            writer,
            pending: Arc::new(Pending::default()),
            entering: Mutex::new(()),
            counters: Arc::default(),
            clock: Arc::clone(clock),
        };
        let report = SourceReport::new(
            SourceName {
                kind: NAME,
                name: NAME.into(),
                address: settings.store.folder.display().to_string(),
            },
            Arc::clone(&control.counters),
            settings.admission,
            Arc::clone(&self.changes),
            clock(),
        );
        report.handle_connected(clock());
        self.reports.push(Arc::new(report));
        tokio::spawn(answer_committed(Arc::clone(&control.pending), ack_room));
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(DaemonError::Thread)?;
        let until = stop.clone();
        self.threads.push(spawn(NAME.to_owned(), stop, move || {
            runtime.block_on(control.run(until));
        })?);
        Ok(())
    }
}
