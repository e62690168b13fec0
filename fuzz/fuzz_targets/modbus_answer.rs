//! Any bytes as what comes in after a request, on a serial line and over TCP.
#![no_main]

use std::time::Duration;

use libfuzzer_sys::fuzz_target;
use sumpward::modbus::rtu::Timing;
use sumpward::modbus::{
    Answer, Counts, Link, Request, RtuLink, RtuSetup, Table, TcpLink, TcpSetup,
};

const SECOND: Duration = Duration::from_secs(1);

/// Asks, then hands the bytes over in portions, the first byte of each saying
/// how long it and the pause before it are.
fn feed(mut link: impl Link, bytes: &[u8]) {
    let request = Request::new(Table::Input, 7, 3).expect("a request of the standard");
    let mut counts = Counts::default();
    let mut now = link.ready_at();
    link.ask(3, request, now, &mut counts);
    let mut rest = bytes;
    while let Some((len, behind)) = rest.split_first() {
        let (portion, behind) = behind.split_at(behind.len().min(usize::from(*len & 15)));
        now += Duration::from_millis(u64::from(*len >> 4));
        if let Some(Ok(Answer::Registers(registers))) = link.handle_input(portion, now, &mut counts)
        {
            assert_eq!(registers.len(), 3);
            assert!(link.deadline().is_none());
            return;
        }
        rest = behind;
    }
    if let Some(deadline) = link.deadline() {
        link.give_up(deadline, &mut counts);
        assert!(link.deadline().is_none());
    }
    assert!(counts.noise_bytes <= bytes.len() as u64);
}

fuzz_target!(|bytes: &[u8]| {
    let rtu = RtuSetup {
        timing: Timing::of(9600),
        timeout: SECOND,
        latency: SECOND,
        pause: Duration::ZERO,
    };
    feed(RtuLink::new(rtu, Duration::ZERO), bytes);
    let tcp = TcpSetup {
        timeout: SECOND,
        pause: Duration::ZERO,
    };
    feed(TcpLink::new(tcp, Duration::ZERO), bytes);
});
