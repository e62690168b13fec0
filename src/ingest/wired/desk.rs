//! What becomes of what a master says.

use std::sync::Arc;

use crate::ingest::report::SourceReport;
use crate::modbus::{Change, Encoding, Exception, Failure, Read, Wanted, plan};
use crate::settings::{ModbusSettings, Origin, Settings};

use super::deliver::{Deliver, Served};

/// The channels of a line of slaves.
#[derive(Debug)]
pub(super) struct Desk {
    deliver: Deliver,
    reads: Vec<Read>,
    /// One a channel, at the place that [`Deliver`] knows it by.
    numbers: Vec<Number>,
    /// One a request: what the slave refuses it with, if it does.
    refusals: Vec<Option<Exception>>,
    /// One a request: why it failed the last time.
    failures: Vec<Option<Failure>>,
    report: Arc<SourceReport>,
}

/// One number of a slave.
#[derive(Debug, Clone)]
struct Number {
    encoding: Encoding,
    /// Where it is, in words.
    place: String,
}

impl Desk {
    /// The channels that have their registers on the line at this place of the
    /// settings.
    pub(super) fn new(
        settings: &Settings,
        line: usize,
        mut deliver: Deliver,
        report: Arc<SourceReport>,
    ) -> Self {
        let ModbusSettings { gap, .. } = settings.modbus[line];
        let (mut wanted, mut numbers) = (Vec::new(), Vec::new());
        for route in &settings.routes {
            let Origin::Register {
                source,
                slave,
                table,
                first,
                encoding,
            } = route.origin
            else {
                continue;
            };
            if source != line {
                continue;
            }
            deliver.serve(Served::of(route));
            wanted.push(Wanted {
                slave,
                table,
                first,
                count: encoding.kind.registers(),
            });
            let place = format!("{} slave {slave} {} {first}", report.source, table.name());
            numbers.push(Number { encoding, place });
        }
        let reads = plan(&wanted, gap);
        Desk {
            deliver,
            refusals: vec![None; reads.len()],
            failures: vec![None; reads.len()],
            reads,
            numbers,
            report,
        }
    }

    /// The requests that bring everything.
    pub(super) fn reads(&self) -> &[Read] {
        &self.reads
    }

    /// Registers came.
    pub(super) fn registers(&mut self, read: usize, registers: &[u16]) {
        let Read { slave, request, .. } = self.reads[read];
        self.answered(read);
        if self.refusals[read].take().is_some() {
            let (wire, first) = (&self.report.source, request.first());
            tracing::info!(%wire, slave, first, "the slave gives its registers again");
        }
        for part in &self.reads[read].parts {
            let Number { encoding, place } = &self.numbers[part.wanted];
            match encoding.decode(part.of(registers)) {
                Ok(number) => self.deliver.value(part.wanted, number, place),
                Err(why) => {
                    let bytes = part.of(registers).iter().map(|one| one.to_be_bytes());
                    let bytes: Vec<u8> = bytes.flatten().collect();
                    self.deliver.refused(place, &bytes, &why);
                    self.deliver.no_value(part.wanted, &why);
                }
            }
        }
    }

    fn answered(&mut self, read: usize) {
        self.failures[read] = None;
        self.deliver.received();
        self.report
            .handle_answer(self.reads[read].slave, self.deliver.now());
    }

    /// The slave refused a request. Logged where it did not refuse it so before.
    pub(super) fn refused(&mut self, read: usize, exception: Exception) {
        let Read { slave, request, .. } = self.reads[read];
        self.answered(read);
        if self.refusals[read].replace(exception) != Some(exception) {
            tracing::warn!(
                wire = %self.report.source, slave, registers = request.table().name(),
                first = request.first(), count = request.count(),
                "the slave refuses: {exception}"
            );
        }
        for part in &self.reads[read].parts {
            self.deliver.no_value(part.wanted, &exception);
        }
    }

    /// A request brought no answer. A slave may fail now and then; it is told
    /// once it is lost.
    pub(super) fn failed(&mut self, read: usize, failure: Failure) {
        let Read { slave, request, .. } = self.reads[read];
        let (wire, first) = (&self.report.source, request.first());
        tracing::debug!(%wire, slave, first, "no answer: {failure}");
        self.failures[read] = Some(failure);
        self.report.handle_no_answer(slave, self.deliver.now());
    }

    /// A slave was lost, or is back.
    pub(super) fn slave(&self, slave: u8, change: Change) {
        let wire = &self.report.source;
        match change {
            Change::Back => tracing::info!(%wire, slave, "the slave answers again"),
            Change::Lost => {
                let of_slave = self.reads.iter().zip(&self.failures);
                let failure = of_slave
                    .filter(|(read, _)| read.slave == slave)
                    .find_map(|(_, failure)| *failure)
                    .unwrap_or(Failure::Silent);
                self.report
                    .handle_slave_lost(slave, &failure, self.deliver.now());
                tracing::warn!(
                    %wire, slave,
                    "the slave is lost: {failure}. Its channels fall silent; the others go on"
                );
            }
        }
    }

    /// Where its readings go.
    pub(super) fn deliver(&mut self) -> &mut Deliver {
        &mut self.deliver
    }
}
