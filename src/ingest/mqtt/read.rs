//! What a message holds, and what becomes of its acknowledgement.

use std::fmt::Display;
use std::sync::Arc;
use std::sync::atomic::AtomicU32;
use std::time::Instant;

use super::poll::Poller;
use crate::engine::Quality;
use crate::ingest::answer::{AnswerTo, AnswerTopic, unreadable};
use crate::ingest::decode::{self, Claimed, Decoded};
use crate::ingest::intake::{Ack, Arrived, Content};
use crate::ingest::nodes::{Came, NodeError};
use crate::ingest::recent::Judgement;
use crate::ingest::refusals::IngestCounters;
use crate::ingest::router::{Readings, Route, Target};
use crate::ingest::sparkplug::Delivery;
use crate::mqtt::Message;
use crate::units::Timestamp;

/// Longer topics and longer correlation data are not honoured, bytes.
const LONGEST_RESPONSE_TOPIC: usize = 256;
const LONGEST_CORRELATION: usize = 256;

/// How the reading of a message stands to what came before it.
#[derive(Debug, Clone, Copy)]
enum Standing {
    /// To be taken in, with these marks.
    Fresh(Quality),
    /// Taken in before.
    Known,
    /// Retained by the broker for who knows how long: it stands in where
    /// nothing else is known.
    Baseline,
    /// Retained, with a time of its own: kept as of then, and it stands in too.
    Past,
}

/// Why nothing could be read from a message.
#[derive(Debug, thiserror::Error)]
enum Unreadable {
    #[error("the topic is not UTF-8")]
    Topic,
    #[error("larger than max_packet allows")]
    Oversized,
    #[error(transparent)]
    Reading(#[from] decode::DecodeError),
    #[error(transparent)]
    Entry(#[from] decode::EntryError),
    #[error(transparent)]
    Node(#[from] NodeError),
}

impl Poller {
    /// Takes one message in. What holds something to keep is acknowledged once
    /// that is committed, everything else at once.
    pub(super) fn message(&mut self, message: &Message) {
        IngestCounters::add(&self.source.report.counters.received);
        let arrival = (self.source.clock)();
        let mut contents = std::mem::take(&mut self.contents);
        if let Err(why) = self.read(message, arrival, &mut contents) {
            IngestCounters::add(&self.source.report.counters.refused);
            self.tell(message, &why);
        }
        self.take_in(message, arrival, &mut contents);
        self.contents = contents;
    }

    /// Passes over a message that is too large to be read; its channels are
    /// told. Unacknowledged it would come again with each connection, and hold
    /// up what comes behind.
    pub(super) fn oversized(&mut self, message: &Message) {
        IngestCounters::add(&self.source.report.counters.received);
        IngestCounters::add(&self.source.report.counters.oversized);
        let why = Unreadable::Oversized;
        self.tell(message, &why);
        let mut contents = std::mem::take(&mut self.contents);
        let topic = std::str::from_utf8(&message.topic);
        let target = topic.ok().and_then(|topic| self.source.router.find(topic));
        if let Some(Target::Readings(readings)) = target {
            for route in &readings.routes {
                let told = self.trouble(*route, &why);
                contents.extend(told.map(|content| (route.sump, content)));
            }
        }
        self.take_in(message, (self.source.clock)(), &mut contents);
        self.contents = contents;
    }

    /// Gathers what the message held for its shards.
    fn take_in(
        &mut self,
        message: &Message,
        arrival: Timestamp,
        contents: &mut Vec<(u32, Content)>,
    ) {
        let ack = self.ack_of(message, contents.len());
        if contents.is_empty() {
            if let Some(ack) = ack {
                // Without room it stays unacknowledged and comes again.
                self.link.acknowledge(&ack);
            }
        } else {
            let is_reading = |(_, content): &&(u32, Content)| content.is_reading();
            let readings = contents.iter().filter(is_reading).count();
            let counters = &self.source.report.counters;
            IngestCounters::add_many(&counters.readings, readings as u64);
            for (sump, content) in contents.drain(..) {
                let (shard, _) = self.source.intake.place(sump);
                let ack = ack.clone();
                self.gathered[shard].arrived.push(Arrived {
                    sump,
                    arrival,
                    content,
                    ack,
                });
                self.gathering += 1;
            }
        }
    }

    fn tell(&self, message: &Message, why: &Unreadable) {
        let topic = String::from_utf8_lossy(&message.topic);
        let now = (self.source.clock)();
        self.source
            .report
            .handle_unreadable(&topic, &message.payload, why, now);
    }

    fn ack_of(&self, message: &Message, parts: usize) -> Option<Ack> {
        message.packet.map(|packet| Ack {
            source: self.source.ix,
            epoch: self.epoch,
            packet,
            open: (parts > 1).then(|| Arc::new(AtomicU32::new(parts as u32))),
        })
    }

    /// Reads what the message holds. After an error it may hold something all
    /// the same: of several readings those that could be read.
    fn read(
        &mut self,
        message: &Message,
        arrival: Timestamp,
        contents: &mut Vec<(u32, Content)>,
    ) -> Result<(), Unreadable> {
        let topic = std::str::from_utf8(&message.topic).map_err(|_| Unreadable::Topic)?;
        match self.source.router.find(topic) {
            None => self.source.report.handle_unknown(topic),
            Some(Target::Entries) => {
                let to = self.answer_topic(topic, message);
                self.read_entry(to, &message.payload, contents)?;
            }
            Some(Target::Nodes) => {
                let came = Came {
                    arrival,
                    instant: Instant::now(),
                    delivery: if message.redelivered {
                        Delivery::Again
                    } else {
                        Delivery::First
                    },
                    retained: message.retained,
                    admission: &self.source.admission,
                    counters: &self.source.report.counters,
                };
                let nodes = self.source.router.nodes_mut();
                nodes.read(topic, &message.payload, &came, contents)?;
            }
            Some(Target::Readings(readings)) => {
                self.read_readings(topic, &readings, (message, arrival), contents)?
            }
        }
        Ok(())
    }

    /// Reads an entry; what is none is answered too.
    fn read_entry(
        &self,
        to: AnswerTopic,
        payload: &[u8],
        contents: &mut Vec<(u32, Content)>,
    ) -> Result<(), decode::EntryError> {
        match decode::decode_entry(payload, &self.source.sumps) {
            Ok((sump, entry)) => {
                let (entry, answer) = (Box::new(entry), AnswerTo::Topic(to));
                contents.push((sump as u32, Content::Entry { entry, answer }));
                Ok(())
            }
            Err(why) => {
                let payload = unreadable(payload, &why.to_string());
                contents.push((0, Content::Answer { to, payload }));
                Err(why)
            }
        }
    }

    /// Where the answer to an entry goes: below the entry's topic in `answer`,
    /// and there where its writer asks for it. Nowhere else: nobody makes the
    /// daemon write to what he himself may not write to.
    fn answer_topic(&self, topic: &str, message: &Message) -> AnswerTopic {
        let usual = format!("{topic}/answer");
        let reply = message.reply.as_deref();
        let asked = reply.and_then(|reply| reply.topic.as_deref());
        let good = asked.filter(|asked| {
            let below = asked
                .strip_prefix(&usual)
                .is_some_and(|rest| rest.starts_with('/'));
            below && asked.len() <= LONGEST_RESPONSE_TOPIC && !asked.contains(['+', '#', '\0'])
        });
        let correlation = reply.and_then(|reply| reply.correlation.as_ref());
        AnswerTopic {
            topic: good.map_or_else(|| usual.clone(), str::to_owned),
            correlation: correlation
                .filter(|data| data.len() <= LONGEST_CORRELATION)
                .map(|data| data.to_vec()),
        }
    }

    fn read_readings(
        &mut self,
        topic: &str,
        readings: &Readings,
        (message, arrival): (&Message, Timestamp),
        contents: &mut Vec<(u32, Content)>,
    ) -> Result<(), decode::DecodeError> {
        let mut refusal = None;
        let mut judged = None;
        // One a message stands for the clock of its source.
        let mut own_time = None;
        let mut decoded = std::mem::take(&mut self.decoded);
        readings.plan.decode(&message.payload, &mut decoded);
        for outcome in decoded.drain(..) {
            let route = readings.routes[outcome.part];
            let reading = match outcome.reading {
                Ok(reading) => reading,
                Err(why) => {
                    let told = self.trouble(route, &why);
                    contents.extend(told.map(|content| (route.sump, content)));
                    refusal = Some(why);
                    continue;
                }
            };
            if let Claimed::At(time) = reading.claimed {
                own_time.get_or_insert(time);
            }
            let standing = match (
                self.stands_by_itself(reading.claimed, arrival),
                message.retained,
            ) {
                (true, false) => Standing::Fresh(Quality::GOOD),
                (true, true) => Standing::Past,
                (false, _) => {
                    *judged.get_or_insert_with(|| self.judge(topic, &readings.routes, message))
                }
            };
            let held = held(route.channel, &reading, standing, arrival);
            contents.extend(
                held.into_iter()
                    .flatten()
                    .map(|content| (route.sump, content)),
            );
        }
        self.decoded = decoded;
        if let Some(claimed) = own_time.filter(|_| !message.retained && !message.redelivered) {
            self.source.report.handle_claim(claimed, arrival);
        }
        refusal.map_or(Ok(()), Err)
    }

    /// Counts a message that could not be read for its channel; gives what the
    /// channel is to be told of it now, if anything.
    fn trouble(&mut self, route: Route, why: &dyn Display) -> Option<Content> {
        let kind = self.unreadable.count(route.place, why, Instant::now())?;
        Some(Content::Trouble {
            channel: route.channel,
            time: None,
            kind,
        })
    }

    /// Whether a reading has a time of its own that can be true, by which a
    /// second delivery of it is known.
    fn stands_by_itself(&self, claimed: Claimed, arrival: Timestamp) -> bool {
        matches!(claimed, Claimed::At(time) if self.source.admission.believes(time, arrival))
    }

    /// How the readings of a message without a time that can be true stand.
    fn judge(&mut self, topic: &str, routes: &[Route], message: &Message) -> Standing {
        if message.retained {
            IngestCounters::add(&self.source.report.counters.retained);
            return Standing::Baseline;
        }
        let Some(packet) = message.packet else {
            return Standing::Fresh(Quality::GOOD);
        };
        let mut shards = routes
            .iter()
            .map(|route| self.source.intake.place(route.sump).0);
        let shard = shards.next().unwrap_or_default();
        if shards.any(|other| other != shard) {
            // Committed in parts, so that no one trace can vouch for all.
            if message.redelivered {
                IngestCounters::add(&self.source.report.counters.undecided);
                return Standing::Fresh(Quality::REPEATED);
            }
            return Standing::Fresh(Quality::GOOD);
        }
        let recent = &mut self.source.recent;
        let (judgement, trace) = recent.judge(packet, topic, &message.payload, message.redelivered);
        if judgement == Judgement::Repeated {
            IngestCounters::add(&self.source.report.counters.repeated);
            return Standing::Known;
        }
        let source = Arc::clone(&self.source.broker.name);
        self.gathered[shard].recent.push((source, trace));
        if judgement == Judgement::Undecided {
            IngestCounters::add(&self.source.report.counters.undecided);
            return Standing::Fresh(Quality::REPEATED);
        }
        Standing::Fresh(Quality::GOOD)
    }
}

/// What becomes of a reading that stands so.
fn held(
    channel: u16,
    reading: &Decoded,
    standing: Standing,
    arrival: Timestamp,
) -> [Option<Content>; 2] {
    let value = reading.value;
    let kept = |quality: Quality| Content::Reading {
        channel,
        claimed: reading.claimed.time(arrival),
        value,
        quality: quality.with(reading.quality),
    };
    let stands_in = || {
        let usable = reading.quality.is_usable();
        usable.then_some(Content::Baseline { channel, value })
    };
    match standing {
        Standing::Fresh(quality) => [Some(kept(quality)), None],
        Standing::Known => [Some(Content::Known), None],
        Standing::Baseline => [stands_in(), None],
        Standing::Past => [Some(kept(Quality::LATE)), stands_in()],
    }
}
