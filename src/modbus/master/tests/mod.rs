//! The master against slaves and wires in software.

mod wire;

use proptest::prelude::*;

use super::super::pdu::{MOST_REGISTERS, Table};
use super::super::plan::{Wanted, plan};
use super::super::{TcpLink, rtu, tcp};
use super::*;
use wire::{
    Ended, Fate, INTERVAL, LATENCY, Reply, TCP, Wire, check_attribution, on_a_bus, rtu_master,
    rtu_master_of, said, tcp_master, understood, words,
};

/// Longer than a slave that failed is spared, so that nothing but the rest of
/// the line keeps its late answers apart.
const SLOW: Duration = Duration::from_millis(3000);

/// Within this time 40 failures in a row are overcome.
const LONG_ENOUGH: Duration = Duration::from_secs(3000);

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
