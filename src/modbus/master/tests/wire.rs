//! A wire in software, and the slaves on it.

use std::collections::BTreeMap;
use std::time::Duration;

use proptest::prelude::*;

use super::super::super::pdu::{Request, Table};
use super::super::super::plan::{Read, Wanted, plan};
use super::super::super::rtu::{self, Timing};
use super::super::super::{RtuLink, RtuSetup, TcpLink, TcpSetup};
use super::super::{Link, Master, Output};

pub(super) const TIMEOUT: Duration = Duration::from_millis(200);

pub(super) const LATENCY: Duration = Duration::from_millis(1000);

pub(super) const INTERVAL: Duration = Duration::from_secs(1);

/// What a slave makes of one request.
#[derive(Debug, Clone)]
pub(super) enum Reply {
    Answer,
    Exception(u8),
    Nothing,
    Damaged(prop::sample::Index),
    Cut(prop::sample::Index),
}

/// What happens around one request.
#[derive(Debug, Clone)]
pub(super) struct Fate {
    pub(super) reply: Reply,
    /// From the end of the request to the answer.
    pub(super) delay: Duration,
    /// The process stands still for so long while it writes.
    pub(super) stall: Duration,
    /// Bytes of nobody, and when they come.
    pub(super) noise: Option<(Duration, Vec<u8>)>,
}

impl Fate {
    pub(super) fn after(reply: Reply, delay_ms: u64) -> Self {
        Fate {
            reply,
            delay: Duration::from_millis(delay_ms),
            stall: Duration::ZERO,
            noise: None,
        }
    }
}

/// What a register held when the slave got its n-th request: no two are alike.
pub(super) fn held(slave: u8, register: u16, request: u16) -> u16 {
    (u16::from(slave) << 13) ^ (register << 9) ^ request
}

/// Slave and request out of the words on a wire.
pub(super) fn understood(words: &[u8]) -> Request {
    let table = match words[0] {
        3 => Table::Holding,
        _ => Table::Input,
    };
    let [first, count] = [1, 3].map(|at| u16::from_be_bytes([words[at], words[at + 1]]));
    Request::new(table, first, count).unwrap()
}

/// What the slave says to its n-th request.
pub(super) fn said(slave: u8, request: Request, nth: u16) -> Vec<u8> {
    let mut words = vec![request.table().function(), (2 * request.count()) as u8];
    for register in request.first()..request.first() + request.count() {
        words.extend(held(slave, register, nth).to_be_bytes());
    }
    words
}

pub(super) fn refusal(request: Request, code: u8) -> Vec<u8> {
    vec![request.table().function() | 0x80, code]
}

/// Everything that ever came out of a master, with the number of the request
/// that was sent last.
pub(super) type Told = Vec<(Duration, u16, Output)>;

/// Plays one slave after the other on a wire; `fate` tells the n-th request's.
pub(super) struct Wire {
    pub(super) now: Duration,
    pub(super) sent: u16,
    pub(super) arriving: BTreeMap<(Duration, u64), Vec<u8>>,
    pub(super) told: Told,
}

/// Why a run ended.
#[derive(Debug, PartialEq)]
pub(super) enum Ended {
    AtTheEnd,
    Closed,
}

impl Wire {
    pub(super) fn new() -> Self {
        Wire {
            now: Duration::ZERO,
            sent: 0,
            arriving: BTreeMap::new(),
            told: Vec::new(),
        }
    }

    pub(super) fn arrives(&mut self, at: Duration, bytes: Vec<u8>) {
        let nth = self.arriving.len() as u64 + 1000 * u64::from(self.sent);
        self.arriving.insert((at, nth), bytes);
    }

    /// Runs until `end`, or until the master wants the connection closed.
    pub(super) fn run<L: Link>(
        &mut self,
        master: &mut Master<L>,
        end: Duration,
        mut heard: impl FnMut(&mut Wire, &[u8], u16),
    ) -> Ended {
        while self.now < end {
            match master.poll(self.now) {
                Output::Discard => {
                    let came = self.came();
                    master.handle_discarded(came.iter().map(Vec::len).sum());
                }
                Output::Send(frame) => {
                    self.sent += 1;
                    let nth = self.sent;
                    heard(self, &frame, nth);
                }
                Output::Wait(until) => {
                    let next = self.arriving.keys().next().map_or(end, |(at, _)| *at);
                    self.now = until.min(next).max(self.now);
                    for bytes in self.came() {
                        master.handle_input(&bytes, self.now);
                    }
                }
                Output::Close => return Ended::Closed,
                told => self.told.push((self.now, self.sent, told)),
            }
        }
        Ended::AtTheEnd
    }

    /// What has arrived by now.
    fn came(&mut self) -> Vec<Vec<u8>> {
        let later = self.arriving.split_off(&(self.now, u64::MAX));
        std::mem::replace(&mut self.arriving, later)
            .into_values()
            .collect()
    }
}

pub(super) fn wanted() -> Vec<Wanted> {
    // Two requests that look alike to slave 1, and one to slave 2.
    [(1, 2), (1, 8), (2, 2)]
        .map(|(slave, first)| Wanted {
            slave,
            table: Table::Input,
            first,
            count: 2,
        })
        .to_vec()
}

pub(super) fn rtu_master() -> Master<RtuLink> {
    rtu_master_of(LATENCY)
}

pub(super) fn rtu_master_of(latency: Duration) -> Master<RtuLink> {
    let setup = RtuSetup {
        timing: Timing::of(19_200),
        timeout: TIMEOUT,
        latency,
        pause: Duration::ZERO,
    };
    let link = RtuLink::new(setup, Duration::ZERO);
    Master::new(link, plan(&wanted(), 2), INTERVAL, Duration::ZERO)
}

pub(super) const TCP: TcpSetup = TcpSetup {
    timeout: TIMEOUT,
    pause: Duration::ZERO,
};

pub(super) fn tcp_master() -> Master<TcpLink> {
    let link = TcpLink::new(TCP, Duration::ZERO);
    Master::new(link, plan(&wanted(), 2), INTERVAL, Duration::ZERO)
}

/// A serial bus on which the n-th request meets the n-th fate, and those beyond
/// meet good slaves.
pub(super) fn on_a_bus(fates: Vec<Fate>) -> impl FnMut(&mut Wire, &[u8], u16) {
    let timing = Timing::of(19_200);
    move |wire, frame, nth| {
        let good = Fate::after(Reply::Answer, 5);
        let fate = fates.get(usize::from(nth) - 1).unwrap_or(&good);
        wire.now += fate.stall;
        let (slave, words) = rtu::decode(frame).unwrap();
        let request = understood(words);
        let words = match fate.reply {
            Reply::Nothing => None,
            Reply::Exception(code) => Some(refusal(request, code)),
            _ => Some(said(slave, request, nth)),
        };
        let begins = wire.now + timing.on_wire(frame.len()) + fate.delay;
        if let Some((at, noise)) = &fate.noise {
            wire.arrives(wire.now + *at, noise.clone());
        }
        if let Some(words) = words {
            let mut bytes = rtu::encode(slave, &words);
            match fate.reply {
                Reply::Damaged(at) => {
                    let at = at.index(bytes.len());
                    bytes[at] ^= 0x10;
                }
                Reply::Cut(at) => bytes.truncate(at.index(bytes.len())),
                _ => {}
            }
            // In portions, as adapters hand them over.
            let mut at = begins;
            for portion in bytes.chunks((bytes.len() / 2).clamp(1, 62)) {
                at += timing.on_wire(portion.len());
                wire.arrives(at, portion.to_vec());
            }
        }
    }
}

/// Every value is that of its register, as the slave held it when it got the
/// request that the value is told for.
pub(super) fn check_attribution(told: &Told, reads: &[Read]) -> Result<usize, TestCaseError> {
    let mut values = 0;
    for (_, nth, output) in told {
        if let Output::Registers { read, registers } = output {
            let Read { slave, request, .. } = &reads[*read];
            let own: Vec<u16> = (request.first()..request.first() + request.count())
                .map(|register| held(*slave, register, *nth))
                .collect();
            prop_assert_eq!(registers, &own, "request {}", nth);
            values += 1;
        }
    }
    Ok(values)
}

/// What was told, without the values.
pub(super) fn words(told: &Told) -> Vec<String> {
    told.iter()
        .map(|(_, nth, output)| match output {
            Output::Registers { read, .. } => format!("{nth}: read {read}"),
            Output::Failed { read, failure } => format!("{nth}: {read} failed, {failure:?}"),
            Output::Refused { read, exception } => {
                format!("{nth}: {read} refused, {}", exception.0)
            }
            Output::Slave { slave, change } => format!("{nth}: slave {slave} {change:?}"),
            other => format!("{nth}: {other:?}"),
        })
        .collect()
}
