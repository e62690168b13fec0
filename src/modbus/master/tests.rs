//! The master against slaves and wires in software.

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::super::pdu::{MOST_REGISTERS, Request, Table};
use super::super::plan::{Wanted, plan};
use super::super::rtu::Timing;
use super::super::{RtuLink, RtuSetup, TcpLink, TcpSetup, rtu, tcp};
use super::*;

const TIMEOUT: Duration = Duration::from_millis(200);
const LATENCY: Duration = Duration::from_millis(1000);
/// Longer than a slave that failed is spared, so that nothing but the rest of
/// the line keeps its late answers apart.
const SLOW: Duration = Duration::from_millis(3000);
/// Within this time 40 failures in a row are overcome.
const LONG_ENOUGH: Duration = Duration::from_secs(3000);
const INTERVAL: Duration = Duration::from_secs(1);

/// What a slave makes of one request.
#[derive(Debug, Clone)]
enum Reply {
    Answer,
    Exception(u8),
    Nothing,
    Damaged(prop::sample::Index),
    Cut(prop::sample::Index),
}

/// What happens around one request.
#[derive(Debug, Clone)]
struct Fate {
    reply: Reply,
    /// From the end of the request to the answer.
    delay: Duration,
    /// The process stands still for so long while it writes.
    stall: Duration,
    /// Bytes of nobody, and when they come.
    noise: Option<(Duration, Vec<u8>)>,
}

impl Fate {
    fn after(reply: Reply, delay_ms: u64) -> Self {
        Fate {
            reply,
            delay: Duration::from_millis(delay_ms),
            stall: Duration::ZERO,
            noise: None,
        }
    }
}

/// What a register held when the slave got its n-th request: no two are alike.
fn held(slave: u8, register: u16, request: u16) -> u16 {
    (u16::from(slave) << 13) ^ (register << 9) ^ request
}

/// Slave and request out of the words on a wire.
fn understood(words: &[u8]) -> Request {
    let table = match words[0] {
        3 => Table::Holding,
        _ => Table::Input,
    };
    let [first, count] = [1, 3].map(|at| u16::from_be_bytes([words[at], words[at + 1]]));
    Request::new(table, first, count).unwrap()
}

/// What the slave says to its n-th request.
fn said(slave: u8, request: Request, nth: u16) -> Vec<u8> {
    let mut words = vec![request.table().function(), (2 * request.count()) as u8];
    for register in request.first()..request.first() + request.count() {
        words.extend(held(slave, register, nth).to_be_bytes());
    }
    words
}

fn refusal(request: Request, code: u8) -> Vec<u8> {
    vec![request.table().function() | 0x80, code]
}

/// Everything that ever came out of a master, with the number of the request
/// that was sent last.
type Told = Vec<(Duration, u16, Output)>;

/// Plays one slave after the other on a wire; `fate` tells the n-th request's.
struct Wire {
    now: Duration,
    sent: u16,
    arriving: BTreeMap<(Duration, u64), Vec<u8>>,
    told: Told,
}

/// Why a run ended.
#[derive(Debug, PartialEq)]
enum Ended {
    AtTheEnd,
    Closed,
}

impl Wire {
    fn new() -> Self {
        Wire {
            now: Duration::ZERO,
            sent: 0,
            arriving: BTreeMap::new(),
            told: Vec::new(),
        }
    }

    fn arrives(&mut self, at: Duration, bytes: Vec<u8>) {
        let nth = self.arriving.len() as u64 + 1000 * u64::from(self.sent);
        self.arriving.insert((at, nth), bytes);
    }

    /// Runs until `end`, or until the master wants the connection closed.
    fn run<L: Link>(
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

fn wanted() -> Vec<Wanted> {
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

fn rtu_master() -> Master<RtuLink> {
    rtu_master_of(LATENCY)
}

fn rtu_master_of(latency: Duration) -> Master<RtuLink> {
    let setup = RtuSetup {
        timing: Timing::of(19_200),
        timeout: TIMEOUT,
        latency,
        pause: Duration::ZERO,
    };
    let link = RtuLink::new(setup, Duration::ZERO);
    Master::new(link, plan(&wanted(), 2), INTERVAL, Duration::ZERO)
}

const TCP: TcpSetup = TcpSetup {
    timeout: TIMEOUT,
    pause: Duration::ZERO,
};

fn tcp_master() -> Master<TcpLink> {
    let link = TcpLink::new(TCP, Duration::ZERO);
    Master::new(link, plan(&wanted(), 2), INTERVAL, Duration::ZERO)
}

/// A serial bus on which the n-th request meets the n-th fate, and those beyond
/// meet good slaves.
fn on_a_bus(fates: Vec<Fate>) -> impl FnMut(&mut Wire, &[u8], u16) {
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
fn check_attribution(told: &Told, reads: &[Read]) -> Result<usize, TestCaseError> {
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

fn any_fate() -> impl Strategy<Value = Fate> {
    let reply = prop_oneof![
        6 => Just(Reply::Answer),
        1 => Just(Reply::Exception(6)),
        2 => Just(Reply::Nothing),
        1 => any::<prop::sample::Index>().prop_map(Reply::Damaged),
        1 => any::<prop::sample::Index>().prop_map(Reply::Cut),
    ];
    let millis = |most: u64| (0..=most).prop_map(Duration::from_millis);
    let delay = prop_oneof![millis(50), millis(SLOW.as_millis() as u64)];
    let stall = prop_oneof![4 => Just(Duration::ZERO), 1 => millis(3000)];
    let bytes = prop::collection::vec(any::<u8>(), 1..20);
    let noise = prop::option::weighted(0.3, (millis(1500), bytes));
    (reply, delay, stall, noise).prop_map(|(reply, delay, stall, noise)| Fate {
        reply,
        delay,
        stall,
        noise,
    })
}

proptest! {
    #[test]
    fn no_value_is_ever_that_of_another_register_or_request(
        fates in prop::collection::vec(any_fate(), 1..40),
    ) {
        let mut master = rtu_master_of(SLOW);
        let mut wire = Wire::new();
        wire.run(&mut master, LONG_ENOUGH, on_a_bus(fates));
        let values = check_attribution(&wire.told, master.reads())?;
        // Once the slaves are good again they are all read again.
        prop_assert!(values > 300, "{} values", values);
        let counts = master.counts();
        prop_assert_eq!(counts.answers, values as u64);
        let known = counts.answers + counts.exceptions + counts.timeouts + counts.faults;
        prop_assert!(counts.requests - known <= 1, "{:?}", counts);
    }

    #[test]
    fn nor_over_tcp_whatever_comes_late(
        delays in prop::collection::vec(prop::option::weighted(0.8, 0..3000_u64), 1..40),
        split in 1..12_usize,
    ) {
        let mut master = tcp_master();
        let mut wire = Wire::new();
        let heard = |wire: &mut Wire, frame: &[u8], nth: u16| {
            let (frame, _) = tcp::decode(frame).unwrap().unwrap();
            let delay = delays.get(usize::from(nth) - 1).copied().unwrap_or(Some(5));
            let request = understood(frame.words);
            let words = said(frame.unit, request, nth);
            let bytes = tcp::encode(frame.transaction, frame.unit, &words);
            if let Some(delay) = delay {
                let at = wire.now + Duration::from_millis(delay);
                let behind = bytes[split..].to_vec();
                wire.arrives(at, bytes[..split].to_vec());
                wire.arrives(at, behind);
            }
        };
        while wire.run(&mut master, LONG_ENOUGH, heard) == Ended::Closed {
            wire.arriving.clear();
            master.renew(TcpLink::new(TCP, wire.now), wire.now);
        }
        let values = check_attribution(&wire.told, master.reads())?;
        prop_assert!(values > 300, "{} values", values);
    }

    #[test]
    fn no_bytes_panic(
        portions in prop::collection::vec(
            (0..400_u64, prop::collection::vec(any::<u8>(), 0..300)), 0..40,
        ),
    ) {
        let mut master = rtu_master();
        let mut wire = Wire::new();
        let mut at = Duration::ZERO;
        for (pause, bytes) in portions {
            at += Duration::from_millis(pause);
            wire.arrives(at, bytes);
        }
        wire.run(&mut master, Duration::from_secs(30), |_, _, _| {});
        prop_assert_eq!(master.counts().answers, 0);
    }
}

/// What was told, without the values.
fn words(told: &Told) -> Vec<String> {
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

#[test]
fn an_answer_that_comes_too_late_is_nobodys() {
    // Requests 1 and 2 look alike on the wire; the answer to the first comes
    // after its time, when the second would wait for its own.
    let mut master = rtu_master();
    let mut wire = Wire::new();
    let fates = vec![Fate::after(Reply::Answer, 250)];
    wire.run(&mut master, Duration::from_secs(5), on_a_bus(fates));
    check_attribution(&wire.told, master.reads()).unwrap();
    assert_eq!(
        words(&wire.told)[..3],
        ["1: 0 failed, Silent", "2: read 2", "3: read 1"]
    );
    assert_eq!(master.counts().late_answers, 1);
    assert_eq!(master.counts().timeouts, 1);
}

/// Polls until the next request; gives what was told before it.
fn next_request<L: Link>(master: &mut Master<L>, now: &mut Duration) -> (Vec<u8>, Vec<Output>) {
    let mut told = Vec::new();
    loop {
        match master.poll(*now) {
            Output::Send(frame) => return (frame, told),
            Output::Wait(until) => *now = until,
            Output::Discard => master.handle_discarded(0),
            output => told.push(output),
        }
    }
}

/// The answer to the first request is handed over at its deadline, later by
/// `held_up`; that to the second at once.
fn held_up<L: Link>(
    master: &mut Master<L>,
    answer: impl Fn(&[u8]) -> Vec<u8>,
    held_up: Duration,
) -> (Vec<Output>, Duration) {
    let mut now = Duration::ZERO;
    let (frame, _) = next_request(master, &mut now);
    let Output::Wait(deadline) = master.poll(now) else {
        panic!("the answer is waited for");
    };
    let late = deadline + held_up;
    master.handle_input(&answer(&frame), late);
    now = late;
    let (frame, mut told) = next_request(master, &mut now);
    master.handle_input(&answer(&frame), now + Duration::from_millis(5));
    told.push(master.poll(now + Duration::from_millis(5)));
    (told, now - late)
}

#[test]
fn an_answer_that_lay_waiting_beyond_its_time_is_no_value() {
    // Both as after an hour in which the process stood still, and to the point.
    for held in [Duration::ZERO, Duration::from_secs(3600)] {
        let mut master = rtu_master();
        let on_a_bus = |frame: &[u8]| {
            let (slave, words) = rtu::decode(frame).unwrap();
            rtu::encode(slave, &said(slave, understood(words), 1))
        };
        let (told, rest) = held_up(&mut master, on_a_bus, held);
        assert!(
            matches!(told[..], [Output::Failed { .. }, Output::Registers { .. }]),
            "{told:?}"
        );
        assert!(rest >= LATENCY, "the line rests as after every failure");
        let Counts {
            answers,
            late_answers,
            timeouts,
            ..
        } = master.counts();
        assert_eq!((answers, late_answers, timeouts), (1, 1, 1));

        let mut master = tcp_master();
        let over_tcp = |frame: &[u8]| {
            let (frame, _) = tcp::decode(frame).unwrap().unwrap();
            let words = said(frame.unit, understood(frame.words), 1);
            tcp::encode(frame.transaction, frame.unit, &words)
        };
        let (told, _) = held_up(&mut master, over_tcp, held);
        assert!(
            matches!(told[..], [Output::Failed { .. }, Output::Registers { .. }]),
            "{told:?}"
        );
        let Counts {
            answers,
            late_answers,
            timeouts,
            ..
        } = master.counts();
        assert_eq!((answers, late_answers, timeouts), (1, 1, 1));
    }
}

#[test]
fn a_slave_always_late_never_gives_a_value() {
    let mut master = rtu_master();
    let mut wire = Wire::new();
    let mut good = on_a_bus(Vec::new());
    let mut late = on_a_bus(vec![Fate::after(Reply::Answer, 900); 1000]);
    wire.run(
        &mut master,
        Duration::from_secs(60),
        |wire, frame, nth| match frame[0] {
            1 => late(wire, frame, nth),
            _ => good(wire, frame, nth),
        },
    );
    check_attribution(&wire.told, master.reads()).unwrap();
    let counts = master.counts();
    assert!(
        counts.late_answers >= counts.timeouts - 1 && counts.timeouts > 4,
        "{counts:?}"
    );
    let of_slave_1 = |told: &&String| told.contains("read 0") || told.contains("read 1");
    assert_eq!(words(&wire.told).iter().filter(of_slave_1).count(), 0);
    // Slave 2 beside it is read nearly every second all the same.
    assert!(counts.answers > 45, "{counts:?}");
}

#[test]
fn a_dead_slave_is_told_once_and_does_not_stop_the_bus() {
    let mut master = rtu_master();
    let mut wire = Wire::new();
    let mut good = on_a_bus(Vec::new());
    let alive_from = Duration::from_secs(300);
    wire.run(&mut master, Duration::from_secs(600), |wire, frame, nth| {
        if frame[0] == 2 || wire.now >= alive_from {
            good(wire, frame, nth);
        }
    });
    let told = words(&wire.told);
    let changes: Vec<&String> = told
        .iter()
        .filter(|told| told.contains("slave 1"))
        .collect();
    assert_eq!(changes.len(), 2, "{changes:?}");
    assert!(changes[0].ends_with("Lost") && changes[1].ends_with("Back"));
    let living = told.iter().filter(|told| told.ends_with("read 2")).count();
    assert!(living > 580, "{living} of 600 rounds");
    let back = wire.told.iter().position(|(.., told)| {
        matches!(
            told,
            Output::Slave {
                change: Change::Back,
                ..
            }
        )
    });
    let (at, ..) = wire.told[back.unwrap()];
    assert!(at < alive_from + Duration::from_secs(62), "back at {at:?}");
}

#[test]
fn exceptions_are_answers() {
    let mut master = rtu_master();
    let mut wire = Wire::new();
    let fates = vec![Fate::after(Reply::Exception(2), 10); 9];
    wire.run(&mut master, Duration::from_secs(5), on_a_bus(fates));
    let told = words(&wire.told);
    assert_eq!(told[0], "1: 0 refused, 2");
    assert_eq!(master.counts().exceptions, 9);
    assert!(told.iter().all(|told| !told.contains("slave")), "{told:?}");
}

#[test]
fn a_line_that_is_never_silent_is_told() {
    let mut master = rtu_master();
    let mut wire = Wire::new();
    for milli in 0..40_000 {
        wire.arrives(Duration::from_millis(milli), vec![0x55]);
    }
    wire.run(&mut master, Duration::from_secs(40), |_, _, _| {});
    assert!(words(&wire.told)[0].ends_with("failed, Busy"));
    assert_eq!(master.counts().requests, 0);
}

#[test]
fn a_line_opened_anew_goes_on_and_rests_first() {
    let mut master = rtu_master();
    let mut wire = Wire::new();
    wire.run(&mut master, Duration::from_millis(1200), |_, _, _| {});
    assert_eq!(master.counts().requests, 1);
    let link = rtu_master().link;
    let now = wire.now;
    master.renew(link, now);
    assert!(matches!(
        master.poll(now),
        Output::Failed {
            read: 0,
            failure: Failure::Closed
        }
    ));
}

#[test]
fn the_longest_answer_is_read() {
    let all = Wanted {
        slave: 1,
        table: Table::Input,
        first: 0,
        count: MOST_REGISTERS,
    };
    let mut master = rtu_master();
    master.reads = plan(&[all], 0);
    master.schedule = Schedule::new([1], INTERVAL, Duration::ZERO);
    let mut wire = Wire::new();
    wire.run(&mut master, Duration::from_secs(3), on_a_bus(Vec::new()));
    assert!(check_attribution(&wire.told, master.reads()).unwrap() > 0);
}
