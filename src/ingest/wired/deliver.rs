//! Handing readings to the shards.
//!
//! A wire is read on whatever the shards do: an instrument does not wait, what
//! the system keeps of it is little, and a reading stands at the time at which
//! it was read. While the store takes nothing, readings are held here.

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

/// Readings of one wire that are held for one shard. Choice: hours of a line
/// that is asked every ten seconds, in about a megabyte.
const HELD: usize = 10_000;

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
    /// One batch being filled a shard, each of at most [`HELD`].
    gathered: Vec<Batch>,
    /// Whether something was dropped since all was handed on.
    drops: bool,
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
            drops: false,
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
                if self.push(place, content) {
                    IngestCounters::add(&self.report.counters.readings);
                    self.report.handle_value();
                }
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

    /// Whether there was room.
    fn push(&mut self, place: usize, content: Content) -> bool {
        let sump = self.served[place].sump;
        let (shard, _) = self.intake.place(sump);
        if self.gathered[shard].arrived.len() >= HELD {
            self.dropped();
            return false;
        }
        let arrival = self.now();
        self.gathered[shard].arrived.push(Arrived {
            sump,
            arrival,
            content,
            ack: None,
        });
        true
    }

    /// Counted, and told once.
    fn dropped(&mut self) {
        self.report.handle_dropped();
        if !self.drops {
            self.drops = true;
            tracing::error!(
                wire = %self.report.source,
                "the store takes nothing, and no more than {HELD} readings can be held; what comes \
                 now is dropped and counted. See what the log says of the store"
            );
        }
    }

    /// Whether something waits to be handed on.
    pub(super) fn holds_any(&self) -> bool {
        self.gathered.iter().any(|batch| !batch.arrived.is_empty())
    }

    /// Hands on what was gathered, waiting while the shards are busy. Whoever
    /// stops waiting loses nothing.
    pub(super) async fn hand_on(&mut self) -> Result<(), IntakeClosed> {
        for (shard, batch) in self.gathered.iter_mut().enumerate() {
            if !batch.arrived.is_empty() {
                self.intake.hand_over(shard, batch).await?;
            }
        }
        self.drops = false;
        Ok(())
    }

    /// No more time is left to hand on what is held: counts and tells what is lost
    /// by that.
    pub(super) fn give_up(&mut self) {
        let batches = self.gathered.iter_mut();
        let held: usize = batches
            .map(|batch| std::mem::take(batch).arrived.len())
            .sum();
        (0..held).for_each(|_| self.report.handle_dropped());
        if held > 0 {
            tracing::error!(
                wire = %self.report.source, readings = held,
                "dropped: the store takes nothing, and the daemon stops"
            );
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use std::sync::atomic::{AtomicI64, Ordering};

    use super::super::state::tests::port;
    use super::*;
    use crate::units::Linear;

    /// A wire with one channel, a shard that takes nothing yet, and a clock that
    /// goes on by a millisecond each time it is looked at.
    pub(in crate::ingest::wired) fn deliver() -> (Deliver, tokio::sync::mpsc::Receiver<Batch>) {
        let (intake, mut rooms) = Intake::open(1);
        let ms = AtomicI64::new(0);
        let clock = move || Timestamp::from_millis(ms.fetch_add(1, Ordering::Relaxed));
        let mut deliver = Deliver::new(intake, Arc::new(clock), Arc::new(port()));
        deliver.serve(Served {
            sump: 0,
            channel: 0,
            scale: Scale::Line(Linear {
                scale: 1.0,
                offset: 0.0,
            }),
        });
        (deliver, rooms.remove(0))
    }

    /// Hands on what there is room for.
    async fn try_hand_on(deliver: &mut Deliver) {
        tokio::select! {
            biased;
            handed = deliver.hand_on() => handed.unwrap(),
            () = std::future::ready(()) => {}
        }
    }

    #[tokio::test]
    async fn a_shard_that_takes_nothing_costs_no_reading_and_no_time_of_one() {
        let (mut deliver, mut room) = deliver();
        for n in 0..1_000 {
            deliver.value(0, f64::from(n), "here");
            try_hand_on(&mut deliver).await;
        }
        assert!(deliver.holds_any());
        let mut got = Vec::new();
        while got.len() < 1_000 {
            let batch = room.recv().await.unwrap();
            got.extend(batch.arrived.into_iter().map(|one| one.arrival.millis()));
            try_hand_on(&mut deliver).await;
        }
        assert!(got.is_sorted() && got.last() < Some(&2_000), "{got:?}");
        assert!(!deliver.holds_any());
        let wire = deliver.report.status(deliver.now()).wire.unwrap();
        assert_eq!((wire.values, wire.dropped), (1_000, 0));
    }

    #[tokio::test]
    async fn what_nobody_took_before_the_end_is_counted() {
        let (mut deliver, room) = deliver();
        for n in 0..3 {
            deliver.value(0, f64::from(n), "here");
        }
        drop(room);
        assert!(deliver.hand_on().await.is_err() && deliver.holds_any());
        deliver.give_up();
        deliver.give_up();
        let wire = deliver.report.status(deliver.now()).wire.unwrap();
        assert_eq!((wire.values, wire.dropped), (3, 3));
    }

    #[tokio::test]
    async fn what_is_held_is_bounded_and_what_is_dropped_counted() {
        let (mut deliver, _room) = deliver();
        for n in 0..20_000 {
            deliver.value(0, f64::from(n), "here");
        }
        let wire = deliver.report.status(deliver.now()).wire.unwrap();
        assert_eq!((wire.values, wire.dropped), (10_000, 10_000));
        try_hand_on(&mut deliver).await;
        deliver.value(0, 1.0, "here");
        let wire = deliver.report.status(deliver.now()).wire.unwrap();
        assert_eq!((wire.values, wire.dropped), (10_001, 10_000));
    }
}
