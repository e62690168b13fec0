//! Handing readings to the shards.

use std::fmt;
use std::sync::Arc;
use std::time::Instant;

use crate::engine::Quality;
use crate::ingest::decode::Found;
use crate::ingest::intake::{Arrived, Batch, Content, Intake, IntakeClosed};
use crate::ingest::refusals::IngestCounters;
use crate::ingest::report::SourceReport;
use crate::ingest::unreadable::Unreadable;
use crate::settings::{Route, Scale};
use crate::units::Timestamp;

/// A channel that a wire serves.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Served {
    sump: u32,
    channel: u16,
    scale: Scale,
}

impl Served {
    pub(super) fn of(route: &Route) -> Self {
        Served {
            sump: route.sump as u32,
            channel: route.channel,
            scale: route.scale.clone(),
        }
    }
}

/// What one wire hands on.
pub(super) struct Deliver {
    intake: Intake,
    clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    served: Vec<Served>,
    unreadable: Unreadable,
    report: Arc<SourceReport>,
    /// One batch being filled a shard.
    gathered: Vec<Batch>,
}

impl fmt::Debug for Deliver {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let served = &self.served;
        f.debug_struct("Deliver")
            .field("served", served)
            .finish_non_exhaustive()
    }
}

impl Deliver {
    pub(super) fn new(
        intake: Intake,
        clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
        report: Arc<SourceReport>,
    ) -> Self {
        Deliver {
            gathered: (0..intake.shards()).map(|_| Batch::default()).collect(),
            intake,
            clock,
            served: Vec::new(),
            unreadable: Unreadable::default(),
            report,
        }
    }

    /// One more channel; gives its place.
    pub(super) fn serve(&mut self, channel: Served) -> usize {
        self.served.push(channel);
        self.served.len() - 1
    }

    /// A number came for the channel at a place; `where_from` says from where.
    /// Where it stands for nothing, that is told.
    pub(super) fn value(&mut self, place: usize, number: f64, where_from: &str) {
        let Served { channel, scale, .. } = &self.served[place];
        match Found::Number(number).scaled(scale, &where_from) {
            Ok(value) => {
                let content = Content::Reading {
                    channel: *channel,
                    claimed: None,
                    value,
                    quality: Quality::GOOD,
                };
                self.push(place, content);
                self.report.handle_value();
            }
            Err(why) => {
                self.refused(where_from, number.to_string().as_bytes(), &why);
                self.no_value(place, &why);
            }
        }
    }

    /// Something came for the channel at a place that holds no value for it.
    pub(super) fn no_value(&mut self, place: usize, why: &dyn fmt::Display) {
        let channel = self.served[place].channel;
        if let Some(kind) = self.unreadable.count(place, why, Instant::now()) {
            let time = None;
            let trouble = Content::Trouble {
                channel,
                time,
                kind,
            };
            self.push(place, trouble);
        }
    }

    /// As [`Self::no_value`] for every channel.
    pub(super) fn no_values(&mut self, why: &dyn fmt::Display) {
        for place in 0..self.served.len() {
            self.no_value(place, why);
        }
    }

    /// A line or an answer came.
    pub(super) fn received(&self) {
        IngestCounters::add(&self.report.counters.received);
    }

    /// Counts and tells what could not be read.
    pub(super) fn refused(&self, where_from: &str, bytes: &[u8], why: &dyn fmt::Display) {
        IngestCounters::add(&self.report.counters.refused);
        self.report
            .handle_unreadable(where_from, bytes, why, self.now());
    }

    /// What time it is.
    pub(super) fn now(&self) -> Timestamp {
        (self.clock)()
    }

    fn push(&mut self, place: usize, content: Content) {
        let sump = self.served[place].sump;
        let (shard, _) = self.intake.place(sump);
        let arrival = self.now();
        self.gathered[shard].arrived.push(Arrived {
            sump,
            arrival,
            content,
            ack: None,
        });
    }

    /// Hands on what was gathered, waiting while the shards are busy.
    pub(super) async fn hand_on(&mut self) -> Result<(), IntakeClosed> {
        for (shard, batch) in self.gathered.iter_mut().enumerate() {
            if !batch.arrived.is_empty() {
                self.intake.send(shard, std::mem::take(batch)).await?;
            }
        }
        Ok(())
    }
}
